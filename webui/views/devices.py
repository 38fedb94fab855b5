"""Other devices: how a phone comes in, its own page, and where it should stand for the next photo."""

from __future__ import annotations

from flask import Blueprint, Response, jsonify, render_template

from recon.errors import ReconError
from webui.context import app_context
from webui.derived.standpoint import next_photo
from webui.network import qr_rows

bp = Blueprint("devices", __name__)


@bp.post("/api/device")
def device() -> Response:
    """An address with a fresh key for a phone, with its QR code: {address, qr: rows of 1 (dark) and 0}."""
    context = app_context()
    if context.keys is None:
        raise ReconError(
            "This page is open to this machine alone. End it with Ctrl-C, and a phone in the same network "
            f'can come in after: recon page "{context.build.folder.resolve()}" --phone'
        )
    address = f"{context.address}/enter?key={context.keys.new()}&to=phone"
    return jsonify(address=address, qr=qr_rows(address))


@bp.get("/phone")
def phone() -> str:
    """The page for a phone: photos straight into the build."""
    return render_template("phone.html", token=app_context().token)


@bp.get("/api/standpoint")
def standpoint() -> Response:
    """Where to stand for the next photo; see `derived.standpoint.next_photo`."""
    return jsonify(next_photo(app_context().build.state.frame))
