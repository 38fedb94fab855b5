"""The camera as one value: projection, its inverse, and Jacobians beside them.

Frames of reference: *world* (the frame's lattice, pitches), *camera* (pitches, x right, y down, z ahead:
x_cam = R x + t), *sensor* (x / z, y / z, no unit), *image* (px).  Lens: the radial terms of the model in
the OpenCV documentation, x_d = x (1 + k1 r^2 + k2 r^4), source: Brown 1966, "Decentering distortion
of lenses"; square pixels.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.spatial.transform import Rotation


@dataclass(frozen=True)
class Camera:
    """Focal length f and principal point cx, cy in px; k1, k2; pose R (3, 3), t (3,) in pitches."""

    f: float
    cx: float
    cy: float
    k1: float = 0.0
    k2: float = 0.0
    R: np.ndarray = field(default_factory=lambda: np.eye(3))
    t: np.ndarray = field(default_factory=lambda: np.zeros(3))

    @property
    def centre(self) -> np.ndarray:
        """(3,) the camera's place in the world, pitches."""
        return -self.R.T @ self.t

    def posed(self, R: np.ndarray, t: np.ndarray) -> Camera:
        return replace(self, R=np.asarray(R, float), t=np.asarray(t, float))

    def resized(self, scale: float) -> Camera:
        """The camera of the photo resized by ``scale`` (pixel centres at whole numbers)."""
        return replace(
            self, f=self.f * scale, cx=(self.cx + 0.5) * scale - 0.5, cy=(self.cy + 0.5) * scale - 0.5
        )

    def project(self, points: np.ndarray) -> np.ndarray:
        """World (N, 3) pitches to image (N, 2) px; NaN for points behind the camera."""
        return sensor2image(self, camera2sensor(world2camera(self, points)))


def world2camera(camera: Camera, points: np.ndarray) -> np.ndarray:
    """(..., 3) pitches to (..., 3) pitches."""
    return np.asarray(points, float) @ camera.R.T + camera.t


def camera2sensor(points: np.ndarray) -> np.ndarray:
    """(..., 3) to (..., 2); NaN where z <= 0."""
    z = points[..., 2:3]
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(z > 1e-9, points[..., :2] / z, np.nan)


def sensor2image(camera: Camera, xy: np.ndarray) -> np.ndarray:
    """(..., 2) to (..., 2) px: lens, then focal length and principal point."""
    r2 = np.sum(xy**2, axis=-1, keepdims=True)
    d = 1 + camera.k1 * r2 + camera.k2 * r2**2
    return camera.f * d * xy + np.array([camera.cx, camera.cy])


def image2sensor(camera: Camera, px: np.ndarray) -> np.ndarray:
    """(..., 2) px to (..., 2), the lens undone by Newton's method on the radius."""
    q = (np.asarray(px, float) - [camera.cx, camera.cy]) / camera.f
    rd = np.linalg.norm(q, axis=-1, keepdims=True)
    r = rd.copy()
    for _ in range(4):  # quadratic: 4 rounds reach 1e-11 for k1 r^2 > -0.19, 1e-7 down to -0.25
        value = r * (1 + camera.k1 * r**2 + camera.k2 * r**4) - rd
        slope = 1 + 3 * camera.k1 * r**2 + 5 * camera.k2 * r**4
        r = r - value / np.where(np.abs(slope) < 0.2, 0.2, slope)
    with np.errstate(divide="ignore", invalid="ignore"):
        return q * np.where(rd > 1e-12, r / rd, 1.0)


def project_jacobian(camera: Camera, points: np.ndarray):
    """Image points and their derivatives.

    Parameters
    ----------
    points : (N, 3) world, pitches.

    Returns
    -------
    px : (N, 2).
    d_camera : (N, 2, 9), by f, k1, k2, a left rotation vector w (R <- exp(w) R; radians), t (pitches).
    d_points : (N, 2, 3), by the points (pitches).
    """
    pc = world2camera(camera, points)
    x, y, z = pc.T
    u, v = x / z, y / z
    r2 = u * u + v * v
    d = 1 + camera.k1 * r2 + camera.k2 * r2**2
    px = np.c_[camera.f * d * u + camera.cx, camera.f * d * v + camera.cy]
    # Image by sensor.
    g = 2 * camera.k1 + 4 * camera.k2 * r2
    J = np.empty((len(pc), 2, 2))
    J[:, 0, 0], J[:, 1, 1] = camera.f * (d + u * u * g), camera.f * (d + v * v * g)
    J[:, 0, 1] = J[:, 1, 0] = camera.f * u * v * g
    # Sensor by camera point.
    S = np.zeros((len(pc), 2, 3))
    S[:, 0, 0] = S[:, 1, 1] = 1 / z
    S[:, 0, 2], S[:, 1, 2] = -u / z, -v / z
    by_cam = J @ S
    out = np.empty((len(pc), 2, 9))
    uv = np.c_[u, v]
    out[:, :, 0] = d[:, None] * uv
    out[:, :, 1] = camera.f * r2[:, None] * uv
    out[:, :, 2] = camera.f * (r2**2)[:, None] * uv
    q = points @ camera.R.T
    skew = np.zeros((len(pc), 3, 3))  # d(exp(w) q) / dw = -[q]x
    skew[:, 0, 1], skew[:, 0, 2], skew[:, 1, 2] = q[:, 2], -q[:, 1], q[:, 0]
    skew[:, 1, 0], skew[:, 2, 0], skew[:, 2, 1] = -q[:, 2], q[:, 1], -q[:, 0]
    out[:, :, 3:6] = by_cam @ skew
    out[:, :, 6:9] = by_cam
    return px, out, by_cam @ camera.R


def stepped(camera: Camera, delta: np.ndarray) -> Camera:
    """The camera after a step (9,) in the parameters of :func:`project_jacobian`."""
    R = Rotation.from_rotvec(delta[3:6]).as_matrix() @ camera.R
    return replace(
        camera,
        f=camera.f + delta[0],
        k1=camera.k1 + delta[1],
        k2=camera.k2 + delta[2],
        R=R,
        t=camera.t + delta[6:9],
    )


def opening_ellipse_offset_px(
    camera: Camera, centre: np.ndarray, normal: np.ndarray, radius: float
) -> np.ndarray:
    """(2,) px from the image of a circle's centre to the centre of the circle's image (eccentricity).

    Exact, by projecting the circle as a conic (Hartley and Zisserman 2004, section 8.4); lens terms
    are taken as locally affine.  centre (3,), radius in pitches, normal a unit vector.
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
    mid = np.linalg.solve(conic[:2, :2], -conic[:2, 2])
    true = c[:2] / c[2]
    return sensor2image(camera, mid) - sensor2image(camera, true)
