"""How the camera of a video moved, from points that are followed from picture to picture.

Where it was is measured in distances to what it shows: a step of 0.1 sideways turns the lines of sight to the
frame by about 0.1 rad.  What only turns the camera on the spot is no step.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from recon.geometry.arrays import BoolArray, FloatArray, IntArray

Points: TypeAlias = NDArray[np.float32]  # (N, 2) px

LONG_SIDE = 640  # px that pictures are reduced to; points are followed to about a tenth of a px there
# Of telephones filming, 24 to 35 (from memory): what places are measured with changes by as much, which is
# enough to tell places apart.
F35_MM = 28.0
DIAGONAL_35_MM = float(np.hypot(36.0, 24.0))
MOST_POINTS = 400
LEAST_POINTS = 30  # fewer tell no movement: five points fit any picture (Nister 2004), the rest must vote
BACK_PX = 0.5  # a point followed there and back comes so near to where it began, or it was lost
# Of movement in the picture, after which a step is measured: parallax is far over the noise then.
STEP_PX = 24.0
KEPT = 0.6  # of the points; with fewer a step is measured, and points are chosen anew
# Three quarters of the points are moved by less than this beside a mere turn: then it was one.  Three times
# what noise and a rolling shutter leave (0.3 px on made videos).
TURN_PX = 1.0
RANSAC_PX = 1.0  # from the epipolar line; as TURN_PX
LEAST_TURN = 0.01  # rad, of a step; turns are measured to a few thousandths (made videos)
# Of the way, in distances, over which errors of the steps hardly add up; this project's choice.
NEAR_WAY = 0.5
AHEAD = 0.05  # weight of the distance of what is seen beside the crossing of the axes; this project's choice
# A step that moves points by STEP_PX is some 0.05 long; a much longer one was measured on lost points.
MOST_STEP = 0.3
AGREE = 0.4  # of the points that one movement must explain, or none is known; this project's choice


@dataclass(frozen=True)
class CameraPath:
    """Where the camera was.

    Attributes
    ----------
    place : (N, 3) array
        At each picture, in distances to what is seen, as the first camera of its stretch lies.
    stretch : (N,) int array
        Stretches of the video through which points could be followed; places of two tell nothing of one
        another.
    axis : (N, 3) array
        Unit vectors, where the camera looked.
    """

    place: FloatArray
    stretch: IntArray
    axis: FloatArray


class PathFinder:
    """Follows points through the pictures that it is given one after another.

    Parameters
    ----------
    size : tuple of int
        Width and height of the (reduced) pictures, px.
    """

    def __init__(self, size: tuple[int, int]) -> None:
        self._centre = (np.array(size) - 1) / 2
        self._focal = F35_MM / DIAGONAL_35_MM * float(np.hypot(*size))
        self._known: list[tuple[FloatArray, FloatArray, int]] = []  # place, axis, stretch of each picture
        self._pending: list[
            float
        ] = []  # movement in the picture since the last step, px, of each picture since
        self._turn, self._place, self._stretch = np.eye(3), np.zeros(3), 0
        self._before: np.ndarray | None = None
        self._start: Points = np.empty((0, 2), np.float32)
        self._now = self._start
        self._begun_with = 0

    def add(self, grey: np.ndarray) -> None:
        """Takes the next picture, (H, W) uint8."""
        if self._before is not None and not self._lost():
            self._follow(self._before, grey)
        if self._before is None or self._lost():
            self._break_off(grey)
            return
        self._before = grey
        moved = float(np.median(np.linalg.norm(self._now - self._start, axis=1)))
        self._pending.append(moved)
        if moved > STEP_PX or len(self._now) < KEPT * self._begun_with:
            self._take_step(grey)

    def path(self) -> CameraPath:
        """Where the camera was at each picture so far."""
        if self._pending and not self._lost():
            self._take_step(None)
        self._let_stand()
        place, axis, stretch = zip(*self._known) if self._known else ((), (), ())
        return CameraPath(
            np.array(place).reshape(-1, 3), np.array(stretch, int), np.array(axis).reshape(-1, 3)
        )

    def _lost(self) -> bool:
        return len(self._now) < LEAST_POINTS

    def _follow(self, before: np.ndarray, grey: np.ndarray) -> None:
        """The points in the next picture; those that are lost are left out."""
        ahead, found = _flow(before, grey, self._now)
        back, again = _flow(grey, before, ahead)
        height, width = grey.shape
        kept = found & again & (np.linalg.norm(back - self._now, axis=1) < BACK_PX)
        kept &= np.all((ahead >= 0) & (ahead < (width, height)), axis=1)
        self._start, self._now = self._start[kept], ahead[kept]

    def _break_off(self, grey: np.ndarray) -> None:
        """Begins another stretch with this picture: it cannot be followed from the one before."""
        self._let_stand()
        if self._before is not None:
            self._begin_stretch()
        self._known.append((self._place, self._turn[2], self._stretch))
        self._choose_points(grey)

    def _let_stand(self) -> None:
        """What is pending stays where the last step ended."""
        self._known += [(self._place, self._turn[2], self._stretch)] * len(self._pending)
        self._pending = []

    def _begin_stretch(self) -> None:
        self._stretch += 1
        self._turn, self._place = np.eye(3), np.zeros(3)

    def _choose_points(self, grey: np.ndarray) -> None:
        found = cv2.goodFeaturesToTrack(grey, MOST_POINTS, 0.01, max(grey.shape) / 80)
        points = np.empty((0, 2), np.float32) if found is None else found.reshape(-1, 2)
        self._start = self._now = points.astype(np.float32)
        self._before, self._begun_with = grey, len(points)

    def _take_step(self, grey: np.ndarray | None) -> None:
        """Measures the movement since the last step.

        Pictures between lie on the way, by how far points moved.
        """
        start, now = (np.asarray(points - self._centre, float) for points in (self._start, self._now))
        turned, step = relative_pose(start, now, self._focal)
        place, turn = self._place, self._turn
        self._place, self._turn = place + turn.T @ likely_step(turned, step), turned @ turn
        for share in np.clip(np.array(self._pending) / max(self._pending[-1], 1e-9), 0, 1):
            axis = turn[2] + share * (self._turn[2] - turn[2])
            at = place + share * (self._place - place)
            self._known.append((at, axis / np.linalg.norm(axis), self._stretch))
        self._pending = []
        if grey is not None:
            self._choose_points(grey)


def _flow(before: np.ndarray, after: np.ndarray, points: Points) -> tuple[Points, BoolArray]:
    """Points of a picture in another (pyramidal Lucas-Kanade), and which of them were found."""
    moved, found, _ = cv2.calcOpticalFlowPyrLK(before, after, points, points.copy())
    return np.asarray(moved, np.float32).reshape(-1, 2), np.asarray(found).ravel() > 0


def relative_pose(
    first: FloatArray, second: FloatArray, focal_px: float
) -> tuple[FloatArray, FloatArray | None]:
    """How a camera moved between two pictures.

    Parameters
    ----------
    first, second : (N, 2) arrays
        The same points in both, px from the middle.
    focal_px : float

    Returns
    -------
    turn : (3, 3) array
        From the first camera to the second.
    place : (3,) array or None
        Of the second camera as the first one lies, in distances to what is seen, MOST_STEP at the most; None
        where too few points agree on a movement.
    """
    a, b = (np.column_stack([p / focal_px, np.ones(len(p))]) for p in (first, second))
    alone, off = _turn_alone(a, b)
    if np.quantile(off, 0.75) * focal_px < TURN_PX:
        return alone, np.zeros(3)
    cv2.setRNGSeed(1)  # one video, one choice
    essential, agree = cv2.findEssentialMat(
        a[:, :2], b[:, :2], np.eye(3), method=cv2.RANSAC, prob=0.999, threshold=RANSAC_PX / focal_px
    )
    if essential is None or essential.shape != (3, 3):
        return alone, None
    count, found, way, agree = cv2.recoverPose(essential, a[:, :2], b[:, :2], np.eye(3), mask=agree)
    turn, way, inside = (
        np.asarray(found, float),
        np.asarray(way, float).ravel(),
        np.asarray(agree).ravel() > 0,
    )
    if count < AGREE * len(a) or not inside.any():
        return alone, None
    ahead = np.cross(b[inside], a[inside] @ turn.T)
    across = np.cross(b[inside], np.broadcast_to(way, (len(b[inside]), 3)))
    depth = np.linalg.norm(across, axis=1) / np.maximum(np.linalg.norm(ahead, axis=1), 1e-12)
    return turn, -(turn.T @ way) * min(1 / max(float(np.median(depth)), 1e-6), MOST_STEP)


def likely_step(turn: FloatArray, step: FloatArray | None) -> FloatArray:
    """The step between two pictures, in distances to what is seen, as the first camera lies.

    Where most points lie on one plane, a floor, two movements explain them (Longuet-Higgins 1986, from
    memory), and the wrong one may seem to lead back.  Who walks round a frame keeps it in the picture: a step
    against that, or none that is known, is taken for the one that turns the camera so round what is a
    distance ahead.

    Parameters
    ----------
    turn : (3, 3) array
        From the first camera to the second.
    step : (3,) array or None
        As `relative_pose` gives it.
    """
    round_it = np.array([0.0, 0.0, 1.0]) - turn[2]
    if step is None or (np.linalg.norm(round_it) > LEAST_TURN and step @ round_it < 0):
        return round_it
    return step


def off_axis(path: CameraPath) -> FloatArray:
    """How far off the camera's axis what it looked at round then is at each picture, rad (N,).

    That is the point nearest to the axes within NEAR_WAY (least squares, Cauchy's weights), and where they
    hardly cross, one that is as far away as what was seen.
    """
    step = np.linalg.norm(np.diff(path.place, axis=0, prepend=path.place[:1]), axis=1)
    gone = np.cumsum(step)
    part = np.floor(gone / NEAR_WAY).astype(int)
    out = np.zeros(len(path.place))
    for stretch, k in {(int(s), int(p)) for s, p in zip(path.stretch, part)}:
        mine = (path.stretch == stretch) & (np.abs(part - k) <= 1)
        of_part = part[mine] == k
        place, axis = path.place[mine], path.axis[mine]
        across = np.eye(3) - axis[:, :, None] * axis[:, None, :]
        weight = np.ones(len(place))
        for _ in range(8):
            pull = weight[:, None, None] * (across + AHEAD * np.eye(3))
            target = across @ place[:, :, None] + AHEAD * (place + axis)[:, :, None]
            point = np.linalg.solve(pull.sum(axis=0), (weight[:, None, None] * target).sum(axis=0)).ravel()
            way = point - place
            cosine = (way * axis).sum(axis=1) / np.maximum(np.linalg.norm(way, axis=1), 1e-9)
            off = np.arccos(np.clip(cosine, -1, 1))
            weight = 1 / (1 + (off / max(float(np.median(off)), 0.02)) ** 2)
        out[np.flatnonzero(mine)[of_part]] = off[of_part]
    return out


def half_view(size: tuple[int, int]) -> float:
    """Half of the angle of view across the short side of pictures of a size (width, height), about, rad."""
    focal = F35_MM / DIAGONAL_35_MM * float(np.hypot(*size))
    return float(np.arctan(min(size) / 2 / focal))


def _turn_alone(a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The turn that takes lines of sight a to b best, and how far each is off then, rad.

    Kabsch's method, points weighted down by how far they are off (Cauchy's weights).
    """
    a, b = (v / np.linalg.norm(v, axis=1, keepdims=True) for v in (a, b))
    weight = np.ones(len(a))
    for _ in range(8):
        u, _, vt = np.linalg.svd((b * weight[:, None]).T @ a)
        turn = u @ np.diag([1, 1, np.sign(np.linalg.det(u @ vt))]) @ vt
        off = np.linalg.norm(b - a @ turn.T, axis=1)
        weight = 1 / (1 + (off / max(float(np.median(off)), 1e-9)) ** 2)
    return turn, off
