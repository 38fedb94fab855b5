"""Photos in, and pictures of them out."""

from __future__ import annotations

import re

from flask import Blueprint, abort, jsonify, request, send_file

from recon.errors import ReconError
from webui.app import bench
from webui.storage.reading_cache import load_photo_reading

bp = Blueprint("photos", __name__)
PATIENCE_S = 30  # that a picture is waited for
_TILE = re.compile(r"\d{1,2}/\d{1,3}_\d{1,3}\.jpg")


@bp.post("/api/photos")
def add():
    """Takes in one photo: the body is the file, its name is in the header X-Photo-Name (percent-encoded)."""
    from urllib.parse import unquote

    name = unquote(request.headers.get("X-Photo-Name", ""))[:300] or "photo.jpg"
    if not request.content_length:
        raise ReconError(f"{name}: the file is empty, or its size is not told; send it again.")
    return jsonify(bench().photos.take_in(name, request.stream))


@bp.post("/api/photos/<name>/remove")
def remove(name):
    """Takes a photo out of the build folder, into its folder `removed`."""
    b = bench()
    _check(name)
    if any(p.file == name and p.used for p in b.build.state.frame.photos):
        raise ReconError(f"{name}: the frame was read from this photo; set it aside instead.")
    b.photos.remove(name)
    return jsonify(removed=name)


def _check(name):
    if name not in bench().photos.names():
        abort(404)


def _picture(name, file):
    path = bench().photos.wait_for(name, file, PATIENCE_S)
    if path is None:
        abort(404, bench().photos.problem(name) or "This picture is not ready.")
    answer = send_file(path, mimetype="image/jpeg")
    answer.headers["Cache-Control"] = "private, max-age=86400"
    return answer


@bp.get("/api/photos/<name>/whole.jpg")
def whole(name):
    """The photo, at most `decode.LOOK` px on its long side."""
    _check(name)
    return _picture(name, "whole.jpg")


@bp.get("/api/photos/<name>/tile/<path:tile>")
def tile(name, tile):
    """A tile, `Z/X_Y.jpg`."""
    _check(name)
    if not _TILE.fullmatch(tile) or bench().photos.levels(name) is None:
        abort(404)
    path = bench().photos.folder(name) / tile
    if not path.is_file():
        abort(404)
    return _picture(name, tile)


@bp.get("/api/photos/<name>/found")
def found(name):
    """Openings and rows that the reader found."""
    _check(name)
    return jsonify(load_photo_reading(bench().build.folder, name))
