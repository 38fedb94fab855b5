"""The user's corrections of a frame read before: a further reading keeps them and solves the rest."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import count

import numpy as np
from numpy.typing import ArrayLike

from recon.frame.confidence import SURE
from recon.frame.lattice import overlap
from recon.frame.model import Frame, Member, as_tuple, axis_of, label
from recon.frame.objection import Objection
from recon.geometry.arrays import FloatArray
from recon.geometry.camera import Camera
from recon.image.openings import OPENING
from recon.solve.evidence.candidate import (
    LEAST_EVIDENCE,
    LEAST_STEPS,
    Candidate,
    runs_into,
    same_line,
    shared_holes,
)
from recon.solve.evidence.scene import Scene
from recon.solve.members.ends import find_ends
from recon.solve.members.laps import candidate_evidence

MARK_REACH = 0.75  # of an opening's major axis: a mark is meant for the opening under it, not for the next
ROUND_MARK = 9  # detections nearest to a mark, whose size it takes; this project's choice
PLAIN = 6  # openings in plain sight from which a photo can say that a member is not there


@dataclass(frozen=True)
class Constraints:
    """A frame that was read before, and what of it the user vouches for.

    Attributes
    ----------
    frame : Frame
        In the place where the corrections hold, with the cameras of its photos.
    ends : dict[str, tuple[bool, bool]]
        id -> (at hole 0, at the last hole): members that are there, and which of their ends are certain.
    deleted : tuple[Member, ...]
        Members that are not there.
    missed, false : dict[str, array]
        photo -> (N, 2) px in the photo: openings that were missed, and detections that are none.
    """

    frame: Frame
    ends: dict[str, tuple[bool, bool]] = field(default_factory=dict)
    deleted: tuple[Member, ...] = ()
    missed: dict[str, FloatArray] = field(default_factory=dict)
    false: dict[str, FloatArray] = field(default_factory=dict)


def apply_marks(openings: np.ndarray, missed: ArrayLike, false: ArrayLike, scale: float) -> np.ndarray:
    """A photo's detections with the openings that the user marked, less those that the user called none.

    A marked opening is as large as the median of the detections round it, and as sure as the surest of all.

    Parameters
    ----------
    openings : array, (N,)
        dtype OPENING, in the working copy.
    missed, false : array_like, (M, 2)
        px in the photo.
    scale : float
        Of the working copy over the photo.

    Examples
    --------
    >>> table = np.zeros(3, OPENING)
    >>> table["x"], table["y"], table["major"] = [10, 30, 50], 20, 6
    >>> sorted(float(x) for x in apply_marks(table, [[70, 20]], [[31, 20]], 1.0)["x"])
    [10.0, 50.0, 70.0]
    """
    keep = np.ones(len(openings), bool)
    for x, y in _working_px(false, scale):
        keep &= np.hypot(openings["x"] - x, openings["y"] - y) > MARK_REACH * openings["major"]
    openings = openings[keep]
    new = []
    for x, y in _working_px(missed, scale):
        far = np.hypot(openings["x"] - x, openings["y"] - y)
        if not len(far) or (far < MARK_REACH * openings["major"] / 2).any():
            continue
        like = openings[np.argsort(far)[:ROUND_MARK]]
        row = np.zeros(1, OPENING)
        for name in ("major", "minor", "contrast"):
            row[name] = np.median(like[name])
        row["angle"] = like["angle"][0]
        row["x"], row["y"], row["score"] = x, y, openings["score"].max()
        new.append(row)
    return np.concatenate([*new, openings])


def _working_px(px: ArrayLike, scale: float) -> FloatArray:
    return (np.asarray(px, float).reshape(-1, 2) + 0.5) * scale - 0.5


def width_of(constraints: Constraints) -> float:
    """The width (pitches) of most of the frame's members: that of its lattice."""
    widths = [m.width for m in constraints.frame.members]
    return max(sorted(set(widths)), key=widths.count)


def cameras_of(frame: Frame, scales: Mapping[str, float]) -> dict[str, Camera]:
    """Photo -> camera in the working copy's pixels, of the photos that the frame was read from.

    Parameters
    ----------
    scales : Mapping[str, float]
        photo -> size of the working copy over the photo's.
    """
    return {
        p.file: p.camera.resized(scales[p.file])
        for p in frame.photos
        if p.used and p.camera and p.file in scales
    }


