"""A frame in another size: longer or shorter across a plane, by whole holes.

What lies beyond the plane moves, members that cross it grow or shrink by as many holes, and every lap stays
as it is.  Where that cannot be, a sentence says what is in the way and what to do.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from recon.errors import ReconError
from recon.frame.fitting import Fitting
from recon.frame.joints import collisions
from recon.frame.model import End, Frame, Joint, Member, as_tuple, axis_of
from recon.geometry.arrays import FloatArray, Vector
from recon.workshop.side_axes import to_the_right
from recon.workshop.wording import direction_words, holes_in_words, lap_words, listed, plural

MOST_HOLES = 1000  # of a member, as in the frame file's schema
ON_PLANE = 1e-6  # pitches by which rounding may put a hole on either side; one on the plane lies beyond it
MOST_NAMED = 6  # members that a sentence names


@dataclass(frozen=True)
class Plane:
    """Where a frame is stretched.

    Attributes
    ----------
    way : tuple of three float
        Unit vector along an axis of the lattice: what lies this way beyond the plane moves.
    at : float
        Where the plane is along `way`, pitches: points p with p . way >= at lie beyond it.
    """

    way: Vector
    at: float

    def beyond(self, point: FloatArray) -> bool:
        """Whether a point, (3,) pitches, lies beyond it."""
        return float(np.asarray(point, float) @ np.asarray(self.way)) >= self.at - ON_PLANE

    def depth(self, member: Member) -> FloatArray:
        """How far each hole lies beyond it, (holes,), pitches; below 0 before it."""
        return member.hole_centres() @ np.asarray(self.way, float) - self.at + ON_PLANE


@dataclass(frozen=True)
class Stretched:
    """A frame after it was stretched.

    Attributes
    ----------
    frame : Frame
    grown : tuple of str
        Labels of the members that have another length.
    moved : tuple of str
        Labels of those that lie elsewhere as they are.
    """

    frame: Frame
    grown: tuple[str, ...]
    moved: tuple[str, ...]


def plane_after(member: Member, hole: int, end: int) -> Plane:
    """The plane between two holes of a member.

    Parameters
    ----------
    member : Member
        It runs along an axis of the lattice.
    hole : int
        The plane is half-way between this hole, counted from 0, and the next.
    end : int
        Which end moves: 0, at hole 0, or 1, at the last hole.

    Raises
    ------
    ReconError
        Where the member runs at an angle, or has no next hole.

    Examples
    --------
    >>> plane_after(Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12), 4, 0)
    Plane(way=(0.0, 0.0, -1.0), at=-4.5)
    """
    if axis_of(member) is None:
        raise ReconError(
            f"{member.id} runs at an angle; choose a member along which the frame is to be stretched."
        )
    if not 0 <= hole < member.holes - 1:
        raise ReconError(
            f"{member.id} has {plural(member.holes, 'hole')}, so a plane lies after hole 1 to "
            f"{member.holes - 1}, not after {hole + 1}."
        )
    way = np.round(np.asarray(member.direction, float)) * (1 if end else -1)
    return Plane(as_tuple(way), float(member.hole_centre(hole + 0.5) @ way))


def stretch(frame: Frame, plane: Plane, by: int) -> Stretched:
    """The frame stretched by so many holes, or shrunk where `by` is below 0.

    Raises
    ------
    ReconError
        Where it cannot be, in words.

    Examples
    --------
    >>> posts = [Member("AB"[k], (4.0 * k, 0.0, 0.0), (0.0, 0.0, 1.0), 5) for k in (0, 1)]
    >>> rail = Member("C", (0.0, -1.0, 2.0), (1.0, 0.0, 0.0), 5)
    >>> longer = stretch(Frame((*posts, rail)), Plane((1.0, 0.0, 0.0), 2.5), 3)
    >>> longer.grown, longer.moved, longer.frame.member("C").holes, longer.frame.member("B").first
    (('C',), ('B',), 8, (7.0, 0.0, 0.0))
    """
    if not by:
        raise ReconError("A frame is stretched by one hole or more, or shrunk by as many; 0 changes nothing.")
    members = {m.id: m for m in frame.members}
    crossing = {m.id for m in frame.members if _crosses(m, plane)}
    _refuse_braces(frame, crossing)
    if not crossing:
        raise ReconError("No member crosses that plane; choose it between two holes of a member.")
    _refuse_parted(frame, plane, members)
    if by < 0:
        _refuse_in_the_way(frame, plane, -by, crossing)
    made = {id: _stretched(m, plane, by, id in crossing) for id, m in members.items()}
    too_long = [id for id, m in made.items() if m.holes > MOST_HOLES]
    if too_long:
        raise ReconError(f"{_some(too_long)} would have more than {MOST_HOLES} holes.")

    def hole(id: str, k: int) -> int:
        m = members[id]
        if id not in crossing:
            return k
        forth = float(np.dot(m.direction, plane.way)) > 0
        return k + by if plane.beyond(m.hole_centre(k)) == forth else k

    joints = tuple(_renumbered(j, hole(j.a, j.a_hole), hole(j.b, j.b_hole)) for j in frame.joints)
    fittings = tuple(_moved(f, [(id, hole(id, k)) for id, k in f.holes]) for f in frame.fittings)
    after = replace(
        frame,
        members=tuple(made[m.id] for m in frame.members),
        joints=joints,
        fittings=fittings,
    )
    if by < 0:
        _refuse_new_collisions(frame, after)
    return Stretched(
        after,
        tuple(m.id for m in frame.members if m.id in crossing),
        tuple(m.id for m in frame.members if m.id not in crossing and made[m.id] is not m),
    )


def stretched_words(done: Stretched, plane: Plane, by: int) -> str:
    """What was done: '4 members 3 holes longer, 5 moved to the right'.

    Parameters
    ----------
    done : Stretched
    plane : Plane
        Where; z points up.
    by : int
        Holes.
    """
    words = (
        f"{plural(len(done.grown), 'member')} {plural(abs(by), 'hole')} {'longer' if by > 0 else 'shorter'}"
    )
    if done.moved:
        way = np.asarray(plane.way) * (1 if by > 0 else -1)
        side = direction_words(way, right=to_the_right(done.frame.members))
        words += f", {len(done.moved)} moved {side if side in ('up', 'down') else f'to the {side}'}"
    return words


def _crosses(member: Member, plane: Plane) -> bool:
    """Whether the member has holes on both sides."""
    beyond = plane.depth(member) >= 0
    return bool(beyond.any() and not beyond.all())


def _stretched(member: Member, plane: Plane, by: int, crosses: bool) -> Member:
    shift = by * np.asarray(plane.way, float)
    if not crosses:
        far = plane.beyond(np.asarray(member.first))
        return replace(member, first=as_tuple(np.asarray(member.first) + shift)) if far else member
    first = member.first
    if plane.beyond(np.asarray(first)):
        first = as_tuple(np.asarray(first) + shift)
    start, end = (_longer(e, by) for e in member.ends)
    return replace(member, first=first, holes=member.holes + by, ends=(start, end))


def _longer(end: End, by: int) -> End:
    """The end with what else it could be counted on the member's new length."""
    if not end.choices:
        return end
    return replace(end, choices=tuple(replace(c, holes=max(c.holes + by, 1)) for c in end.choices))


