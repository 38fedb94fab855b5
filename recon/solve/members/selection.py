"""Members from evidence: the best stretches of lattice lines, one explanation for each detection."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from recon.geometry.arrays import BoolArray, IntArray
from recon.solve.evidence.along_line import (
    LineEvidence,
    LineOpenings,
    along_line,
    has_own_places,
    lattice_openings,
    own_place,
    with_wide_play,
)
from recon.solve.evidence.candidate import (
    LEAST_EVIDENCE,
    LEAST_STEPS,
    Candidate,
    LineKey,
    across,
    grown,
    line_key,
    line_span,
    same_line,
    shared_holes,
)
from recon.solve.evidence.kept_looks import KeptLook, looks_along, with_shared_free
from recon.solve.evidence.many_lines import LINES_AT_ONCE, along_likely_lines, along_lines
from recon.solve.evidence.occluders import Occluders, occluders_of
from recon.solve.evidence.own_place import OwnPlace
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.predictions import FOUND, PLACE
from recon.solve.evidence.scene import Scene
from recon.solve.evidence.unknown_occluders import all_without_hidden_runs, without_hidden_runs
from recon.solve.members.laps import candidates_evidence, lap_count, twin_laps
from recon.solve.members.line_reach import LineReach
from recon.solve.members.lines import Lines, line_first
from recon.solve.members.overlaps import resolve_overlap
from recon.solve.members.stretches import best_stretch
from recon.workers import ALONE, Workers

LEAST_MEAN = 1.35  # nats per opening in plain sight: of 359 right members on rendered photos 99 % have
# over 1.38, of 37 false ones two thirds under 1.3
LEAST_LAPS = 2  # that hold a member; common practice, no source
# Nats more for a member that is held by fewer: of 13 frames' false members (2) 17 and 25 in all, of the true
# ones at least 34.
UNHELD = 14.0
BEFORE_OWN_PLACE = 0.5  # of what a member needs, from which its own place is sought: that gives as much again
OWN_ROUNDS = 2  # of fitting a member's own place and looking again; nothing changed after the second
LOOKS_AT_ONCE = 16  # lines that are looked along again in one go: saves overhead
REACH = 10  # holes looked at past the ends of rows, and of members with an open end; this project's choice


@dataclass
class _Line:
    """A line on which a member is sought: what the photos say from step ``lo`` on, and its best stretch.

    The evidence is that without hidden runs.
    """

    key: LineKey
    lo: int
    occluders: Occluders
    evidence: LineEvidence
    openings: LineOpenings
    stale: bool = False  # a member was chosen since that may explain some of its detections
    own: OwnPlace | None = None  # of the member that its best stretch would be
    used: BoolArray | None = None  # holes of members that were chosen on this line, (K,)
    look: KeptLook | None = None  # what lies near its openings, once it had to be weighed again
    stretch: tuple[int, int, float] = field(init=False)

    def __post_init__(self) -> None:
        profile = self.evidence.profile
        a, b, total = best_stretch(profile if self.used is None else np.where(self.used, -np.inf, profile))
        self.stretch = a, b, total - (self.own.cost if self.own else 0.0)

    def beyond(self, start: int, stop: int) -> _Line:
        """The line with holes ``start`` to ``stop`` - 1 used, to be looked at again."""
        used = np.zeros(self.evidence.llr.shape[2], bool) if self.used is None else self.used.copy()
        used[start:stop] = True
        return replace(self, used=used, stale=True)

    def candidate(self) -> Candidate:
        """The member that the best stretch would be."""
        a, b, total = self.stretch
        part = self.evidence.part(a, b)
        return Candidate(
            self.key[0],
            line_first(self.key, self.lo + a),
            b - a,
            total,
            part.profile,
            part.marks,
            own=self.own,
        )


def select_members(
    scene: Scene,
    lines: Lines,
    deleted: Sequence[Candidate] = (),
    past_ends: int = REACH,
    own_places: bool = False,
    workers: Workers = ALONE,
) -> Scene:
    """The scene with its candidates chosen anew: the line with most evidence takes its detections first.

    The rest must do without them.  What is left of a line may be a second member.

    Parameters
    ----------
    scene : Scene
        Its candidates, of the last round, block the sight; those with fixed ends are chosen before all
        others.
    lines : Lines
        On which members are sought, with their steps.
    deleted : Sequence[Candidate]
        Members that are not there: nothing that lies on one with more than half of its holes is chosen.
    past_ends : int
        Holes looked at past the ends of the lines' steps.
    own_places : bool
        Whether members may be off the lattice where photos show play: once the cameras are known.
    workers : Workers
        Where the lines are looked along at first.
    """
    # Copies, in which detections are marked as they are explained.
    photos, free = with_shared_free(scene.photos)
    own_places = own_places and has_own_places(photos)
    waiting = _first_looks(scene.with_photos(photos), lines, past_ends, own_places, workers)
    chosen = _fixed_members(scene, photos)
    for line in waiting.values():
        line.stale = bool(chosen)
    reach = LineReach(photos, waiting)
    while waiting:
        line = max(waiting.values(), key=lambda x: x.stretch[2])
        a, b, total = line.stretch
        if total < LEAST_EVIDENCE:
            break
        if line.stale:
            evidence = without_hidden_runs(_with_looks(photos, line, waiting).evidence(free))
            waiting[line.key] = replace(line, evidence=evidence, stale=False)
            continue
        candidate = line.candidate()
        fitted = None
        if (candidate.seen > 0).sum() >= LEAST_STEPS and not _is_deleted(candidate, deleted):
            fitted, chosen = resolve_overlap(candidate, chosen, scene.width)
        if fitted is not None:
            chosen.append(fitted)
            a += round(float(fitted.first[fitted.axis] - candidate.first[fitted.axis]))
            b = a + fitted.holes
            taken = line.evidence.part(a, b).explained.reshape(len(photos), -1)
            _take(photos, taken)
            for key in reach.of(taken):
                if key in waiting:
                    waiting[key].stale = True
        waiting[line.key] = line.beyond(a, b)  # a second member may lie on it
    return scene.with_candidates(chosen)


def _is_deleted(candidate: Candidate, deleted: Sequence[Candidate]) -> bool:
    return any(
        same_line(candidate, d) and shared_holes(candidate, d) > 0.5 * candidate.holes for d in deleted
    )


def _take(photos: Sequence[PosedPhoto], hits: IntArray) -> None:
    """Marks detections as explained; hits : one array of their numbers (-1: none) for each photo."""
    for photo, hit in zip(photos, hits):
        photo.free[hit[hit >= 0]] = False


def _with_looks(photos: Sequence[PosedPhoto], line: _Line, waiting: dict[LineKey, _Line]) -> KeptLook:
    """The look along a line that is to be weighed again; some others get theirs in the same go."""
    if line.look is None:
        others = [x for x in waiting.values() if x.stale and x.look is None and x is not line]
        others = [x for x in others if x.stretch[2] >= LEAST_EVIDENCE]
        some = [line, *sorted(others, key=lambda x: -x.stretch[2])[: LOOKS_AT_ONCE - 1]]
        looks = looks_along(photos, [x.openings for x in some], [x.occluders for x in some])
        for x, look in zip(some, looks):
            x.look = look
        return looks[0]
    return line.look


def _at_own_places(photos: Sequence[PosedPhoto], lines: Sequence[_Line], width: float) -> list[_Line]:
    """The lines with the own places of the members that their best stretches would be.

    Each twice, from what is found; all are looked along in one go.
    """
    lattice = [_lattice_openings(line, width) for line in lines]
    out, waiting = list(lines), list(range(len(lines)))
    for _ in range(OWN_ROUNDS):
        moved = []
        for k in waiting:
            line = out[k]
            a, b, _ = line.stretch
            own = own_place(photos, line.key[0], lattice[k].part(a, b), line.evidence.part(a, b))
            if own is not None:
                moved.append((k, own, _lattice_openings(line, width, own)))
        seen = along_lines(photos, [o for _, _, o in moved], [out[k].occluders for k, _, _ in moved])
        for (k, own, openings), evidence in zip(moved, all_without_hidden_runs(seen)):
            line = out[k]
            out[k] = _Line(line.key, line.lo, line.occluders, evidence, openings, own=own)
        waiting = [k for k, _, _ in moved]
    return out


def _lattice_openings(line: _Line, width: float, own: OwnPlace | None = None) -> LineOpenings:
    """The openings of a line, on the lattice or at a member's own place."""
    first, count = line_first(line.key, line.lo), line.evidence.llr.shape[2]
    return lattice_openings(line.key[0], first, count, width, own)


