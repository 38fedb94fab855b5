"""Papers and exports of the frame as it stands, and the whole build in one file.  All are sent to be saved, and none is shown
as a page."""

from __future__ import annotations

import io
import re
import tempfile
import zipfile

from flask import Blueprint, abort, jsonify, send_file

from recon.files import why_not_written
from recon.frame.files import frame_to_text
from recon.show.exports import ALL_EXPORTS
from webui.app import bench
from webui.derived.papers import listed_papers, make_paper
from webui.storage.build import FRAME, PHOTOS, PLAN, READING
from webui.storage.journal import NAME as JOURNAL

bp = Blueprint("papers", __name__)


@bp.get("/api/papers")
def listed():
    """What can be taken away: [{id, name, what}]."""
    return jsonify(papers=listed_papers())


def _stem(b) -> str:
    name = b.build.state.frame.name or b.build.folder.name
    return re.sub(r"[^\w-]+", "-", name, flags=re.ASCII).strip("-")[:60] or "frame"


@bp.get("/api/papers/<id>")
def paper(id):
    """One paper.  Answers with a sentence where the frame does not allow it."""
    if id not in ALL_EXPORTS:
        abort(404)
    b, chosen = bench(), ALL_EXPORTS[id]
    data = make_paper(id, b.build.state.frame, b.stocks)
    return send_file(
        io.BytesIO(data),
        mimetype=chosen.media_type,
        as_attachment=True,
        download_name=f"{_stem(b)}{chosen.ending}",
    )


@bp.get("/api/build.zip")
def whole_build():
    """Photos, what was read in them, the journal and the frame file: unpacked, it is a build."""
    b = bench()
    try:
        pack = tempfile.TemporaryFile(dir=b.build.folder)
        _pack(b, pack)
    except OSError as error:  # the disk is full, or a photo went away meanwhile
        raise why_not_written(b.build.folder / "build.zip", error) from error
    pack.seek(0)
    return send_file(pack, mimetype="application/zip", as_attachment=True, download_name=f"{_stem(b)}.zip")


def _pack(b, pack) -> None:
    stem = _stem(b)
    with b.build.still(), zipfile.ZipFile(pack, "w", zipfile.ZIP_STORED) as archive:
        archive.write(b.build.folder / JOURNAL, f"{stem}/{JOURNAL}")
        if b.build.state.frame.members:
            archive.writestr(f"{stem}/{FRAME}", frame_to_text(b.build.state.frame))
        for name in b.photos.names():
            archive.write(b.build.folder / PHOTOS / name, f"{stem}/{PHOTOS}/{name}")
        for path in sorted((b.build.folder / READING).glob("*.json")):
            archive.write(path, f"{stem}/{READING}/{path.name}")
        if (b.build.folder / PLAN).is_file():
            archive.write(b.build.folder / PLAN, f"{stem}/{PLAN}")
