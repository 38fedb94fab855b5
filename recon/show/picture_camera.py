"""The parallel projection of the picture of a frame, and which face is in front at each of its pixels."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from recon.frame.boxes import CORNER_SIGNS, box_axes, centre
from recon.frame.fitting_boxes import boxes_together
from recon.frame.model import Member, box_half_sizes
from recon.geometry.arrays import BoolArray, FloatArray, IntArray
from recon.geometry.boxes import OrientedBoxes

TURNED = 1e-6  # how far a face's normal must point towards the viewer, a cosine: no more than rounding

Solid = Member | OrientedBoxes  # a member, or one plain box such as a fitting's


def box_of(solid: Solid) -> OrientedBoxes:
    """The one box that a member or a fitting is."""
    if isinstance(solid, Member):
        return OrientedBoxes(centre(solid), box_axes(solid), box_half_sizes(solid))
    return solid


@dataclass(frozen=True)
class PictureCamera:
    """A parallel projection: parallel lines stay parallel, and all pitches along an axis have one length.

    Attributes
    ----------
    right, up, towards : array, shape (3,)
        Unit vectors, the last towards the viewer.
    scale : float
        Pixels per pitch.
    middle : array, shape (2,)
        Where the origin is, px.

    Examples
    --------
    >>> from recon.frame.model import Member
    >>> from recon.show.picture_camera import camera_from
    >>> member = Member("A", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 10)
    >>> camera = camera_from([member], -90, 0, (220, 100), 10)
    >>> camera.scale, camera.project([(0, 0, 0), (9, 0, 0)]).tolist()
    (20.0, [[20.0, 50.0], [200.0, 50.0]])
    """

    right: FloatArray
    up: FloatArray
    towards: FloatArray
    scale: float
    middle: FloatArray

    def project(self, points: ArrayLike) -> FloatArray:
        """(n, 3) pitches -> (n, 2) px."""
        points = np.atleast_2d(np.asarray(points, float))
        return self.middle + self.scale * np.column_stack([points @ self.right, -(points @ self.up)])

    def enlarged(self, factor: float) -> "PictureCamera":
        """The same view in a picture larger by this factor."""
        return PictureCamera(self.right, self.up, self.towards, self.scale * factor, self.middle * factor)


def camera_from(
    members: Sequence[Solid],
    azimuth_deg: float,
    elevation_deg: float,
    size: tuple[int, int],
    margin_px: float,
) -> PictureCamera:
    """The view of some members from a direction; they fill the picture.

    Parameters
    ----------
    members : sequence of Member or OrientedBoxes
        At least one; single boxes for what is no member.
    azimuth_deg, elevation_deg : float
        Where it is seen from: azimuth 0 is from +x, 90 from +y.
    size : (int, int)
        Width and height of the picture, px.
    margin_px : float
        Left free on every side.
    """
    azimuth, elevation = np.radians([azimuth_deg, elevation_deg])
    right = np.array([-np.sin(azimuth), np.cos(azimuth), 0.0])
    towards = np.array(
        [np.cos(azimuth) * np.cos(elevation), np.sin(azimuth) * np.cos(elevation), np.sin(elevation)]
    )
    flat = PictureCamera(right, np.cross(towards, right), towards, 1.0, np.zeros(2))
    points = np.vstack([flat.project(_corners(box_of(m))) for m in members])
    low, high = points.min(axis=0), points.max(axis=0)
    scale = float(((np.array(size) - 2 * margin_px) / np.maximum(high - low, 1e-6)).min())
    return PictureCamera(flat.right, flat.up, towards, scale, np.array(size) / 2 - scale * (low + high) / 2)


def _corners(box: OrientedBoxes) -> FloatArray:
    off: FloatArray = (CORNER_SIGNS * box.half) @ box.axes
    return box.centre + off


def best_camera(members: Sequence[Solid], size: tuple[int, int], margin_px: float) -> PictureCamera:
    """Of sixteen views from the corners, the one in which most of the members can be seen well.

    A member counts by the share of its faces turned here that no other member covers; beyond a half, more is
    no better. Parameters as in `camera_from`.
    """
    small, boxes = (200, 150), boxes_together([box_of(m) for m in members])

    def seen_well(camera: PictureCamera) -> float:
        faces = face_map(members, camera, small)
        seen = np.bincount(faces[faces >= 0] // 6, minlength=len(members))
        return float(np.minimum(seen / np.maximum(_turned_areas(boxes, camera), 1.0), 0.5).sum())

    angles = [
        (azimuth + 90.0 * turn, elevation)
        for elevation in (24.0, 36.0)
        for turn in range(4)
        for azimuth in (-62, -28)
    ]
    scores = [round(seen_well(camera_from(members, *a, small, 4)), 3) for a in angles]
    return camera_from(members, *angles[int(np.argmax(scores))], size, margin_px)


def _turned_areas(boxes: OrientedBoxes, camera: PictureCamera) -> FloatArray:
    """(n,) areas of all faces of boxes that are turned towards the viewer, nothing hiding them; square px."""
    half_edges = camera.project((boxes.axes * boxes.half[..., None]).reshape(-1, 3)) - camera.middle
    half_edges = half_edges.reshape(-1, 3, 2)
    first, second = half_edges[:, [1, 0, 0]], half_edges[:, [2, 2, 1]]  # of the face across each axis
    areas = np.abs(first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0]) * 4
    turned = np.abs(boxes.axes @ camera.towards) > TURNED
    return np.asarray((areas * turned).sum(axis=1))


def cross(a: FloatArray, b: FloatArray) -> float:
    """The cross product of two vectors in the plane."""
    return float(a[0] * b[1] - a[1] * b[0])


def turned_faces(
    solid: Solid, camera: PictureCamera
) -> Iterator[tuple[int, FloatArray, tuple[FloatArray, FloatArray]]]:
    """Faces towards the viewer: face, its middle and its two half edges, px.

    Faces are counted as in `recon.frame.boxes.face_normals`.  Half edges come in the order of the box's axes,
    without the face's own.
    """
    box = box_of(solid)
    normals = np.repeat(box.axes, 2, axis=0) * np.tile([-1.0, 1.0], 3)[:, None]
    towards = normals @ camera.towards
    middles = camera.project(box.centre + normals * np.repeat(box.half, 2)[:, None])
    half_edges = camera.project(box.axes * box.half[:, None]) - camera.middle
    for face in np.nonzero(towards > TURNED)[0]:
        first, second = (half_edges[k] for k in range(3) if k != face // 2)
        if abs(cross(first, second)) > 1e-9:
            yield int(face), middles[face], (first, second)


def face_pixels(
    middle: FloatArray, edges: tuple[FloatArray, FloatArray], size: tuple[int, int]
) -> tuple[tuple[slice, slice], FloatArray, FloatArray, BoolArray]:
    """Pixels of a face: slices of its window.

    In it coordinates along the half edges (-1 to 1) and the mask.
    """
    first, second = edges
    reach = np.abs(first) + np.abs(second)
    low = np.maximum(np.floor(middle - reach).astype(int), 0)
    high = np.minimum(np.ceil(middle + reach).astype(int) + 1, size)
    x = np.arange(low[0], max(high[0], low[0]))[None, :] + 0.5 - middle[0]
    y = np.arange(low[1], max(high[1], low[1]))[:, None] + 0.5 - middle[1]
    area = cross(first, second)
    a, b = (x * second[1] - y * second[0]) / area, (y * first[0] - x * first[1]) / area
    window = (slice(low[1], low[1] + y.shape[0]), slice(low[0], low[0] + x.shape[1]))
    return window, a, b, (np.abs(a) <= 1) & (np.abs(b) <= 1)


def face_map(members: Sequence[Solid], camera: PictureCamera, size: tuple[int, int]) -> IntArray:
    """The nearest face at each pixel (z-buffer).

    Returns
    -------
    int32 array, shape (height, width)
        6 * (number of the member) + face, the faces as in `recon.frame.boxes`; -1 where there is none.
    """
    depth = np.full(size[::-1], -np.inf, np.float32)
    faces = np.full(size[::-1], -1, np.int32)
    for k, box in enumerate(map(box_of, members)):
        slopes = box.axes * box.half[:, None] @ camera.towards
        centres = box.centre @ camera.towards + np.repeat(slopes, 2) * np.tile([-1.0, 1.0], 3)
        for face, middle, edges in turned_faces(box, camera):
            window, a, b, inside = face_pixels(middle, edges, size)
            first, second = (slopes[i] for i in range(3) if i != face // 2)
            near = (centres[face] + a * first + b * second).astype(np.float32)
            nearer = inside & (near > depth[window])
            depth[window][nearer] = near[nearer]
            faces[window][nearer] = 6 * k + face
    return faces
