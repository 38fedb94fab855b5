"""Whether a longer member can take a member's place: where it sticks out, and what is in the way there."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from recon.frame.joints import CLASH_TOL
from recon.frame.model import Frame, Member, as_tuple, bounds
from recon.frame.stock import Stock
from recon.workshop.frame_size import hole_diameters
from recon.workshop.hardware.fitting_bolts import all_bolts
from recon.workshop.solids import (
    HOLE,
    Boxes,
    bolt_ends,
    boxes_of,
    fitting_solids,
    joined,
    member_boxes,
    overlaps,
)
from recon.workshop.wording import listed

# Of a member's length may stick out before a longer one is not worth naming: this project's choice.
MOST_LONGER = 0.5
Box = tuple[Sequence[float], Sequence[float]]  # lowest and highest corner, pitches


@dataclass(frozen=True)
class OversizeFit:
    """How a member that is long enough lies in the place of one of the frame's.

    Attributes
    ----------
    member : str
        The id of the frame's member.
    holes : int
        Of the member that takes its place.
    before, after : int
        Holes by which it sticks out at the end of hole 1, and at the other.
    blocked_by : tuple of str
        What is in the way; empty where nothing is.
    """

    member: str
    holes: int
    before: int
    after: int
    blocked_by: tuple[str, ...]

    @property
    def overhang(self) -> int:
        """Holes by which it sticks out, at both ends together."""
        return self.before + self.after

    @property
    def free(self) -> bool:
        """Whether nothing is in the way."""
        return not self.blocked_by


@dataclass(frozen=True)
class Surroundings:
    """All that a longer member could run into.

    Attributes
    ----------
    boxes : Boxes
        Members, ends of bolts and places to keep out of.
    words : tuple of str
        What each box is.
    of : tuple of frozenset of str
        The ids of the members that each box belongs to.
    floor : float or None
        The frame's lowest z, pitches, below which nothing may reach.
    """

    boxes: Boxes
    words: tuple[str, ...]
    of: tuple[frozenset[str], ...]
    floor: float | None


def surroundings(
    frame: Frame, stocks: Mapping[str, Stock], keep_out: Sequence[Box] = (), floor: bool = True
) -> Surroundings:
    """The obstacles of a frame.

    Parameters
    ----------
    frame : Frame
    stocks : mapping of str to Stock
    keep_out : sequence of Box
        Boxes that must stay free, pitches.
    floor : bool
        Whether nothing may reach below the frame's lowest point.
    """
    bolts = all_bolts(frame)
    hole = max(hole_diameters(frame, stocks), default=HOLE)
    through = [tuple(id for id, _ in bolt.through) for bolt in bolts for _ in (0, 1)]
    corners = [np.array(corner, float) for corner in keep_out]
    kept_free = boxes_of(((low + high) / 2, np.eye(3), (high - low) / 2) for low, high in corners)
    fitted, solids = fitting_solids(frame)
    boxes = joined([member_boxes(frame.members), bolt_ends(bolts, hole), kept_free, solids])
    words = [m.id for m in frame.members] + [f"the bolt through {listed(ids)}" for ids in through]
    words += [f"keep-out {k}" for k in range(1, len(corners) + 1)]
    of = [frozenset([m.id]) for m in frame.members] + [frozenset(ids) for ids in through]
    of += [frozenset()] * (len(corners) + len(fitted))
    words += fitted
    ground = min((float(bounds(m)[0][2]) for m in frame.members), default=None) if floor else None
    return Surroundings(boxes, tuple(words), tuple(of), ground)


def lengthened(member: Member, before: int, after: int) -> Member:
    """The member with so many holes more at the end of its first hole and at the other."""
    return replace(member, first=as_tuple(member.hole_centre(-before)), holes=member.holes + before + after)


def oversize_fits(around: Surroundings, member: Member, holes: int) -> tuple[OversizeFit, ...]:
    """The ways in which a member of `holes` holes can take the place of `member`.

    Returns
    -------
    tuple of OversizeFit
        Sticking out at the first end, at the other, and, where both are blocked, at both ends so that nothing
        is in the way, if that is possible.  Empty where it is shorter, or longer by more than half.

    Examples
    --------
    >>> from recon.frame.model import Frame, Member
    >>> post = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12)
    >>> around = surroundings(Frame((post,)), {})
    >>> fit_words(oversize_fits(around, post, 14))[1]
    'a 14-hole in place of the 12-hole A sticks out by 2 at hole 1: blocked by the floor'
    """
    extra = holes - member.holes
    if extra > MOST_LONGER * member.holes:
        return ()
    if extra <= 0:
        return (OversizeFit(member.id, holes, 0, 0, ()),) if extra == 0 else ()
    ends = [_fit(around, member, 0, extra), _fit(around, member, extra, 0)]
    if not any(fit.free for fit in ends):
        for before in range(1, extra):
            fit = _fit(around, member, before, extra - before)
            if fit.free:
                return (*ends, fit)
    return tuple(ends)


def _fit(around: Surroundings, member: Member, before: int, after: int) -> OversizeFit:
    blocked = []
    if before:
        blocked += _in_the_way(around, member, replace(lengthened(member, before, 0), holes=before))
    if after:
        beyond = as_tuple(member.hole_centre(member.holes))
        blocked += _in_the_way(around, member, replace(member, first=beyond, holes=after))
    return OversizeFit(member.id, member.holes + before + after, before, after, tuple(dict.fromkeys(blocked)))


def _in_the_way(around: Surroundings, member: Member, part: Member) -> list[str]:
    """What the part that sticks out overlaps."""
    met = np.nonzero(overlaps(member_boxes([part]), around.boxes)[0])[0]
    found = [around.words[k] for k in met if member.id not in around.of[k]]
    if around.floor is not None and bounds(part)[0][2] < around.floor - CLASH_TOL:
        found.append("the floor")
    return found


def fit_words(fits: Iterable[OversizeFit]) -> list[str]:
    """What was looked at, members that are alike together.

    >>> print(*fit_words([OversizeFit("B", 16, 4, 0, ("D",)), OversizeFit("C", 16, 4, 0, ("D",))]))
    a 16-hole in place of the 12-hole B or C sticks out by 4 at hole 1: blocked by D
    """
    found = []
    for fit, ids in _alike(fits):
        planned = fit.holes - fit.overhang
        ends = [f"{n} at hole {hole}" for n, hole in ((fit.before, 1), (fit.after, planned)) if n]
        state = "free" if fit.free else "blocked by " + ", ".join(fit.blocked_by)
        found.append(
            f"a {fit.holes}-hole in place of the {planned}-hole {listed(ids, 'or')} sticks out by "
            f"{' and '.join(ends)}: {state}"
        )
    return found


def taken_words(fits: Iterable[OversizeFit]) -> list[str]:
    """How longer members that are taken lie, and which of their holes bears which number.

    >>> print(*taken_words([OversizeFit("C", 14, 2, 0, ()), OversizeFit("D", 14, 2, 0, ())]))
    C and D have 14 holes in place of 12 and stick out by 2 past hole 1 of the plan, which is their hole 3.
    """
    found = []
    for fit, ids in _alike(fits):
        planned, one = fit.holes - fit.overhang, len(ids) == 1
        its = "its" if one else "their"
        ends = [
            (fit.after, f"hole {planned}" + ("" if fit.before else f"; {its} hole numbers stay")),
            (fit.before, f"hole 1 of the plan, which is {its} hole {fit.before + 1}"),
        ]
        where = " and ".join(f"by {n} past {hole}" for n, hole in ends if n)
        found.append(
            f"{listed(ids)} {'has' if one else 'have'} {fit.holes} holes in place of {planned} and "
            f"{'sticks' if one else 'stick'} out {where}."
        )
    return found


def _alike(fits: Iterable[OversizeFit]) -> Iterator[tuple[OversizeFit, list[str]]]:
    """The first of those that lie alike, and the ids of all of them."""
    groups: dict[OversizeFit, list[str]] = {}
    for fit in fits:
        groups.setdefault(replace(fit, member=""), []).append(fit.member)
    yield from groups.items()
