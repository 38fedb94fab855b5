"""Why no frame is claimed: the cause, what was seen in numbers, and what to do about that cause."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

import cv2
import numpy as np

from recon.geometry.arrays import FloatArray
from recon.image.rows import Row, find_rows
from recon.solve.photo.beyond_planes import planes_of
from recon.solve.photo.photo_reading import PhotoReading
from recon.solve.photo.plane_pattern import PlanePattern, find_plane_patterns
from recon.solve.photo.read_photo import LEAST_OPENINGS, SEED_OPENINGS, SURE_ROW

LEAST_HOLE_PX = 3.0  # smaller ones are found less than 3 times of 4 (rendered frames, by minor axis)
WANTED_HOLE_PX = 6  # asked for: twice that
# Standard deviation, px, of the blur across edges: it takes half of the contrast of a hole of WANTED_HOLE_PX
# (1 - exp(-3^2 / (2 * 2.5^2)) = 0.51).
MOST_BLUR_PX = 2.5
REBLUR_PX = 1.0  # by which edges are blurred again to measure them; Zhuo and Sim 2011, section 3, from memory
EDGE_SHARE = 99.0  # percentile of gradients from which a pixel is on an edge; this project's choice
LEAST_ROWS = 3  # fewer give no camera
PLANE_SHARE = 0.33  # of the openings in rows, on planes; three of printed dots had 0.33 to 0.5
ONE_WAY_DEG = 2.0  # between a row and the way to the vanishing point of all; a lens bends rows by 0.6
ONE_WAY_SHARE = 0.9  # of the rows that run to it, for all to run one way; this project's choice
MOST_NAMES = 3  # photos named for one cause


class Cause(Enum):
    """Why a photo shows no frame: what to do about it."""

    BLUR = "Hold the camera still, focus on the frame, and photograph it in more light."
    SMALL_HOLES = (
        "Photograph the frame from nearer by, or with all of the camera's pixels, so that each hole is at "
        f"least {WANTED_HOLE_PX} px wide."
    )
    FEW_ROWS = (
        "Photograph the whole frame from a corner, in even light, so that at least three members show four "
        "holes or more."
    )
    ONE_PLANE = (
        "If a frame stands before it, photograph it from a corner, so that two faces of its members are in "
        "sight, before a background without a pattern."
    )
    CAMERA_UNKNOWN = (
        "Photograph the frame from a corner rather than straight on, so that members of two or three "
        "directions are in sight."
    )
    FIT_NO_CAMERA = (
        "Use the photo as the camera took it, not cropped, stretched or from a fisheye; and photograph one "
        "frame alone, whose members stand square to one another."
    )
    NO_WIDTH = (
        "Photograph the frame from a corner, so that two faces of its members and the laps between them are "
        "in sight."
    )


@dataclass(frozen=True)
class PhotoCause:
    """Why one photo shows no frame.

    Attributes
    ----------
    photo : str
        Its name.
    cause : Cause
    seen : str
        What was seen, in numbers; begins in lower case.
    """

    photo: str
    cause: Cause
    seen: str


def why_no_frame(
    readings: Sequence[PhotoReading],
    pictures: Mapping[str, np.ndarray],
    scales: Mapping[str, float] | None = None,
) -> str:
    """The sentences of a refusal: for each cause the photos, what was seen and what to do.

    Parameters
    ----------
    readings : of all photos, one by one
    pictures : photo -> (H, W, 3) uint8 BGR, as they were read
    scales : photo -> of that picture over the photo, where it is not 1; sizes are said in the photo's pixels

    Examples
    --------
    >>> from recon.image.openings import OPENING
    >>> wall = PhotoReading("wall.jpg", (80, 60), np.zeros(3, OPENING), None, None, (1.0, np.inf), 0.0)
    >>> print(why_no_frame([wall], {"wall.jpg": np.zeros((60, 80, 3), np.uint8)}))
    No frame could be read from this photo. wall.jpg: 3 openings can be seen, too few for rows. Photograph \
