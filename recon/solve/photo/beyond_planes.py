"""Frames before tiles, dots and perforated sheet: what lies on planes, and what is read beyond them.

A floor of tiles has more rows than the frame that stands on it, and its own vanishing points.  A photo whose
rows lie on plane patterns is read without these openings, too.  Either all rows are the frame's, or the
patterns are planes of their own and the frame explains the others: what explains more nats wins.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from recon.geometry.arrays import BoolArray, IntArray
from recon.geometry.camera import Camera
from recon.geometry.lattice import rotations
from recon.solve.photo.photo_reading import PhotoReading
from recon.solve.photo.plane_pattern import find_plane_patterns, on_plane

LEAST_LINES = 4  # both ways; of 90 photos of frames 22 show patterns of rails, 17 of these of 3 lines
# Of a pattern whose plane is looked along further: fewer fix it badly; this project's choice.
SPREADING_NODES = 30
ROUNDS = 5  # of looking for patterns among what is left; bounds the time
MOST_PATTERNS = 30  # bounds the time on gravel
# Of one camera: focal lengths by this factor apart, and axes by so many degrees; this project's choice.
SAME_FOCAL, SAME_TURN_DEG = 1.1, 3.0
AS_WELL = 0.95  # of another lattice's agreement: then the rows on planes lie on it; this project's choice


@dataclass(frozen=True)
class Planes:
    """Which of N openings lie on plane patterns.

    Attributes
    ----------
    sheets : (N,) on those that no members show.
    wide : (N,) on others of more lines, both ways, than rails side by side make.
    wide_evidence : nats of these, against clutter.
    """

    sheets: BoolArray
    wide: BoolArray
    wide_evidence: float


def planes_of(openings: np.ndarray) -> Planes:
    """The planes of dots, tiles and perforations among openings, (N,) of dtype OPENING, best first.

    Large ones are followed past what hides parts of them; what a lens bends away from one is looked for as
    another.

    Examples
    --------
    >>> from recon.image.openings import OPENING
    >>> openings = np.zeros(60, OPENING)
    >>> openings["x"], openings["y"] = 50 + 20.0 * (np.arange(60) % 10), 40 + 20.0 * (np.arange(60) // 10)
    >>> openings["major"], openings["minor"] = 7.0, 7.0
    >>> planes_of(openings).sheets.all(), planes_of(openings[:40]).wide.all()
    (np.True_, np.True_)
    """
    sheets, wide = np.zeros((2, len(openings)), bool)
    evidence = 0.0
    for _ in range(ROUNDS):
        left = np.nonzero(~sheets & ~wide)[0]
        found = [p for p in find_plane_patterns(openings[left], MOST_PATTERNS) if min(p.shape) >= LEAST_LINES]
        for pattern in found:
            marks = sheets if pattern.is_sheet else wide
            marks[left[pattern.index]] = True
            if len(pattern.index) >= SPREADING_NODES:
                marks[left[on_plane(pattern, openings[left])]] = True
        evidence += sum(p.evidence for p in found if not p.is_sheet)
        if not any(len(p.index) >= SPREADING_NODES for p in found):
            break
    return Planes(sheets, wide & ~sheets, evidence)


def share_on(on: BoolArray, rows: Sequence[IntArray]) -> float:
    """The share of the openings of rows, given by their numbers, that are marked.

    Examples
    --------
    >>> share_on(np.array([True, False, False, False]), [np.array([0, 1]), np.array([2, 3])])
    0.25
    """
    return float(on[np.concatenate(rows)].mean()) if len(rows) else 0.0


def better_of(whole: PhotoReading | None, beyond: PhotoReading | None, planes: float) -> PhotoReading | None:
    """Of a photo's reading with all openings and one beyond its plane patterns the likelier one.

    Parameters
    ----------
    whole, beyond : None where nothing was read
    planes : nats of the patterns, which explain the openings that the second leaves out
    """
    if whole is None or beyond is None or whole.lattice is None or beyond.lattice is None:
        return beyond or whole
    if _same_camera(whole.lattice.camera, beyond.lattice.camera):
        as_well = whole.lattice.agreement >= AS_WELL * beyond.lattice.agreement
        return whole if as_well else beyond
    return whole if whole.worth >= beyond.worth + planes else beyond


def _same_camera(a: Camera, b: Camera) -> bool:
    """Are focal lengths and axes nearly the same, but for which axis is which?"""
    if abs(np.log(a.f / b.f)) > np.log(SAME_FOCAL):
        return False
    between = np.einsum("ji,jk,nki->n", a.R, b.R, rotations())  # traces of a' b r
    return bool(between.max() > 1 + 2 * np.cos(np.radians(SAME_TURN_DEG)))