def _fixed_members(scene: Scene, photos: Sequence[PosedPhoto]) -> list[Candidate]:
    """The candidates with fixed ends, which take their detections in the photos before all others."""
    chosen = []
    for candidate in scene.candidates:
        if candidate.fixed_ends is not None:
            found, hits = _fixed_member(scene, photos, candidate, candidate.fixed_ends)
            chosen.append(found)
            _take(photos, hits)
    return chosen


def _fixed_member(
    scene: Scene, photos: Sequence[PosedPhoto], candidate: Candidate, fixed: tuple[bool, bool]
) -> tuple[Candidate, IntArray]:
    """A candidate with fixed ends with what the photos show of it, and the detections that it explains.

    An end that is not fixed is put where the evidence from the other end, or the middle, is largest.
    """
    low, high = (0 if f else REACH for f in fixed)
    n = candidate.holes
    start = line_span(candidate)[0] - low
    openings = lattice_openings(
        candidate.axis, line_first(line_key(candidate), start), low + n + high, scene.width
    )
    others = occluders_of([c for c in scene.candidates if c is not candidate], scene.width)
    evidence = without_hidden_runs(along_line(photos, openings, others))
    profile = evidence.profile
    a, b = low, low + n
    middle = low + n // 2
    if high:
        base = low if fixed[0] else middle
        b = base + 1 + int(np.cumsum(profile[base:]).argmax())
    if low:
        base = b - 1 if fixed[1] else middle
        a = base - int(np.cumsum(profile[: base + 1][::-1]).argmax())
    part = evidence.part(a, b)
    found = replace(
        grown(candidate, low - a, b - low - n),
        evidence=float(profile[a:b].sum()),
        profile=profile[a:b],
        seen=part.marks,
    )
    return found, part.explained


