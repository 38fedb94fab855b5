"""Videos in: their pictures are chosen in the background, and come in as photos."""

from __future__ import annotations

from urllib.parse import unquote

from flask import Blueprint, Response, abort, jsonify, request

from recon.errors import ReconError
from webui.context import app_context

bp = Blueprint("videos", __name__)
ADDRESS = "/api/videos"


@bp.post(ADDRESS)
def add() -> Response:
    """Takes in one video: the body is the file, its name is in the header X-Photo-Name (percent-encoded).

    The answer, {video}, has the key by which it is asked after.
    """
    name = unquote(request.headers.get("X-Photo-Name", ""))[:300] or "video.mp4"
    if not request.content_length:
        raise ReconError(f"{name}: the file is empty, or its size is not given; send it again.")
    return jsonify(video=app_context().videos.begin(name, request.stream))


@bp.get(f"{ADDRESS}/<key>")
def status(key: str) -> Response:
    """How the choice of a video's pictures stands; see `webui.storage.video_store.VideoStatus`."""
    known = app_context().videos.status(key)
    if known is None:
        abort(404)
    return jsonify(known.to_json())
