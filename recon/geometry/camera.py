"""The camera as one value: projection, its inverse, and Jacobians beside them.

Frames of reference: *world* (the frame's lattice, pitches), *camera* (pitches, x right, y down, z ahead:
x_cam = R x + t), *sensor* (x / z, y / z, no unit), *image* (px).  Lens: the radial terms of the model in
the OpenCV documentation, x_d = x (1 + k1 r^2 + k2 r^4), source: Brown 1966, "Decentering distortion
of lenses"; square pixels.  Pixel centres are at whole numbers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from recon.geometry.arrays import BoolArray, FloatArray, dots, lengths

PARAMETERS = 14  # of `stepped`: f, k1, k2, a rotation vector, t, cx, cy, and three shears
PLANES = ((0, 1), (0, 2), (1, 2))  # pairs of axes, in the order of the shears
LENS_ROUNDS = 4  # of Newton's method, which is quadratic: 1e-11 for k1 r^2 > -0.19, 1e-7 down to -0.25
NEAREST = 1e-9  # pitches ahead of the camera's centre from which a point has an image: rounding


@dataclass(frozen=True, eq=False)
class Camera:
    """A camera: its lens and where it stands.

    Two cameras are equal where all their numbers are.

    Attributes
    ----------
    f : float
        Focal length, px.
    cx, cy : float
        Principal point, px.
    k1, k2 : float
        Radial lens terms.
    R : (3, 3) array
        From world to camera: its columns are the unit directions in which the frame's axes run there.  A
        rotation where the frame is square; where it is racked its axes are not quite perpendicular.
    t : (3,) array
        Shift from world to camera, pitches.

    Examples
    --------
    >>> camera = Camera(1000, 320, 240, t=np.array([0, 0, 10.0]))
    >>> camera.project([[0, 0, 0], [1, 0, 0]]).tolist()
    [[320.0, 240.0], [420.0, 240.0]]
    """

    f: float
    cx: float
    cy: float
    k1: float = 0.0
    k2: float = 0.0
    R: FloatArray = field(default_factory=lambda: np.eye(3))
    t: FloatArray = field(default_factory=lambda: np.zeros(3))

    def __eq__(self, other: object) -> bool:
        return self._values() == other._values() if isinstance(other, Camera) else NotImplemented

    def __hash__(self) -> int:
        return hash(self._values())

    def _values(self) -> tuple[float, ...]:
        return (self.f, self.cx, self.cy, self.k1, self.k2, *self.R.ravel().tolist(), *self.t.tolist())

    @cached_property
    def centre(self) -> FloatArray:
        """(3,) the camera's place in the world, pitches."""
        return -np.asarray(np.linalg.solve(self.R, self.t), float)

    @property
    def rack(self) -> FloatArray:
        """(3,) by how much the angles between the axes x y, x z and y z are under 90 degrees, radians."""
        G = self.R.T @ self.R
        cosines = np.array([G[0, 1], G[0, 2], G[1, 2]])
        return np.asarray(np.arcsin(np.minimum(np.maximum(cosines, -1.0), 1.0)), float)

    def posed(self, R: ArrayLike, t: ArrayLike) -> Camera:
        """The camera with another pose: rotation R (3, 3) and shift t (3,), pitches."""
        return replace(self, R=np.asarray(R, float), t=np.asarray(t, float))

    def resized(self, scale: float) -> Camera:
        """The camera of the photo resized by `scale` (pixel centres at whole numbers)."""
        return replace(
            self, f=self.f * scale, cx=(self.cx + 0.5) * scale - 0.5, cy=(self.cy + 0.5) * scale - 0.5
        )

    def moved(self, turn: ArrayLike, shift: ArrayLike) -> Camera:
        """The camera in a world that is moved by x -> turn x + shift (pitches): it sees the same there."""
        R = self.R @ np.asarray(turn).T  # x_cam = R turn' (x - shift) + t
        return self.posed(R, self.t - R @ np.asarray(shift, float))

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON: f, cx, cy, k1, k2, R (three lists of three), t (a list of three)."""
        return {
            **{name: float(getattr(self, name)) for name in ("f", "cx", "cy", "k1", "k2")},
            "R": self.R.tolist(),
            "t": self.t.tolist(),
        }

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> Camera:
        """The camera in the form of `to_dict`; KeyError, TypeError or ValueError where it is none."""
        f, cx, cy, k1, k2 = (float(values[name]) for name in ("f", "cx", "cy", "k1", "k2"))
        R, t = np.array(values["R"], float), np.array(values["t"], float)
        return cls(f, cx, cy, k1, k2, R.reshape(3, 3), t.reshape(3))

    def project(self, points: ArrayLike) -> FloatArray:
        """World (N, 3) pitches to image (N, 2) px; NaN for points behind the camera."""
        return sensor2image(self, camera2sensor(world2camera(self, points)))

    def in_picture(self, points: ArrayLike, size: tuple[int, int]) -> BoolArray:
        """Which world points the photo would show, were nothing in the way.

        Parameters
        ----------
        points : array_like, (N, 3)
            World, pitches.
        size : tuple of int
            Width and height of the photo, px.

        Returns
        -------
        (N,) bool array

        Notes
        -----
        Points beyond `lens_limit` are out of the picture: there the lens model, which describes the picture
        only, brings points back towards its middle.
        """
        sensor = camera2sensor(world2camera(self, points))
        px = sensor2image(self, sensor)
        in_reach = np.linalg.norm(sensor, axis=-1) < lens_limit(self)
        shown: BoolArray = in_reach & (px > 0).all(axis=-1) & (px < size).all(axis=-1)
        return shown


def world2camera(camera: Camera, points: ArrayLike) -> FloatArray:
    """(..., 3) pitches to (..., 3) pitches."""
    moved: FloatArray = np.asarray(points, float) @ camera.R.T + camera.t
    return moved


def camera2sensor(points: FloatArray) -> FloatArray:
    """(..., 3) to (..., 2); NaN where z <= 0."""
    z = points[..., 2:3]
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(z > NEAREST, points[..., :2] / z, np.nan)


def sensor2image(camera: Camera, xy: FloatArray) -> FloatArray:
    """(..., 2) to (..., 2) px: lens, then focal length and principal point."""
    r2 = dots(xy, xy)[..., None]
    d = 1 + camera.k1 * r2 + camera.k2 * r2**2
    px: FloatArray = camera.f * d * xy + np.array([camera.cx, camera.cy])
    return px


def image2sensor(camera: Camera, px: ArrayLike) -> FloatArray:
    """(..., 2) px to (..., 2), the lens undone by Newton's method on the radius."""
    q = (np.asarray(px, float) - [camera.cx, camera.cy]) / camera.f
    rd = lengths(q)[..., None]
    r = rd.copy()
    for _ in range(LENS_ROUNDS):
        value = r * (1 + camera.k1 * r**2 + camera.k2 * r**4) - rd
        slope = 1 + 3 * camera.k1 * r**2 + 5 * camera.k2 * r**4
        r = r - value / np.where(np.abs(slope) < 0.2, 0.2, slope)
    with np.errstate(divide="ignore", invalid="ignore"):
        sensor: FloatArray = q * np.where(rd > 1e-12, r / rd, 1.0)
    return sensor


