"""Photos that are one exposure in several files."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from recon.image.photos import PhotoImage

# See `drop_duplicates`.
THUMBNAIL_SIDE = 64
THUMBNAIL_SIGMA_PX = 4.0
SAME_CORRELATION = 0.975


def _thumbnail(photo: PhotoImage) -> NDArray[np.float32]:
    """What tells one exposure from another, as a unit vector, free of brightness and contrast.

    The photo area-averaged to THUMBNAIL_SIDE squared, less its own blur, so that wall against floor does not
    make all photos of one room alike.
    """
    small = cv2.resize(photo.grey, (THUMBNAIL_SIDE, THUMBNAIL_SIDE), interpolation=cv2.INTER_AREA)
    detail = (small - cv2.GaussianBlur(small, (0, 0), THUMBNAIL_SIGMA_PX)).ravel()
    detail -= detail.mean()
    unit: NDArray[np.float32] = detail / max(float(np.linalg.norm(detail)), 1e-9)
    return unit


def _sameness(
    a: PhotoImage, b: PhotoImage, thumbnail_a: NDArray[np.float32], thumbnail_b: NDArray[np.float32]
) -> str | None:
    """Why a is the same exposure as b, in words, or None."""
    if a.digest == b.digest:
        return f"it is the same photo as {b.name} (the same pixels)"
    proportions_differ = abs(a.size[0] * b.size[1] / (a.size[1] * b.size[0]) - 1) > 0.02
    if not proportions_differ and float(thumbnail_a @ thumbnail_b) > SAME_CORRELATION:
        return f"it is a copy of {b.name} in another size or compression"
    return None


def drop_duplicates(photos: Sequence[PhotoImage]) -> tuple[list[PhotoImage], list[tuple[PhotoImage, str]]]:
    """Of photos that are the same exposure, one is kept.

    Of two copies the larger stays; of two of one size, the one that knows its focal length, else the first.

    Returns
    -------
    kept : list of PhotoImage
        In their order.
    dropped : list of (PhotoImage, reason)

    Notes
    -----
    Identical pixels have one digest. A copy that was scaled or compressed again differs in every pixel, but
    not in its coarse detail, where noise and JPEG blocks average out: correlation of the thumbnails' detail
    was at least 0.988 for copies down to a quarter of the size or JPEG quality 20, at most 0.962 for a photo
    shifted by 0.5 % of its width and 0.26 between photos from different places (24 photos of eight frames).
    """
    order = sorted(range(len(photos)), key=lambda k: (-photos[k].colour.size, photos[k].f35_mm is None, k))
    thumbnails = [_thumbnail(photo) for photo in photos]
    kept: list[int] = []
    dropped: dict[int, str] = {}
    for k in order:
        reasons = (_sameness(photos[k], photos[j], thumbnails[k], thumbnails[j]) for j in kept)
        reason = next(filter(None, reasons), None)
        if reason is None:
            kept.append(k)
        else:
            dropped[k] = reason
    return [photos[k] for k in sorted(kept)], [(photos[k], dropped[k]) for k in sorted(dropped)]
