"""JSON of members, laps, photos and corrections, as the journal and the page have them, and back.

Names and values here are those of builds that lie on people's disks: they do not change.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import asdict, replace
from typing import Any

from recon.corrections.model import (
    Corrections,
    Disagreement,
    LapBolt,
    LapKey,
    LapWord,
    MeasuredLength,
    NotShown,
    PhotoMarks,
    ShownAlong,
    StrokedRow,
    VouchedMember,
)
from recon.frame.entries import end_from_dict, end_to_dict, joint_to_dict
from recon.frame.model import Frame, Joint, Member, Photo, StockUse
from recon.frame.squareness import off_place_from_dict, to_dict
from recon.geometry.arrays import Vector
from recon.geometry.camera import Camera

LAST_HOLE = 1000  # a member has 1 to 1000 holes, as in the frame file's schema
LONGEST_ID = 16  # characters, as in the frame file's schema

Json = dict[str, Any]

# Members, laps, photos: as in the frame file


def member_to_json(m: Member) -> Json:
    """A member as in the frame file.

    Examples
    --------
    >>> m = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12)
    >>> member_from_json(member_to_json(m)) == m
    True
    """
    entry: Json = {
        "id": m.id,
        "first": list(m.first),
        "direction": list(m.direction),
        "holes": m.holes,
        "width": m.width,
        "stock": m.stock,
        "confidence": m.confidence,
        "ends": list(map(end_to_dict, m.ends)),
        "on_lattice": m.on_lattice,
        "seen": m.seen,
    }
    return entry | {"off_place": to_dict(m.off_place)} if m.off_place else entry


def member_from_json(d: Json) -> Member:
    """The member; raises ValueError, KeyError or TypeError where it is none."""
    id, holes = d["id"], int(d["holes"])
    if not (isinstance(id, str) and 0 < len(id) <= LONGEST_ID and 1 <= holes <= LAST_HOLE):
        raise ValueError("not a member")
    first_end, last_end = map(end_from_dict, d["ends"])
    return Member(
        id,
        _vector(d["first"]),
        _vector(d["direction"]),
        holes,
        float(d["width"]),
        d["stock"] and str(d["stock"]),
        float(d["confidence"]),
        (first_end, last_end),
        bool(d["on_lattice"]),
        int(d["seen"]),
        off_place_from_dict(d.get("off_place")),
    )


def joint_to_json(j: Joint) -> Json:
    """A lap as in the frame file."""
    return joint_to_dict(j)


def joint_from_json(d: Json) -> Joint:
    """The lap; raises ValueError, KeyError or TypeError where it is none."""
    return Joint(
        str(d["a"]),
        int(d["a_hole"]),
        str(d["b"]),
        int(d["b_hole"]),
        _vector(d["axis"]),
        str(d["bolt"]),
        bool(d["three_way"]),
        str(d.get("bolt_by") or ""),
    )


def _vector(values: Any) -> Vector:
    x, y, z = map(float, values)
    if not all(map(math.isfinite, (x, y, z))):
        raise ValueError("not finite")
    return (x + 0.0, y + 0.0, z + 0.0)  # -0.0 as 0.0


def photo_to_json(photo: Photo) -> Json:
    """A photo as in the frame file."""
    return {
        "file": photo.file,
        "size": list(photo.size),
        "used": photo.used,
        "reason": photo.reason,
        "camera": _camera_to_json(photo),
    }


def photo_from_json(p: Json) -> Photo:
    """The photo; raises ValueError, KeyError or TypeError where it is none."""
    width, height = map(int, p["size"])
    return _with_camera(
        Photo(str(p["file"]), (width, height), bool(p["used"]), str(p["reason"])), p["camera"]
    )


def _camera_to_json(photo: Photo) -> Json | None:
    return photo.camera.to_dict() if photo.camera else None


def _with_camera(photo: Photo, camera: Json | None) -> Photo:
    return replace(photo, camera=Camera.from_dict(camera) if camera else None)


# The frame's other fields

FRAME_FIELDS = ("pitch_mm", "stock", "photos", "doubts", "name")


def frame_field_to_json(frame: Frame, name: str) -> Any:
    """One of `FRAME_FIELDS` as JSON."""
    value = getattr(frame, name)
    if isinstance(value, StockUse):
        return asdict(value)
    if isinstance(value, tuple):
        return [photo_to_json(v) if isinstance(v, Photo) else v for v in value]
    return value


def frame_field_from_json(name: str, value: Any) -> Any:
    """The value of one of `FRAME_FIELDS`; raises ValueError, KeyError or TypeError where it is none."""
    if name == "stock":
        return value and StockUse(str(value["id"]), str(value["how"]), float(value["confidence"]))
    if name == "photos":
        return tuple(map(photo_from_json, value))
    if name == "doubts":
        return tuple(map(str, value))
    if name == "pitch_mm":
        return None if value is None else float(value)
    if name == "name":
        return str(value)
    raise ValueError(f"no field '{name}'")


# Corrections


def _members_to_json(members: Mapping[str, VouchedMember]) -> Json:
    return {id: {"place": v.place, "ends": list(v.ends)} for id, v in members.items()}


def _members_from_json(value: Json) -> dict[str, VouchedMember]:
    result = {}
    for id, v in value.items():
        first, last = v["ends"]
        result[id] = VouchedMember(bool(v["place"]), (bool(first), bool(last)))
    return result


def _lap_from_json(entry: list[Any]) -> LapKey:
    a, a_hole, b, b_hole = entry
    return str(a), int(a_hole), str(b), int(b_hole)


def _lap_words_from_json(value: list[list[Any]]) -> tuple[LapWord, ...]:
    return tuple(LapWord(_lap_from_json(lap), str(word)) for *lap, word in value)


def _lap_bolts_from_json(value: list[list[Any]]) -> tuple[LapBolt, ...]:
    # [a, a_hole, b, b_hole, bolt], and who says so where a person does
    return tuple(LapBolt(_lap_from_json(entry[:4]), *map(str, entry[4:])) for entry in value)


def _marks_to_json(marks: Mapping[str, PhotoMarks]) -> Json:
    return {
        photo: {"missed": [list(p) for p in m.missed], "false": [list(p) for p in m.false]}
        for photo, m in marks.items()
    }


def _marks_from_json(value: Json) -> dict[str, PhotoMarks]:
    return {
        photo: PhotoMarks(*(tuple((float(x), float(y)) for x, y in m[kind]) for kind in ("missed", "false")))
        for photo, m in value.items()
    }


def _rows_to_json(rows: Mapping[str, tuple[StrokedRow, ...]]) -> Json:
    return {photo: [[*r.start, *r.end, r.holes] for r in mine] for photo, mine in rows.items()}


def _rows_from_json(value: Json) -> dict[str, tuple[StrokedRow, ...]]:
    return {
        str(photo): tuple(
            StrokedRow((float(x0), float(y0)), (float(x1), float(y1)), int(holes))
            for x0, y0, x1, y1, holes in mine
        )
        for photo, mine in value.items()
    }


def _measured_to_json(measured: MeasuredLength) -> Any:
    if measured.mm is None:
        return True  # in builds of before the length itself was kept
    return {"mm": measured.mm, "pitches": measured.pitches, "member": measured.member}


def _measured_from_json(value: Any) -> MeasuredLength | None:
    if not isinstance(value, dict):
        return MeasuredLength() if value else None
    return MeasuredLength(value["mm"], value["pitches"], value["member"])


def disagreement_to_json(d: Disagreement) -> Json:
    """A disagreement; `take` is what the photos show: {offset, holes}, {of, offset, holes}, {gone} or
    null."""
    take: Json | None = None
    if isinstance(d.shown, NotShown):
        take = {"gone": True}
    elif d.shown is not None:
        of = {} if d.shown.deleted is None else {"of": d.shown.deleted}
        take = {**of, "offset": d.shown.offset, "holes": d.shown.holes}
    return {"members": list(d.members), "text": d.text, "take": take}


def disagreement_from_json(d: Json) -> Disagreement:
    """The disagreement; one of an older build has no `take`."""
    take = d.get("take") or {}
    shown: ShownAlong | NotShown | None = None
    if "gone" in take:
        shown = NotShown()
    elif "offset" in take:
        shown = ShownAlong(int(take["offset"]), int(take["holes"]), take.get("of"))
    return Disagreement(tuple(map(str, d.get("members", ()))), str(d["text"]), shown)


def _lists(items: Any) -> list[list[Any]]:
    return [list(item) for item in items]


def _texts(items: Any) -> tuple[str, ...]:
    return tuple(map(str, items))


# JSON key -> field, its value to JSON, and back
_FIELDS: dict[str, tuple[str, Callable[[Any], Any], Callable[[Any], Any]]] = {
    "aside": ("set_aside", list, _texts),
    "bolts": (
        "bolts",
        lambda v: [[*b.lap, b.bolt, *filter(None, [b.bolt_by])] for b in v],
        _lap_bolts_from_json,
    ),
    "conflicts": (
        "disagreements",
        lambda v: [disagreement_to_json(d) for d in v],
        lambda v: tuple(map(disagreement_from_json, v)),
    ),
    "gone": (
        "deleted",
        lambda v: [member_to_json(m) for m in v],
        lambda v: tuple(map(member_from_json, v)),
    ),
    "laps": ("laps", lambda v: [[*w.lap, w.word] for w in v], _lap_words_from_json),
    "marks": ("marks", _marks_to_json, _marks_from_json),
    "may_turn": ("may_turn", _lists, lambda v: tuple(map(_lap_from_json, v))),
    "members": ("members", _members_to_json, _members_from_json),
    "read_notes": ("notes_seen", list, _texts),
    "rows": ("rows", _rows_to_json, _rows_from_json),
    "scale": ("measured", _measured_to_json, _measured_from_json),
    "settled": ("settled", list, _texts),
    "stock": ("stock_given", bool, bool),
}


def corrections_to_json(corrections: Corrections) -> Json:
    """All that was said, by the journal's keys; what was never spoken of has no key.

    Examples
    --------
    >>> corrections_to_json(Corrections(stock_given=True, set_aside=("a.jpg",)))
    {'aside': ['a.jpg'], 'stock': True}
    """
    return {
        key: to_json(getattr(corrections, name))
        for key, (name, to_json, _) in _FIELDS.items()
        if _spoken_of(corrections, name)
    }


def corrections_difference(old: Corrections, new: Corrections) -> Json:
    """What `corrections_from_json` needs to come from `old` to `new`: null where a key goes."""
    found: Json = {}
    for key, (name, to_json, _) in _FIELDS.items():
        before, after = getattr(old, name), getattr(new, name)
        there = _spoken_of(new, name)
        if (before is not after and before != after) or there != _spoken_of(old, name):
            found[key] = to_json(after) if there else None
    return found


def corrections_from_json(value: Json, base: Corrections | None = None) -> Corrections:
    """The corrections of their JSON.

    Parameters
    ----------
    value : dict
        As of `corrections_to_json` or `corrections_difference`.
    base : Corrections, optional
        Those that hold for keys that `value` does not have.

    Raises
    ------
    ValueError, KeyError, TypeError, AttributeError
        Where a value makes no sense.  Keys that are not known are passed over.
    """
    result = base or Corrections()
    for key, data in value.items():
        if key not in _FIELDS:
            continue
        name, _, from_json = _FIELDS[key]
        result = result.cleared(name) if data is None else result.changed(**{name: from_json(data)})
    return result


def _spoken_of(corrections: Corrections, name: str) -> bool:
    return bool(getattr(corrections, name)) or name in corrections.emptied
