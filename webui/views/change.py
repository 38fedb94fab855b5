"""Corrections, undo and redo.  A change is answered once it is on the disk."""

from __future__ import annotations

from dataclasses import replace

from flask import Blueprint, jsonify

from recon.corrections import describe, on_photos, validation
from recon.corrections import measuring as tape_measure
from recon.corrections.edits import edit
from recon.corrections.state import State
from recon.errors import ReconError
from recon.frame.model import Member
from webui.app import asked_json, bench
from webui.storage.build import Conflict

bp = Blueprint("change", __name__)


def _answer(old: State, new: State, words: str):
    """The change as the page takes it over: a delta, and where the changed members now lie in every photo."""
    b = bench()
    delta = b.build.delta(old, new)
    ids = [m["id"] for m in delta.get("members", {}).get("put", [])]
    photos = "photos" in delta.get("frame", {})
    shapes = {} if photos else on_photos.shapes(new.frame, set(ids))
    return jsonify(n=b.build.n, **b.build.can(), words=words, delta=delta, shapes=shapes, again=photos)


def _in_conflict(base: int, mine=None, wanted: str = ""):
    """Both versions' difference in words: `there`, what the build has become since `base`; `mine`, what this page wanted; `both`,
    members that both change; `on_top`, what mine comes to on top of theirs, or `why_not`.  Nothing was changed.

    mine : State -> (State, words), None for undo and redo, which `wanted` tells of.
    """
    b = bench()
    n, state, _ = b.build.snapshot()
    moment = b.build.moments.get(base)
    told = {
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
        theirs, told["there"] = describe.between(moment.state, state)
        if mine is not None:
            _tell_mine(told, mine, moment.state, state, theirs)
    return jsonify(told), 409


def _tell_mine(told, mine, before: State, now: State, theirs) -> None:
    try:
        wanted, told["mine"] = mine(before)
    except ReconError as error:  # it would not have been possible in the first place
        told["mine"] = told["why_not"] = str(error)
        return
    told["can_replace"] = True
    own = describe.members(before, wanted)
    told["both"] = [f"{id}: {theirs[id]} there, {own[id]} here" for id in sorted(theirs.keys() & own.keys())]
    try:
        told["on_top"] = mine(now)[1]
    except ReconError as error:
        told["why_not"] = str(error)


@bp.post("/api/edit")
def correct():
    """{base: the version that the page shows, ask: see `edits`; instead_from: an older version that `ask` is made on, so that all
    that was done since gives way to it}."""
    b, data = bench(), asked_json()
    base = validation.whole(data, "base", 0, 2**53)
    ask = data.get("ask")
    if not isinstance(ask, dict):
        raise ReconError("'ask' is missing.")
    older = None
    if data.get("instead_from") is not None:
        older = b.build.moments.get(validation.whole(data, "instead_from", 0, base))
        if older is None:
            raise ReconError("The version that this change was meant for is not known any more.")

    def make(state):
        return edit(state, ask, b.stocks)

    def instead(_):
        state, words = make(older.state)
        return state, f"{words}, in place of what was done elsewhere"

    try:
        return _answer(*b.build.change(make if older is None else instead, base=base))
    except Conflict:
        return _in_conflict(base if older is None else data["instead_from"], make)


@bp.post("/api/undo")
def undo():
    return _step("undo")


@bp.post("/api/redo")
def redo():
    return _step("redo")


def _step(kind):
    b, data = bench(), asked_json()
    base = validation.whole(data, "base", 0, 2**53)
    try:
        return _answer(*getattr(b.build, kind)(base))
    except Conflict:
        return _in_conflict(
            base,
            wanted="Undo goes by the newest change, and that is theirs now: look at it, and undo again if you still want to."
            if kind == "undo"
            else "What was to be done again belongs before theirs; it cannot be done again now.",
        )


@bp.post("/api/stroke")
def stroke():
    """The members that a stroke from opening to opening may mean: {photo, start: [x, y], end: [x, y]}."""
    b, ask = bench(), asked_json()
    frame = b.build.state.frame
    found = on_photos.strokes(
        frame,
        validation.text(ask, "photo", 300),
        validation.numbers(ask, "start", 2),
        validation.numbers(ask, "end", 2),
    )
    return jsonify(
        strokes=[
            {
                "first": list(s.first),
                "direction": list(s.direction),
                "holes": s.holes,
                "laps": s.laps,
                "clash": s.clash,
                "off": round(s.off, 2),
                "shapes": _shape(frame, s),
            }
            for s in found
        ]
    )


def _shape(frame, stroke) -> dict:
    """Where the member that a stroke may mean would lie: {photo: shape}."""
    new = Member("?", stroke.first, stroke.direction, stroke.holes, frame.members[0].width)
    return {
        photo: there["?"]
        for photo, there in on_photos.shapes(replace(frame, members=(new,))).items()
        if there
    }


@bp.post("/api/measure")
def measuring():
    """What a tape between two openings would tell, before it is taken; see `measuring.told`."""
    return jsonify(**tape_measure.told(bench().build.state.frame, asked_json()))


@bp.post("/api/device")
def device():
    """An address with a fresh key, for another device."""
    b = bench()
    if b.keys is None:
        raise ReconError(
            "This page is open to this machine alone. Start it with --host to use it from another device."
        )
    return jsonify(address=f"{b.address}/enter?key={b.keys.new()}")
