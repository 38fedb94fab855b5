"""Photos in, and pictures of them out."""

from __future__ import annotations

import re
from urllib.parse import unquote

from flask import Blueprint, Response, abort, jsonify, request, send_file

from recon.errors import ReconError
from webui.context import app_context
from webui.storage.reading_cache import load_photo_reading

bp = Blueprint("photos", __name__)
PATIENCE_S = 120  # how long a picture is waited for
_TILE = re.compile(r"\d{1,2}/\d{1,3}_\d{1,3}\.jpg")


@bp.post("/api/photos")
def add() -> Response:
    """Takes in one photo: the body is the file, its name is in the header X-Photo-Name (percent-encoded)."""
    name = unquote(request.headers.get("X-Photo-Name", ""))[:300] or "photo.jpg"
    if not request.content_length:
        raise ReconError(f"{name}: the file is empty, or its size is not given; send it again.")
    return jsonify(app_context().photos.add(name, request.stream))


@bp.post("/api/photos/<name>/remove")
def remove(name: str) -> Response:
    """Takes a photo out of the build folder, into its folder `removed`."""
    context = app_context()
    _check(name)
    if any(p.file == name and p.used for p in context.build.state.frame.photos):
        raise ReconError(f"{name}: the frame was read from this photo; set it aside instead.")
    context.photos.remove(name)
    return jsonify(removed=name)


def _check(name: str) -> None:
    if name not in app_context().photos.names():
        abort(404)


def _picture(name: str, file: str) -> Response:
    path = app_context().photos.wait_for(name, file, PATIENCE_S)
    if path is None:
        abort(404, app_context().photos.problem(name) or "This picture is not ready.")
    answer = send_file(path, mimetype="image/jpeg")
    answer.headers["Cache-Control"] = "private, max-age=86400"
    return answer


@bp.get("/api/photos/<name>/whole.jpg")
def whole(name: str) -> Response:
    """The photo, at most `decode.LOOK` px on its long side."""
    _check(name)
    return _picture(name, "whole.jpg")


@bp.get("/api/photos/<name>/size")
def size(name: str) -> Response:
    """{size: [width, height], px, or null while it is not known}; it is known once `whole.jpg` is there."""
    _check(name)
    return jsonify(size=app_context().photos.size(name))


@bp.get("/api/photos/<name>/tile/<path:tile>")
def tile(name: str, tile: str) -> Response:
    """A tile, `Z/X_Y.jpg`."""
    _check(name)
    if not _TILE.fullmatch(tile) or app_context().photos.levels(name) is None:
        abort(404)
    path = app_context().photos.folder(name) / tile
    if not path.is_file():
        abort(404)
    return _picture(name, tile)


@bp.get("/api/photos/<name>/found")
def found(name: str) -> Response:
    """Openings and rows that the reader found."""
    _check(name)
    return jsonify(load_photo_reading(app_context().build.folder, name))
