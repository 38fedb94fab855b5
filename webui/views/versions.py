"""Named versions of the build: kept, listed, gone back to, and compared with one another and with others."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from flask import Blueprint, Response, abort, jsonify, request

from recon.corrections import validation
from recon.corrections.codec import Json
from recon.corrections.state import State, difference
from recon.errors import ReconError
from recon.frame.files import frame_to_text, load_frame
from recon.frame.model import Frame
from webui.context import AppContext, app_context, request_frame_file, request_json
from webui.storage.build import FRAME
from webui.storage.plan import load_plan
from webui.storage.recent import recent_builds
from webui.storage.work import NamedVersion
from webui.views.change import Answer, answer_change, base_of

bp = Blueprint("versions", __name__)

LONGEST_NAME, LONGEST_NOTE = 80, 500  # characters.  This project's choices
NOW, PLAN_SIDE = "now", "plan"
_SIDE = re.compile(r"(version|build)-(\d{1,6})")


@bp.get("/api/versions")
def listed() -> Response:
    """The versions, the newest first, and what else the build can be compared with.

    {versions: [{id, name, note, at, members, here: whether the build is so now}], builds: [{side, name}]}
    """
    context = app_context()
    now = difference(State(), context.build.state)
    builds = [{"side": f"build-{k}", "name": folder.name} for k, folder in _other_builds(context)]
    return jsonify(versions=[_row(v, now) for v in context.work.versions], builds=builds)


def _row(version: NamedVersion, now: Json) -> Json:
    return {
        "id": version.id,
        "name": version.name,
        "note": version.note,
        "at": version.at,
        "members": len(version.delta.get("members", {}).get("put", ())),
        "here": version.delta == now,
    }


def _other_builds(context: AppContext) -> list[tuple[int, Path]]:
    """The builds opened last that have a frame file, each with its number among all of them."""
    here = context.build.folder
    recent = enumerate(build.folder for build in recent_builds())
    return [(k, folder) for k, folder in recent if folder != here and (folder / FRAME).is_file()]


@bp.post("/api/versions")
def keep() -> Response:
    """Keeps the build as it is now under a name: {name, note}."""
    context = app_context()
    name, note = _names(request_json())
    n, state, _ = context.build.snapshot()
    version = context.work.keep_version(name, note, n, state)
    return jsonify(id=version.id, words=f"Kept: {name}")


@bp.post("/api/versions/<int:id>/name")
def rename(id: int) -> Response:
    """Gives a version another name and note: {name, note}."""
    name, note = _names(request_json())
    app_context().work.rename_version(id, name, note)
    return jsonify(id=id, words=f"Called {name}")


def _names(data: Json) -> tuple[str, str]:
    name = validation.text(data, "name", LONGEST_NAME)
    if not name:
        raise ReconError("Give the version a name.")
    return name, validation.text(data, "note", LONGEST_NOTE)


@bp.post("/api/versions/<int:id>/open")
def go_back(id: int) -> Answer:
    """Makes the build what it was in a version, as an edit that can be undone: {base}."""
    version = app_context().work.version(id)
    state, words = version.state, f"Back to the version {version.name}"
    return answer_change(lambda _: (state, words), base_of(request_json()), f"{words}.")


@bp.get("/api/versions/<int:id>/frame")
def frame_file(id: int) -> Response:
    """A version as a frame file, to be saved."""
    version = app_context().work.version(id)
    name = re.sub(r"[^\w-]+", "-", version.name, flags=re.ASCII).strip("-")[:60] or f"version-{id}"
    answer = Response(frame_to_text(version.state.frame), mimetype="application/json")
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}.frame.json"'
    return answer


# Comparing


@bp.get("/api/compare")
def compare() -> Response:
    """What differs between two states: `of` and `with` are "now", "plan", "version-3" or "build-0".

    As `recon.corrections.plan_audit.compare_with_plan` has it, with `names`, what each of the two is called.
    """
    context = app_context()
    name, other = _side(context, request.args.get("with", PLAN_SIDE))
    return _compared(context, request.args.get("of", NOW), name, other)


@bp.post("/api/compare")
def compare_with_file() -> Response:
    """What differs between a state, `of`, and a frame file, which is the body."""
    context = app_context()
    _, other = request_frame_file("the file", "This")
    return _compared(context, request.args.get("of", NOW), other.name or "the file", other)


def _compared(context: AppContext, of: str, name: str, other: Frame) -> Response:
    if not other.members:
        raise ReconError(f"There are no members in {name}, so there is nothing to compare.")
    own, frame = _side(context, of)
    about: dict[str, Any] = {"names": [own, name], "with": difference(State(), State(other))}
    if of != NOW:
        about["of"] = difference(State(), State(frame))
    return Response(context.checks.of("comparison", about), mimetype="application/json")


def _side(context: AppContext, side: str) -> tuple[str, Frame]:
    """One of two things to compare: what it is called, and its frame."""
    if side == NOW:
        return "the build as it is now", context.build.state.frame
    if side == PLAN_SIDE:
        plan = load_plan(context.build.folder, context.stocks)
        if plan is None:
            raise ReconError("There is no plan to hold this build against; load one.")
        return plan.name or "the plan", plan
    found = _SIDE.fullmatch(side)
    if not found:
        abort(404)
    if found[1] == "version":
        version = context.work.version(int(found[2]))
        return version.name, version.state.frame
    folder = dict(_other_builds(context)).get(int(found[2]))
    if folder is None:
        raise ReconError("That build is not there any more; open the list of versions again.")
    return folder.name, load_frame(folder / FRAME, context.stocks)
