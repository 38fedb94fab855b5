"""A frame by hand: rows stroked along on a photo, the camera and members that they mean, members in 3-D."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from flask import Blueprint, Response, abort, jsonify

from recon.corrections import on_photos, validation
from recon.corrections.by_hand import with_camera, with_members_by_hand
from recon.corrections.codec import LAST_HOLE, member_from_json, member_to_json
from recon.corrections.edits import edit
from recon.corrections.model import StrokedRow
from recon.corrections.space_strokes import space_strokes, with_count
from recon.corrections.state import State
from recon.corrections.strokes import Stroke
from recon.errors import ReconError
from recon.frame.model import Frame, Photo
from recon.frame.stock import Stock
from recon.geometry.camera import Camera
from webui.context import AppContext, app_context, request_json
from webui.views.change import answer_change, base_of, stroke_to_json

bp = Blueprint("by_hand", __name__)

LEAST_ROWS = 2  # of which a camera can be known
WIDTH = 1.0  # pitches, where no stock is known: that of most stocks in the list
MOST_GHOSTS = 40  # members of which outlines are given at once


def _photo_name(context: AppContext, request: dict[str, Any]) -> str:
    name = validation.text(request, "photo", 300)
    if name not in context.photos.names():
        abort(404)
    return name


def _marks(state: State, photo: str) -> dict[str, Any]:
    marks = state.corrections.marks.get(photo)
    return {"missed": list(marks.missed), "false": list(marks.false)} if marks else {}


def _rows(rows: tuple[StrokedRow, ...]) -> list[list[float]]:
    return [[*r.start, *r.end, r.holes] for r in rows]


def _stock(context: AppContext, request: dict[str, Any]) -> Stock | None:
    """The stock of a request, else that which the user gave for the frame."""
    if request.get("stock"):
        return validation.stock(context.stocks, request)
    use = context.build.state.frame.stock
    return context.stocks.get(use.id) if use else None


@bp.post("/api/rows/count")
def count() -> Response:
    """The holes under a stroke: {photo, start, end} -> {holes or null, sure, words, start, end}."""
    context, request = app_context(), request_json()
    photo = _photo_name(context, request)
    start, end = validation.pixel(request, "start"), validation.pixel(request, "end")
    return jsonify(
        context.rows.ask("count", photo=photo, start=start, end=end, **_marks(context.build.state, photo))
    )


def _found(context: AppContext, photo: str, stock: Stock | None) -> dict[str, Any]:
    """What the rows of a photo mean; kept as long as rows, frame and stock are the same."""
    state = context.build.state
    rows = state.corrections.rows.get(photo, ())
    if len(rows) < LEAST_ROWS:
        raise ReconError("Draw along rows of two directions first; three rows are better than two.")
    known = [m for m in state.frame.members if m.on_lattice]
    width = known[0].width if known else stock.width if stock else WIDTH
    key = (photo, rows, tuple(known), width, state.corrections.marks.get(photo))
    if context.answers.get("key") != key:
        found = context.rows.ask(
            "answers",
            photo=photo,
            rows=_rows(rows),
            width=width,
            members=list(map(member_to_json, known)),
            **_marks(state, photo),
        )
        context.answers.clear()
        context.answers.update(key=key, found=found)
    found_now: dict[str, Any] = context.answers["found"]
    return found_now


@bp.post("/api/rows/answers")
def answers() -> Response:
    """What the rows of a photo mean, the likeliest first: {photo, stock: id or null}.

    [{chance, members, shapes: label -> outline in this photo, left_out: numbers of rows that fit nothing}].
    """
    context, request = app_context(), request_json()
    photo = _photo_name(context, request)
    found = _found(context, photo, _stock(context, request))
    frame = context.build.state.frame
    return jsonify(
        focal_sigma=found["focal_sigma"],
        known=len(frame.members) > 0,
        answers=[_answer(photo, found["size"], a, frame) for a in found["answers"]],
    )


def _answer(photo: str, size: list[int], answer: dict[str, Any], frame: Frame) -> dict[str, Any]:
    """An answer as the page draws it: with the members of the frame that is known, where there is one."""
    members = list(map(member_from_json, answer["members"]))
    shown = list(frame.members) if frame.members else members
    trial = Frame(tuple(shown), photos=(_posed(photo, size, answer["camera"]),))
    return {
        "chance": answer["chance"],
        "left_out": answer["left_out"],
        "members": list(map(member_to_json, members)),
        "shapes": on_photos.outlines_in(trial, photo),
    }


def _posed(photo: str, size: list[int], camera: dict[str, Any]) -> Photo:
    return Photo(photo, (size[0], size[1]), camera=Camera.from_dict(camera))


@bp.post("/api/rows/take")
def take() -> Response | tuple[Response, int]:
    """Takes an answer: its camera, and its members where they are new: {photo, stock, answer: its number,
    base}."""
    context, request = app_context(), request_json()
    base, photo, stock = base_of(request), _photo_name(context, request), _stock(context, request)
    found = _found(context, photo, stock)
    answer = found["answers"][validation.whole(request, "answer", 0, len(found["answers"]) - 1)]
    size, camera = (found["size"][0], found["size"][1]), Camera.from_dict(answer["camera"])
    members = list(map(member_from_json, answer["members"]))

    def make(state: State) -> tuple[State, str]:
        return with_members_by_hand(state, photo, size, camera, members, stock)

    return answer_change(make, base, f"The rows of {photo} were to be taken as members.")


@bp.post("/api/rows/add")
def add() -> Response | tuple[Response, int]:
    """Adds a member drawn on a photo whose camera is known by hand; its row makes the camera better:
    {photo, start, end, holes: of the stroke, ask: the edit "add", base}."""
    context, request = app_context(), request_json()
    base, photo = base_of(request), _photo_name(context, request)
    row = {key: request.get(key) for key in ("photo", "start", "end", "holes")}
    ask = request.get("ask")
    if not isinstance(ask, dict) or ask.get("op") != "add":
        raise ReconError("'ask' must be the new member.")

    def make(state: State) -> tuple[State, str]:
        after, words = edit(state, ask, context.stocks)
        after, _ = edit(after, {"op": "row", **row}, context.stocks)
        return _with_better_camera(context, after, photo), words

    return answer_change(make, base, "A member was to be added.")


def _with_better_camera(context: AppContext, state: State, photo: str) -> State:
    """The state with a photo's camera made better by all rows drawn on it."""
    rows = state.corrections.rows.get(photo, ())
    known = on_photos.known_camera(state.frame, photo, to_do="drawn")
    found = context.rows.ask(
        "camera",
        photo=photo,
        rows=_rows(rows),
        camera=known.to_dict(),
        members=list(map(member_to_json, state.frame.members)),
        **_marks(state, photo),
    )
    size = next(p.size for p in state.frame.photos if p.file == photo)
    return with_camera(state, photo, size, Camera.from_dict(found["camera"]))


