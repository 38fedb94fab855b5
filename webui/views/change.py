"""Corrections, undo and redo.  A change is answered once it is on the disk."""
from __future__ import annotations

from dataclasses import replace

from flask import Blueprint, jsonify

from recon.errors import ReconError
from recon.frame.model import Member
from webui import asked, measure, sight
from webui.app import asked_json, bench
from webui.build import Conflict
from webui.edits import edit
from webui.state import State, difference

bp = Blueprint("change", __name__)


def _answer(old: State, new: State, words: str):
    """The change as the page takes it over: a delta, and where the changed members now lie in every photo."""
    b = bench()
    delta = b.build.delta(old, new)
    ids = [m["id"] for m in delta.get("members", {}).get("put", [])]
    photos = "photos" in delta.get("frame", {})
    shapes = {} if photos else sight.shapes(new.frame, set(ids))
    return jsonify(n=b.build.n, **b.build.can(), words=words, delta=delta, shapes=shapes, again=photos)


def _in_conflict(base: int, mine):
    """Both versions' difference: what was done meanwhile, and what this page wanted.  Nothing was changed."""
    b = bench()
    moment = b.build.moments.get(base)
    wanted = None
    if moment is not None and mine is not None:
        try:
            wanted = mine(moment.state)[1]
        except ReconError as error:
            wanted = str(error)
    theirs = b.build.since(base)
    delta = difference(moment.state, b.build.state) if moment else {}
    touched = sorted({m["id"] for m in delta.get("members", {}).get("put", [])} | set(delta.get("members", {}).get("gone", [])))
    return jsonify(conflict=True, n=b.build.n, mine=wanted, theirs=theirs, touched=touched,
                   problem="This build was changed in another tab or on another device. Your change was not made."), 409


@bp.post("/api/edit")
def correct():
    """{base: the version that the page shows, ask: see `edits`}."""
    b, data = bench(), asked_json()
    base = asked.whole(data, "base", 0, 2**53)
    ask = data.get("ask")
    if not isinstance(ask, dict):
        raise ReconError("'ask' is missing.")

    def make(state):
        return edit(state, ask, b.stocks)

    try:
        return _answer(*b.build.change(make, base=base))
    except Conflict:
        return _in_conflict(base, make)


@bp.post("/api/undo")
def undo():
    return _step("undo")


@bp.post("/api/redo")
def redo():
    return _step("redo")


def _step(kind):
    b, data = bench(), asked_json()
    base = asked.whole(data, "base", 0, 2**53)
    try:
        return _answer(*getattr(b.build, kind)(base))
    except Conflict:
        return _in_conflict(base, None)


@bp.post("/api/stroke")
def stroke():
    """The members that a stroke from opening to opening may mean: {photo, start: [x, y], end: [x, y]}."""
    b, ask = bench(), asked_json()
    frame = b.build.state.frame
    found = sight.strokes(frame, asked.text(ask, "photo", 300), asked.numbers(ask, "start", 2), asked.numbers(ask, "end", 2))
    return jsonify(strokes=[{"first": list(s.first), "direction": list(s.direction), "holes": s.holes, "laps": s.laps,
                             "clash": s.clash, "off": round(s.off, 2), "shapes": _shape(frame, s)} for s in found])


def _shape(frame, stroke) -> dict:
    """Where the member that a stroke may mean would lie: {photo: shape}."""
    new = Member("?", stroke.first, stroke.direction, stroke.holes, frame.members[0].width)
    return {photo: there["?"] for photo, there in sight.shapes(replace(frame, members=(new,))).items() if there}


@bp.post("/api/measure")
def measuring():
    """What a tape between two openings would tell, before it is taken; see `measure.told`."""
    return jsonify(**measure.told(bench().build.state.frame, asked_json()))


@bp.post("/api/device")
def device():
    """An address with a fresh key, for another device."""
    b = bench()
    if b.keys is None:
        raise ReconError("This page is open to this machine alone. Start it with --host to use it from another device.")
    return jsonify(address=f"{b.address}/enter?key={b.keys.new()}")
