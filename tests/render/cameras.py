"""Cameras round a frame, and what a phone does to a picture: blur, vignette, tone, noise, JPEG.

Camera model: `x_cam = R x + t` in pitches, OpenCV's radial model x_d = x (1 + k1 r^2 + k2 r^4), pixel = f x_d
+ c with whole numbers at pixel centres.
"""

import io
from dataclasses import dataclass, replace

import cv2
import numpy as np
from PIL import Image

from .shapes import xp_of


@dataclass(frozen=True)
class Camera:
    """Size (width, height) px, focal length and centre px, radial terms, pose (R (3, 3), t (3,) pitches)."""

    size: tuple[int, int]
    f: float
    cx: float
    cy: float
    k1: float
    k2: float
    R: np.ndarray
    t: np.ndarray

    @property
    def place(self):
        return -self.R.T @ self.t

    def project(self, points):
        """Pixels (N, 2) and depths (N,) of points (N, 3)."""
        p = points @ self.R.T + self.t
        xy = p[:, :2] / p[:, 2:]
        r2 = (xy**2).sum(axis=1, keepdims=True)
        return self.f * xy * (1 + self.k1 * r2 + self.k2 * r2**2) + (self.cx, self.cy), p[:, 2]

    def rays(self, x, y):
        """Origins and directions (3, N) of the rays through pixels, in the arrays' own module."""
        xp = xp_of(x)
        xd, yd = (x - self.cx) / self.f, (y - self.cy) / self.f
        u, v = xd, yd
        for _ in range(12):  # fixed-point inversion of the radial model
            r2 = u * u + v * v
            s = 1 + self.k1 * r2 + self.k2 * r2 * r2
            u, v = xd / s, yd / s
        norm = xp.sqrt(u * u + v * v + 1)
        u, v, w = u / norm, v / norm, 1 / norm
        d = xp.stack([float(c[0]) * u + float(c[1]) * v + float(c[2]) * w for c in self.R.T]).astype(
            xp.float32
        )
        o = xp.stack([xp.full(len(x), float(c), xp.float32) for c in self.place])
        return o, d


def look(place, target, roll):
    """Rotation (3, 3) of a camera at `place` that looks at `target` (z up), turned by `roll` radians."""
    z = (target - place) / np.linalg.norm(target - place)
    x = np.cross(z, (0, 0, 1.0))
    x /= np.linalg.norm(x)
    c, s = np.cos(roll), np.sin(roll)
    level = np.array([x, np.cross(z, x), z])
    return np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]]) @ level


def stand_off(cam, points, azimuth, elevation, floor_z, fill):
    """Where a camera stands so that points (N, 3) fill a share of its picture.

    Rotation, place, and the pixels (N, 2) of the points.
    """
    mid = (points.min(axis=0) + points.max(axis=0)) / 2
    near, far = 2.0, 1500.0
    for _ in range(40):  # bisect the distance at which the frame fills the photo as wished
        dist = np.sqrt(near * far)
        away = np.array(
            [np.cos(azimuth) * np.cos(elevation), np.sin(azimuth) * np.cos(elevation), np.sin(elevation)]
        )
        place = mid + dist * away
        place[2] = max(place[2], floor_z + 3)
        R = look(place, mid, 0.0)
        xy, z = replace(cam, R=R, t=-R @ place).project(points)
        big = np.inf if z.min() < 1 else (np.ptp(xy, axis=0) / cam.size).max()
        near, far = (dist, far) if big > fill else (near, dist)
    return R, place, xy


