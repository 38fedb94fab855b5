"""The plan of a build: another frame file in its folder."""

from __future__ import annotations

from pathlib import Path

from recon.frame.files import load_frame
from recon.frame.model import Frame
from recon.frame.stock import Stock
from webui.storage.build import PLAN


def load_plan(folder: Path, stocks: dict[str, Stock]) -> Frame | None:
    """The plan of the build in `folder`, or None.  Raises ReconError where its file is broken."""
    path = folder / PLAN
    return load_frame(path, stocks) if path.is_file() else None