the whole frame from a corner, in even light, so that at least three members show four holes or more.
    """
    found = [cause_of(r, pictures[r.name], (scales or {}).get(r.name, 1.0)) for r in readings]
    parts = [
        f"No frame could be read from {'this photo' if len(found) == 1 else f'these {len(found)} photos'}."
    ]
    for cause in dict.fromkeys(f.cause for f in found):
        same = [f for f in found if f.cause is cause]
        parts += [f"{f.photo}: {f.seen}." for f in same[:MOST_NAMES]]
        if len(same) > MOST_NAMES:
            parts.append(f"{len(same) - MOST_NAMES} more photos are like this.")
        parts.append(cause.value)
    return " ".join(parts)


def cause_of(reading: PhotoReading, picture: np.ndarray, scale: float = 1.0) -> PhotoCause:
    """Why one photo shows no frame.

    Parameters
    ----------
    reading : of the photo by itself
    picture : (H, W, 3) uint8 BGR, as it was read
    scale : of that picture over the photo, in whose pixels sizes are said
    """

    def because(cause: Cause, seen: str) -> PhotoCause:
        return PhotoCause(reading.name, cause, seen)

    openings = reading.detected
    n = len(openings)
    rows = [r for r in find_rows(openings[:SEED_OPENINGS]) if r.log_nfa < SURE_ROW]
    in_rows = np.unique(np.concatenate([np.zeros(0, int), *(r.index for r in rows)]))
    patterns = find_plane_patterns(openings)
    planes = planes_of(openings)
    on = planes.sheets | planes.wide
    for pattern in patterns:
        on[pattern.index] = True
    if patterns and on[in_rows].sum() >= PLANE_SHARE * len(in_rows):
        return because(Cause.ONE_PLANE, _planes_seen(patterns, reading, scale))
    if len(rows) < LEAST_ROWS:
        blur = edge_blur_px(picture)
        if blur > MOST_BLUR_PX:
            return because(
                Cause.BLUR, f"it is blurred, its edges by {blur / scale:.0f} px; {_rows_seen(n, rows)}"
            )
    if len(in_rows):
        hole = float(np.median(openings["minor"][in_rows]))
        if hole < LEAST_HOLE_PX:
            return because(Cause.SMALL_HOLES, f"{_rows_seen(n, rows)}, of holes {hole / scale:.1f} px wide")
    if n < LEAST_OPENINGS:
        return because(Cause.FEW_ROWS, f"{_count(n, 'opening')} can be seen, too few for rows")
    if len(rows) < LEAST_ROWS:
        return because(Cause.FEW_ROWS, _rows_seen(n, rows))
    if one_way(openings, rows):
        return because(
            Cause.CAMERA_UNKNOWN, f"{_rows_seen(n, rows)}, which all run one way: the camera is unknown"
        )
    if reading.photo is None:
        return because(Cause.FIT_NO_CAMERA, f"{_rows_seen(n, rows)}, which fit no camera together")
    return because(
        Cause.NO_WIDTH,
        f"{_rows_seen(n, rows)}, but none is clearly a member's: no lap of members that show two faces",
    )


def _rows_seen(openings: int, rows: Sequence[Row]) -> str:
    """How many rows of how many openings."""
    if not rows:
        return f"{_count(openings, 'spot')} could be openings, but they make no row"
    return f"{_count(len(rows), 'row')} of {_range([len(r.index) for r in rows])} openings can be seen"


def _planes_seen(patterns: Sequence[PlanePattern], reading: PhotoReading, scale: float) -> str:
    """What planes there are, and what the largest says of the focal length."""
    best = patterns[0]
    across, down = sorted(best.shape, reverse=True)
    text = f"{len(best.index)} openings lie on one plane, in {across} by {down} lines"
    if len(patterns) > 1:
        text += (
            f", and {sum(len(p.index) for p in patterns[1:])} on {_count(len(patterns) - 1, 'plane')} more"
        )
    text += ", as printed dots, tiles, a grating or perforated sheet have them, and no member stands out; "
    openings = reading.detected[best.index]
    px = np.c_[openings["x"], openings["y"]]
    from recon.solve.photo.plane_camera import focal_of_plane  # loads SciPy's solvers, for this alone

    focal = focal_of_plane(best.node, px, reading.size)
    if focal.known:
        known = f"{focal.focal_px / scale:.0f} px ± {100 * focal.spread:.0f} %"
        return f"{text}if it is a square lattice or one of 60°, the focal length is {known}"
    return f"{text}the plane is seen too straight on to say the focal length"


def _count(n: int, noun: str) -> str:
    return f"{n} {noun}{'' if n == 1 else 's'}"


def _range(counts: Sequence[int]) -> str:
    low, high = min(counts), max(counts)
    return f"{low}" if low == high else f"{low} to {high}"


def edge_blur_px(picture: np.ndarray) -> float:
    """Standard deviation of the blur across a picture's strongest edges, px; 0 where it has none.

    Parameters
    ----------
    picture : (H, W, 3) uint8 BGR

    Notes
    -----
    Of an edge blurred by s, the gradient falls by R = sqrt(s^2 + b^2) / s when it is blurred again by b; so
    s = b / sqrt(R^2 - 1) (Zhuo and Sim 2011, doi:10.1016/j.patcog.2011.03.009).

    Examples
    --------
    >>> picture = np.zeros((80, 120, 3), np.uint8)
    >>> picture[:, 60:] = 200
    >>> round(edge_blur_px(cv2.GaussianBlur(picture, (0, 0), 4.0)))
    4
    """
    grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY).astype(np.float32)
    # Noise is no edge: both are seen through a blur, which is taken off again.
    calm = cv2.GaussianBlur(grey, (0, 0), REBLUR_PX)
    again = cv2.GaussianBlur(calm, (0, 0), REBLUR_PX)
    first, second = _gradient(calm), _gradient(again)
    strong = (first >= np.percentile(first, EDGE_SHARE)) & (first > 1.0)
    if not strong.any():
        return 0.0
    ratio = np.maximum(first[strong] / np.maximum(second[strong], 1e-6), 1.001)
    total = float(np.median(REBLUR_PX / np.sqrt(ratio**2 - 1)))
    return float(np.sqrt(max(total**2 - REBLUR_PX**2, 0.0)))


def _gradient(grey: np.ndarray) -> FloatArray:
    """Length of the gradient, grey levels a px."""
    down, right = np.gradient(grey)
    return np.hypot(down, right).astype(float)


def one_way(openings: np.ndarray, rows: Sequence[Row]) -> bool:
    """Do all rows run to one vanishing point?  They then fix no camera.

    Parameters
    ----------
    openings : (N,), dtype OPENING
    rows : at least one
    """
    xy = np.c_[openings["x"], openings["y"]]
    scale = float(np.ptp(xy, axis=0).max()) or 1.0
    fitted = [_line((xy[r.index] - xy.mean(0)) / scale) for r in rows]
    lines, middles = np.array([line for line, _ in fitted]), np.array([middle for _, middle in fitted])
    best = 0.0
    for i in range(len(lines)):
        for j in range(i):
            v = np.cross(lines[i], lines[j])
            way = v[:2] - v[2] * middles
            sine = np.abs((way * lines[:, :2]).sum(1)) / np.maximum(np.linalg.norm(way, axis=1), 1e-12)
            best = max(best, float((sine < np.sin(np.radians(ONE_WAY_DEG))).mean()))
    return best >= ONE_WAY_SHARE


def _line(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(3,) a, b, c of the line a x + b y + c = 0 through points, (a, b) unit; and (2,) their middle."""
    middle = points.mean(0)
    normal = np.linalg.svd(points - middle)[2][1]
    return np.array([*normal, -normal @ middle]), middle
