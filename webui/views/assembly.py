"""Putting the frame together, one step at a time: ticks, notes and photos at steps."""

from __future__ import annotations

import json
from typing import Any
from urllib.parse import unquote

from flask import Blueprint, Response, abort, jsonify, render_template, request, send_file

from recon.corrections import validation
from recon.errors import ReconError
from recon.frame.caution import CAUTION
from recon.workshop.assembly.progress import (
    StepExtras,
    StepItems,
    Ticks,
    at_the_end,
    extras_by_step,
    progress,
    tick,
    untick,
)
from recon.workshop.assembly.record import Act, AssemblyRecord, StepNote, StepPhoto, step_from_json
from recon.workshop.papers.space import viewer_script
from webui.context import AppContext, app_context, request_json
from webui.storage.build import now_text

bp = Blueprint("assembly", __name__)

LONGEST_NOTE = 2000  # characters.  This project's choice
TRIES = 5  # to get the steps of a frame that goes on being changed
TAKEN = (
    "This note was changed on another device meanwhile, and yours is not kept yet: look at that one, and "
    "keep yours again."
)

Row = dict[str, Any]


@bp.get("/assemble")
def page() -> str:
    """The page that shows one step at a time."""
    context = app_context()
    context.steps.warm()
    return render_template("assemble.html", token=context.token, caution=CAUTION)


@bp.get("/api/assembly")
def whole() -> Response:
    """The steps, and how far they are done: see `derived.steps.StepsOf.rows` and `_standing`."""
    context = app_context()
    build = {"folder": context.build.folder.name, "name": context.build.state.frame.name}
    if not context.build.state.frame.members:
        return jsonify(n=context.build.n, work=context.work.n, build=build, empty=True)
    rows = _rows(context)
    return jsonify(**rows, build=build, standing=_standing(context, rows))


def _rows(context: AppContext) -> Row:
    """The steps of the frame as it stands."""
    for _ in range(TRIES):
        rows: Row = json.loads(context.steps.of("steps"))
        if rows["n"] == context.build.n:
            return rows
    raise ReconError("The frame keeps being changed; look again when that is done.")


def _items(rows: Row) -> tuple[StepItems, ...]:
    """What there is to tick, of rows as the page has them."""
    return tuple(
        StepItems(
            step_from_json(row["key"]),
            tuple(member["id"] for member in row["members"]),
            tuple(_through(bolt["through"]) for bolt in row["bolts"]),
            tuple(fitting["id"] for fitting in row["fittings"]),
        )
        for row in rows["steps"]
    )


def _through(value: Any) -> tuple[tuple[str, int], ...]:
    try:
        return tuple(sorted((str(id), int(hole)) for id, hole in value))
    except (TypeError, ValueError) as error:
        raise ReconError("'bolts' must name the holes that each bolt goes through.") from error


def _standing(context: AppContext, rows: Row) -> Row:
    """How far the steps are done.

    {work: version of ticks and notes; members, fittings, bolts: what is in; done: of each step; at: place of
    the step to go on with; behind: places of those before it that are not done; changed: [{text, member,
    fitting, key}]; words;
    finish: which of the sentences on the end are ticked; extras: notes and photos of each step and of the
    end; others: those of none; undo: what could be taken back}
    """
    items, record = _items(rows), context.work.record
    found = progress(record, items, context.build.state.frame)
    extras, others = extras_by_step(record, items)
    return {
        "work": context.work.n,
        "members": sorted(found.members),
        "fittings": sorted(found.fittings),
        "bolts": [[list(hole) for hole in through] for through in sorted(found.bolts)],
        "done": list(found.done),
        "at": found.at,
        "behind": list(found.behind),
        "changed": [
            {"text": c.text, "member": c.member, "fitting": c.fitting, "key": c.key} for c in found.changed
        ],
        "words": found.words,
        "finish": at_the_end(record, rows["finish"]),
        "extras": list(map(_extras_row, extras)),
        "others": _extras_row(others),
        "undo": context.work.can_undo,
    }


def _extras_row(extras: StepExtras) -> Row:
    return {
        "notes": [{"id": note.id, "text": note.text, "at": note.at} for note in extras.notes],
        "photos": [{"file": photo.file, "at": photo.at} for photo in extras.photos],
    }


def _answer(words: str) -> Response:
    context = app_context()
    rows = _rows(context)
    return jsonify(n=rows["n"], words=words, standing=_standing(context, rows))


@bp.get("/api/assembly/picture")
def picture() -> Response:
    """The picture of a step: `step` from 1, `shape` as in `derived.steps.SHAPES`."""
    about = {"step": request.args.get("step", 0, int), "shape": request.args.get("shape", "wide")}
    svg = json.loads(app_context().steps.of("picture", about))["svg"]
    return Response(svg, mimetype="image/svg+xml")


