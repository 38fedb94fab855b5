"""What `recon read` gives without a frame: openings and rows with their hole counts."""

import argparse
import contextlib
import io
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from recon.cli.console import Progress

if TYPE_CHECKING:
    import numpy as np

    from recon.image.photo_rows import PhotoRows
    from recon.image.photos import PhotoImage

ROWS_FILE = "rows.json"
_MADE_BY = b"overlay of recon"  # the comment in every overlay
_COMMENT_WITHIN = 1024  # bytes from a file's start: the comment comes before the picture (JPEG, ITU-T T.81)
OVERLAYS = "overlays/"
ROWS_RESULTS = (OVERLAYS, ROWS_FILE)  # what rows alone leave in a folder


def rows_of(
    photos: "Sequence[PhotoImage]", detected: "Mapping[str, np.ndarray]", progress: Progress
) -> "list[PhotoRows]":
    """Openings and rows of each photo; `detected`: photo -> openings that the solver found in it."""
    from recon.image import photo_rows

    out = []
    for k, photo in enumerate(photos):
        progress(f"counting rows in {photo.name}", k / len(photos))
        out.append(photo_rows.find_photo_rows(photo, detected.get(photo.name)))
    return out


def write_rows(
    staging: Path, photos: "Sequence[PhotoImage]", found: "Sequence[PhotoRows]", names: Sequence[str]
) -> list[str]:
    """Write ROWS_RESULTS into the staging folder, overlays under `names`; returns the files' names."""
    from recon.files import write_text_atomic
    from recon.image.rows_file import rows_to_text
    from recon.show.row_counts import rows_overlay

    write_text_atomic(staging / ROWS_FILE, rows_to_text(found))
    (staging / "overlays").mkdir()
    for photo, rows, name in zip(photos, found, names):
        write_jpeg(staging / "overlays" / name, rows_overlay(photo, rows))
    return [ROWS_FILE, *(f"overlays/{name}" for name in names)]


def print_rows(
    args: argparse.Namespace,
    found: "Sequence[PhotoRows]",
    left_out: Sequence[tuple[str, str]],
    files: Sequence[str],
) -> None:
    """Print the rows as JSON where that was asked for, else as a table."""
    from recon.image.rows_file import rows_to_dict
    from recon.show.row_counts import rows_text

    if args.json:
        left = [{"photo": name, "reason": reason} for name, reason in left_out]
        print(json.dumps({**rows_to_dict(found), "left_out": left, "files": list(files)}))
        return
    print(rows_text(found))
    if files:
        print(f"\nWritten to {args.out}: {', '.join(ROWS_RESULTS[::-1])}.")


def rows_left_sentence(out: str, found: "Sequence[PhotoRows]") -> str:
    """What a reading that failed has left, as a sentence."""
    rows = sum(len(photo.likely_rows) for photo in found)
    counted = f"{rows} {'row' if rows == 1 else 'rows'} of openings" if rows else "no rows of openings"
    return (
        f"What was found is kept in {out}: {counted}, with counts in {ROWS_FILE} and over the photos in "
        "overlays."
    )


def overlay_names(names: Sequence[str]) -> list[str]:
    """A file name for each photo's overlay: the photo's own, with a number where two would be the same.

    Examples
    --------
    >>> from recon.cli.read_rows import overlay_names
    >>> overlay_names(["left.jpg", "left.png", "front.heic"])
    ['left.jpg', 'left_2.jpg', 'front.jpg']
    """
    taken: set[str] = set()
    result = []
    for name in names:
        base, again = Path(name.replace("/", "_")).stem[:80], 1
        while (free := base if again == 1 else f"{base}_{again}").casefold() in taken:
            again += 1
        taken.add(free.casefold())
        result.append(f"{free}.jpg")
    return result


def write_jpeg(path: Path, image: "np.ndarray") -> None:
    """Write (H, W, 3) uint8 RGB as a JPEG file, with a comment by which `is_overlay` knows it."""
    from PIL import Image

    from recon.files import write_bytes_atomic

    buffer = io.BytesIO()
    Image.fromarray(image).save(buffer, "JPEG", quality=88, comment=_MADE_BY)
    write_bytes_atomic(path, buffer.getvalue())


def is_overlay(path: Path) -> bool:
    """Whether a file is an overlay that this program wrote: an older one may be removed, other files not."""
    with contextlib.suppress(OSError), open(path, "rb") as file:
        return _MADE_BY in file.read(_COMMENT_WITHIN)
    return False
