"""The one place where the page calls the solver."""

from __future__ import annotations

import importlib
import inspect
import json
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from zipfile import BadZipFile

import numpy as np

from recon.files import write_bytes_atomic, write_text_atomic
from webui.storage.build import PHOTOS, READING

SOLVER = "recon.solve"  # module whose `read` reads photos


def read(solver: str, photos, *, stocks, stock_id, length, progress, given=None, found=None, detected=None):
    """A Reading of the photos (list of PhotoImage).  Raises ReconError where no frame can be read.

    solver : the module that reads, SOLVER outside tests.   constraints : from `recon.corrections.merge`, handed on where the solver takes them; what it
    does not keep, `again.kept` puts right.   found : called with (photo, openings, rows) as photos are done, likewise.
    detected : photo -> detections, taken and filled, likewise.
    """
    function = importlib.import_module(solver).read
    takes = inspect.signature(function).parameters
    options = {
        k: v
        for k, v in (("given", given), ("found", found), ("detected", detected))
        if v is not None and k in takes
    }
    return function(photos, stocks=stocks, stock_id=stock_id, length=length, progress=progress, **options)


def save_photo_reading(folder: Path, photo: str, openings, rows) -> None:
    """Keeps what was found in one photo: openings (N, 6) and rows, each (M, 2), px."""
    text = json.dumps(
        {
            "openings": np.round(np.asarray(openings, float).reshape(-1, 6), 3).tolist(),
            "rows": [np.round(np.asarray(r, float)[:, :2], 1).tolist() for r in rows],
        }
    )
    write_text_atomic(folder / READING / f"{photo}.json", text)


def load_photo_reading(folder: Path, photo: str) -> dict:
    """{openings, rows} of a photo of the build; empty where it was not read."""
    try:
        return json.loads((folder / READING / f"{photo}.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {"openings": [], "rows": []}


# Detections: two thirds of a reading's time, and the same for one photo whatever the user has said.


def _print_of(photo: Path) -> str:
    """Tells one photo's bytes, looked at by one version of the detector, from all others."""
    from recon.image import openings

    return sha256(photo.read_bytes() + Path(openings.__file__).read_bytes()).hexdigest()


def save_detections(folder: Path, photo: str, table) -> None:
    """Keeps a photo's detections (N,) for its next reading."""
    to = BytesIO()
    np.savez_compressed(to, of=_print_of(folder / PHOTOS / photo), table=table)
    write_bytes_atomic(folder / READING / f"{photo}.npz", to.getvalue())


def load_detections(folder: Path, photo: str):
    """The detections kept of a photo; None where there are none, or where photo or detector are others now."""
    from recon.image.openings import OPENING

    try:
        with np.load(folder / READING / f"{photo}.npz", allow_pickle=False) as kept:
            table = kept["table"]
            return (
                table
                if str(kept["of"]) == _print_of(folder / PHOTOS / photo) and table.dtype == OPENING
                else None
            )
    except (OSError, ValueError, KeyError, BadZipFile):
        return None
