"""One long member whose middle something hides, or two in line with a gap between them: what the photos say.

What hides the middle of a member hides as well what lies behind it.  Openings of other members that are seen
through the place where the middle would be therefore speak for the gap.  So do holes missed on one face after
another, and edges across the faces where ends would be.  A piece that laps fewer than two others would not be
held.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from recon.geometry.arrays import BoolArray, FloatArray, IntArray
from recon.geometry.boxes import occluded
from recon.solve.evidence.along_line import (
    LineEvidence,
    LineOpenings,
    candidate_openings,
    lattice_openings,
)
from recon.solve.evidence.candidate import LEAST_EVIDENCE, LEAST_STEPS, Candidate, boxes
from recon.solve.evidence.many_lines import along_lines
from recon.solve.evidence.occluders import NOTHING, Occluders
from recon.solve.evidence.scene import Scene
from recon.solve.evidence.unknown_occluders import all_without_hidden_runs
from recon.solve.members.edges import colour_steps, edge_evidence
from recon.solve.members.laps import lap_count
from recon.solve.members.lengths import OtherEnds
from recon.solve.members.selection import LEAST_LAPS, UNHELD

LEAST_GAP = 2  # holes; a single one is missed now and then.  This project's choice
# Holes by which a piece may reach on into a gap unseen: another member that it laps hides its hole there and
# those beside it.  For being held alone; where it ends is sought afterwards.  This project's choice.
HIDDEN_AT_LAP = 3
GAPS = 0.1  # of the lines with a member, those with a second one in line.  This project's choice
# Pitches, and standard deviations of the members' play, by which an opening must lie inside the outline of
# the gap to be seen through it.  This project's choice.
OUTLINE, PLAYS = 0.1, 3.0
# Nats that one edge across a face says at most: the outline of what hides the middle lies anywhere between
# two holes, at one place of three near enough to the middle to look like an end (edges.NEAR, edges.FAR).
OUTLINE_NATS = float(np.log(3))


@dataclass(frozen=True)
class _Gap:
    """Holes ``start`` to ``stop`` - 1 of a candidate, of which the photos show hardly anything."""

    index: int
    start: int
    stop: int


@dataclass(frozen=True)
class _Found:
    """All N openings of all candidates, and what V photos show of them.

    Attributes
    ----------
    owner : int array, (N,)
        Number of the candidate.
    place : array, (N, 3)
        Pitches.
    hit : int array, (V, N)
        Index of the detection, -1 none.
    llr : array, (V, N)
        Nats.
    """

    owner: IntArray
    place: FloatArray
    hit: IntArray
    llr: FloatArray

    def explained(self, photo: int) -> BoolArray:
        """(N,) openings that are found in a photo."""
        return np.asarray((self.hit[photo] >= 0) & (self.llr[photo] > 0), bool)

    def of_others(self, photo: int, index: int) -> IntArray:
        """Numbers of the detections in a photo that candidates other than one explain."""
        return np.asarray(self.hit[photo][self.explained(photo) & (self.owner != index)])


@dataclass(frozen=True)
class _Looks:
    """What the photos show where gaps may be.

    Attributes
    ----------
    every : _Found
        Openings of all candidates.
    whole : Mapping[int, LineEvidence]
        Number of a candidate with a possible gap -> the evidence along it, behind all others.
    fits : Mapping[_Gap, int array (V, 4, K)]
        Detections that would fit openings of each middle itself, whatever hides it, -1 none.
    """

    every: _Found
    whole: Mapping[int, LineEvidence]
    fits: Mapping[_Gap, IntArray]


def with_gaps(scene: Scene) -> Scene:
    """The scene in which candidates that are two members in line, with a gap between them, are two.

    Examples
    --------
    A candidate that was seen at all of its holes stays as it is.

    >>> rail = Candidate(0, np.zeros(3), 9, 45.0, np.full(9, 5.0), np.ones(9, int))
    >>> [c.holes for c in with_gaps(Scene((), {}, 1.0, (rail,))).candidates]
    [9]
    """
    gaps = [g for i, c in enumerate(scene.candidates) for g in _possible_gaps(i, c)]
    if not gaps:
        return scene
    looks = _looks(scene, gaps)
    others = OtherEnds(scene.candidates, scene.ends) if scene.ends else None
    cuts: dict[int, list[_Gap]] = {}
    for gap in gaps:
        if _is_there(scene, gap, [g for g in gaps if g.index == gap.index], looks, others):
            cuts.setdefault(gap.index, []).append(gap)
    return scene.with_candidates(
        piece for i, c in enumerate(scene.candidates) for piece in _pieces(c, cuts.get(i, []))
    )


def _is_there(
    scene: Scene, gap: _Gap, in_line: Sequence[_Gap], looks: _Looks, others: OtherEnds | None
) -> bool:
    """Do the photos say that there is nothing?  Edges are looked at where they may settle it."""
    nats = _missed(gap, looks) + _seen_through(scene, gap, looks)
    whole = scene.candidates[gap.index]
    nats -= _cost(gap, in_line, whole.holes, others) + UNHELD * _unheld(
        scene, gap.index, _pieces(whole, [_narrowest(gap)])
    )
    if abs(nats) < 2 * len(scene.photos) * OUTLINE_NATS:
        nats += _ends_seen(scene, gap)
    return nats > 0


def _cost(gap: _Gap, in_line: Sequence[_Gap], holes: int, others: OtherEnds | None) -> float:
    """Nats that a gap costs: few lines have one, and it may start and stop at any two of its holes.

    Where the ends of all members are known, two members in line are the likelier the more others have the
    same ends as each of them, and the whole the more have the same as it has.

    in_line : all possible gaps of the candidate
    """
    if others is None:
        return float(np.log(max(holes * (holes - 1) / 2, 1) / GAPS))

    def chance(low: Sequence[int], high: Sequence[int]) -> float:
        return float(others.log_prior(gap.index, np.array(low), np.array(high)).max())

    # What hides the last holes of each is no gap; where there are more gaps in line, a piece may end there.
    low = [0, *(k for g in in_line if g.stop <= gap.start for k in _after(g))]
    high = [holes - 1, *(k for g in in_line if g.start >= gap.stop for k in _before(g))]
    return chance(low, high) - chance(low, _before(gap)) - chance(_after(gap), high) - float(np.log(GAPS))


def _before(gap: _Gap) -> range:
    """Holes that may be the last one of the piece before a gap."""
    return range(gap.start - 1, _narrowest(gap).start)


def _after(gap: _Gap) -> range:
    """Holes that may be the first one of the piece after a gap."""
    return range(_narrowest(gap).stop, gap.stop + 1)


def _narrowest(gap: _Gap) -> _Gap:
    """The gap, less the holes that the pieces on both sides of it may have there unseen."""
    unseen = min(HIDDEN_AT_LAP, max(0, (gap.stop - gap.start - LEAST_GAP) // 2))
    return _Gap(gap.index, gap.start + unseen, gap.stop - unseen)


def _unheld(scene: Scene, index: int, pieces: Sequence[Candidate]) -> int:
    """How many of the pieces of a candidate that is held lap too few others to be held."""
    alone = scene.with_candidates(scene.others(index))
    if lap_count(alone, scene.candidates[index]) < LEAST_LAPS:
        return 0
    return sum(lap_count(alone, piece) < LEAST_LAPS for piece in pieces)


def _possible_gaps(index: int, candidate: Candidate) -> list[_Gap]:
    """Runs of holes of which hardly anything is seen, between what would be members by themselves."""
    if candidate.fixed_ends is not None:
        return []
    marked = np.nonzero(candidate.seen > 0)[0]
    groups = np.split(marked, np.nonzero(np.diff(marked) > LEAST_GAP)[0] + 1) if len(marked) else []
    spans = [(int(g[0]), int(g[-1]) + 1) for g in groups if _is_member(candidate.part(g[0], g[-1] + 1))]
    return [_Gap(index, before[1], after[0]) for before, after in pairwise(spans)]


def _is_member(candidate: Candidate) -> bool:
    return candidate.evidence >= LEAST_EVIDENCE and int((candidate.seen > 0).sum()) >= LEAST_STEPS


def _pieces(candidate: Candidate, gaps: Sequence[_Gap]) -> list[Candidate]:
    """What is left of a candidate between its gaps, which are in order."""
    if not gaps:
        return [candidate]
    starts = [0, *(g.stop for g in gaps)]
    stops = [*(g.start for g in gaps), candidate.holes]
    return [candidate.part(a, b) for a, b in zip(starts, stops)]


def _ends_seen(scene: Scene, gap: _Gap) -> float:
    """Nats for ends of members on both sides of a gap, from edges across the faces there.

    What hides the middle of one member has an outline, too, but anywhere between two holes.
    """
    candidate = scene.candidates[gap.index]
    behind = scene.occluders.without(gap.index)
    places: FloatArray = np.arange(candidate.holes + 1, dtype=float) - 0.5
    between = (places > 0) & (places < candidate.holes - 1) & ((places < gap.start) | (places > gap.stop))
    between[[gap.start, gap.stop]] = False
    steps = (
        colour_steps(p, scene.picture(p), candidate, places, scene.width, behind)
        for p in scene.photos
        if p.name in scene.pictures
    )
    end, _ = edge_evidence(steps, between)
    return float(end[:, [gap.start, gap.stop]].clip(-OUTLINE_NATS, OUTLINE_NATS).sum())


def _openings_found(scene: Scene, gaps: Sequence[_Gap]) -> _Found:
    """What the photos show of all candidates if there are these gaps."""
    pieces = [_pieces(c, [g for g in gaps if g.index == i]) for i, c in enumerate(scene.candidates)]
    solid = Occluders(*boxes([p for some in pieces for p in some], scene.width))
    every = candidate_openings(scene)
    found = along_lines(scene.photos, every, [solid] * len(every))
    return _Found(
        np.repeat(np.arange(len(every)), [o.centre.shape[1] * 4 for o in every]),
        np.concatenate([o.centre.reshape(-1, 3) for o in every]),
        np.concatenate([e.hit.reshape(len(scene.photos), -1) for e in found], axis=1),
        np.concatenate([e.llr.reshape(len(scene.photos), -1) for e in found], axis=1),
    )


def _looks(scene: Scene, gaps: Sequence[_Gap]) -> _Looks:
    """All looks that tell whether there are these gaps, each kind in one go."""
    numbers = sorted({gap.index for gap in gaps})
    lines = [_openings_of(scene, scene.candidates[i]) for i in numbers]
    seen = along_lines(scene.photos, lines, [scene.occluders.without(i) for i in numbers])
    middles = [_openings_of(scene, scene.candidates[g.index].part(g.start, g.stop)) for g in gaps]
    fits = along_lines(scene.photos, middles, [NOTHING] * len(middles))
    return _Looks(
        _openings_found(scene, gaps),
        dict(zip(numbers, all_without_hidden_runs(seen))),
        {gap: evidence.hit for gap, evidence in zip(gaps, fits)},
    )


def _openings_of(scene: Scene, candidate: Candidate) -> LineOpenings:
    return lattice_openings(candidate.axis, candidate.first, candidate.holes, scene.width, candidate.own)


def _missed(gap: _Gap, looks: _Looks) -> float:
    """Nats for a gap from what is missed there: something would hide each face, from all photos alike.

    Openings of the middle that are found speak against it, but for those that another candidate explains.
    """
    middle = looks.whole[gap.index].part(gap.start, gap.stop)
    for v, hit in enumerate(middle.hit):
        middle.llr[v][(middle.llr[v] > 0) & np.isin(hit, looks.every.of_others(v, gap.index))] = 0.0
    nats = middle.llr.sum(2)
    return float((-nats).clip(0).max(0).sum() - nats.clip(0).sum())


def _seen_through(scene: Scene, gap: _Gap, looks: _Looks) -> float:
    """Nats of other candidates' openings that the photos show behind a gap.

    Each detection counts once, and none that would fit an opening of the middle itself.
    """
    middle = scene.candidates[gap.index].part(gap.start, gap.stop)
    low, high = middle.box(scene.width)
    every, fits = looks.every, looks.fits[gap]
    total = 0.0
    for v, photo in enumerate(scene.photos):
        inside = OUTLINE + PLAYS * photo.play
        seen = every.explained(v) & (every.owner != gap.index) & ~np.isin(every.hit[v], fits[v])
        seen[seen] = occluded(
            photo.camera.centre, every.place[seen], (low + inside)[None], (high - inside)[None]
        )
        best: dict[int, float] = {}
        for number, nats in zip(every.hit[v][seen].tolist(), every.llr[v][seen].tolist()):
            best[number] = max(nats, best.get(number, 0.0))
        total += sum(best.values())
    return total
