"""A plan: another frame file that the build is compared with."""

from __future__ import annotations

from flask import Blueprint, Response, jsonify

from recon.files import write_bytes_atomic
from webui.context import app_context, request_frame_file
from webui.storage.build import PLAN

bp = Blueprint("plan", __name__)


@bp.post("/api/plan")
def add() -> Response:
    """Takes a frame file as the plan: the body is the file."""
    context = app_context()
    data, plan = request_frame_file("plan", "The plan")
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
