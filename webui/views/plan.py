"""A plan: another frame file that the build is held against."""

from __future__ import annotations

from flask import Blueprint, Response, jsonify, request

from recon.corrections.plan_audit import PLAN
from recon.errors import ReconError
from recon.files import write_bytes_atomic
from recon.frame.files import frame_from_dict
from recon.frame.user_files import MAX_BYTES, parse_json
from webui.app import bench

bp = Blueprint("plan", __name__)


@bp.post("/api/plan")
def take():
    """Takes a frame file as the plan: the body is the file."""
    b = bench()
    data = request.stream.read(MAX_BYTES + 1)
    if len(data) > MAX_BYTES:
        raise ReconError("That is too large for a frame file.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise ReconError("The plan is not text; choose a frame file (JSON).") from error
    plan = frame_from_dict(parse_json(text, "plan"), "plan", b.stocks)
    write_bytes_atomic(b.build.folder / PLAN, data)
    return jsonify(plan=plan.name or "plan", members=len(plan.members))


@bp.get("/api/audit")
def audit():
    """The build against its plan; see `held.held_against`."""
    return Response(bench().checks.of("audit"), mimetype="application/json")


@bp.post("/api/plan/remove")
def remove():
    """Puts the plan away."""
    (bench().build.folder / PLAN).unlink(missing_ok=True)
    return jsonify(plan=None)