def _renumbered(joint: Joint, a_hole: int, b_hole: int) -> Joint:
    if (joint.a_hole, joint.b_hole) == (a_hole, b_hole):
        return joint
    return replace(joint, a_hole=a_hole, b_hole=b_hole)


def _moved(fitting: Fitting, holes: list[tuple[str, int]]) -> Fitting:
    return fitting if tuple(holes) == fitting.holes else replace(fitting, holes=tuple(holes))


# What cannot be


def _refuse_braces(frame: Frame, crossing: set[str]) -> None:
    slanting = [m.id for m in frame.members if m.id in crossing and axis_of(m) is None]
    if slanting:
        one = len(slanting) == 1
        raise ReconError(
            f"{_some(slanting)} {'runs' if one else 'run'} at an angle across that plane and cannot be made "
            f"longer by whole holes and keep {'its' if one else 'their'} laps; choose a plane that "
            f"{'it does' if one else 'they do'} not cross, or take {'it' if one else 'them'} out first and "
            f"add {'it' if one else 'them'} again after."
        )


def _refuse_parted(frame: Frame, plane: Plane, members: Mapping[str, Member]) -> None:
    """Refuses a plane between the two members of a lap, or between the holes of a fitting."""
    for j in frame.joints:
        a, b = (members[id].hole_centre(k) for id, k in ((j.a, j.a_hole), (j.b, j.b_hole)))
        if plane.beyond(a) != plane.beyond(b):
            raise ReconError(
                f"The plane lies between {j.a} and {j.b}, which lie on one another there ({lap_words(j)}) "
                "and would be parted; choose it a hole further on."
            )
    for f in frame.fittings:
        sides = {plane.beyond(members[id].hole_centre(k)) for id, k in f.holes}
        if len(sides) > 1:
            raise ReconError(
                f"{_capital(f.words)} is bolted on both sides of the plane ({holes_in_words(f.holes)}) and "
                "does not grow; choose a plane beside it, or take it off first and put it on again in its "
                "new size."
            )


