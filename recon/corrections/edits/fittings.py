"""Fittings put on, changed, copied to the other side, and taken off."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from recon.corrections import users_word, validation
from recon.corrections.codec import LAST_HOLE, Json
from recon.corrections.edits.copies import AXES, mirror
from recon.corrections.edits.kind import Change, EditKind, Stocks
from recon.corrections.fittings import hole_there, placed_like
from recon.corrections.model import Corrections
from recon.corrections.state import State
from recon.errors import ReconError
from recon.frame.fitting import (
    HEAVIEST_KG,
    KINDS,
    LARGEST_MM,
    LONGEST_NAME,
    MOST_HOLES,
    Fitting,
    Hole,
    free_fitting_id,
)
from recon.frame.fitting_boxes import opens_on
from recon.frame.model import Frame, Member, as_tuple
from recon.geometry.arrays import FloatArray, Vector
from recon.workshop.wording import holes_in_words

MOST = 1000  # fittings of a frame, as in the frame file's schema


def _fitting(state: State, request: Json, stocks: Stocks) -> Fitting:
    frame = state.frame
    id = None if request.get("fitting") is None else _known(frame, request).id
    if id is None and len(frame.fittings) >= MOST:
        raise ReconError(f"A frame has at most {MOST} fittings.")
    if frame.pitch_mm is None:
        raise ReconError(
            "A fitting's size is in mm, and the frame's is not known yet: give its stock or one measured "
            "length first."
        )
    holes = _holes(frame, request)
    face = np.array(validation.vector(request, "face"))
    size = np.linalg.norm(face)
    if size < 1e-6:
        raise ReconError("The face's direction is zero.")
    face = face / size
    for member in {h[0] for h in holes}:
        if not opens_on(frame.member(member), face):
            raise ReconError(f"No holes of {member} open on that side; choose holes that do.")
    along, across, out = _sizes(request)
    plate = validation.number(request, "plate_mm", 0.0, LARGEST_MM)
    if plate > out:
        raise ReconError(
            f"The thickness that the bolts clamp ({plate:g} mm) is more than the whole height ({out:g} mm)."
        )
    shift = (0.0, 0.0) if request.get("shift_mm") is None else validation.numbers(request, "shift_mm", 2)
    return Fitting(
        id or free_fitting_id({m.id for m in frame.members} | {f.id for f in frame.fittings}),
        validation.word(request, "kind", KINDS),
        holes,
        as_tuple(face),
        (along, across, out),
        plate,
        validation.text(request, "name", LONGEST_NAME) if request.get("name") else "",
        None if request.get("mass_kg") is None else validation.number(request, "mass_kg", 0.0, HEAVIEST_KG),
        (shift[0], shift[1]),
    )


def _known(frame: Frame, request: Json) -> Fitting:
    for f in frame.fittings:
        if f.id == request.get("fitting"):
            return f
    raise ReconError(f"There is no fitting '{str(request.get('fitting'))[:20]}' (any more).")


def _holes(frame: Frame, request: Json) -> tuple[Hole, ...]:
    rows = request.get("holes")
    if not isinstance(rows, list) or not 0 < len(rows) <= MOST_HOLES:
        raise ReconError(f"Choose 1 to {MOST_HOLES} holes for the fitting.")
    holes = [hole_of(frame, row) for row in rows]
    if len(set(holes)) < len(holes):
        raise ReconError("A hole is named twice.")
    return tuple(holes)


def hole_of(frame: Frame, row: Any) -> Hole:
    """A hole of a request: [member, hole from 0].  Raises ReconError where it is not there."""
    if not isinstance(row, list) or len(row) != 2:
        raise ReconError("'holes' must list members and their holes.")
    m = validation.member_of(frame, row[0])
    k = row[1]
    if isinstance(k, bool) or not isinstance(k, int) or not 0 <= k < m.holes:
        asked = k + 1 if isinstance(k, int) and abs(k) <= LAST_HOLE else "that one"
        raise ReconError(f"{m.id} has holes 1 to {m.holes}, not {asked}.")
    return m.id, k


def _sizes(request: Json) -> tuple[float, float, float]:
    along, across, out = validation.numbers(request, "size_mm", 3, LARGEST_MM)
    if min(along, across, out) <= 0:
        raise ReconError("Length, width and height of a fitting must be above 0 mm.")
    return along, across, out


def put_on(state: State, fitting: Fitting) -> Change:
    """A fitting put on, or changed where it is there: {fitting: label or null, kind, name, holes: [[member,
    hole]], face: [x, y, z], size_mm: [along, across, out], plate_mm, mass_kg, shift_mm}."""
    there = {f.id: f for f in state.frame.fittings}
    old = there.get(fitting.id)
    there[fitting.id] = fitting
    frame = replace(state.frame, fittings=tuple(there.values()))
    at = holes_in_words(fitting.holes)
    words = f"{fitting.words} put on {at}" if old is None else f"{fitting.words} changed, on {at}"
    return Change(State(frame, _members_there(state.corrections, fitting)), words)


def _members_there(corrections: Corrections, fitting: Fitting) -> Corrections:
    """The corrections with the word that the members lie where something is bolted to them."""
    for id in fitting.members:
        if not corrections.vouched(id).place:
            corrections = users_word.vouch(corrections, id, place=True)
    return corrections


def _gone(state: State, request: Json, stocks: Stocks) -> Fitting:
    return _known(state.frame, request)


def take_off(state: State, fitting: Fitting) -> Change:
    """A fitting taken off: {fitting}."""
    left = tuple(f for f in state.frame.fittings if f.id != fitting.id)
    return Change(State(replace(state.frame, fittings=left), state.corrections), f"{fitting.words} taken off")


@dataclass(frozen=True)
class Mirrored:
    """A fitting, and the same on the other side of the frame."""

    old: Fitting
    new: Fitting


def _mirrored(state: State, request: Json, stocks: Stocks) -> Mirrored:
    frame = state.frame
    old = _known(frame, request)
    axis = AXES.index(validation.word(request, "mirror", AXES))
    members = {m.id: m for m in frame.members}

    def to(id: str, place: FloatArray, face: Vector) -> tuple[Member, int] | None:
        return next(filter(None, (hole_there(m, place, face) for m in frame.members)), None)

    new = placed_like(old, mirror(frame, axis), members, to)
    if new is None:
        at = holes_in_words(old.holes)
        raise ReconError(
            f"On the other side there are no holes where {at} would be; put the {old.article} on "
            "there by hand."
        )
    if any(set(new.holes) == set(f.holes) and np.allclose(new.face, f.face) for f in frame.fittings):
        raise ReconError("A fitting lies there already; nothing was added.")
    return Mirrored(old, replace(new, id=free_fitting_id({*members, *(f.id for f in frame.fittings)})))


def copy_over(state: State, wanted: Mirrored) -> Change:
    """A fitting copied to the other side of the frame: {fitting, mirror: 'x', 'y' or 'z'}."""
    change = put_on(state, wanted.new)
    return replace(change, words=f"{wanted.old.words} copied: {change.words}")


FITTING = EditKind("fitting", _fitting, put_on)
FITTING_GONE = EditKind("fitting_gone", _gone, take_off)
FITTING_COPY = EditKind("fitting_copy", _mirrored, copy_over)
