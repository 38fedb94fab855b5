"""A bolt's head by its colour: a disc on the face that stands out from the bare face round it."""

from __future__ import annotations

import numpy as np

from recon.geometry.arrays import FloatArray
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.members.colours import colours_at

HEAD_RADIUS = 0.20  # pitches: within the head of any bolt that fills the hole, M6 in 25 mm to M12 in 50 mm
FACE_RADII = (0.36, 0.44)  # outside every washer, still on the face
PLAIN_FACE = 0.01  # contrast, L*a*b* / 100: a bare face, where none can be seen beside the hole
FLOOR = 0.008  # contrast of noise
# Middle and spread (natural logarithm) of the contrast where no detection tells a head from an open hole: of
# 36 heads and nuts and of 123 open holes in view on 5 rendered frames with true cameras (quartiles).
HEAD_CONTRAST, OPEN_CONTRAST = (1.6, 0.79), (1.3, 0.6)
LEAST_CONTRAST = 1.0  # below it the disc is as plain as the face, which tells no more the plainer it is
COLOUR_NATS = (-0.5, 3.0)  # tails beyond what was measured decide no more; this project's choice


def colour_nats(
    photo: PosedPhoto, image: np.ndarray, centre: FloatArray, normal: FloatArray, direction: FloatArray
) -> float:
    """How much the colour speaks for a head where no detection tells, nats; 0 for a face out of the picture.

    Parameters
    ----------
    photo, image, centre, normal, direction
        As for `head_contrast`.
    """
    contrast = head_contrast(photo, image, centre, normal, direction)
    if contrast is None:
        return 0.0
    of_head, of_open = (
        -0.5 * (np.log(max(contrast, LEAST_CONTRAST) / middle) / spread) ** 2 - np.log(spread)
        for middle, spread in (HEAD_CONTRAST, OPEN_CONTRAST)
    )
    return float(np.clip(of_head - of_open, *COLOUR_NATS))


def head_contrast(
    photo: PosedPhoto, image: np.ndarray, centre: FloatArray, normal: FloatArray, direction: FloatArray
) -> float | None:
    """Contrast of the disc where a head would be over the bare face's between holes; None out of the photo.

    Parameters
    ----------
    photo : PosedPhoto
    image : array, (H, W, 3)
        uint8 BGR.
    centre : array, (3,)
        Of the opening, pitches.
    normal, direction : array, (3,)
        Of the face, and along the member.
    """
    head, *beside = (
        _disc_contrast(photo, image, centre + d * direction, normal, direction) for d in (0.0, -0.5, 0.5)
    )
    if head is None:
        return None
    bare = max((c for c in beside if c is not None), default=PLAIN_FACE)
    return head / (bare + FLOOR)


def _disc_contrast(
    photo: PosedPhoto, image: np.ndarray, centre: FloatArray, normal: FloatArray, direction: FloatArray
) -> float | None:
    """Mean colour difference between a disc on the face and the face round it; None if out of the photo."""
    side = np.cross(normal, direction)
    angle = np.arange(12) * np.pi / 6
    rings = [
        (r * np.cos(angle)[:, None] * direction + r * np.sin(angle)[:, None] * side)
        for r in (0.07, 0.14, HEAD_RADIUS, *FACE_RADII)
    ]
    px = photo.camera.project(np.concatenate([centre + r for r in rings]))
    H, W = image.shape[:2]
    if not np.isfinite(px).all() or px.min() < 1 or (px[:, 0] > W - 2).any() or (px[:, 1] > H - 2).any():
        return None
    colour = colours_at(image, px).reshape(len(rings), 12, 3)
    return float(np.linalg.norm(colour[:3].mean((0, 1)) - np.median(colour[3:].reshape(-1, 3), axis=0)))
