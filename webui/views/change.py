"""Corrections, undo and redo.  A change is answered once it is on the disk."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from flask import Blueprint, Response, jsonify

from recon.corrections import describe, on_photos, picking, strokes, validation
from recon.corrections.codec import member_to_json
from recon.corrections.copy_places import copy_place
from recon.corrections.edits import edit
from recon.corrections.fitting_trial import fitting_trial
from recon.corrections.measuring import centre_distance_words
from recon.corrections.space_strokes import with_longer
from recon.corrections.state import State
from recon.errors import ReconError
from recon.frame.model import Frame
from webui.context import app_context, request_json
from webui.derived.fittings import fitting_rows
from webui.derived.sides import sides
from webui.storage.build import Conflict, Moment

bp = Blueprint("change", __name__)

MOST_VERSIONS = 2**53  # the largest whole number that a page can count to exactly
UNDO_CONFLICT = (
    "Undo goes by the newest change, and that is theirs now: look at it, and undo again if you still want to."
)
REDO_CONFLICT = "What was to be done again belongs before theirs; it cannot be done again now."

Make = Callable[[State], tuple[State, str]]
Answer = Response | tuple[Response, int]


@bp.post("/api/edit")
def correct() -> Answer:
    """A correction.

    {base: the version that the page shows, ask: see `recon.corrections.edits`; instead_from: an older version
    that `ask` is made on, so that all that was done since gives way to it}.
    """
    context, data = app_context(), request_json()
    base = base_of(data)
    request = data.get("ask")
    if not isinstance(request, dict):
        raise ReconError("'ask' is missing.")
    older = _older(data, base)

    def make(state: State) -> tuple[State, str]:
        return edit(state, request, context.stocks)

    def instead(_: State) -> tuple[State, str]:
        state, words = make(older.state if older else State())
        return state, f"{words}, in place of what was done elsewhere"

    try:
        return _answer(*context.build.change(instead if older else make, base=base))
    except Conflict:
        return _conflict(data["instead_from"] if older else base, make)


def _older(data: dict[str, Any], base: int) -> Moment | None:
    """The older version that a change is meant for, if it names one."""
    if data.get("instead_from") is None:
        return None
    older = app_context().build.moments.get(validation.whole(data, "instead_from", 0, base))
    if older is None:
        raise ReconError("The version that this change was meant for is not known any more.")
    return older


@bp.post("/api/undo")
def undo() -> Answer:
    """Back by one change: {base}."""
    try:
        return _answer(*app_context().build.undo(base := _base()))
    except Conflict:
        return _conflict(base, wanted=UNDO_CONFLICT)


@bp.post("/api/redo")
def redo() -> Answer:
    """Forward again by one change: {base}."""
    try:
        return _answer(*app_context().build.redo(base := _base()))
    except Conflict:
        return _conflict(base, wanted=REDO_CONFLICT)


def _base() -> int:
    return base_of(request_json())


def base_of(request: dict[str, Any]) -> int:
    """The version of the build that a request is meant for."""
    return validation.whole(request, "base", 0, MOST_VERSIONS)


def answer_change(make: Make, base: int, wanted: str) -> Answer:
    """Makes a change and answers it; `wanted` says what it wanted, where the build is another by now."""
    try:
        return _answer(*app_context().build.change(make, base=base))
    except Conflict:
        return _conflict(base, wanted=wanted)


def _answer(old: State, new: State, words: str) -> Response:
    """The change as the page takes it over: a delta, and where the changed members now lie in every photo."""
    build = app_context().build
    delta = build.delta(old, new)
    ids = [m["id"] for m in delta.get("members", {}).get("put", [])]
    photos = "photos" in delta.get("frame", {})
    shapes = {} if photos else on_photos.outlines(new.frame, set(ids))
    return jsonify(
        n=build.n,
        **build.can(),
        words=words,
        delta=delta,
        shapes=shapes,
        again=photos,
        sides=sides(new.frame),
        fittings=fitting_rows(new.frame),
    )


# A change that was meant for an older version


def _conflict(base: int, make: Make | None = None, wanted: str = "") -> Answer:
    """Both versions' difference in words; nothing was changed.

    `there` is what the build has become since `base`; `mine`, what this page wanted; `both`, members that
    both change; `on_top`, what mine comes to on top of theirs, or `why_not`.

    make : None for undo and redo; then `wanted` says what they wanted.
    """
    build = app_context().build
    n, state, _ = build.snapshot()
    moment = build.moments.get(base)
    payload: dict[str, Any] = {
        "conflict": True,
        "n": n,
        "base": base,
        "mine": wanted,
        "there": None,
        "both": [],
        "on_top": None,
        "why_not": None,
        "can_replace": False,
        "problem": "This build was changed in another tab or on another device. Your change was not made.",
    }
    if moment is not None:
        theirs, payload["there"] = describe.between(moment.state, state)
        if make is not None:
            payload |= _mine(make, moment.state, state, theirs)
    return jsonify(payload), 409


def _mine(make: Make, before: State, now: State, theirs: dict[str, str]) -> dict[str, Any]:
    """What a change would have come to, and what it comes to on top of theirs."""
    try:
        wanted, words = make(before)
    except ReconError as error:  # it would not have been possible in the first place
        return {"mine": str(error), "why_not": str(error)}
    own = describe.members(before, wanted)
    both = [f"{id}: {theirs[id]} there, {own[id]} here" for id in sorted(theirs.keys() & own.keys())]
    mine = {"mine": words, "can_replace": True, "both": both}
    try:
        return mine | {"on_top": make(now)[1]}
    except ReconError as error:
        return mine | {"why_not": str(error)}


# What would come of it


@bp.post("/api/stroke")
def stroke() -> Answer:
    """The members that a stroke from opening to opening may mean: {photo, start: [x, y], end: [x, y]}."""
    frame, request = app_context().build.state.frame, request_json()
    found = strokes.strokes(
        frame,
        validation.text(request, "photo", 300),
        validation.pixel(request, "start"),
        validation.pixel(request, "end"),
    )
    found = with_longer(frame, found) if frame.members else found
    return jsonify(strokes=[stroke_to_json(frame, s) for s in found])


def stroke_to_json(frame: Frame, s: strokes.Stroke) -> dict[str, Any]:
    """A member that a stroke may mean, as the page has it."""
    return {
        "first": list(s.first),
        "direction": list(s.direction),
        "holes": s.holes,
        "width": frame.members[0].width,
        "laps": s.laps,
        "clash": s.clash,
        "off": round(s.off, 2),
        "shapes": strokes.stroke_outlines(frame, s),
    }


@bp.post("/api/copy")
def copied() -> Answer:
    """What copies of members come to, before they are added: {members, by, mirror} as for the edit "copy";
    without `by` and `mirror` a free place is offered."""
    state = app_context().build.state
    place = copy_place(state, request_json())
    shown = replace(state.frame, members=place.members, joints=())
    return jsonify(
        members=list(map(member_to_json, place.members)),
        by=list(place.by),
        laps=place.laps,
        joins=list(place.joins),
        meets=list(place.meets),
        there=place.there,
        shapes=on_photos.outlines(shown),
    )


@bp.post("/api/measure")
def measure() -> Answer:
    """What a tape between two openings would tell, before it is taken; see `picking.measurement`."""
    return jsonify(**picking.measurement(app_context().build.state.frame, request_json()))


@bp.post("/api/fitting")
def fitting() -> Answer:
    """What a fitting would be, before it is put on; see `fitting_trial`."""
    context = app_context()
    return jsonify(**fitting_trial(context.build.state.frame, request_json(), context.stocks))


@bp.post("/api/stretch")
def stretched() -> Answer:
    """What a stretch would come to, before it is made: the request of that edit; {words} or {problem}."""
    context = app_context()
    try:
        words = edit(context.build.state, {**request_json(), "op": "stretch"}, context.stocks)[1]
    except ReconError as error:
        return jsonify(problem=str(error))
    return jsonify(words=words.removeprefix("Frame stretched: "))


@bp.get("/api/apart/<a>/<b>")
def apart(a: str, b: str) -> Answer:
    """From centre to centre of two members, in words: '' where they are not parallel."""
    frame = app_context().build.state.frame
    one, other = (validation.member_of(frame, id) for id in (a, b))
    return jsonify(words=centre_distance_words(frame, one, other))
