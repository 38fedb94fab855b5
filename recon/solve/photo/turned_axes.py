"""Cameras turned round the one direction that a photo's rows tell well: where else its openings make rows.

Of a frame with long posts and short rails, among clutter, the posts' rows alone may be clear.  They fix one
vanishing point; round it the other two directions may lie anywhere.  Sought again along the directions of
each turn, openings too few to make a clear row by themselves, which agree with the posts' distance and hole,
make rows in the right turn and hardly any in others.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from scipy.spatial.transform import Rotation

from recon.geometry.arrays import FloatArray
from recon.geometry.camera import Camera
from recon.solve.evidence.camera_prior import CameraPrior, camera_prior
from recon.solve.photo.axis_rows import AxisRow
from recon.solve.photo.row_points import RowPoints, row_points
from recon.solve.photo.vanishing_points import AxesCamera, alike_cameras, refine_camera, with_axes

FindRows = Callable[[AxesCamera, int], Sequence[AxisRow]]

# Degrees from one turn to the next: rows were found up to 3 degrees beside the right turn, in part.
TURN_STEP = 6
# Focal lengths over the long side where EXIF says none: full pictures to crops, a third apart.
FOCALS = (0.6, 0.8, 1.05, 1.4, 1.9)
SAME_DIRECTION = np.cos(
    np.radians(8)
)  # of two vanishing points, seen over the long side; this project's choice
SEARCHED = 2000  # openings, best first, that the turns are compared by; bounds the time
MOST_DIRECTIONS = 2  # turned round, those with most rows first; bounds the time
MOST_CAMERAS = 3  # followed further, most evidence first: the right one came second at worst, of eight
ROUNDS = 2  # of finding rows along the axes and adjusting the camera to them
LIKELY_ROW = 8.0  # nats from which a row is likelier one than clutter, for its weight; this project's choice


def turned_axes(
    found: Sequence[AxesCamera],
    openings: np.ndarray,
    points: RowPoints,
    value: FloatArray,
    size: tuple[int, int],
    focal_px: float | None,
    find: FindRows,
    least: float = 0.0,
) -> list[AxesCamera]:
    """Cameras round the clearest directions of some others, under which openings make most rows.

    Parameters
    ----------
    found : Sequence[AxesCamera]
        Cameras that the first rows gave.
    openings : array, (N,)
        Of dtype OPENING.
    points : RowPoints
        The first rows.
    value : array, (R,)
        Their weights.
    size : tuple
        Width, height, px.
    focal_px : float or None
        From EXIF, px.
    find : callable
        Rows along the axes of a camera among the first so many openings, each opening in one of them.
    least : float
        Evidence, nats, that all rows of a camera must have for it to be followed.

    Returns
    -------
    list of AxesCamera
        At most MOST_CAMERAS; their score is the evidence of all rows, nats, largest first.
    """
    prior = camera_prior(size, focal_px)
    focals = [focal_px] if focal_px else [f * max(size) for f in FOCALS]
    begun = []
    for vanishing in _clearest(found, value, max(size)):
        for f in focals:
            middle = Camera(f, (size[0] - 1) / 2, (size[1] - 1) / 2)
            for camera in _round(middle, vanishing):
                rows = find(with_axes(camera, points, value, None), SEARCHED)
                begun.append((sum(r.evidence for r in rows), camera))
    begun.sort(key=lambda b: -b[0])
    likely: list[Camera] = []
    for _, camera in begun:
        if len(likely) < MOST_CAMERAS and not any(alike_cameras(camera, c, 0.2) for c in likely):
            likely.append(camera)
    out = [_adjusted(camera, openings, points, value, prior, find) for camera in likely]
    return sorted((a for a in out if a is not None and a.score > least), key=lambda a: -a.score)


def _clearest(found: Sequence[AxesCamera], value: FloatArray, long_side: float) -> list[FloatArray]:
    """Vanishing points (3,), homogeneous px, of the axes that have most rows, those of most weight first."""
    points = []
    for axes in found:
        on = axes.axis >= 0
        weight = np.bincount(axes.axis[on], value[on], minlength=3)
        j = int(weight.argmax())
        c = axes.camera
        d = c.R[:, j]
        vanishing = np.array([c.f * d[0] + c.cx * d[2], c.f * d[1] + c.cy * d[2], d[2]])
        points.append((float(weight[j]), vanishing / np.linalg.norm(vanishing / [long_side, long_side, 1])))
    out: list[FloatArray] = []
    scale = np.array([long_side, long_side, 1])
    for _, p in sorted(points, key=lambda q: -q[0]):
        if not any(abs(p / scale @ (kept / scale)) > SAME_DIRECTION for kept in out):
            out.append(p)
    return out[:MOST_DIRECTIONS]


def _round(middle: Camera, vanishing: FloatArray) -> list[Camera]:
    """Cameras whose first axis runs to a vanishing point, in all turns round it that name other axes."""
    d = np.array(
        [
            (vanishing[0] - middle.cx * vanishing[2]) / middle.f,
            (vanishing[1] - middle.cy * vanishing[2]) / middle.f,
            vanishing[2],
        ]
    )
    d /= np.linalg.norm(d)
    e = np.cross(d, np.eye(3)[np.abs(d).argmin()])
    e /= np.linalg.norm(e)
    R = np.stack([d, e, np.cross(d, e)], 1)
    return [
        replace(middle, R=Rotation.from_rotvec(np.radians(a) * d).as_matrix() @ R)
        for a in range(0, 90, TURN_STEP)
    ]


def _adjusted(
    camera: Camera,
    openings: np.ndarray,
    points: RowPoints,
    value: FloatArray,
    prior: CameraPrior,
    find: FindRows,
) -> AxesCamera | None:
    """The camera adjusted to the rows along its axes, by turns; None where there are too few."""
    axes = with_axes(camera, points, value, None)
    rows = find(axes, len(openings))
    for _ in range(ROUNDS):
        if len(rows) < 3:
            return None
        on_axes = row_points(openings, rows)
        chance = 1 / (1 + np.exp(LIKELY_ROW - np.array([r.evidence for r in rows])))
        adjusted = refine_camera(camera, on_axes, chance * on_axes.counted, prior, free=True)
        axes = with_axes(adjusted.camera, points, value, adjusted.covariance)
        camera, rows = axes.camera, find(axes, len(openings))
    return replace(axes, score=float(sum(r.evidence for r in rows)))
