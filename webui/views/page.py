"""The page itself, its static files, and the build as it stands."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

from flask import Blueprint, Response, abort, jsonify, render_template, request, send_from_directory

from recon.corrections import on_photos
from recon.corrections.state import State, difference
from recon.frame.caution import CAUTION
from webui.context import AppContext, app_context
from webui.derived.fittings import fitting_rows
from webui.derived.sides import sides
from webui.processes.derived import EFFECTS
from webui.storage.plan import load_plan

bp = Blueprint("page", __name__)
STATIC = Path(__file__).resolve().parent.parent / "static"
NEWS = 3  # changes of which another tab gets the words


@bp.get("/")
def page() -> str:
    """The page."""
    context = app_context()
    context.quick.warm()  # it is needed as soon as the page is there
    return render_template("page.html", token=context.token, caution=CAUTION, shared=context.keys is not None)


@bp.get("/static/<path:name>")
def static(name: str) -> Response:
    """A static file; browsers ask whether it is still the same."""
    answer = send_from_directory(STATIC, name, max_age=0)
    answer.headers["Cache-Control"] = "no-cache"
    return answer


@bp.get("/api/build")
def whole() -> Response:
    """All of the build but pictures: what a page needs when it is opened."""
    context = app_context()
    n, state, can = context.build.snapshot()
    return jsonify(
        n=n,
        **can,
        folder=context.build.folder.name,
        place=str(context.build.folder.resolve()),
        delta=difference(State(), state),
        sides=sides(state.frame),
        fittings=fitting_rows(state.frame),
        caution=CAUTION,
        photos=_photo_list(context, state),
        stocks=[{"id": s.id, "name": s.name, "pitch_mm": s.pitch_mm} for s in context.stocks.values()],
        notices=[*context.build.notices, *context.work.notices],
        job=context.reading.status().to_json(),
        plan=_plan_name(context),
    )


def _plan_name(context: AppContext) -> str | None:
    try:
        plan = load_plan(context.build.folder, context.stocks)
    except Exception:  # what is wrong with it is said where the audit is requested
        return None
    return None if plan is None else plan.name or "plan"


def _photo_list(context: AppContext, state: State) -> list[dict[str, Any]]:
    """Every photo of the folder or of the frame: name, size in px (None until it is known), how deep its
    levels go, of which video it is a picture and from when, whether it is used and why not, and where its
    camera stood, pitches."""
    known = {p.file: p for p in state.frame.photos}
    names = context.photos.names()
    rows = []
    for name in [*names, *(f for f in known if f not in names)]:
        levels = context.photos.levels(name) if name in names else None
        photo = known.get(name)
        size = context.photos.size(name) if name in names else None
        rows.append(
            {
                "name": name,
                "here": name in names,
                "size": size or (list(photo.size) if photo else None),
                "levels": levels["levels"] if levels else None,
                "problem": context.photos.problem(name),
                "camera": bool(photo and photo.camera),
                "timecode": (levels or {}).get("timecode"),
                "eye": photo.camera.centre.round(2).tolist() if photo and photo.camera else None,
                "used": photo.used if photo else name not in state.corrections.set_aside,
                "reason": photo.reason if photo else "",
            }
        )
    return rows


def _start(context: AppContext) -> str:
    """Tells one start of the program from another, without its token."""
    return hashlib.sha256(context.token.encode()).hexdigest()[:16]


@bp.get("/api/pulse")
def pulse() -> Response:
    """What may change without this page: the version, which start of the program this is, the reading, the
    photos that are ready; `news`, words of the last changes; `entered`, how many browsers a key let in."""
    context = app_context()
    context.build.hold_place()  # what is wrong with the folder is said at once, and not with the next change
    context.work.hold_place()
    n, _, _ = context.build.snapshot()
    return jsonify(
        n=n,
        work=context.work.n,
        start=_start(context),
        entered=context.keys.entered if context.keys else 0,
        news=context.build.since(n - NEWS)[:NEWS],
        job=context.reading.status().to_json(),
        photos=(names := context.photos.names()),
        ready=[name for name in names if context.photos.levels(name)],
    )


@bp.get("/api/shapes/<name>")
def outlines(name: str) -> Response:
    """Where every member lies in one photo; see `on_photos.outlines`."""
    frame = app_context().build.state.frame
    if name not in {p.file for p in frame.photos}:
        abort(404)
    return jsonify(shapes=on_photos.outlines_in(frame, name))


@bp.get("/api/track/<id>")
def track(id: str) -> Response:
    """Where a member's ends can be dragged to, in every photo; see `on_photos.track`."""
    frame = app_context().build.state.frame
    if id not in {m.id for m in frame.members}:
        abort(404)
    return jsonify(track=on_photos.track(frame, id))


@bp.get("/api/effects")
def derived() -> Response:
    """What the frame comes to: `what` is "doubts", "parts" or "checks"."""
    context, what = app_context(), request.args.get("what")
    if what not in EFFECTS:
        abort(404)
    n, state, _ = context.build.snapshot()
    if not state.frame.members:
        return jsonify(n=n, empty=True)
    worker = context.checks if what == "checks" else context.quick
    return Response(worker.of(what), mimetype="application/json")