def lens_limit(camera: Camera) -> float:
    """The radius on the sensor up to which the lens model grows.

    The first at which d(r + k1 r^3 + k2 r^5)/dr is 0.

    Examples
    --------
    >>> lens_limit(Camera(1000, 0, 0, k1=-1 / 3)), lens_limit(Camera(1000, 0, 0, k1=0.1))
    (1.0, inf)
    """
    # 1 + 3 k1 r^2 + 5 k2 r^4 = 0, solved for 1 / r^2; the largest root is the nearest radius.
    discriminant = 9 * camera.k1**2 - 20 * camera.k2
    root = (-3 * camera.k1 + np.sqrt(discriminant)) / 2 if discriminant >= 0 else 0.0
    return float(1 / np.sqrt(root)) if root > 0 else float("inf")


def project_jacobian(camera: Camera, points: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Image points and their derivatives.

    Parameters
    ----------
    camera : Camera
    points : (N, 3) array
        World, pitches.

    Returns
    -------
    px : (N, 2) array
    d_camera : (N, 2, 14) array
        By f, k1, k2, a left rotation vector w (R <- exp(w) R; radians), t (pitches), cx, cy, and shears of
        the frame in the planes x y, x z and y z (R <- R (1 + s); radians).
    d_points : (N, 2, 3) array
        By the points (pitches).
    """
    placed = world2camera(camera, points).T
    px, by_camera, by_place = image_derivatives(camera, placed, points.T)
    by_points = np.tensordot(camera.R, by_place, (0, 0))
    return px.T, by_camera.T, by_points.T


def image_derivatives(
    camera: Camera, placed: FloatArray, points: FloatArray, shears: bool = True
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Image points and their derivatives, one row a parameter: for normal equations.

    Parameters
    ----------
    camera : Camera
    placed : (3, N) array
        Points in the camera's frame, pitches.
    points : (3, N) array
        The same in the world.
    shears : bool
        Whether derivatives by the frame's shears are wanted; else they are left out.

    Returns
    -------
    px : (2, N) array
    d_camera : (14 or 11, 2, N) array
        As :func:`project_jacobian` has them.
    d_placed : (3, 2, N) array
        By the points in the camera's frame, pitches.
    """
    sensor = placed[:2] / placed[2]
    u, v = sensor
    r2 = u * u + v * v
    d = 1 + r2 * (camera.k1 + camera.k2 * r2)
    f_z = camera.f / placed[2]
    g = f_z * (2 * camera.k1 + 4 * camera.k2 * r2)
    by_place = np.empty((3, *sensor.shape))
    by_place[0, 0], by_place[1, 1] = f_z * d + u * u * g, f_z * d + v * v * g
    by_place[0, 1] = by_place[1, 0] = u * v * g
    by_place[2] = -(by_place[0] * u + by_place[1] * v)
    out = np.zeros((PARAMETERS if shears else PARAMETERS - len(PLANES), *sensor.shape))
    out[0], out[1] = d * sensor, camera.f * r2 * sensor
    out[2] = r2 * out[1]
    x, y, z = placed - camera.t[:, None]  # d(exp(w) q) / dw = -[q]x
    out[3] = by_place[2] * y - by_place[1] * z
    out[4] = by_place[0] * z - by_place[2] * x
    out[5] = by_place[1] * x - by_place[0] * y
    out[6:9] = by_place
    out[9, 0] = out[10, 1] = 1
    if shears:
        by_world = np.tensordot(camera.R, by_place, (0, 0))
        for k, (i, j) in enumerate(PLANES):
            out[11 + k] = by_world[i] * points[j] + by_world[j] * points[i]
    return camera.f * d * sensor + np.array([[camera.cx], [camera.cy]]), out, by_place


def stepped(camera: Camera, delta: FloatArray) -> Camera:
    """The camera after a step (14,) in the parameters of `project_jacobian`; axes keep their unit length.

    A shorter step leaves the parameters that it lacks as they are.
    """
    given, delta = delta, np.zeros(PARAMETERS)
    delta[: len(given)] = given
    R = _turn(delta[3:6]) @ camera.R
    if delta[11:].any():
        shear = np.eye(3)
        for angle, (i, j) in zip(delta[11:], PLANES):
            shear[i, j] = shear[j, i] = angle
        R = R @ shear
        R = R / np.linalg.norm(R, axis=0)
    return replace(
        camera,
        f=camera.f + delta[0],
        cx=camera.cx + delta[9],
        cy=camera.cy + delta[10],
        k1=camera.k1 + delta[1],
        k2=camera.k2 + delta[2],
        R=R,
        t=camera.t + delta[6:9],
    )


def _turn(w: FloatArray) -> FloatArray:
    """The rotation (3, 3) by a rotation vector (3,), radians: Rodrigues' formula."""
    angle = float(np.sqrt(w @ w))
    x, y, z = w
    K = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    if angle < 1e-4:  # two terms of the series, good to 1e-13
        return np.asarray(np.eye(3) + (1 - angle**2 / 6) * K + (0.5 - angle**2 / 24) * (K @ K), float)
    turn = np.eye(3) + np.sin(angle) / angle * K + (1 - np.cos(angle)) / angle**2 * (K @ K)
    return np.asarray(turn, float)


def opening_ellipse_offset_px(
    camera: Camera, centre: FloatArray, normal: ArrayLike, radius: float
) -> FloatArray:
    """From the image of a circle's centre to the centre of the circle's image (eccentricity).

    Parameters
    ----------
    camera : Camera
    centre : (3,) array
        World, pitches.
    normal : array_like, (3,)
        Unit vector of the circle's plane.
    radius : float
        Pitches.

    Returns
    -------
    (2,) array
        Px.

    Notes
    -----
    Exact, by projecting the circle as a conic (Hartley and Zisserman 2004, section 8.4); lens terms
    are taken as locally affine.
    """
    c = world2camera(camera, centre)
    n = camera.R @ np.asarray(normal, float)
    a = np.cross(n, [1.0, 0, 0] if abs(n[0]) < 0.9 else [0, 1.0, 0])
    a /= np.linalg.norm(a)
    b = np.cross(n, a)
    # Plane to sensor homography: circle u^2 + v^2 = 1 with columns radius a, radius b, centre.
    H = np.c_[radius * a, radius * b, c]
    inv = np.linalg.inv(H)
    conic = inv.T @ np.diag([1.0, 1.0, -1.0]) @ inv
    mid = np.asarray(np.linalg.solve(conic[:2, :2], -conic[:2, 2]), float)
    true: FloatArray = c[:2] / c[2]
    return sensor2image(camera, mid) - sensor2image(camera, true)
