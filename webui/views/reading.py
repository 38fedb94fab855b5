"""The reading: begun and cancelled; `/api/pulse` tells how it goes on."""

from __future__ import annotations

from flask import Blueprint, Response, jsonify

from recon.corrections import validation
from recon.corrections.measuring import LONGEST_TEXT
from recon.corrections.merge import ReadingRequest
from recon.frame.length import parse_known_length
from webui.context import app_context, request_json
from webui.storage.pace import expected_s, work_of

bp = Blueprint("reading", __name__)


@bp.post("/api/read")
def read() -> Response:
    """Reads the photos, or reads them again around the corrections: {stock: id or null, length: text or
    null}."""
    context, request = app_context(), request_json()
    stock = validation.stock(context.stocks, request).id if request.get("stock") else None
    length = validation.text(request, "length", LONGEST_TEXT) if request.get("length") else None
    if length:
        parse_known_length(length)
    context.reading.begin(context.photos.names(), ReadingRequest(stock, length))
    return jsonify(context.reading.status().to_json())


@bp.get("/api/read/expected")
def expected() -> Response:
    """How long a reading of the photos as they are will take: {seconds, or null where that is not known}."""
    context = app_context()
    aside = context.build.state.corrections.set_aside
    photos = [name for name in context.photos.names() if name not in aside]
    return jsonify(seconds=expected_s(work_of(context.build.folder, photos)), photos=len(photos))


@bp.post("/api/read/cancel")
def cancel() -> Response:
    """Ends the reading; the build is as it was."""
    context = app_context()
    context.reading.cancel()
    return jsonify(context.reading.status().to_json())
