"""Frames before tiles, dots and perforated sheet: what lies on planes, and what is read beyond them.

A floor of tiles has more rows than the frame that stands on it, and its own vanishing points.  A photo whose
rows lie on plane patterns is read without these openings, too.  Either all rows are the frame's, or the
patterns are planes of their own and the frame explains the others: what explains more nats wins.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from recon.geometry.arrays import BoolArray, FloatArray, IntArray
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
# Of rows of a frame's members on one plane: along an axis to so many degrees, its lattice's camera being good
# to a tenth of that on made-up photos; and lines so many pitches apart, where those of dots are one apart and
# members one width at least.  This project's choices.
ALONG_DEG, LINES_APART = 1.5, 1.8
AS_WELL = 0.95  # of another lattice's agreement: then the rows on planes lie on it; this project's choice


@dataclass(frozen=True)
class Planes:
    """Which of N openings lie on plane patterns.

    Attributes
    ----------
    sheets : (N,) on those that no members show.
    wide : (N,) on others of more lines, both ways, than rails side by side make.
    wide_evidence : nats of these, against clutter.
    each_sheet : of each sheet the numbers of its openings, and the (3, 3) homography from nodes to px.
    """

    sheets: BoolArray
    wide: BoolArray
    wide_evidence: float
    each_sheet: tuple[tuple[IntArray, FloatArray], ...] = ()

    def without_members(self, camera: Camera) -> Planes:
        """These less the sheets that are rows of members side by side before a camera on the frame's lattice.

        Posts of a scaffold stand in one plane, and their openings repeat there in two directions.
        """
        kept = tuple(s for s in self.each_sheet if not are_members(s[1], camera))
        sheets = np.zeros_like(self.sheets)
        for numbers, _ in kept:
            sheets[numbers] = True
        return replace(self, sheets=sheets, each_sheet=kept)


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
    evidence, each_sheet = 0.0, []
    for _ in range(ROUNDS):
        left = np.nonzero(~sheets & ~wide)[0]
        found = [p for p in find_plane_patterns(openings[left], MOST_PATTERNS) if min(p.shape) >= LEAST_LINES]
        for pattern in found:
            numbers = left[pattern.index]
            if len(pattern.index) >= SPREADING_NODES:
                numbers = np.union1d(numbers, left[on_plane(pattern, openings[left])])
            (sheets if pattern.is_sheet else wide)[numbers] = True
            if pattern.is_sheet:
                each_sheet.append((numbers, pattern.homography))
        evidence += sum(p.evidence for p in found if not p.is_sheet)
        if not any(len(p.index) >= SPREADING_NODES for p in found):
            break
    return Planes(sheets, wide & ~sheets, evidence, tuple(each_sheet))


def are_members(homography: FloatArray, camera: Camera) -> bool:
    """Is a plane pattern, nodes to px, rows along an axis of the frame, further apart than holes are?

    Examples
    --------
    Rows along y, six pitches apart and each three holes above the last, on a plane that the camera looks at.

    >>> at = np.array([[6.0, 0, -9], [3, 1, -9], [0, 0, 30]])  # from nodes to places before the camera
    >>> camera = Camera(1000.0, 400.0, 300.0)
    >>> K = np.array([[1000.0, 0, 400], [0, 1000, 300], [0, 0, 1]])
    >>> are_members(K @ at, camera), are_members(K @ at @ np.diag([1, 6.0, 1]), camera)
    (True, False)
    """
    sensor = np.linalg.inv(np.array([[camera.f, 0, camera.cx], [0, camera.f, camera.cy], [0, 0, 1]]))
    steps = (camera.R.T @ (sensor @ homography)[:, :2]).T
    length = np.linalg.norm(steps, axis=1)
    k = int(length.argmin())
    way = steps[k] / length[k]
    apart = steps[1 - k] - (steps[1 - k] @ way) * way
    off = float(np.linalg.norm(apart))
    if off < LINES_APART * length[k]:
        return False
    least = np.cos(np.radians(ALONG_DEG))
    return bool(np.abs(way).max() > least and np.abs(apart).max() > least * off)


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
