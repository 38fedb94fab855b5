"""What happens to a picture between the sensor and the reader: in a telephone, and on the web.

A `Shot` is a picture with the camera that explains it; what changes the picture's pixels changes the camera,
too.  All amounts are this project's choice, looked up in no standard.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from .cameras import Camera, shot


@dataclass(frozen=True)
class Shot:
    """An 8-bit RGB picture (H, W, 3), its camera, and what was done to it.

    `camera` is that of the picture before it was mirrored.
    """

    picture: np.ndarray
    camera: Camera
    mirrored: bool = False
    quality: int | None = None  # of the JPEG; None where it does not matter
    notes: tuple[str, ...] = ()

    def placed(self, xy):
        """Pixels in the file of pixels (N, 2) of the camera."""
        xy = np.asarray(xy, float)
        return xy * (-1, 1) + (self.camera.size[0] - 1, 0) if self.mirrored else xy


def sharpened(picture, amount, sigma):
    """Unsharp masking: what a blur takes away is added again, which makes halos along edges."""
    sharp = picture.astype(np.float32)
    sharp += amount * (sharp - cv2.GaussianBlur(sharp, (0, 0), sigma))
    return np.clip(sharp + 0.5, 0, 255).astype(np.uint8)


def grey(picture):
    """Black and white, in three like channels."""
    return cv2.cvtColor(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY), cv2.COLOR_GRAY2RGB)


def mirrored(one):
    """The shot seen in a mirror; the camera stays that of the picture as it was."""
    return replace(
        one,
        picture=np.ascontiguousarray(one.picture[:, ::-1]),
        mirrored=not one.mirrored,
        notes=(*one.notes, "mirrored"),
    )


def bordered(one, rng):
    """A screenshot: bars above and below with blocks like icons and lines of text, stripes at the sides."""
    h, w = one.picture.shape[:2]
    top, bottom = (int(h * s) for s in rng.uniform(0.04, 0.16, 2))
    left, right = (int(w * s) for s in (rng.uniform(0, 0.08, 2) if rng.random() < 0.5 else (0, 0)))
    ground = int(rng.choice([0, 18, 32, 240, 255]))
    ink = 255 - ground if rng.random() < 0.7 else 128
    out = np.full((h + top + bottom, w + left + right, 3), ground, np.uint8)
    for bar, y in ((top, 0), (bottom, top + h)):
        x, line = int(0.02 * w), max(2, bar // 4)
        while x < w * rng.uniform(0.3, 1.0):
            wide = int(rng.uniform(0.3, 3) * line)
            out[y + (bar - line) // 2 : y + (bar + line) // 2, x : x + wide] = ink
            x += wide + line // 2 + 1
    out[top : top + h, left : left + w] = one.picture
    cam = one.camera
    # In a mirrored picture the left border is on the right of the picture as it was.
    shift = right if one.mirrored else left
    cam = replace(cam, size=(out.shape[1], out.shape[0]), cx=cam.cx + shift, cy=cam.cy + top)
    return replace(one, picture=out, camera=cam, notes=(*one.notes, "screenshot"))


def calm(picture, spread):
    """Noise taken out, edges kept: what scaling a larger picture down does, and telephones do.

    `spread`: differences of grey levels below it are taken for noise.
    """
    return cv2.bilateralFilter(picture, 5, spread, 1.2)


def web(one, rng, may_mirror=True):
    """A picture as a page on the web shows it."""
    one = replace(one, picture=calm(one.picture, float(rng.uniform(20, 45))))
    if rng.random() < 0.8:
        amount, sigma = float(rng.uniform(0.6, 2.2)), float(rng.uniform(0.7, 1.6))
        one = replace(
            one, picture=sharpened(one.picture, amount, sigma), notes=(*one.notes, f"sharpened {amount:.1f}")
        )
    if rng.random() < 0.15:
        one = replace(one, picture=grey(one.picture), notes=(*one.notes, "black and white"))
    if rng.random() < 0.12 and may_mirror:
        one = mirrored(one)
    if rng.random() < 0.15:
        one = bordered(one, rng)
    return replace(one, quality=int(rng.integers(30, 76)))


def lifted(picture, share):
    """Tones lifted as telephones do: large bright and dark areas brought together, small contrasts kept.

    `share` of the contrast of large areas stays.  Method: base and detail layer (Durand, Dorsey 2002,
    doi:10.1145/566654.566574), with a guided mean of this project's own for the base.
    """
    light = np.log(picture.astype(np.float32).mean(axis=2) + 2.0)
    reach = max(picture.shape[:2]) / 40
    # Guided filter (He, Sun, Tang 2013, doi:10.1109/TPAMI.2012.213): a mean that keeps strong edges.
    mean = cv2.GaussianBlur(light, (0, 0), reach)
    spread = cv2.GaussianBlur(light * light, (0, 0), reach) - mean**2
    a = spread / (spread + 0.15)
    base = cv2.GaussianBlur(a, (0, 0), reach) * light + cv2.GaussianBlur(mean * (1 - a), (0, 0), reach)
    gain = np.exp((1 - share) * (np.percentile(base, 90) - base))
    return np.clip(picture * gain[..., None] + 0.5, 0, 255).astype(np.uint8)


def shaken(picture, rng, longest):
    """A hand that moved and turned during the exposure: the mean along a path of up to `longest` px."""
    length, angle = rng.uniform(0.3, 1) * longest, rng.uniform(0, 2 * np.pi)
    h, w = picture.shape[:2]
    roll, total = np.deg2rad(rng.normal(0, 0.04)) * longest / 4, np.zeros(picture.shape, np.float32)
    steps = np.linspace(-0.5, 0.5, 9)
    for s in steps:
        m = cv2.getRotationMatrix2D((w / 2, h / 2), float(np.rad2deg(roll * s)), 1.0)
        m[:, 2] += length * (s + 0.3 * (s * s - 0.083)) * np.array([np.cos(angle), np.sin(angle)])
        total += cv2.warpAffine(picture, m, (w, h), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return total / len(steps)


def telephone(linear, rng, exposure):
    """A telephone's 8-bit picture from linear radiance: shaken, noisy, noise taken out, lifted, sharpened."""
    scale = max(linear.shape[:2]) / 2000
    if rng.random() < 0.5:
        linear = shaken(linear, rng, max(0.6, rng.uniform(1, 5) * scale))
    grain = rng.standard_normal(linear.shape, dtype=np.float32)
    noise = rng.uniform(0.01, 0.05)
    linear = linear * exposure
    linear = np.maximum(linear + grain * noise * np.sqrt(np.maximum(linear, 0) + 0.01), 0)
    picture = shot(linear.astype(np.float32), rng, 1.0)
    picture = calm(picture, float(rng.uniform(20, 60)))
    picture = lifted(picture, rng.uniform(0.55, 0.9))
    return sharpened(picture, float(rng.uniform(0.3, 1.2)), max(0.7, 1.2 * scale))