def cameras_round(rng, points, floor_z, count=4, long_side=2000):
    """`count` cameras of one phone round the corner points (N, 3) of a frame.

    Also the 35 mm-equivalent focal length.
    """
    portrait = rng.random() < 0.45
    size = (int(long_side * 0.75), long_side) if portrait else (long_side, int(long_side * 0.75))
    f35 = float(rng.choice([24, 26, 26, 28, 28, 35, 48, 50, 70]))
    f = f35 * np.hypot(*size) / 43.27
    cx, cy = size[0] / 2 + rng.normal(0, 5), size[1] / 2 + rng.normal(0, 5)
    k1 = float(np.clip(rng.normal(0, 0.04), -0.08, 0.08))
    k2 = float(np.clip(rng.normal(0, 0.012), -0.02, 0.02))
    azimuth = rng.uniform(0, 2 * np.pi)
    around = rng.random() < 0.3
    cams = []
    for n in range(count):
        if n:
            azimuth += np.deg2rad(
                360 / count + rng.uniform(-15, 15) if around else rng.uniform(35, 75) if count > 1 else 0
            )
        elevation = np.deg2rad(rng.uniform(5, 50))
        fill = rng.uniform(0.55, 0.95) if rng.random() < 0.85 else rng.uniform(0.97, 1.06)
        aim = rng.normal(0, 0.03, 2)
        seen = Camera(size, f, cx, cy, k1, k2, np.eye(3), np.zeros(3))
        R, place, xy = stand_off(seen, points, azimuth, elevation, floor_z, fill)
        roll = np.deg2rad(rng.normal(0, 2.0))
        shift = (xy.min(axis=0) + xy.max(axis=0)) / 2 - np.array([cx, cy]) + aim * size
        away_from_axis = np.linalg.inv(R) @ np.array([shift[0] / f, shift[1] / f, 1.0])
        R = look(place, place + away_from_axis, roll)
        cams.append(Camera(size, f, cx, cy, k1, k2, R, -R @ place))
    return cams, f35


def shot(linear, rng, exposure):
    """A phone's 8-bit RGB picture from linear radiance (H, W, 3) and the exposure factor."""
    h, w = linear.shape[:2]
    scale = max(h, w) / 2000
    y, x = np.ogrid[:h, :w]
    r2 = ((x - w / 2) ** 2 + (y - h / 2) ** 2) / (w * w + h * h) * 4
    picture = linear * exposure * (1 - rng.uniform(0.05, 0.35) * r2)[..., None].astype(np.float32)
    blur = rng.uniform(0.35, 0.8) if rng.random() < 0.75 else rng.uniform(0.8, 1.6)
    picture = cv2.GaussianBlur(picture, (0, 0), max(0.3, blur * scale))
    if rng.random() < 0.2:  # a hand that moved
        length, angle = rng.uniform(2, 4.5) * scale, rng.uniform(0, np.pi)
        n = int(np.ceil(length)) | 1
        kernel = np.zeros((n + 2, n + 2), np.float32)
        c = (n + 1) / 2
        for s in np.linspace(-length / 2, length / 2, 50):
            kernel[int(np.rint(c + s * np.sin(angle))), int(np.rint(c + s * np.cos(angle)))] += 1
        picture = cv2.filter2D(picture, -1, kernel / kernel.sum())
    picture = grained(picture, rng, rng.uniform(0.002, 0.012))
    return toned(picture * rng.normal(1, 0.03, 3))


def grained(picture, rng, noise):
    """A linear picture with the noise of a sensor, as phones smooth it."""
    grain = rng.standard_normal(picture.shape, dtype=np.float32)
    grain = cv2.GaussianBlur(grain, (0, 0), 0.6) * 1.8
    return picture + grain * noise * np.sqrt(np.maximum(picture, 0) + 0.02) * 1.5


def toned(picture):
    """8-bit sRGB of a linear picture."""
    picture = np.clip(picture, 0, None)
    # Filmic tone curve: Narkowicz' fit, from memory.
    picture = np.clip(picture * (2.51 * picture + 0.03) / (picture * (2.43 * picture + 0.59) + 0.14), 0, 1)
    srgb = np.where(
        picture < 0.0031308, 12.92 * picture, 1.055 * np.maximum(picture, 1e-6) ** (1 / 2.4) - 0.055
    )
    return np.clip(srgb * 255 + 0.5, 0, 255).astype(np.uint8)


def jpeg(picture, quality, f35=None):
    """JPEG bytes, with the EXIF 35 mm-equivalent focal length where given."""
    exif = Image.Exif()
    if f35:
        exif.get_ifd(0x8769)[0xA405] = int(np.rint(f35))
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "JPEG", quality=int(quality), exif=exif)
    return out.getvalue()
