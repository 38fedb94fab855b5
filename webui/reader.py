"""The one place where the page calls the solver."""
from __future__ import annotations

import importlib
import inspect
import json
from pathlib import Path

import numpy as np

from recon.files import write_text_atomic
from webui.build import READING

SOLVER = "recon.solve"       # module whose `read` reads photos


def read(solver: str, photos, *, stocks, stock_id, length, progress, constraints=None, found=None):
    """A Reading of the photos (list of PhotoImage).  Raises ReconError where no frame can be read.

    solver : the module that reads, SOLVER outside tests.   constraints : from `webui.again`, handed on where the solver takes them; what it
    does not keep, `again.kept` puts right.   found : called with (photo, openings, rows) as photos are done, likewise.
    """
    function = importlib.import_module(solver).read
    takes = inspect.signature(function).parameters
    options = {k: v for k, v in (("constraints", constraints), ("found", found)) if v is not None and k in takes}
    return function(photos, stocks=stocks, stock_id=stock_id, length=length, progress=progress, **options)


def save_photo_reading(folder: Path, photo: str, openings, rows) -> None:
    """Keeps what was found in one photo: openings (N, 6) and rows, each (M, 2), px."""
    text = json.dumps({"openings": np.round(np.asarray(openings, float).reshape(-1, 6), 3).tolist(),
                       "rows": [np.round(np.asarray(r, float)[:, :2], 1).tolist() for r in rows]})
    write_text_atomic(folder / READING / f"{photo}.json", text)


def load_photo_reading(folder: Path, photo: str) -> dict:
    """{openings, rows} of a photo of the build; empty where it was not read."""
    try:
        return json.loads((folder / READING / f"{photo}.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {"openings": [], "rows": []}
