"""A fitting as it would be, before it is put on: its holes, sides to choose from, its room, what is wrong."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from recon.corrections import validation
from recon.corrections.codec import Json
from recon.corrections.edits.fittings import FITTING, hole_of
from recon.corrections.measuring import spot
from recon.corrections.on_photos import box_outlines
from recon.corrections.picking import pick_on_photo
from recon.corrections.state import State
from recon.errors import ReconError
from recon.frame.boxes import face_normals
from recon.frame.fitting import BOARDS, KINDS, MOST_HOLES, Fitting, Hole
from recon.frame.fitting_boxes import bolt_spots, fitting_axes, fitting_box, opens_on
from recon.frame.length import parse_mm
from recon.frame.model import Frame, as_tuple
from recon.frame.stock import Stock
from recon.geometry.arrays import FloatArray, Vector
from recon.geometry.boxes import OrientedBoxes
from recon.workshop.hardware.bolts import find_bolts
from recon.workshop.rigidity.fitting_findings import find_wrong_fittings
from recon.workshop.sides import Sides
from recon.workshop.solids import HOLE

# Height out of the face and thickness that bolts clamp, mm, that are offered until others are typed: of usual
# castors with a plate, feet, 18 mm board, flange bearings.  This project's choice.
USUAL_MM = {
    "castor": (105.0, 3.0),
    "wheel": (105.0, 3.0),
    "foot": (25.0, 3.0),
    "board": (18.0, 18.0),
    "shelf": (18.0, 18.0),
    "bearing": (30.0, 12.0),
    "bracket": (4.0, 4.0),
    "motor": (60.0, 5.0),
    "other": (30.0, 3.0),
}

# kg; pound and ounce: international, 1959
KG_PER = {"kg": 1.0, "g": 0.001, "lb": 0.45359237, "oz": 0.45359237 / 16}
_MASS = re.compile(r"(\d+(?:[.,]\d+)?)\s*(kg|g|lb|oz)")
_ZERO = re.compile(r"-?0+(?:[.,]0+)?\s*(?:mm|cm|m|in|ft|\"|')?")


def fitting_trial(frame: Frame, request: Json, stocks: dict[str, Stock]) -> Json:
    """What a fitting would be with what was picked and typed so far.

    Parameters
    ----------
    frame : Frame
    request : dict
        As of the edit `fitting`; `size_mm`, `plate_mm`, `shift_mm` and `mass_kg` may hold null for what was
        not typed, and text as it was typed ("4 in", "420 g"), and `face` may be null; `pick`, a hole that was
        clicked just now, {photo, xy, within} or {member, hole, face}: it is added to `holes`, or taken out
        where it is among them.
    stocks : dict of str to Stock

    Returns
    -------
    dict
        `holes`; `faces`, [{face, words}], and `face`, the one that is meant; `size_mm` and `plate_mm`, those
        typed or usual ones; `shift_mm` and `mass_kg`; `box`, {middle, axes, half} in pitches, and `shapes`,
        photo -> edges; `problem`, a sentence where it cannot be put on; `wrong`, sentences of the checks.
    """
    holes, face = _picked(frame, request)
    if not holes:
        return {"holes": [], "faces": [], "face": None, "problem": "Pick the holes that it is bolted to."}
    faces = _faces(frame, holes)
    if not faces:
        problem = "No side is common to these members; pick holes that open on the same side."
        return {"holes": _rows(holes), "faces": [], "face": None, "problem": problem}
    face = next((f for f in faces if face is not None and np.dot(f, face) > 0.9), faces[0])
    sides = Sides(frame.members)
    answer: Json = {
        "holes": _rows(holes),
        "faces": [{"face": list(f), "words": sides.name(f)} for f in faces],
        "face": list(face),
        "problem": "",
    }
    try:
        answer |= _sizes(frame, holes, face, request)
        return answer | _as_put_on(frame, {**request, **answer}, stocks)
    except ReconError as error:
        return answer | {"problem": str(error)}


def box_json(box: OrientedBoxes) -> Json:
    """A single box as the page has it, pitches."""
    return {"middle": box.centre.tolist(), "axes": box.axes.tolist(), "half": box.half.tolist()}


def _as_put_on(frame: Frame, wanted: Json, stocks: dict[str, Stock]) -> Json:
    fitting = FITTING.check(State(frame), wanted, stocks)
    others = tuple(f for f in frame.fittings if f.id != fitting.id)
    with_it = replace(frame, fittings=(*others, fitting))
    box = fitting_box(fitting, with_it)
    wrong = [
        f.text for f in find_wrong_fittings(with_it, find_bolts(frame), HOLE) if fitting.id in f.fittings
    ]
    if box is None:
        return {"wrong": wrong}
    shapes = {
        photo: found[fitting.id] for photo, found in box_outlines(frame, {fitting.id: box}).items() if found
    }
    return {"wrong": wrong, "box": box_json(box), "shapes": shapes}


def _rows(holes: Sequence[Hole]) -> list[list[Any]]:
    return [[id, k] for id, k in holes]


def _picked(frame: Frame, request: Json) -> tuple[list[Hole], Vector | None]:
    """The holes with the one that was clicked just now, and the face that is meant so far."""
    rows = request.get("holes")
    if not isinstance(rows, list) or len(rows) > MOST_HOLES:
        raise ReconError(f"A fitting has at most {MOST_HOLES} holes.")
    holes = list(dict.fromkeys(hole_of(frame, row) for row in rows))
    face = None if request.get("face") is None else validation.vector(request, "face")
    pick = request.get("pick")
    if not isinstance(pick, dict):
        return holes, face
    at = pick_on_photo(frame, pick) if "photo" in pick else spot(frame, pick)
    if (at.member, at.hole) in holes:
        return [h for h in holes if h != (at.member, at.hole)], face
    if not holes:
        face = as_tuple(face_normals(frame.member(at.member))[2 + at.face])
    return [*holes, (at.member, at.hole)], face


def _faces(frame: Frame, holes: Sequence[Hole]) -> list[Vector]:
    """The sides on which all these holes open, those below first, then those on top."""
    members = [frame.member(id) for id in dict.fromkeys(id for id, _ in holes)]
    found = [as_tuple(n) for n in face_normals(members[0])[2:] if all(opens_on(m, n) for m in members)]
    return sorted(found, key=lambda n: (-abs(round(n[2], 6)), round(n[2], 6)))


def _sizes(frame: Frame, holes: Sequence[Hole], face: Vector, request: Json) -> Json:
    """What was typed, in mm and kg; else a plate that reaches half a pitch past the holes, and usual heights.

    Raises ReconError where something that was typed is no length or weight.
    """
    kind = validation.word(request, "kind", KINDS)
    height, thick = USUAL_MM[kind]
    along, across = _span(frame, holes, face) * (frame.pitch_mm or 0.0)
    sizes, shifts = (_three_or_two(request, key, n) for key, n in (("size_mm", 3), ("shift_mm", 2)))
    typed = [_mm(value) for value in sizes]
    usual = (round(float(along), 1), round(float(across), 1), height)
    size = [b if a is None else a for a, b in zip(typed, usual)]
    plate = _mm(request.get("plate_mm"))
    return {
        "size_mm": size,
        "plate_mm": (size[2] if kind in BOARDS else min(thick, size[2])) if plate is None else plate,
        "shift_mm": [_mm(value) or 0.0 for value in shifts],
        "mass_kg": _kg(request.get("mass_kg")),
    }


def _three_or_two(request: Json, key: str, count: int) -> list[Any]:
    values = request.get(key)
    return values if isinstance(values, list) and len(values) == count else [None] * count


def _mm(value: Any) -> float | None:
    """A length that was typed, mm; it may be 0 or below, as a shift is.  None where nothing was typed."""
    if value is None or isinstance(value, (int, float)):
        return value
    text = str(value).strip().replace("\u2212", "-")
    if _ZERO.fullmatch(text):
        return 0.0
    sign = -1.0 if text.startswith("-") else 1.0
    return sign * round(parse_mm(text.removeprefix("-")), 4)


def _kg(value: Any) -> float | None:
    """A weight that was typed, kg; None where nothing was."""
    if value is None or isinstance(value, (int, float)):
        return value
    found = _MASS.fullmatch(str(value).strip().lower())
    if not found:
        raise ReconError(f"'{str(value)[:20]}' is no weight; write it like '0.42 kg', '420 g' or '0.9 lb'.")
    return round(float(found[1].replace(",", ".")) * KG_PER[found[2]], 6)


def _span(frame: Frame, holes: Sequence[Hole], face: Vector) -> FloatArray:
    """How far the holes reach along the first one's member and across, with half a pitch beyond, pitches."""
    members = {m.id: m for m in frame.members}
    bare = Fitting("", "other", tuple(holes), face, (0.0, 0.0, 0.0), 0.0)
    spots = bolt_spots(bare, members) @ fitting_axes(bare, members[holes[0][0]]).T
    span: FloatArray = np.ptp(spots[:, :2], axis=0) + 1.0
    return span
