"""A plan: another frame file that the build is compared with."""

from __future__ import annotations

from flask import Blueprint, Response, jsonify, request

from recon.errors import ReconError
from recon.files import write_bytes_atomic
from recon.frame.file_checks import MAX_BYTES, parse_json
from recon.frame.files import frame_from_dict
from webui.context import app_context
from webui.storage.build import PLAN

bp = Blueprint("plan", __name__)


@bp.post("/api/plan")
def add() -> Response:
    """Takes a frame file as the plan: the body is the file."""
    context = app_context()
    data = request.stream.read(MAX_BYTES + 1)
    if len(data) > MAX_BYTES:
        raise ReconError("That is too large for a frame file.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise ReconError("The plan is not text; choose a frame file (JSON).") from error
    plan = frame_from_dict(parse_json(text, "plan"), "plan", context.stocks)
    write_bytes_atomic(context.build.folder / PLAN, data)
    return jsonify(plan=plan.name or "plan", members=len(plan.members))


@bp.get("/api/audit")
def audit() -> Response:
    """The build and its plan; see `recon.corrections.plan_audit.compare_with_plan`."""
    return Response(app_context().checks.of("audit"), mimetype="application/json")


@bp.post("/api/plan/remove")
def remove() -> Response:
    """Puts the plan away."""
    (app_context().build.folder / PLAN).unlink(missing_ok=True)
    return jsonify(plan=None)
