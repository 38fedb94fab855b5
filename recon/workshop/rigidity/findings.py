"""What is wrong with a frame before it is built, one kind of thing at a time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import networkx as nx
import numpy as np

from recon.frame.joints import collisions, find_joints
from recon.frame.loops import loops
from recon.frame.model import Frame, Joint, Member
from recon.geometry.arrays import FloatArray
from recon.workshop.hardware.bolts import Bolt, bolt_words, holes_crossed
from recon.workshop.rigidity.bolt_conflicts import blocked_ends, crossing_bolts, meeting_ends
from recon.workshop.rigidity.free_space import below, lowest
from recon.workshop.rigidity.mechanism import bolt_graph
from recon.workshop.solids import Boxes, bolt_ends, fitting_solids, joined, member_boxes, overlaps
from recon.workshop.squareness import squareness
from recon.workshop.wording import axis_name, lap_words, listed, plural

# Pitches between faces that count as touching: 2 mm at 38.1 mm, less than between any two places on the
# lattice.
TOUCH = 0.05
MOST_NAMED = 12  # members of a piece that are named
MOST_BOLTS = 4  # bolts of one finding that are named


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong.

    Attributes
    ----------
    kind : str
        "collision", "loose", "pieces", "loop", "no bolt", "bolts cross", "bolt end", "stands", "fitting",
        "squareness" or "motion".
    members : tuple of str
        Ids.
    joints : tuple of Joint
        The laps that it is about.
    text : str
        A sentence.
    fittings : tuple of str
        Labels of the fittings that it is about.
    """

    kind: str
    members: tuple[str, ...]
    joints: tuple[Joint, ...]
    text: str
    fittings: tuple[str, ...] = ()


def find_collisions(frame: Frame) -> Iterator[Finding]:
    """Members that take the same room."""
    for a, b, depth in collisions(frame.members):
        yield Finding("collision", (a, b), (), f"{a} and {b} take the same room, {depth:.3g} pitches deep.")


def find_open_loops(frame: Frame, right: FloatArray | None = None) -> Iterator[Finding]:
    """Loops of laps whose hole numbers do not agree; `right`: the frame's, where z points up."""
    for loop in loops(frame):
        if loop.closed:
            continue
        members = tuple(dict.fromkeys(id for j in loop.joints for id in (j.a, j.b)))
        axis = int(np.abs(loop.gap).argmax())
        missed = plural(round(abs(loop.gap[axis])), "hole")
        text = f"Round {listed(members)} the hole numbers of the laps do not agree: they miss by {missed}"
        name = axis_name(axis, right)
        text += f" along {name if right is None else f'the {name} axis'}"
        text += f"; one of {listed([lap_words(j) for j in loop.joints], 'or')} is wrong."
        yield Finding("loop", members, loop.joints, text)


def find_out_of_square(frame: Frame, right: FloatArray | None = None) -> Iterator[Finding]:
    """What photos measured of a built frame that is racked, or of members off their places."""
    for found in squareness(frame, right=right):
        yield Finding("squareness", found.members, (), found.text)


def find_loose(frame: Frame) -> Iterator[Finding]:
    """Members that no bolt holds, with what they touch."""
    if len(frame.members) < 2:
        return
    loose = set(nx.isolates(bolt_graph(frame)))
    if not loose:
        return
    lapped = {id for j in (*frame.joints, *find_joints(frame.members)) for id in (j.a, j.b)}
    boxes = member_boxes(frame.members)
    grown = Boxes(boxes.centre, boxes.axes, boxes.half + TOUCH + boxes.play[:, None], boxes.play)
    for k, id in enumerate(m.id for m in frame.members):
        if id not in loose:
            continue
        met = overlaps(grown.take([k]), boxes)[0]
        touched = [m.id for m, meets in zip(frame.members, met) if meets and m.id != id]
        if id in lapped:
            text = f"{id} is held by no bolt."
        elif touched:
            text = (
                f"{id} touches {listed(touched)}, but no holes lie on one axis there, so no bolt can hold it."
            )
        else:
            text = f"{id} touches no other member."
        yield Finding("loose", (id,), (), text)


def find_pieces(frame: Frame) -> Iterator[Finding]:
    """Parts of the frame, of several members each, that no bolt joins to one another."""
    place = {m.id: k for k, m in enumerate(frame.members)}
    found = (sorted(part, key=place.__getitem__) for part in nx.connected_components(bolt_graph(frame)))
    pieces = sorted((p for p in found if len(p) > 1), key=lambda p: (-len(p), place[p[0]]))
    if len(pieces) > 1:
        text = (
            f"No bolt joins these {len(pieces)} parts of the frame: {'; '.join(map(_piece_words, pieces))}."
        )
        yield Finding("pieces", tuple(p[0] for p in pieces), (), text)


