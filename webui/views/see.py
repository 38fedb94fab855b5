"""The page itself, its static files, and the build as it stands."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

from flask import Blueprint, Response, abort, jsonify, render_template, request, send_from_directory

from recon.corrections import on_photos
from recon.corrections.state import State, difference
from recon.frame.caution import CAUTION
from webui.app import bench
from webui.processes.derived import ANSWERS

bp = Blueprint("see", __name__)
STATIC = Path(__file__).resolve().parent.parent / "static"
NEWS = 3  # changes that another tab is told of in words


@bp.get("/")
def page():
    b = bench()
    b.quick.warm()  # it is asked as soon as the page is there
    return render_template("page.html", token=b.token, caution=CAUTION, shared=b.keys is not None)


@bp.get("/static/<path:name>")
def static(name):
    answer = send_from_directory(STATIC, name, max_age=0)
    answer.headers["Cache-Control"] = "no-cache"
    return answer


@bp.get("/api/build")
def whole():
    """All of the build but pictures: what a page needs when it is opened."""
    b = bench()
    n, state, can = b.build.snapshot()
    return jsonify(
        n=n,
        **can,
        folder=b.build.folder.name,
        delta=difference(State(), state),
        photos=photo_list(b, state),
        stocks=[{"id": s.id, "name": s.name, "pitch_mm": s.pitch_mm} for s in b.stocks.values()],
        notices=b.build.notices,
        job=b.reading.told(),
        plan=plan_name(b),
    )


def plan_name(b):
    from recon.corrections.plan_audit import load_plan

    try:
        plan = load_plan(b.build.folder, b.stocks)
    except Exception:  # told where the audit is asked for
        return None
    return plan and (plan.name or "plan")


def photo_list(b, state: State) -> list[dict]:
    """Every photo of the folder or of the frame: name, size in px (None until it is known), how deep its levels go, whether it
    is used and why not."""
    told = {p.file: p for p in state.frame.photos}
    names = b.photos.names()
    listed = []
    for name in [*names, *(f for f in told if f not in names)]:
        levels = b.photos.levels(name) if name in names else None
        photo = told.get(name)
        size = levels["size"] if levels else list(photo.size) if photo else None
        listed.append(
            {
                "name": name,
                "here": name in names,
                "size": size,
                "levels": levels["levels"] if levels else None,
                "problem": b.photos.problem(name),
                "camera": bool(photo and photo.camera),
                "used": photo.used if photo else name not in state.said.get("aside", []),
                "reason": photo.reason if photo else "",
            }
        )
    return listed


def _start(b) -> str:
    """Tells one start of the program from another, without its token."""
    return hashlib.sha256(b.token.encode()).hexdigest()[:16]


@bp.get("/api/pulse")
def pulse():
    """What may change without this page: the version, which start of the program this is, the reading, the photos that are ready; `news`, words of the
    last changes."""
    b = bench()
    n, _, _ = b.build.snapshot()
    return jsonify(
        n=n,
        start=_start(b),
        news=b.build.since(n - NEWS)[:NEWS],
        job=b.reading.told(),
        ready=[n for n in b.photos.names() if b.photos.levels(n)],
    )


@bp.get("/api/shapes/<name>")
def shapes_of(name):
    """Where every member lies in one photo; see `on_photos.shapes`."""
    frame = bench().build.state.frame
    photo = next((p for p in frame.photos if p.file == name), None)
    if photo is None:
        abort(404)
    return jsonify(shapes=on_photos.shapes(replace(frame, photos=(photo,))).get(name, {}))


@bp.get("/api/track/<id>")
def track(id):
    """Where a member's ends can be dragged to, in every photo; see `on_photos.track`."""
    frame = bench().build.state.frame
    if id not in {m.id for m in frame.members}:
        abort(404)
    return jsonify(track=on_photos.track(frame, id))


@bp.get("/api/effects")
def effect():
    """What the frame comes to: `what` is "doubts", "parts" or "checks"."""
    b, what = bench(), request.args.get("what")
    if what not in ANSWERS or what == "audit":
        abort(404)
    n, state, _ = b.build.snapshot()
    if not state.frame.members:
        return jsonify(n=n, empty=True)
    return Response((b.checks if what == "checks" else b.quick).of(what), mimetype="application/json")
