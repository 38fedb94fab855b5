"""A plan: another frame file that the build is held against."""
from __future__ import annotations

from dataclasses import replace

from flask import Blueprint, jsonify, request

from recon.errors import ReconError
from recon.files import write_bytes_atomic
from recon.frame.checked import MAX_BYTES, parse_json
from recon.frame.files import frame_from_dict, load_frame
from recon.frame.lattice import align, transform
from recon.workshop.audit import audit
from webui import sight
from webui.app import bench

bp = Blueprint("plan", __name__)
PLAN = "plan.json"
DRAWN = ("mirrored", "length", "shift", "both", "moved", "missing")     # differences of which the plan's members are drawn


def load_plan(b):
    """The plan of the build, or None.  Raises ReconError where its file is broken."""
    path = b.build.folder / PLAN
    return load_frame(path, b.stocks) if path.is_file() else None


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
def held_against():
    """The build against its plan: {verdict, differences, not_checked: [{text, members of the build, severity}], shapes}.

    shapes : for every photo the outlines of the plan's members that differ, where the plan has them.
    """
    b = bench()
    frame, plan = b.build.state.frame, load_plan(b)
    if plan is None:
        raise ReconError("There is no plan to hold this build against; load one.")
    found = audit(frame, plan)

    def row(d):
        return {"text": d.text, "severity": d.severity, "kind": d.kind,
                "members": [id for id in (found.names.get(m, m) for m in d.members) if id in {m.id for m in frame.members}]}

    return jsonify(verdict=found.verdict, differences=list(map(row, found.differences)), not_checked=list(map(row, found.not_checked)),
                   shapes=_shapes(frame, plan, {id for d in found.differences if d.kind in DRAWN for id in d.members}))


def _shapes(frame, plan, ids) -> dict:
    there = align(plan, frame)
    if there is None or not ids:
        return {}
    members = tuple(m for m in transform(replace(plan, photos=()), there.turn, there.shift).members if m.id in ids)
    found = sight.shapes(replace(frame, members=members, joints=()))
    return {photo: [shape["edges"] for shape in shapes.values()] for photo, shapes in found.items()}


@bp.post("/api/plan/remove")
def remove():
    """Puts the plan away."""
    (bench().build.folder / PLAN).unlink(missing_ok=True)
    return jsonify(plan=None)
