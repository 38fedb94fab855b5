"""The copy of a photo that openings are looked for in: small photos doubled, very large ones reduced."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from recon.image.photos import PhotoImage

# Photos up to this many pixels are looked at an octave above: openings of 3 to 5 px are below the smallest
# blob that the detector measures well.  Of those in sight it then finds 0.7 to 0.9, else 0.2 to 0.5 (measured
# on scaled photographs of frames with truth).
DOUBLED_PIXELS = 1.7e6
WORKING_PIXELS = 12.5e6  # larger photos are reduced to this: holes stay far over 4 px

# More are halved for a first look at openings: photos of 2 to 3 MP show most frames well enough.
# Small photos, doubled, are looked at as they are: of one of 1.5 MP a fifth fewer holes were found undoubled.
FIRST_LOOK_PIXELS = 4 * DOUBLED_PIXELS + 2e5


def working_scale(size: tuple[int, int]) -> float:
    """Size of the working copy over that of a photo of `size` (width, height) px.

    Examples
    --------
    >>> working_scale((800, 600)), working_scale((2000, 1500)), working_scale((5000, 10000))
    (2.0, 1.0, 0.5)
    """
    pixels = size[0] * size[1]
    if pixels <= DOUBLED_PIXELS:
        return 2.0
    return float(np.sqrt(min(1.0, WORKING_PIXELS / pixels)))


def first_look_halvings(pixels: float, most: float | None = None) -> int:
    """How often a picture of so many pixels is halved before openings are first looked for in it.

    Parameters
    ----------
    pixels : float
        Of the picture.
    most : float, optional
        That are looked at; FIRST_LOOK_PIXELS by default.

    Examples
    --------
    >>> first_look_halvings(3e6), first_look_halvings(12e6)
    (0, 1)
    """
    halvings = 0
    while pixels / 4**halvings > (most or FIRST_LOOK_PIXELS):
        halvings += 1
    return halvings


def working_copy(photo: PhotoImage) -> tuple[NDArray[np.uint8], float]:
    """A photo as openings are looked for in it.

    Parameters
    ----------
    photo : PhotoImage

    Returns
    -------
    bgr : (H, W, 3) uint8 array
    scale : float
        Its width over the photo's.
    """
    image = cv2.cvtColor(photo.colour, cv2.COLOR_RGB2BGR)
    scale = working_scale(photo.size)
    if scale != 1:
        way = cv2.INTER_CUBIC if scale > 1 else cv2.INTER_AREA
        image = cv2.resize(image, None, fx=scale, fy=scale, interpolation=way)
        scale = image.shape[1] / photo.size[0]
    return np.asarray(image, np.uint8), scale
