"""What is wrong with a frame before it is built: room, touch, bolts, and ways to move that nobody wants."""

from __future__ import annotations

from dataclasses import dataclass, replace

import networkx as nx
import numpy as np

from recon.errors import ReconError
from recon.frame.joints import NORMAL_TOL, collisions, find_joints
from recon.frame.model import Frame, Joint, Member
from recon.workshop.hardware.bolts import Bolt, bolt_words, find_bolts
from recon.workshop.rigidity.bracing import MOST, Addition, additions
from recon.workshop.rigidity.mechanism import Mobility, mobility
from recon.workshop.rigidity.motion_words import motion_words
from recon.workshop.solids import HOLE, Boxes, bolt_ends, member_boxes, overlapping, overlaps
from recon.workshop.wording import lap_words, listed, plural

TOUCH = 0.05  # pitches between faces that count as touching: 2 mm at 38.1 mm, less than any two places on the lattice
MANY, FEW = (
    100,
    2,
)  # members from which on only so many proposals are made, as each is looked for in the whole frame anew


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong.

    kind : "collision", "loose", "pieces", "no bolt", "bolts cross", "bolt end" or "motion".
    members : ids.   joints : the laps it is about.   text : a sentence.
    """

    kind: str
    members: tuple[str, ...]
    joints: tuple[Joint, ...]
    text: str


@dataclass(frozen=True)
class Report:
    """All findings, the ways to move, and what to add against those that are not wanted."""

    findings: tuple[Finding, ...]
    mobility: Mobility
    additions: tuple[Addition, ...]


def check_frame(frame: Frame, may_turn=(), hole: float = HOLE, z_up: bool = True) -> Report:
    """Everything that can be told from the frame alone.

    may_turn : joints whose bolts may turn: motions in which no other bolt turns are wanted (see `joints_between`).
    hole : diameter of the holes, pitches.   z_up : whether "up" may be said for +z.
    """
    bolts = find_bolts(frame)
    state = mobility(frame, may_turn)
    findings = [
        *_collisions(frame),
        *_loose(frame),
        *_pieces(frame),
        *_without_bolt(frame, bolts),
        *_crossing(bolts),
        *_ends_without_room(frame, bolts, hole),
    ]
    findings += [Finding("motion", m.moving, m.joints, motion_words(m, z_up)) for m in state.motions]
    most = MOST if len(frame.members) <= MANY else FEW
    return Report(tuple(findings), state, additions(frame, may_turn, most, hole, state))


def joints_between(frame: Frame, pairs) -> tuple[Joint, ...]:
    """The laps of these pairs of member labels.  Raises ReconError where a label or a lap is unknown."""
    known = {m.id for m in frame.members}
    found = []
    for a, b in pairs:
        for id in (a, b):
            if id not in known:
                raise ReconError(
                    f"There is no member '{id}' in the frame; its members are {listed(sorted(known)[:12])}"
                    f"{' and others' if len(known) > 12 else ''}."
                )
        laps = [j for j in frame.joints if {j.a, j.b} == {a, b} and j.bolt != "none"]
        if not laps:
            raise ReconError(f"No bolt joins {a} and {b}; name two members that a bolt joins.")
        found += laps
    return tuple(found)


def _collisions(frame: Frame):
    for a, b, depth in collisions(frame.members):
        yield Finding("collision", (a, b), (), f"{a} and {b} take the same room, {depth:.3g} pitches deep.")


def _bolted(frame: Frame) -> nx.Graph:
    graph = nx.Graph()
    graph.add_nodes_from(m.id for m in frame.members)
    graph.add_edges_from((j.a, j.b) for j in frame.joints if j.bolt != "none")
    return graph


def _loose(frame: Frame):
    """Members that no bolt holds, with what they touch."""
    if len(frame.members) < 2:
        return
    loose = list(nx.isolates(_bolted(frame)))
    if not loose:
        return
    lapped = {id for j in (*frame.joints, *find_joints(frame.members)) for id in (j.a, j.b)}
    boxes = member_boxes(frame.members)
    grown = Boxes(boxes.centre, boxes.axes, boxes.half + TOUCH + boxes.play[:, None], boxes.play)
    for id in loose:
        k = [m.id for m in frame.members].index(id)
        touched = [
            m.id for m, met in zip(frame.members, overlaps(grown.take([k]), boxes)[0]) if met and m.id != id
        ]
        if id in lapped:
            text = f"{id} is held by no bolt."
        elif touched:
            text = (
                f"{id} touches {listed(touched)}, but no holes lie on one axis there, so no bolt can hold it."
            )
        else:
            text = f"{id} touches no other member."
        yield Finding("loose", (id,), (), text)


def _pieces(frame: Frame):
    place = {m.id: k for k, m in enumerate(frame.members)}
    pieces = [tuple(sorted(p, key=place.get)) for p in nx.connected_components(_bolted(frame)) if len(p) > 1]
    if len(pieces) > 1:
        pieces.sort(key=lambda p: (-len(p), place[p[0]]))
        told = "; ".join(
            ", ".join(p) if len(p) <= 12 else f"{', '.join(p[:11])} and {len(p) - 11} more" for p in pieces
        )
        yield Finding(
            "pieces",
            tuple(p[0] for p in pieces),
            (),
            f"No bolt joins these {len(pieces)} parts of the frame: {told}.",
        )


def _without_bolt(frame: Frame, bolts):
    """Crossing members that lie on one another, or members side by side, with no bolt between the two."""
    bolted = {frozenset((j.a, j.b)) for j in frame.joints if j.bolt != "none"}
    through = {spot: bolt for bolt in bolts for spot in bolt.through}
    told = set()
    for j in (*frame.joints, *find_joints(frame.members)):
        pair = frozenset((j.a, j.b))
        if pair in bolted or pair in told:
            continue
        told.add(pair)
        in_the_way = [
            through[spot]
            for spot in ((j.a, j.a_hole), (j.b, j.b_hole))
            if spot in through and abs(np.dot(through[spot].axis, j.axis)) < NORMAL_TOL
        ]
        why = f"; the bolt through {bolt_words(in_the_way[0])} is in its way" if in_the_way else ""
        yield Finding(
            "no bolt",
            (j.a, j.b),
            (replace(j, bolt="none"),),
            f"No bolt joins {j.a} and {j.b}: {lap_words(j)}{why}.",
        )


def crossing_bolts(bolts) -> list[tuple[Bolt, Bolt, tuple[str, int]]]:
    """Pairs of bolts that pass through one hole in two directions, and so through each other, with that hole.

    The three bolts of a three-way lap miss each other, as they lie one width apart: where a pair comes up there, one of
    its members is a hole off.
    """
    found, through = [], {}
    for bolt in bolts:
        for spot in bolt.through:
            found += [(other, bolt, spot) for other in through.setdefault(spot, [])]
            through[spot].append(bolt)
    return found


def _crossing(bolts):
    for one, other, (id, hole) in crossing_bolts(bolts):
        yield Finding(
            "bolts cross",
            _members(one, other),
            one.joints + other.joints,
            f"Two bolts cross in hole {hole + 1} of {id}: the one through {bolt_words(one)} and the one through "
            f"{bolt_words(other)}; leave one out or move a member by a hole.",
        )


def blocked_ends(frame: Frame, bolts, hole: float = HOLE) -> list[tuple[Bolt, Member]]:
    """Bolts with a member in the place of their head or nut, and that member.  hole : diameter, pitches."""
    if not bolts:
        return []
    ends, members = overlapping(bolt_ends(bolts, hole), member_boxes(frame.members))
    pairs = dict.fromkeys(zip((ends // 2).tolist(), members.tolist()))
    return [(bolts[b], frame.members[k]) for b, k in pairs]


def meeting_ends(bolts, hole: float = HOLE) -> list[tuple[Bolt, Bolt]]:
    """Pairs of bolts whose ends would take the same room.  hole : diameter, pitches."""
    ends = bolt_ends(bolts, hole)
    one, other = overlapping(ends, ends)
    pairs = dict.fromkeys((a // 2, b // 2) for a, b in zip(one.tolist(), other.tolist()) if a < b)
    return [(bolts[a], bolts[b]) for a, b in pairs if a != b]


def _ends_without_room(frame: Frame, bolts, hole: float):
    """Ends of bolts with a member or another end in their place."""
    for bolt, member in blocked_ends(frame, bolts, hole):
        remedy = _hole_on(bolt, member)
        longer = (
            f"; a longer bolt would go through hole {remedy + 1} of {member.id} as well"
            if remedy is not None
            else ""
        )
        yield Finding(
            "bolt end",
            (*_members(bolt), member.id),
            bolt.joints,
            f"There is no room for an end of the bolt through {bolt_words(bolt)}: {member.id} lies there{longer}.",
        )
    for one, other in meeting_ends(bolts, hole):
        yield Finding(
            "bolt end",
            _members(one, other),
            one.joints + other.joints,
            f"The ends of the bolts through {bolt_words(one)} and through {bolt_words(other)} meet.",
        )


def _members(*bolts: Bolt) -> tuple[str, ...]:
    return tuple(dict.fromkeys(id for bolt in bolts for id, _ in bolt.through))


def _hole_on(bolt: Bolt, member) -> int | None:
    """The hole of the member that lies on the bolt's axis, if one does."""
    between = member.hole_centres() - np.asarray(bolt.start)
    axis = np.asarray(bolt.axis)
    off = np.linalg.norm(between - np.outer(between @ axis, axis), axis=1)
    return int(off.argmin()) if off.min() < TOUCH else None


