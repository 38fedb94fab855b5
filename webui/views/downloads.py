"""Papers and exports of the frame as it stands, and the whole build in one file.

All are sent to be saved, and none is shown as a page.
"""

from __future__ import annotations

import io
import re
import tempfile
import zipfile
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import IO

from flask import Blueprint, Response, abort, jsonify, send_file

from recon.errors import ReconError
from recon.files import why_not_written
from recon.frame.files import frame_to_text
from recon.frame.model import Frame
from recon.show.exports import ALL_EXPORTS
from recon.workshop.papers.builder_record import BuilderRecord
from webui.context import AppContext, app_context
from webui.derived.papers import listed_papers, make_paper
from webui.storage.build import FRAME, PHOTOS, PLAN, READING, STEP_PHOTOS, WORK
from webui.storage.journal import NAME as JOURNAL

bp = Blueprint("downloads", __name__)
PATIENCE_S = 20  # how long a photo that is being decoded is waited for, for papers


@bp.get("/api/papers")
def listed() -> Response:
    """The papers and files: [{id, name, what}]."""
    return jsonify(papers=listed_papers())


def _named(context: AppContext) -> Frame:
    """The frame with the build's name: its own, or until it has one the folder's."""
    frame = context.build.state.frame
    return replace(frame, name=frame.name or context.build.folder.name)


def _stem(context: AppContext) -> str:
    name = _named(context).name
    return re.sub(r"[^\w-]+", "-", name, flags=re.ASCII).strip("-")[:60] or "frame"


@bp.get("/api/papers/<id>")
def paper(id: str) -> Response:
    """One paper.  Answers with a sentence where the frame does not allow it."""
    if id not in ALL_EXPORTS:
        abort(404)
    context, chosen = app_context(), ALL_EXPORTS[id]
    data = make_paper(id, _named(context), context.stocks, lambda: _kept(context))
    return send_file(
        io.BytesIO(data),
        mimetype=chosen.media_type,
        as_attachment=True,
        download_name=f"{_stem(context)}{chosen.ending}",
    )


def _kept(context: AppContext) -> BuilderRecord:
    """Ticks, notes and photos, as papers print them; photos that cannot be decoded are left out."""
    record = context.work.record
    steps = {photo.file: _bytes(partial(context.step_photos.look, photo.file)) for photo in record.photos}
    looks = partial(context.photos.wait_for, file="whole.jpg", seconds=PATIENCE_S)
    photos = [(name, _bytes(partial(looks, name))) for name in context.photos.names()]
    return BuilderRecord(
        record,
        {name: data for name, data in steps.items() if data},
        [(name, data) for name, data in photos if data],
    )


def _bytes(look: Callable[[], Path | None]) -> bytes:
    try:
        path = look()
        return path.read_bytes() if path else b""
    except (ReconError, OSError):
        return b""


@bp.get("/api/build.zip")
def whole_build() -> Response:
    """Photos, what was read in them, the journals and the frame file: unpacked, it is a build."""
    context = app_context()
    try:
        pack = tempfile.TemporaryFile(dir=context.build.folder)  # noqa: SIM115 (Flask closes it once it is sent)
        _pack(context, pack)
    except OSError as error:  # the disk is full, or a photo went away meanwhile
        raise why_not_written(context.build.folder / "build.zip", error) from error
    pack.seek(0)
    return send_file(
        pack, mimetype="application/zip", as_attachment=True, download_name=f"{_stem(context)}.zip"
    )


def _pack(context: AppContext, pack: IO[bytes]) -> None:
    stem = _stem(context)
    with context.build.still(), zipfile.ZipFile(pack, "w", zipfile.ZIP_STORED) as archive:
        archive.write(context.build.folder / JOURNAL, f"{stem}/{JOURNAL}")
        if context.build.state.frame.members:
            archive.writestr(f"{stem}/{FRAME}", frame_to_text(context.build.state.frame))
        for name in context.photos.names():
            archive.write(context.build.folder / PHOTOS / name, f"{stem}/{PHOTOS}/{name}")
        for name in context.step_photos.names():
            archive.write(context.build.folder / STEP_PHOTOS / name, f"{stem}/{STEP_PHOTOS}/{name}")
        for path in sorted((context.build.folder / READING).glob("*.json")):
            archive.write(path, f"{stem}/{READING}/{path.name}")
        for name in (PLAN, WORK):
            if (context.build.folder / name).is_file():
                archive.write(context.build.folder / name, f"{stem}/{name}")