def known_candidates(constraints: Constraints) -> list[Candidate]:
    """The frame's members along the axes, those that the user vouches for with fixed ends."""
    candidates = []
    for m in constraints.frame.members:
        fixed = constraints.ends.get(m.id)
        c = candidate_of(m)
        if c is not None and m.on_lattice:
            if fixed and not np.allclose(c.first, m.first):
                fixed = fixed[1], fixed[0]  # its holes count the other way
            candidates.append(replace(c, fixed_ends=fixed, name=m.id))
    return candidates


def candidate_of(m: Member) -> Candidate | None:
    """A member as a bare candidate, lowest hole first; None where it runs along no axis.

    Examples
    --------
    >>> c = candidate_of(Member("A", (0, 0, 4), (0, 0, -1), 5))
    >>> c.axis, c.first.tolist(), c.holes
    (2, [0.0, 0.0, 0.0], 5)
    """
    axis = axis_of(m)
    return None if axis is None else Candidate.bare(axis, np.minimum(m.first, m.last), m.holes)


def deleted_candidates(constraints: Constraints) -> list[Candidate]:
    """Members along the axes that the user says are not there."""
    return [c for m in constraints.deleted for c in [candidate_of(m)] if c is not None and m.on_lattice]


def without_deleted(members: Iterable[Member], constraints: Constraints | None) -> list[Member]:
    """The members less those that lie on one which the user says is not there."""
    deleted = constraints.deleted if constraints else ()
    return [m for m in members if not any(overlap(d, m) > 0.5 * m.holes for d in deleted)]


def labels_of(candidates: Sequence[Candidate], constraints: Constraints | None) -> list[str]:
    """A label for each candidate: of the member before that shares most of its line, else a free one."""
    if constraints is None:
        return [label(i) for i in range(len(candidates))]
    before = known_candidates(constraints)
    pairs = sorted(
        (
            (shared_holes(c, b), b.fixed_ends is not None, b.name, i)
            for i, c in enumerate(candidates)
            for b in before
            if same_line(c, b)
        ),
        key=lambda p: (not p[1], -p[0]),
    )
    names = {i: c.name for i, c in enumerate(candidates) if c.fixed_ends is not None}
    for _, _, name, i in pairs:
        if i not in names and name not in names.values():
            names[i] = name
    spare = spare_labels({m.id for m in constraints.frame.members} | set(names.values()))
    return [names.get(i) or next(spare) for i in range(len(candidates))]


def spare_labels(taken: Iterable[str]) -> Iterator[str]:
    """Labels that are not taken, one after another.

    Examples
    --------
    >>> labels = spare_labels({"A", "C"})
    >>> next(labels), next(labels)
    ('B', 'D')
    """
    used = set(taken)
    return (name for name in map(label, count()) if name not in used)


def objections(scene: Scene, constraints: Constraints) -> list[Objection]:
    """Where the photos clearly show something else than the user says.

    Ends that lie elsewhere, members that cannot be seen, members that are there.

    Parameters
    ----------
    scene : Scene
        Solved around the constraints.
    """
    members = {m.id: m for m in constraints.frame.members}
    out = []
    for i, c in enumerate(scene.candidates):
        if c.fixed_ends is not None:
            out += _on_kept(scene, i, c.fixed_ends, members[c.name])
    for member in constraints.deleted:
        out += _on_deleted(scene, member)
    return out


def _on_kept(scene: Scene, index: int, fixed: tuple[bool, bool], member: Member) -> list[Objection]:
    """What the photos show otherwise of a member that the user vouches for."""
    candidate = scene.candidates[index]
    found = candidate_evidence(scene, candidate)
    if found.llr.sum() < 0 and found.visible.sum() >= PLAIN:
        return [Objection(member, None)]
    last = candidate.holes - 1
    low, high = (
        g.best if f and g.sure > SURE else k for g, f, k in zip(find_ends(scene, index), fixed, (0, last))
    )
    if (low, high) == (0, last) or high < low:
        return []
    first = candidate.first.copy()
    first[candidate.axis] += low
    way = as_tuple(np.eye(3)[candidate.axis])
    return [Objection(member, replace(member, first=as_tuple(first), direction=way, holes=high - low + 1))]


def _on_deleted(scene: Scene, member: Member) -> list[Objection]:
    """A member that the user says is not there, where the photos show it."""
    candidate = candidate_of(member)
    if candidate is None or runs_into(candidate, scene.candidates, scene.width):
        return []
    found = candidate_evidence(scene, candidate)
    holes_seen = ((found.llr > 0).sum((0, 1)) > 0).sum()
    if found.llr.sum() < LEAST_EVIDENCE or holes_seen < LEAST_STEPS:
        return []
    return [Objection(member, member, deleted=True)]
