"""The rows file: openings and rows of each photo as JSON, written whatever a reading comes to.

Its schema is `rows.schema.json`.  Places are in px of the photo, upright; pixel centres at whole numbers.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np

from recon.errors import ReconError
from recon.frame.user_files import check, parse_json, read_text
from recon.geometry.camera import Camera
from recon.image.openings import OPENING
from recon.image.photo_rows import PhotoRows, chance_of_clutter, hole_count
from recon.image.rows import Row

FORMAT, VERSION = "opening-rows", 1
DECIMALS = 3  # of px, radians and scores: far below what an opening's place is known to


def rows_schema() -> dict[str, Any]:
    """The JSON schema of the file (draft 2020-12)."""
    text = files("recon.image").joinpath("rows.schema.json").read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema


def rows_to_dict(photos: Sequence[PhotoRows]) -> dict[str, Any]:
    """Plain values for JSON of the openings and rows of some photos.

    Examples
    --------
    >>> openings = np.zeros(4, OPENING)
    >>> row = Row(np.arange(4), np.array([0, 1, 2, 4]), -2.0)
    >>> data = rows_to_dict([PhotoRows("left.jpg", (400, 300), openings, (row,), reason="blurred")])
    >>> data["photos"][0]["rows"][0]["steps"], data["photos"][0]["rows"][0]["holes"]
    ([0, 1, 2, 4], 5)
    """
    return {"format": FORMAT, "version": VERSION, "photos": [_photo_to_dict(photo) for photo in photos]}


def _photo_to_dict(photo: PhotoRows) -> dict[str, Any]:
    o = photo.openings
    table = np.round(np.c_[[o[name] for name in OPENING.names or ()]].T, DECIMALS) + 0.0
    out: dict[str, Any] = {
        "file": photo.name,
        "size": list(photo.size),
        "openings": table.tolist(),
        "rows": [_row_to_dict(Row(row.index, row.step, round(row.log_nfa, DECIMALS))) for row in photo.rows],
    }
    if photo.camera is not None:
        out["camera"] = photo.camera.to_dict()
    if photo.reason:
        out["reason"] = photo.reason
    return out


def _row_to_dict(row: Row) -> dict[str, Any]:
    return {
        "openings": row.index.tolist(),
        "steps": row.step.tolist(),
        "holes": hole_count(row),
        "seen": len(row.index),
        "log10_nfa": row.log_nfa,
        "clutter": float(f"{chance_of_clutter(row):.2g}"),
    }


def rows_to_text(photos: Sequence[PhotoRows]) -> str:
    """The file's text: one line for each opening and each row, so that it can be read and compared."""
    data = rows_to_dict(photos)
    blocks = []
    for photo in data["photos"]:
        lines = [f'  "{key}": {json.dumps(photo[key])}' for key in photo if key not in ("openings", "rows")]
        for key in ("rows", "openings"):
            inside = ",\n".join(f"    {json.dumps(value)}" for value in photo[key])
            lines.append(f'  "{key}": [\n{inside}\n  ]' if inside else f'  "{key}": []')
        blocks.append("{\n" + ",\n".join(lines) + "\n}")
    head = f'"format": "{FORMAT}",\n"version": {VERSION},\n'
    return "{\n" + head + '"photos": [\n' + ",\n".join(blocks) + "\n]\n}\n"


def rows_from_text(text: str, where: str) -> list[PhotoRows]:
    """The photos' openings and rows from a file's text.

    Parameters
    ----------
    text : str
    where : str
        What the file is called, for errors.

    Raises
    ------
    ReconError
        Where it is no rows file, or one of a newer program.
    """
    data = parse_json(text, where)
    if not isinstance(data, dict) or data.get("format") != FORMAT:
        raise ReconError(f"{where}: this is not a rows file; its 'format' is not \"{FORMAT}\".")
    version = data.get("version")
    if isinstance(version, int) and version > VERSION:
        raise ReconError(
            f"{where}: written by a newer program (version {version} of the file; this one reads {VERSION}); "
            "update this program."
        )
    check(data, rows_schema(), where, _place_words)
    return [_photo_from_dict(photo, where) for photo in data["photos"]]


def load_rows(path: str | Path) -> list[PhotoRows]:
    """The photos' openings and rows from a file; ReconError where it is none."""
    return rows_from_text(read_text(path, "a rows file"), str(path))


def _place_words(path: tuple[str | int, ...]) -> str:
    """Words for a place in the file's values."""
    return f"photo {path[1] + 1}" if len(path) > 1 and isinstance(path[1], int) else ""


def _photo_from_dict(photo: dict[str, Any], where: str) -> PhotoRows:
    openings = np.array([tuple(one) for one in photo["openings"]], OPENING)
    rows = []
    for row in photo["rows"]:
        index, step = np.array(row["openings"], int), np.array(row["steps"], int)
        if len(index) != len(step) or index.max() >= len(openings):
            raise ReconError(f"{where}: a row of {photo['file']} names openings that are not in the file.")
        rows.append(Row(index, step, float(row["log10_nfa"])))
    camera = Camera.from_dict(photo["camera"]) if "camera" in photo else None
    width, height = photo["size"]
    reason = photo.get("reason", "")
    return PhotoRows(photo["file"], (width, height), openings, tuple(rows), camera, reason)
