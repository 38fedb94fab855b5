"""Photos made small for papers and pages, upright whatever way the camera was held."""

from __future__ import annotations

import io
from pathlib import Path

from recon.image.photos import load_photo

QUALITY = 85  # of the JPEG: common practice, no source


def small_jpeg(path: str | Path, longest_px: int) -> bytes:
    """A photo as a JPEG of at most so many px on its long side.

    Raises
    ------
    ReconError
        Where it is no photo that can be read.
    """
    from PIL import Image

    image = Image.fromarray(load_photo(path).colour)
    image.thumbnail((longest_px, longest_px))
    out = io.BytesIO()
    image.save(out, "JPEG", quality=QUALITY)
    return out.getvalue()
