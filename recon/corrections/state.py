"""What a build is at one moment, and the difference between two moments as plain JSON.

The journal keeps differences and not what the user pressed, so that a build reads back the same whatever later
programs make of an edit.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, field, replace

from recon.errors import ReconError
from recon.frame.model import End, Frame, Joint, Member, Photo, StockUse, as_tuple, flipped
from recon.geometry.camera import Camera

LAST_HOLE = 1000  # a member has 1 to 1000 holes, as in the frame file's schema
LONGEST_ID = 16


@dataclass(frozen=True)
class State:
    """The frame, and what the user has said about it, which no solving may undo.

    said : JSON values.  `members`: id -> {"place": bool, "ends": [bool, bool]}, what of a member is the user's word;
    `gone`: members that the user took away (as in the frame file); `laps`: [a, a_hole, b, b_hole, word] with word
    "joined", "apart" or a bolt's state; `marks`: photo -> {"missed": [[x, y], ...], "false": [...]}, px;
    `may_turn`: laps meant to turn; `aside`: photos set aside; `conflicts`: sentences where the photos say otherwise;
    `settled`: those that the user settled; `read_notes`: sentences of `frame.doubts` that the user has seen and put aside; `bolts`:
    [a, a_hole, b, b_hole, bolt] of laps that went when a member moved away, for when it comes back;
    `scale`: {"mm", "pitches", "member" or null}, the length that the user measured (true in older builds); `stock`: true where
    the user gave the stock.
    """

    frame: Frame = Frame(())
    said: dict = field(default_factory=dict)


def joint_key(joint: Joint) -> tuple:
    """What names a lap, whichever of its members comes first."""
    a, b = (joint.a, joint.a_hole), (joint.b, joint.b_hole)
    return (*a, *b) if a <= b else (*b, *a)


def ordered(members, joints) -> tuple[Joint, ...]:
    """Joints in the order of the members, each told from its earlier member."""
    place = {m.id: i for i, m in enumerate(members)}
    turned = (j if place[j.a] <= place[j.b] else flipped(j) for j in joints)
    return tuple(sorted(turned, key=lambda j: (place[j.a], place[j.b], j.a_hole, j.b_hole)))


# Differences

FRAME_FIELDS = ("pitch_mm", "stock", "photos", "doubts", "name")


def difference(old: State, new: State) -> dict:
    """What must be put and taken away to come from `old` to `new`: `patched` undoes nothing but that."""
    delta = {}
    members = _items(old.frame.members, new.frame.members, lambda m: m.id, member_to_json)
    order = [m.id for m in new.frame.members]
    if members:
        delta["members"] = members
    if order != _order_after(old.frame.members, members):
        delta["order"] = order
    joints = _items(old.frame.joints, new.frame.joints, joint_key, joint_to_json)
    if joints:
        delta["joints"] = joints | {"gone": [list(key) for key in joints["gone"]]}
    fields = {
        name: _field_to_json(getattr(new.frame, name))
        for name in FRAME_FIELDS
        if getattr(old.frame, name) != getattr(new.frame, name)
    }
    if fields:
        delta["frame"] = fields
    said = {
        key: new.said.get(key)
        for key in sorted(old.said.keys() | new.said.keys())
        if old.said.get(key) != new.said.get(key)
    }
    if said:
        delta["said"] = said
    return delta


def _items(old, new, key, to_json) -> dict | None:
    if old is new:
        return None
    # What is in both as one object is the same: only the others are looked at, few of a large frame's.
    was, now = set(map(id, old)), set(map(id, new))
    before = {key(x): x for x in old if id(x) not in now}
    after = {key(x): x for x in new if id(x) not in was}
    put = [to_json(x) for k, x in after.items() if before.get(k) != x]
    gone = [k for k in before if k not in after]
    return {"put": put, "gone": gone} if put or gone else None


def _order_after(old, members) -> list[str]:
    gone = set(members["gone"]) if members else ()
    kept = [m.id for m in old if m.id not in gone]
    known = set(kept)
    return kept + [m["id"] for m in (members["put"] if members else ()) if m["id"] not in known]


def patched(state: State, delta: dict) -> State:
    """The state after a difference.  Raises ReconError where the difference is no such thing."""
    try:
        return _patched(state, delta)
    except (KeyError, TypeError, ValueError, IndexError, AttributeError) as error:
        raise ReconError(
            f"The build's journal holds a change that makes no sense ({type(error).__name__}: {error}); put it "
            "back from a copy of the build."
        ) from error


def _patched(state: State, delta: dict) -> State:
    frame, said = state.frame, state.said
    members, joints = frame.members, frame.joints
    if "members" in delta or "order" in delta:
        change = delta.get("members", {"put": [], "gone": []})
        by_id = {m.id: m for m in members}
        for id in change["gone"]:
            del by_id[id]
        by_id |= {m.id: m for m in map(member_from_json, change["put"])}
        members = tuple(by_id[id] for id in delta["order"]) if "order" in delta else tuple(by_id.values())
    if "joints" in delta or members is not frame.members:
        change = delta.get("joints", {"put": [], "gone": []})
        by_key = {joint_key(j): j for j in joints}
        for key in change["gone"]:
            del by_key[tuple(key)]
        by_key |= {joint_key(j): j for j in map(joint_from_json, change["put"])}
        joints = ordered(members, by_key.values())
    fields = {name: _field_from_json(name, value) for name, value in delta.get("frame", {}).items()}
    if "said" in delta:
        said = {k: v for k, v in {**said, **delta["said"]}.items() if v is not None}
    return State(replace(frame, members=members, joints=joints, **fields), said)


# JSON and back: the frame file's fields


def member_to_json(m: Member) -> dict:
    """As in the frame file."""
    return {
        "id": m.id,
        "first": list(m.first),
        "direction": list(m.direction),
        "holes": m.holes,
        "width": m.width,
        "stock": m.stock,
        "confidence": m.confidence,
        "ends": [{"state": e.state, "extra": e.extra} for e in m.ends],
        "on_lattice": m.on_lattice,
        "seen": m.seen,
    }


def member_from_json(d: dict) -> Member:
    """Raises ValueError, KeyError or TypeError where it is no member."""
    id, holes = d["id"], int(d["holes"])
    if not (isinstance(id, str) and 0 < len(id) <= LONGEST_ID and 1 <= holes <= LAST_HOLE):
        raise ValueError("not a member")
    return Member(
        id,
        _vector(d["first"]),
        _vector(d["direction"]),
        holes,
        float(d["width"]),
        d["stock"] and str(d["stock"]),
        float(d["confidence"]),
        tuple(End(str(e["state"]), int(e["extra"])) for e in d["ends"]),
        bool(d["on_lattice"]),
        int(d["seen"]),
    )


def joint_to_json(j: Joint) -> dict:
    return {
        "a": j.a,
        "a_hole": j.a_hole,
        "b": j.b,
        "b_hole": j.b_hole,
        "axis": list(j.axis),
        "bolt": j.bolt,
        "three_way": j.three_way,
    }


def joint_from_json(d: dict) -> Joint:
    return Joint(
        str(d["a"]),
        int(d["a_hole"]),
        str(d["b"]),
        int(d["b_hole"]),
        _vector(d["axis"]),
        str(d["bolt"]),
        bool(d["three_way"]),
    )


def _vector(values) -> tuple[float, float, float]:
    x, y, z = map(float, values)
    if not all(map(math.isfinite, (x, y, z))):
        raise ValueError("not finite")
    return as_tuple((x, y, z))


def _field_to_json(value):
    if isinstance(value, StockUse):
        return asdict(value)
    if isinstance(value, tuple):
        return [photo_to_json(v) if isinstance(v, Photo) else v for v in value]
    return value


def photo_to_json(photo: Photo) -> dict:
    return {
        "file": photo.file,
        "size": list(photo.size),
        "used": photo.used,
        "reason": photo.reason,
        "camera": photo.camera and photo.camera.to_dict(),
    }


def photo_from_json(p: dict) -> Photo:
    camera = p["camera"] and Camera.from_dict(p["camera"])
    return Photo(str(p["file"]), tuple(map(int, p["size"])), bool(p["used"]), str(p["reason"]), camera)


def _field_from_json(name, value):
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
