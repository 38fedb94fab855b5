"""The parallel projection of the picture of a frame, and which face is in front at each of its pixels."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import ceil, floor
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from recon.frame.boxes import CORNER_SIGNS, box_axes, centre
from recon.frame.fitting_boxes import boxes_together
from recon.frame.model import Member, box_half_sizes
from recon.geometry.arrays import BoolArray, FloatArray, IntArray
from recon.geometry.boxes import OrientedBoxes

TURNED = 1e-6  # how far a face's normal must point towards the viewer, a cosine: no more than rounding
# Faces whose windows have no more pixels are put into a map together, so many at once; beyond, one by one is
# as fast (measured), and the memory stays that of a few windows.
SMALL_PX, MOST_TOGETHER = 2000, 100
_ACROSS = ((1, 2), (0, 2), (0, 1))  # for each axis of a box the two others
_Px: TypeAlias = Sequence[float]  # x and y, px

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


class TurnedFace(NamedTuple):
    """A face of a member that is turned towards the viewer.

    Attributes
    ----------
    member : int
        Number of its member or other solid.
    face : int
        As in `recon.frame.boxes`.
    middle : (2,)
        Its middle, px.
    first, second : (2,)
        Half edges, px, in the order of `box_axes` without the face's own axis.
    near : (float, float, float)
        How far towards the viewer its middle is, and how much more the ends of the half edges are, pitches.
    """

    member: int
    face: int
    middle: _Px
    first: _Px
    second: _Px
    near: tuple[float, float, float]


def turned_faces(members: Sequence[Solid], camera: PictureCamera) -> Iterator[TurnedFace]:
    """Faces towards the viewer, solid by solid; none that is seen edge on."""
    boxes = boxes_together([box_of(m) for m in members])
    slopes = boxes.axes @ camera.towards  # (n, 3)
    half_edges = boxes.axes * boxes.half[..., None]
    flat = (camera.project(half_edges.reshape(-1, 3)) - camera.middle).reshape(-1, 3, 2)
    depth = half_edges @ camera.towards
    for axis, (i, j) in enumerate(_ACROSS):
        area = np.abs(flat[:, i, 0] * flat[:, j, 1] - flat[:, i, 1] * flat[:, j, 0])
        slopes[area <= 1e-9, axis] = 0.0
    sign = np.sign(slopes)[..., None]
    middles = boxes.centre[:, None] + sign * half_edges
    nearest = (middles @ camera.towards).tolist()
    places = camera.project(middles.reshape(-1, 3)).reshape(-1, 3, 2).tolist()
    edges, ahead = flat.tolist(), depth.tolist()
    for k, axis in np.argwhere(np.abs(slopes) > TURNED).tolist():
        i, j = _ACROSS[axis]
        near = (nearest[k][axis], ahead[k][i], ahead[k][j])
        face = 2 * axis + int(slopes[k, axis] > 0)
        yield TurnedFace(k, face, places[k][axis], edges[k][i], edges[k][j], near)


def face_pixels(
    face: TurnedFace, size: tuple[int, int]
) -> tuple[tuple[slice, slice], FloatArray, FloatArray, BoolArray]:
    """Pixels of a face: slices of its window.

    In it coordinates along the half edges (-1 to 1) and the mask.
    """
    (mx, my), (fx, fy), (sx, sy) = face.middle, face.first, face.second
    wide, high = abs(fx) + abs(sx), abs(fy) + abs(sy)
    left, top = max(floor(mx - wide), 0), max(floor(my - high), 0)
    right, bottom = min(ceil(mx + wide) + 1, size[0]), min(ceil(my + high) + 1, size[1])
    x = np.arange(left, max(right, left))[None, :] + (0.5 - mx)
    y = np.arange(top, max(bottom, top))[:, None] + (0.5 - my)
    area = fx * sy - fy * sx
    a, b = x * (sy / area) - y * (sx / area), y * (fx / area) - x * (fy / area)
    window = (slice(top, top + y.shape[0]), slice(left, left + x.shape[1]))
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
    for some in _by_size(turned_faces(members, camera)):
        if len(some) > 1:
            _put_together(some, depth, faces)
            continue
        window, a, b, inside = face_pixels(some[0], size)
        middle, first, second = some[0].near
        near = (middle + a * first + b * second).astype(np.float32)
        nearer = inside & (near > depth[window])
        depth[window][nearer] = near[nearer]
        faces[window][nearer] = 6 * some[0].member + some[0].face
    return faces


def _by_size(faces: Iterable[TurnedFace]) -> Iterator[list[TurnedFace]]:
    """The faces in order, small ones with those next to them."""
    some: list[TurnedFace] = []
    for face in faces:
        (fx, fy), (sx, sy) = face.first, face.second
        if 4 * (abs(fx) + abs(sx)) * (abs(fy) + abs(sy)) > SMALL_PX:
            yield from ([some] if some else [])
            some = []
            yield [face]
            continue
        some.append(face)
        if len(some) == MOST_TOGETHER:
            yield some
            some = []
    yield from ([some] if some else [])


def _put_together(some: Sequence[TurnedFace], depth: FloatArray, faces: IntArray) -> None:
    """Small faces into the map and the distances of what it shows: of what is equally near, the first stays.

    As one by one, which takes 70 us a face at least (measured); here the pixels of their windows stand one
    after another.
    """
    height, width = depth.shape
    middle, first, second = (
        np.array([getattr(f, part) for f in some]) for part in ("middle", "first", "second")
    )
    reach = np.abs(first) + np.abs(second)
    low = np.maximum(np.floor(middle - reach), 0).astype(int)
    high = np.minimum(np.ceil(middle + reach).astype(int) + 1, (width, height))
    wide, high_px = np.maximum(high - low, 0).T
    count = wide * high_px
    face = np.repeat(np.arange(len(some)), count)
    place = np.arange(len(face)) - np.repeat(np.cumsum(count) - count, count)
    row, column = np.divmod(place, wide[face])
    row, column = row + low[face, 1], column + low[face, 0]
    x, y = column + (0.5 - middle[:, 0])[face], row + (0.5 - middle[:, 1])[face]
    area = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    a = x * (second[:, 1] / area)[face] - y * (second[:, 0] / area)[face]
    b = y * (first[:, 0] / area)[face] - x * (first[:, 1] / area)[face]
    pixel = row * width + column
    there, along, across = np.array([f.near for f in some]).T
    near = (there[face] + a * along[face] + b * across[face]).astype(np.float32)
    nearer = (np.abs(a) <= 1) & (np.abs(b) <= 1) & (near > depth.ravel()[pixel])
    face, pixel, near = face[nearer], pixel[nearer], near[nearer]
    np.maximum.at(depth.ravel(), pixel, near)
    nearest = near == depth.ravel()[pixel]
    number = np.array([6 * f.member + f.face for f in some], np.int32)
    faces.ravel()[pixel[nearest][::-1]] = number[face[nearest]][::-1]
