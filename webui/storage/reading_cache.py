"""What was found in photos, kept for the next time, and the one place where the page calls the solver."""

from __future__ import annotations

import importlib
import inspect
import json
from collections.abc import Callable, Sequence
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zipfile import BadZipFile

import numpy as np

from recon.files import write_bytes_atomic, write_text_atomic
from recon.frame.length import KnownLength
from recon.frame.stock import Stock
from webui.storage.build import PHOTOS, READING

if TYPE_CHECKING:
    from recon.image.photos import PhotoImage

SOLVER = "recon.solve"  # module whose `read` reads photos
CONSTRAINTS = "constraints"  # the parameter of its `read` that takes what must be kept


def read(
    solver: str,
    photos: Sequence[PhotoImage],
    *,
    stocks: dict[str, Stock],
    stock_id: str | None,
    length: KnownLength | None,
    progress: Callable[[str, float], None],
    constraints: Any = None,
    found: Callable[[str, Any, Any], None] | None = None,
    seen: Callable[[str, Any, Any], None] | None = None,
    marks: dict[str, Any] | None = None,
    detected: dict[str, Any] | None = None,
    workers: Any = None,
) -> Any:
    """A reading of the photos.

    Parameters
    ----------
    solver : str
        The module that reads, SOLVER outside tests.
    photos : sequence of PhotoImage
    stocks : dict of str to Stock
    stock_id : str or None
        The stock, where it is known.
    length : KnownLength or None
        A measured length.
    progress : callable
        Called with (stage, share 0..1).
    constraints : optional
        Of `recon.corrections.solver.constraints_for_solver`.  Handed on where the solver takes them, as what
        follows; what it does not keep, `recon.corrections.merge` puts right.
    found : callable, optional
        Called with (photo, openings, rows) as photos are done.
    seen : callable, optional
        Called with (photo, openings, rows) as far as they are known, before photos are done.
    marks : dict, optional
        photo -> (openings missed, places of none), px, as the user marked them before a first reading.
    detected : dict, optional
        photo -> detections, taken and filled.
    workers : recon.workers.Workers, optional
        Processes that read with this one.

    Returns
    -------
    recon.solve.Reading

    Raises
    ------
    ReconError
        Where no frame can be read.
    """
    function = importlib.import_module(solver).read
    takes = inspect.signature(function).parameters
    optional = {
        CONSTRAINTS: constraints,
        "found": found,
        "seen": seen,
        "marks": marks,
        "detected": detected,
        "workers": workers,
    }
    options = {k: v for k, v in optional.items() if v is not None and k in takes}
    return function(photos, stocks=stocks, stock_id=stock_id, length=length, progress=progress, **options)


def save_photo_reading(folder: Path, photo: str, openings: Any, rows: Any) -> None:
    """Keeps what was found in one photo: openings (N, 6) and rows, each (M, 2), px."""
    text = json.dumps(
        {
            "openings": np.round(np.asarray(openings, float).reshape(-1, 6), 3).tolist(),
            "rows": [np.round(np.asarray(r, float)[:, :2], 1).tolist() for r in rows],
        }
    )
    write_text_atomic(folder / READING / f"{photo}.json", text)


def load_photo_reading(folder: Path, photo: str) -> dict[str, Any]:
    """{openings, rows} of a photo of the build; empty where it was not read."""
    try:
        found: dict[str, Any] = json.loads((folder / READING / f"{photo}.json").read_text(encoding="utf-8"))
        return found
    except (OSError, ValueError):
        return {"openings": [], "rows": []}


# Detections: two thirds of a reading's time, and the same for one photo whatever the user has said.


def _fingerprint(photo: Path) -> str:
    """What tells one photo's bytes, looked at by one version of the detector, from all others."""
    from recon.image import openings

    return sha256(photo.read_bytes() + Path(openings.__file__).read_bytes()).hexdigest()


def save_detections(folder: Path, photo: str, table: np.ndarray) -> None:
    """Keeps a photo's detections (N,) for its next reading."""
    data = BytesIO()
    np.savez_compressed(data, of=np.array(_fingerprint(folder / PHOTOS / photo)), table=table)
    write_bytes_atomic(folder / READING / f"{photo}.npz", data.getvalue())


def load_detections(folder: Path, photo: str) -> np.ndarray | None:
    """The detections kept of a photo; None where there are none, or where photo or detector are others
    now."""
    from recon.image.openings import OPENING

    try:
        with np.load(folder / READING / f"{photo}.npz", allow_pickle=False) as kept:
            table: np.ndarray = kept["table"]
            same = str(kept["of"]) == _fingerprint(folder / PHOTOS / photo) and table.dtype == OPENING
            return table if same else None
    except (OSError, ValueError, KeyError, BadZipFile):
        return None