@bp.get("/assemble/space")
def space() -> str:
    """The frame in space as it is up to a step, `step` from 1, to be turned."""
    context, step = app_context(), request.args.get("step", 1, int)
    if not context.build.state.frame.members:
        abort(404)
    html = json.loads(context.steps.of("space", {"step": step}))["html"]
    return render_template("assemble_space.html", space=html, step=step)


@bp.get("/assemble/viewer.js")
def viewer() -> Response:
    """The script that draws the frame in space and turns it."""
    return Response(viewer_script(), mimetype="text/javascript")


# Ticks


@bp.post("/api/assembly/tick")
def tick_items() -> Response:
    """Ticks what is in, or takes ticks away.

    {members, fittings: ids, bolts: [[[id, hole], ...]], steps: keys, on}
    """
    context, data = app_context(), request_json()
    ticks = Ticks(
        tuple(map(str, _listed(data, "members"))),
        tuple(map(_through, _listed(data, "bolts"))),
        tuple(map(step_from_json, _listed(data, "steps"))),
        tuple(map(str, _listed(data, "fittings"))),
    )
    change = tick if validation.flag(data, "on") else untick
    bolts = {through for item in _items(_rows(context)) for through in item.bolts}
    frame = context.build.state.frame
    return _answer(context.work.act(lambda record: change(record, ticks, bolts, frame)).words)


def _listed(data: Row, key: str) -> list[Any]:
    value = data.get(key, [])
    if not isinstance(value, list):
        raise ReconError(f"'{key}' must be a list.")
    return value


@bp.post("/api/assembly/settle")
def settle() -> Response:
    """Takes away the tick of something that the frame has no more: {key}."""
    key = validation.text(request_json(), "key", 1000)
    return _answer(app_context().work.act(lambda _: Act((), (key,), "Taken out")).words)


@bp.post("/api/assembly/undo")
def undo() -> Response:
    """Takes back what was ticked, written or added last."""
    return _answer(app_context().work.undo())


# Notes and photos


@bp.post("/api/assembly/note")
def note() -> Response:
    """Keeps a note at a step: {step: key, text; id and was, of a note that is changed}; '' takes it away."""
    data = request_json()
    text, was = _note_text(data, "text"), _note_text(data, "was")
    id = validation.whole(data, "id", 1, 10**6) if data.get("id") is not None else None
    step = step_from_json(data.get("step"))

    def keep(record: AssemblyRecord) -> Act:
        known = {note.id: note for note in record.notes}
        if id is None:
            put = (StepNote(max(known, default=0) + 1, step, text, now_text()),) if text else ()
            return Act(put, (), "Note kept")
        old = known.get(id)
        if old is None or old.text != was:
            raise ReconError(TAKEN)
        if not text:
            return Act((), (old.key,), "Note taken away")
        return Act((StepNote(id, old.step, text, now_text()),), (), "Note changed")

    return _answer(app_context().work.act(keep).words)


def _note_text(data: Row, key: str) -> str:
    """Text of several lines without other control characters."""
    value = data.get(key, "")
    if not isinstance(value, str) or len(value) > LONGEST_NOTE:
        raise ReconError(f"A note has at most {LONGEST_NOTE} characters; shorten it, or write two.")
    lines = value.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return "\n".join("".join(c for c in line if c.isprintable()).rstrip() for line in lines).strip()


@bp.post("/api/assembly/photo")
def photo() -> Response:
    """Takes in a photo at a step: the body is the file; its name and the step's key are in the headers
    X-Photo-Name and X-Step, percent-encoded."""
    name = unquote(request.headers.get("X-Photo-Name", ""))[:300] or "photo.jpg"
    if not request.content_length:
        raise ReconError(f"{name}: the file is empty, or its size is not given; send it again.")
    try:
        step = step_from_json(json.loads(unquote(request.headers.get("X-Step", ""))))
    except ValueError as error:
        raise ReconError("The photo does not say at which step it was taken.") from error
    context = app_context()
    file = context.step_photos.add(name, request.stream)
    act = Act((StepPhoto(file, step, now_text()),), (), "Photo kept")
    return _answer(context.work.act(lambda _: act).words)


@bp.post("/api/assembly/photo/remove")
def remove_photo() -> Response:
    """Takes a photo away from its step: {file}.  The file stays in the build's folder."""
    file = validation.text(request_json(), "file", 300)

    def remove(record: AssemblyRecord) -> Act:
        gone = tuple(photo.key for photo in record.photos if photo.file == file)
        return Act((), gone, "Photo taken away")

    return _answer(app_context().work.act(remove).words)


@bp.get("/api/assembly/photos/<name>/whole.jpg")
def look(name: str) -> Response:
    """A step photo, at most `decode.LOOK` px on its long side."""
    path = app_context().step_photos.look(name)
    if path is None:
        abort(404)
    answer = send_file(path, mimetype="image/jpeg")
    answer.headers["Cache-Control"] = "private, max-age=86400"
    return answer
