"""What lies in the folder of a build, as the page leaves it, for commands that are given its frame file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from recon.cli.console import say

if TYPE_CHECKING:
    from recon.frame.model import Frame
    from recon.workshop.papers.builder_record import BuilderRecord

PHOTO_PX = 1600  # long side of a photo in the papers: 220 dots per inch across a page


def kept_in(folder: Path, frame: Frame) -> BuilderRecord:
    """What the builder keeps beside a build's frame file: notes and photos at steps, photos of the build."""
    from recon.workshop.papers.builder_record import BuilderRecord
    from webui.storage.build import PHOTOS, STEP_PHOTOS
    from webui.storage.work import record_in

    record = record_in(folder)
    steps = {photo.file: folder / STEP_PHOTOS / photo.file for photo in record.photos}
    originals = [(photo.file, folder / PHOTOS / photo.file) for photo in frame.photos]
    return BuilderRecord(
        record,
        {name: data for name, path in steps.items() if (data := _small(path))},
        [(name, data) for name, path in originals if (data := _small(path))],
    )


def _small(path: Path) -> bytes:
    """A photo of a build, reduced for printing; b"" where it is not there or cannot be read."""
    from recon.errors import ReconError
    from recon.image.small import small_jpeg

    try:
        return small_jpeg(path, PHOTO_PX) if path.is_file() else b""
    except ReconError as error:
        say(f"{error} The papers are without it.")
        return b""