def _piece_words(ids: Sequence[str]) -> str:
    """'A, B, C', with the number of those that are not named."""
    if len(ids) <= MOST_NAMED:
        return ", ".join(ids)
    return f"{', '.join(ids[: MOST_NAMED - 1])} and {len(ids) - MOST_NAMED + 1} more"


def find_laps_without_bolt(frame: Frame, bolts: Sequence[Bolt]) -> Iterator[Finding]:
    """Crossing members that lie on one another, or members side by side, with no bolt between the two."""
    bolted = {frozenset((j.a, j.b)) for j in frame.joints if j.bolt != "none"}
    through = {hole: bolt for bolt in bolts for hole in bolt.through}
    axes = {hole: bolt.axis for hole, bolt in through.items()}
    reported = set()
    for j in (*frame.joints, *find_joints(frame.members)):
        pair = frozenset((j.a, j.b))
        if pair in bolted or pair in reported:
            continue
        reported.add(pair)
        crossed = holes_crossed(j, axes)
        why = f"; the bolt through {bolt_words(through[crossed[0]])} is in its way" if crossed else ""
        text = f"No bolt joins {j.a} and {j.b}: {lap_words(j)}{why}."
        yield Finding("no bolt", (j.a, j.b), (replace(j, bolt="none"),), text)


def find_crossing(bolts: Sequence[Bolt]) -> Iterator[Finding]:
    """Bolts that cross in a hole."""
    for one, other, (id, hole) in crossing_bolts(bolts):
        text = (
            f"Two bolts cross in hole {hole + 1} of {id}: the one through {bolt_words(one)} and the one "
            f"through {bolt_words(other)}; leave one out or move a member by a hole."
        )
        yield Finding("bolts cross", _members(one, other), one.joints + other.joints, text)


def find_ends_without_room(frame: Frame, bolts: Sequence[Bolt], hole: float) -> Iterator[Finding]:
    """Ends of bolts with a member or another end in their place; `hole` is the holes' diameter, pitches."""
    for bolt, member in blocked_ends(frame, bolts, hole):
        remedy = _hole_on_axis(bolt, member)
        longer = ""
        if remedy is not None:
            longer = f"; a longer bolt would go through hole {remedy + 1} of {member.id} as well"
        text = (
            f"There is no room for an end of the bolt through {bolt_words(bolt)}: "
            f"{member.id} lies there{longer}."
        )
        yield Finding("bolt end", (*_members(bolt), member.id), bolt.joints, text)
    for one, other in meeting_ends(bolts, hole):
        text = f"The ends of the bolts through {bolt_words(one)} and through {bolt_words(other)} meet."
        yield Finding("bolt end", _members(one, other), one.joints + other.joints, text)


def find_standing_on_bolts(frame: Frame, bolts: Sequence[Bolt], hole: float) -> Iterator[Finding]:
    """Ends of bolts that lie below all members and fittings, so that the frame would stand on them.

    Parameters
    ----------
    frame : Frame
        Whose z points up.
    bolts : sequence of Bolt
    hole : float
        Diameter of the holes, pitches.
    """
    if not bolts:
        return
    ground = lowest(joined([member_boxes(frame.members), fitting_solids(frame)[1]]))
    ends = bolt_ends(bolts, hole)
    under = [bolt for k, bolt in enumerate(bolts) if below(ends.take([2 * k, 2 * k + 1]), ground).any()]
    if not under:
        return
    named = [bolt_words(bolt) for bolt in under[:MOST_BOLTS]]
    if len(under) > len(named):
        named.append(f"{len(under) - len(named)} more")
    joints = tuple(j for bolt in under for j in bolt.joints)
    ends_of = "an end of the bolt" if len(under) == 1 else "ends of the bolts"
    text = (
        f"The frame would stand on {ends_of} through {listed(named)}: put feet or blocks under its lowest "
        "members, as thick as a head or nut with its washer."
    )
    yield Finding("stands", _members(*under), joints, text)


def _members(*bolts: Bolt) -> tuple[str, ...]:
    return tuple(dict.fromkeys(id for bolt in bolts for id, _ in bolt.through))


def _hole_on_axis(bolt: Bolt, member: Member) -> int | None:
    """The hole of the member that lies on the bolt's axis, if one does."""
    between = member.hole_centres() - np.asarray(bolt.start)
    axis = np.asarray(bolt.axis)
    off = np.linalg.norm(between - np.outer(between @ axis, axis), axis=1)
    return int(off.argmin()) if off.min() < TOUCH else None
