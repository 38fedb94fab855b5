"""Build steps: which member or sub-frame comes next, which way it is brought in, and the bolts that go in then.

Two identical frames get identical steps, however they stand and whatever their members are called: the order is found on
the canonical frame and told in the frame's own labels and hole numbers.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import networkx as nx
import numpy as np
from scipy.spatial import cKDTree

from recon.errors import ReconError
from recon.frame.joints import NORMAL_TOL
from recon.frame.lattice import canonical
from recon.frame.model import End, Frame, Joint, as_tuple
from recon.geometry.lattice import rotations
from recon.workshop.assembly.disassembly import (
    DIRECTIONS,
    Move,
    Site,
    Stuck,
    bolts_out,
    free_ways,
    taken_apart,
    why_stuck,
)
from recon.workshop.assembly.tool_access import ASSUMED
from recon.workshop.hardware.bolts import Bolt, find_bolts
from recon.workshop.solids import HOLE
from recon.workshop.wording import lap_words, listed, plural, way_words

SAME_PLACE = 1e-3  # pitches: canonical places are rounded to 1e-6, which a direction's rounding may add to
SAME_LEVEL = 0.01


@dataclass(frozen=True)
class Step:
    """One step.

    number : from 1.   new : ids that come in; where there is nothing yet, `laid` are those of them that are laid down
    first, for the others to come to.   bolts : that go in, in this order.   bare : laps of the new members with
    what is there that get no bolt in this step.
    there : ids already in place, that the new ones are brought to.   there_bolts : bolts already in.
    direction : the way in which the new members are brought, a unit vector in the frame's own space; None where they
    are laid down to begin with.   group : number of the sub-frame that is being built, from 1; 0 for the frame itself.
    text : what to do.
    """

    number: int
    new: tuple[str, ...]
    bolts: tuple[Bolt, ...]
    bare: tuple[Joint, ...]
    there: tuple[str, ...]
    there_bolts: tuple[Bolt, ...]
    direction: tuple[float, float, float] | None
    group: int
    text: str
    laid: tuple[str, ...] = ()


@dataclass(frozen=True)
class Steps:
    """The steps, none where no order was found; `groups` : the sub-frames' ids, sub-frame 1 first.

    stuck : ids that keep one another from coming free.   why : sentences that say what blocks what.
    """

    steps: tuple[Step, ...]
    groups: tuple[tuple[str, ...], ...] = ()
    stuck: tuple[str, ...] = ()
    why: tuple[str, ...] = ()


def build_steps(frame: Frame, hole: float = HOLE, z_up: bool = True) -> Steps:
    """An order in which every member can be brought straight to its place and every bolt put in and turned.

    Members move along one of the six directions of space, clear of all that is there; `reach` says what room a bolt
    needs.  Flat groups are built by themselves first where that works.

    hole : diameter of the holes, pitches.   z_up : whether "up" and "down" may be said for +z and -z.
    Raises ReconError where two members or two laps are in the same place.
    """
    if not frame.members:
        return Steps(())
    twin, names, turn = canonical_twin(frame)
    site = Site(twin, hole)
    try:
        moves, groups, flat = _moves(site)
    except Stuck as stuck:
        return _told_stuck(site, stuck.members, names, frame)
    teller = _Teller(site, frame, names, turn, z_up, groups, flat)
    return Steps(tuple(teller.steps(moves)), tuple(teller.ids(g) for g in groups))


def canonical_twin(frame: Frame) -> tuple[Frame, dict[str, str], np.ndarray]:
    """The canonical frame of the geometry and bolts of `frame`, its ids -> those of `frame`, and the turn that was made.

    What was seen of members and bolts, and how sure it is, is left out, so that it makes no difference.  Raises ReconError
    where two members or two laps are in the same place.
    """
    plain = replace(
        frame,
        photos=(),
        doubts=(),
        name="",
        members=tuple(replace(m, confidence=1.0, seen=0, ends=(End(), End())) for m in frame.members),
        joints=tuple(
            replace(j, bolt=j.bolt if j.bolt == "none" else "assumed", three_way=False) for j in frame.joints
        ),
    )
    twin = canonical(plain)
    there, there_laps = _places(twin)
    for turn in rotations():
        ends, laps = (x @ turn.T for x in _places(plain))
        shift = there.min(axis=(0, 1)) - ends.min(axis=(0, 1))
        own = _fitted(there.mean(axis=1), ends.mean(axis=1) + shift)  # no two members have the same middle
        if own is None:
            continue
        off = [np.abs(there - ends[own, ::way] - shift).max(axis=(1, 2)) for way in (1, -1)]
        if np.minimum(*off).max() > SAME_PLACE:
            continue
        lap = _fitted(there_laps, laps + shift)
        if lap is not None and all(twin.joints[k].bolt == plain.joints[i].bolt for k, i in enumerate(lap)):
            return twin, {m.id: plain.members[i].id for m, i in zip(twin.members, own)}, turn
    raise ReconError(
        "Two members or two laps of the frame are in one and the same place; leave one of them out."
    )


def _places(frame: Frame) -> tuple[np.ndarray, np.ndarray]:
    """Both end holes of every member, (n, 2, 3), and the middle of every lap, (joints, 3)."""
    at = {m.id: m for m in frame.members}
    laps = [(at[j.a].hole_centre(j.a_hole) + at[j.b].hole_centre(j.b_hole)) / 2 for j in frame.joints]
    return np.array([(m.first, m.last) for m in frame.members], float), np.array(laps).reshape(-1, 3)


def _fitted(a, b):
    """For each point of a (n, 3) the index of the point of b (n, 3) in the same place; None where one has none."""
    if not len(a):
        return np.zeros(0, int)
    distance, index = cKDTree(b).query(a)
    return index if distance.max() < SAME_PLACE and len(np.unique(index)) == len(a) else None


# Sub-frames


def _moves(site: Site) -> tuple[list[Move], list[frozenset[int]], bool]:
    """All moves in order, the sub-frames in the order they are built, and whether the whole frame is laid up flat.

    Raises Stuck.
    """
    for groups in _flat_groups(site):
        own = {g: moves for g, axis in groups if (moves := _laid_up(site, g, axis))}
        if any(len(g) == len(site.frame.members) for g in own):
            return next(iter(own.values())), [], True
        try:
            if own:
                return *_with_groups(site, own), False
        except Stuck:
            continue
    return taken_apart(site, [frozenset([k]) for k in range(len(site.frame.members))]), [], False


def _with_groups(site: Site, own):
    """The moves where groups are built by themselves first.  own : group -> the moves that build it."""
    single = set(range(len(site.frame.members))) - set().union(*own)
    moves, built = [], []
    for move in taken_apart(site, [*own, *(frozenset([k]) for k in sorted(single))]):
        for g in own:
            if g <= move.part and g not in built:  # built just before it is needed
                moves += own[g]
                built.append(g)
        moves.append(move)
    return moves, built


def _flat_groups(site: Site):
    """Ways to split off flat groups, lists of (members, axis), the way with most bolts inside groups first.

    A flat group hangs together by bolts along one axis, so it can be laid on the floor layer by layer; it is worth that
    where it makes a ring, which has as many bolts as members.
    """
    found = []
    for axis in range(3):
        graph = nx.Graph()
        for b, bolt in enumerate(site.bolts):
            if abs(bolt.axis[axis]) > NORMAL_TOL:
                first, *others = sorted(site.through[b])
                graph.add_edges_from((first, k) for k in others)
        groups = [
            g
            for g in sorted(map(frozenset, nx.connected_components(graph)), key=min)
            if len(site.inner(g)) >= len(g)
        ]
        if groups:
            found.append((-sum(len(site.inner(g)) for g in groups), axis, groups))
    return [[(g, axis) for g in groups] for _, axis, groups in sorted(found, key=lambda f: f[:2])]


def _laid_up(site: Site, group: frozenset[int], axis: int) -> list[Move]:
    """Moves that lay the lowest layer of a flat group down and put and bolt the others on it; none where that cannot be."""
    level = {k: site.frame.members[k].first[axis] for k in group}
    layers = []
    for k in sorted(group, key=lambda k: (round(level[k] / SAME_LEVEL), k)):
        if layers and level[k] - level[layers[-1][-1]] < SAME_LEVEL:
            layers[-1].append(k)
        else:
            layers.append([k])

    # The layer at the bottom is the one of longer members; of two alike, the one that has the first member.
    def holes(layer):
        return -sum(site.frame.members[k].holes for k in layer) / len(layer), layer

    sign = 1 if holes(layers[0]) <= holes(layers[-1]) else -1
    layers = layers[::sign]
    up = sign * np.eye(3)[axis]
    way = int((DIRECTIONS @ up).argmax())
    there = frozenset(layers[0])
    if site.inner(there):
        return []
    moves = [Move(there, frozenset(), None, ())]
    for k in (k for layer in layers[1:] for k in layer):
        part = frozenset([k])
        bolts = bolts_out(site, part, there)
        if not bolts or way not in free_ways(site, part, there):
            return []
        moves.append(Move(part, there, as_tuple(-up), tuple(bolts[::-1])))
        there |= part
    return moves


# In words


class _Teller:
    """Tells moves on the canonical frame in the labels, hole numbers and directions of the frame as it is."""

    def __init__(self, site: Site, frame: Frame, names, turn, z_up: bool, groups, flat: bool):
        self.site, self.frame, self.turn, self.z_up, self.groups, self.flat = (
            site,
            frame,
            turn,
            z_up,
            groups,
            flat,
        )
        self.id_of = [names[m.id] for m in site.frame.members]
        self.order = {m.id: k for k, m in enumerate(frame.members)}
        self.member = {m.id: m for m in frame.members}
        same = {frozenset(bolt.through): bolt for bolt in find_bolts(frame)}
        self.bolts = [
            same[frozenset(self._hole(names, id, hole) for id, hole in bolt.through)] for bolt in site.bolts
        ]

    def _hole(self, names, id, hole) -> tuple[str, int]:
        """The same hole in the frame's own label and count."""
        twin, own = self.site.frame.member(id), self.member[names[id]]
        along = (self.turn @ np.asarray(own.direction, float)) @ np.asarray(twin.direction, float)
        return own.id, hole if along > 0 else own.holes - 1 - hole

    def ids(self, members) -> tuple[str, ...]:
        return tuple(sorted((self.id_of[k] for k in members), key=self.order.get))

    def steps(self, moves):
        number, laid = 0, set()
        for move in moves:
            if not move.onto and len(moves) > 1:
                if move.part not in self.groups:
                    laid.add(move.part)  # what is laid down first makes a step with what comes to it
                continue
            number += 1
            yield self._step(number, move, move.onto in laid)

    def _step(self, number: int, move: Move, begins: bool) -> Step:
        there = move.part | move.onto if begins else move.onto
        group = next((n for n, g in enumerate(self.groups, 1) if move.part | move.onto <= g), 0)
        before = self.site.inner(move.part) + self.site.inner(move.onto)
        bolted = {j for b in (*move.bolts, *before) for j in self.bolts[b].joints}
        mine, rest = set(self.ids(move.part)), set(self.ids(move.onto))
        bare = tuple(
            j
            for j in self.frame.joints
            if j not in bolted and ((j.a in mine and j.b in rest) or (j.b in mine and j.a in rest))
        )
        return Step(
            number,
            self.ids(move.part | move.onto if begins else move.part),
            tuple(self.bolts[b] for b in move.bolts),
            bare,
            () if begins else self.ids(there),
            tuple(self.bolts[b] for b in before),
            self._direction(move),
            group,
            self._text(move, begins, bare, group),
            self.ids(move.onto) if begins else (),
        )

    def _direction(self, move: Move):
        return (
            None if move.direction is None else as_tuple(np.round(self.turn.T @ np.asarray(move.direction)))
        )

    def _named(self, part) -> str:
        """'C (12 holes)' or 'sub-frame 2 (A, C and D)'."""
        if part in self.groups:
            return f"sub-frame {self.groups.index(part) + 1} ({listed(self.ids(part))})"
        return listed(f"{id} ({plural(self.member[id].holes, 'hole')})" for id in self.ids(part))

    def _text(self, move: Move, begins: bool, bare, group: int) -> str:
        if move.direction is None:
            return f"{self._named(move.part)} is the whole frame."
        sentences = []
        if begins:
            floor = f"Sub-frame {group}: lay" if group else "Lay"
            sentences.append(f"{floor} {self._named(move.onto)} down")
        sentences.append(self._bring(move, group))
        if move.bolts:
            new = set(self.ids(move.part))
            sentences[-1] += f", {'; '.join(_match_words(self.bolts[b], new) for b in move.bolts)}"
            sentences.append(f"Join {'them' if len(move.bolts) > 1 else 'it'} with {self._count(move.bolts)}")
        else:
            sentences.append("No bolt holds it yet: keep it in place until one does")
        if bare:
            for_now = " for now" if any(j.bolt != "none" for j in bare) else ""
            sentences.append(f"Without a bolt{for_now}: {'; '.join(map(lap_words, bare))}")
        return ". ".join(sentences) + "."

    def _bring(self, move: Move, group: int) -> str:
        if group or self.flat:
            return f"Put {self._named(move.part)} on top"
        way = way_words(self._direction(move), self.z_up)
        return f"Bring {self._named(move.part)} in, {way if way in ('up', 'down') else f'along {way}'}"

    def _count(self, bolts) -> str:
        """'2 bolts', '1 bolt through 3 members', '3 bolts, 1 of them through 3 members'."""
        long = [b for b in bolts if len(self.bolts[b].through) > 2]
        most = max(len(self.bolts[b].through) for b in bolts)
        if not long:
            return plural(len(bolts), "bolt")
        if len(long) == len(bolts):
            return f"{plural(len(bolts), 'bolt')} through {most} members"
        return f"{plural(len(bolts), 'bolt')}, {len(long)} of them through {most} members"


