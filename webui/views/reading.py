"""The reading: begun and cancelled; `/api/pulse` tells how it goes on."""

from __future__ import annotations

from flask import Blueprint, jsonify

from recon.corrections import validation
from recon.frame.length import parse_known_length
from webui.app import asked_json, bench

bp = Blueprint("reading", __name__)


@bp.post("/api/read")
def read():
    """Reads the photos, or reads them again around the corrections: {stock: id or null, length: text or null}."""
    b, ask = bench(), asked_json()
    stock = validation.stock(b.stocks, ask).id if ask.get("stock") else None
    length = validation.text(ask, "length", 200) if ask.get("length") else None
    if length:
        parse_known_length(length)
    b.reading.begin(b.photos.names(), stock, length)
    return jsonify(b.reading.told())


@bp.post("/api/read/cancel")
def cancel():
    b = bench()
    b.reading.cancel()
    return jsonify(b.reading.told())