# Members in 3-D, and where members that are none yet would lie


@bp.post("/api/space-stroke")
def space_stroke() -> Response:
    """The members that a line in 3-D from a hole of a known member may mean; see `space_strokes`."""
    frame, request = app_context().build.state.frame, request_json()
    found = space_strokes(
        frame,
        validation.member(frame, request),
        validation.whole(request, "hole", 0, LAST_HOLE),
        validation.vector(request, "normal"),
        validation.vector(request, "way"),
        validation.whole(request, "holes", 1, LAST_HOLE),
    )
    return jsonify(strokes=[stroke_to_json(frame, s) for s in found])


@bp.post("/api/stroke/count")
def stroke_count() -> Response:
    """A place of a stroke with another count of holes: {first, direction, was: its count, holes: the new one;
    photo, start: where the stroke began, or null}.  The end where the stroke began stays."""
    frame, request = app_context().build.state.frame, request_json()
    if not frame.members:
        raise ReconError("There is no member yet.")
    first, way = validation.vector(request, "first"), validation.vector(request, "direction")
    stroke = Stroke(first, way, validation.whole(request, "was", 1, LAST_HOLE), 0.0, 0, False)
    keep_last = False
    if request.get("photo"):
        photo, start = validation.text(request, "photo", 300), validation.pixel(request, "start")
        camera = on_photos.known_camera(frame, photo, to_do="drawn")
        ends = camera.project([first, np.array(first) + (stroke.holes - 1) * np.array(way)])
        far = np.linalg.norm(ends - start, axis=1)
        keep_last = bool(far[1] < far[0])
    found = with_count(frame, stroke, validation.whole(request, "holes", 1, LAST_HOLE), keep_last)
    return jsonify(stroke=stroke_to_json(frame, found))


@bp.post("/api/outlines")
def outlines() -> Response:
    """Where members that are none of the frame would lie in its photos: {members} -> [{photo: outline}]."""
    frame, request = app_context().build.state.frame, request_json()
    wanted = request.get("members")
    if not isinstance(wanted, list) or len(wanted) > MOST_GHOSTS:
        raise ReconError(f"'members' must be a list of at most {MOST_GHOSTS} members.")
    try:
        members = [replace(member_from_json(m), id=f"{i}") for i, m in enumerate(wanted)]
    except (KeyError, TypeError, ValueError) as error:
        raise ReconError("'members' holds something that is no member.") from error
    found = on_photos.outlines(Frame(tuple(members), photos=frame.photos))
    return jsonify(
        shapes=[{photo: there[m.id] for photo, there in found.items() if m.id in there} for m in members]
    )