def _refuse_in_the_way(frame: Frame, plane: Plane, by: int, crossing: set[str]) -> None:
    """Refuses to shrink where more than open holes would go: laps, fittings, ends or whole members."""
    nearest = by  # holes beyond the plane up to the first thing that must stay
    found: list[str] = []
    for depth, words in _kept_beyond(frame, plane, crossing):
        holes = int(np.floor(depth + ON_PLANE))
        if holes < by:
            nearest = min(nearest, holes)
            found.append(words)
    if found:
        most = f"shrink it there by at most {plural(nearest, 'hole')}, or " if nearest else ""
        named = listed(list(dict.fromkeys(found))[:MOST_NAMED])
        raise ReconError(
            f"Of the {plural(by, 'hole')} beyond the plane that would go, some are needed: {named}; {most}"
            "choose another plane."
        )


def _kept_beyond(frame: Frame, plane: Plane, crossing: set[str]) -> Iterator[tuple[float, str]]:
    """(how far beyond the plane, in words) of all that must not lie in the holes that go."""
    for m in frame.members:
        depth = plane.depth(m)
        if m.id not in crossing:
            if depth.min() >= 0:
                yield float(depth.min()), f"{m.id} lies there"
        else:
            yield float(depth.max()) + 1, f"{m.id} ends there"  # all its holes beyond the plane may go
    for j in frame.joints:
        for id, k in ((j.a, j.a_hole), (j.b, j.b_hole)):
            if id in crossing:
                deep = float(plane.depth(frame.member(id))[k])
                if deep >= 0:
                    yield deep, f"hole {k + 1} of {id} has its lap with {j.b if id == j.a else j.a}"
    for f in frame.fittings:
        for id, k in f.holes:
            m = frame.member(id)
            deep = float(m.hole_centre(k) @ np.asarray(plane.way, float)) - plane.at + ON_PLANE
            if id in crossing and deep >= 0:
                yield deep, f"hole {k + 1} of {id} has {f.words}"


def _refuse_new_collisions(before: Frame, after: Frame) -> None:
    known = {frozenset(pair[:2]) for pair in collisions(before.members)}
    new = [(a, b) for a, b, _ in collisions(after.members) if frozenset((a, b)) not in known]
    if new:
        a, b = new[0]
        raise ReconError(
            f"{a} and {b} would take the same room; shrink it by fewer holes, or choose another plane."
        )


def _some(ids: list[str]) -> str:
    if len(ids) <= MOST_NAMED:
        return listed(ids)
    return f"{', '.join(ids[:MOST_NAMED])} and {len(ids) - MOST_NAMED} more"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