def _first_looks(
    scene: Scene, lines: Lines, reach: int, own_places: bool, workers: Workers
) -> dict[LineKey, _Line]:
    """Evidence along every line, of those lines that could bear a member.

    Lines of known candidates are looked at past the candidate itself; all others, most of which bear nothing,
    past all candidates at first.
    """
    every = list(lines.items())
    some = [every[i : i + LINES_AT_ONCE] for i in range(0, len(every), LINES_AT_ONCE)]
    shares = np.array_split(np.arange(len(some)), min(workers.places, len(some)) or 1)
    look = partial(_likely_lines, scene=replace(scene, pictures={}), reach=reach, own_places=own_places)
    found = workers.map(look, [[some[k] for k in share] for share in shares])
    return {line.key: line for each in found for line in each}


def _likely_lines(
    some: Sequence[Sequence[tuple[LineKey, tuple[int, int]]]], scene: Scene, reach: int, own_places: bool
) -> list[_Line]:
    """Of lines with their steps, so many at a time, those that could bear a member; see `_first_looks`."""
    known = {line_key(c) for c in scene.candidates}
    off_line = _OffLine(scene)
    out: list[_Line] = []
    least = LEAST_EVIDENCE * (BEFORE_OWN_PLACE if own_places else 1.0)
    for together in some:
        keys = [key for key, _ in together]
        spans = [(lo - reach, hi + reach) for _, (lo, hi) in together]
        openings = [
            lattice_openings(key[0], line_first(key, lo), hi - lo + 1, scene.width)
            for key, (lo, hi) in zip(keys, spans)
        ]
        tried = [openings]
        if own_places:
            tried.append([with_wide_play(line, scene.photos) for line in openings])
        occluders = [off_line.of(key) if key in known else scene.occluders for key in keys]
        looks = [along_likely_lines(scene.photos, lines, occluders, least) for lines in tried]
        seen = [(k, o[k], e[k]) for k in range(len(keys)) for o, e in zip(tried, looks) if k in e]
        shown = all_without_hidden_runs([e for _, _, e in seen])
        likely = []
        for k, (key, (lo, _), behind) in enumerate(zip(keys, spans, occluders)):
            line = _likelier([_Line(key, lo, behind, e, o) for (j, o, _), e in zip(seen, shown) if j == k])
            if line is not None and line.stretch[2] >= least:
                line.occluders = off_line.of(key)
                likely.append(line)
        out += _at_own_places(scene.photos, likely, scene.width) if own_places else likely
    return [line for line in out if line.stretch[2] >= LEAST_EVIDENCE]


def _likelier(looks: Sequence[_Line]) -> _Line | None:
    """Of several looks along a line that which shows most of a member; None of none."""
    return max(looks, key=lambda line: line.stretch[2], default=None)


class _OffLine:
    """The candidates of a scene as boxes, of which those on a line are left out."""

    def __init__(self, scene: Scene) -> None:
        self.all, self.reach = scene.occluders, 0.9 * scene.width
        self.axis = np.array([c.axis for c in scene.candidates], int)
        self.first = np.array([c.first for c in scene.candidates]).reshape(-1, 3)

    def of(self, key: LineKey) -> Occluders:
        """Boxes of the candidates that are not on the line itself."""
        axis, sides = key[0], across(key[0])
        off = np.abs(self.first[:, sides] - line_first(key, 0)[sides]).max(axis=1)
        apart = (self.axis != axis) | (off >= self.reach)
        return Occluders(self.all.lo[apart], self.all.hi[apart])


def members_evidence(scene: Scene) -> float:
    """Nats of all candidates, less what it costs to say where each is: fewer members are likelier."""
    return sum(c.evidence - LEAST_EVIDENCE for c in scene.candidates)


def enough_evidence(scene: Scene) -> Scene:
    """The scene less candidates of whose openings in plain sight too few are found; fixed ones stay.

    Where members have play, a detection is looked for in a wider place, so that each says less.  A member is
    bolted at two places or more; one that laps less must be seen the better, by detections of its own.  One
    that would be held as its twin is needs no more than that it is there likelier than not.
    """
    less = [FOUND * np.log1p((p.play / PLACE) ** 2) for p in scene.photos]
    kept = []
    for c, found in zip(scene.candidates, candidates_evidence(scene)):
        total = found.llr.sum() - (c.own.cost if c.own else 0.0)
        least = float((found.visible.sum((1, 2)) * (LEAST_MEAN - np.array(less))).sum())
        held = lap_count(scene, c) >= LEAST_LAPS or c.evidence >= LEAST_EVIDENCE + UNHELD
        enough = held and total >= max(LEAST_EVIDENCE, least)
        if not enough and total >= LEAST_EVIDENCE:
            enough = twin_laps(scene, c) >= LEAST_LAPS
        if c.fixed_ends is not None or enough:
            kept.append(c)
    return scene.with_candidates(kept)