def report_text(report: Report) -> str:
    """The report for a person to read, without the caution."""
    titles = (
        ("collision", "Members in one another's room"),
        ("loose", "Loose members"),
        ("pieces", "Parts that hang together by nothing"),
        ("no bolt", "Laps without a bolt"),
        ("bolts cross", "Bolts that cross"),
        ("bolt end", "Bolts without room"),
        ("motion", "Ways to move that are not wanted"),
    )
    parts = []
    for kind, title in titles:
        texts = [f.text for f in report.findings if f.kind == kind]
        if texts:
            numbered = (
                [f"  {n}. {text}" for n, text in enumerate(texts, 1)]
                if kind == "motion"
                else [f"  - {t}" for t in texts]
            )
            parts.append("\n".join([title, *numbered]))
    if report.mobility.motions:
        parts.append(_what_to_add(report))
    state = report.mobility
    wanted = (
        f"; {plural(state.wanted, 'way')} to move {'is' if state.wanted == 1 else 'are'} wanted"
        if state.wanted
        else ""
    )
    if not report.findings:
        parts.append(f"Nothing is wrong with members and bolts, and nothing racks or folds{wanted}.")
    elif not state.motions:
        parts.append(f"Nothing racks or folds{wanted}.")
    elif wanted:
        parts.append(wanted[2:] + ".")
    return "\n\n".join(parts)


def _what_to_add(report: Report) -> str:
    count = len(report.mobility.motions)
    if not report.additions:
        return "What to add\n  Nothing that fits the free holes stops any of these."
    lines = [
        "What to add, one after the other",
        *(f"  {n}. {a.text} {_left(a.left)}" for n, a in enumerate(report.additions, 1)),
    ]
    return "\n".join(lines)


def _left(left: int) -> str:
    return (
        f"Then {plural(left, 'way')} to move {'is' if left == 1 else 'are'} left."
        if left
        else "Then nothing racks any more."
    )