def _match_words(bolt: Bolt, new) -> str:
    """'hole 3 of C on hole 1 of F', the new member first."""
    ordered = (
        bolt.through if bolt.through[0][0] in new or bolt.through[-1][0] not in new else bolt.through[::-1]
    )
    return " on ".join(f"hole {hole + 1} of {id}" for id, hole in ordered)


def _told_stuck(site: Site, members, names, frame: Frame) -> Steps:
    place = {m.id: k for k, m in enumerate(frame.members)}

    def ids(numbers):
        return tuple(sorted((names[site.frame.members[k].id] for k in numbers), key=place.get))

    def in_the_way(numbers):
        return f"{listed(ids(numbers))} {'is' if len(numbers) == 1 else 'are'} in the way"

    bolts, ways = why_stuck(site, members)
    why = [
        f"The bolt that joins {listed(ids(site.through[b]))} cannot be put in and turned: {in_the_way(blockers)}."
        for b, blockers in bolts
    ]
    why += [
        f"{ids([k])[0]} comes in from no side: {in_the_way(set().union(*blockers))}."
        for k, blockers in ways.items()
    ]
    return Steps((), (), ids(members), tuple(why))


def steps_text(steps: Steps, name: str = "") -> str:
    """The steps for a person to read, without the caution."""
    if not steps.steps:
        return "\n".join(
            [
                "There is no order in which every member comes straight to its place and every bolt can be turned.",
                *(f"  - {why}" for why in steps.why),
            ]
        )
    lines = [f"Build steps{': ' + name if name else ''}", ""]
    lines += [f"{s.number:>4}. {s.text}" for s in steps.steps]
    return "\n".join([*lines, "", "Leave bolts finger-tight until the last step.", ASSUMED])
