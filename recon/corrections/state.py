"""What a build is at one moment, and the difference between two moments as plain JSON.

The journal keeps differences and not what the user pressed, so that a build reads back the same whatever
later programs make of an edit.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

from recon.corrections.codec import (
    FRAME_FIELDS,
    Json,
    corrections_difference,
    corrections_from_json,
    frame_field_from_json,
    frame_field_to_json,
    joint_from_json,
    joint_to_json,
    member_from_json,
    member_to_json,
)
from recon.corrections.model import Corrections, LapKey
from recon.errors import ReconError
from recon.frame.model import Frame, Joint, Member, flipped
from recon.frame.squareness import racked_from_dict, to_dict

T = TypeVar("T")


@dataclass(frozen=True)
class State:
    """A frame, and what the user has said of it.

    Attributes
    ----------
    frame : Frame
    corrections : Corrections
        What no reading may undo.
    """

    frame: Frame = field(default_factory=lambda: Frame(()))
    corrections: Corrections = field(default_factory=Corrections)


def joint_key(joint: Joint) -> LapKey:
    """What names a lap, whichever of its members comes first.

    Examples
    --------
    >>> joint_key(Joint("B", 2, "A", 11, (0.0, 1.0, 0.0)))
    ('A', 11, 'B', 2)
    """
    a, b = (joint.a, joint.a_hole), (joint.b, joint.b_hole)
    return (*a, *b) if a <= b else (*b, *a)


def ordered(members: Iterable[Member], joints: Iterable[Joint]) -> tuple[Joint, ...]:
    """Joints in the order of the members, each from its earlier member to its later one."""
    place = {m.id: i for i, m in enumerate(members)}
    turned = (j if place[j.a] <= place[j.b] else flipped(j) for j in joints)
    return tuple(sorted(turned, key=lambda j: (place[j.a], place[j.b], j.a_hole, j.b_hole)))


def word_now(word: str) -> str:
    """A word on a lap as it is called now: builds of before "said" have "seen" for it.

    Examples
    --------
    >>> word_now("seen"), word_now("none")
    ('said', 'none')
    """
    return "said" if word == "seen" else word


def _with_older_words(before: State, after: State) -> State:
    """The state after an older build's change, its bolt marked as said where a person's word made it "seen".

    Such a build kept the word "seen" for a bolt that a person said is there, and the bolt itself became
    "seen".
    """
    known = {w.lap: w.word for w in before.corrections.laps}
    words = {w.lap: w.word for w in after.corrections.laps if w.word in ("seen", "none")}
    words = {lap: word for lap, word in words.items() if known.get(lap) != word}
    if not (
        words and before.frame.members
    ):  # from nothing comes a whole state, which says itself what was seen
        return after
    was = {joint_key(j): j.bolt for j in before.frame.joints}

    def older(j: Joint) -> bool:
        word = words.get(joint_key(j))
        return word == j.bolt and not j.bolt_by and was.get(joint_key(j)) != word

    joints = (
        replace(j, bolt=word_now(j.bolt), bolt_by="person") if older(j) else j for j in after.frame.joints
    )
    return State(replace(after.frame, joints=tuple(joints)), after.corrections)


# Differences


def difference(old: State, new: State) -> Json:
    """What must be put and taken away to come from `old` to `new`: `patched` does nothing but that.

    Returns
    -------
    dict
        `members` and `joints`, each {put, gone}; `order` of the members where it is not the obvious one;
        `frame`, fields of the frame; `racked`, how far it is out of square (beside `frame`, whose fields
        older programs must know); `said`, corrections by the journal's keys.  Keys of what did not change are
        left out.

    Examples
    --------
    >>> difference(State(), State(Frame((), name="Gate")))
    {'frame': {'name': 'Gate'}}
    """
    delta: Json = {}
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
        name: frame_field_to_json(new.frame, name)
        for name in FRAME_FIELDS
        if getattr(old.frame, name) != getattr(new.frame, name)
    }
    if fields:
        delta["frame"] = fields
    if old.frame.racked != new.frame.racked:
        delta["racked"] = new.frame.racked and to_dict(new.frame.racked)
    corrections = corrections_difference(old.corrections, new.corrections)
    if corrections:
        delta["said"] = corrections
    return delta


def _items(
    old: tuple[T, ...], new: tuple[T, ...], key: Callable[[T], Hashable], to_json: Callable[[T], Json]
) -> dict[str, list[Any]] | None:
    if old is new:
        return None
    # What is in both as one object is the same: only the others are looked at, few of a large frame's.
    was, now = set(map(id, old)), set(map(id, new))
    before = {key(x): x for x in old if id(x) not in now}
    after = {key(x): x for x in new if id(x) not in was}
    put = [to_json(x) for k, x in after.items() if before.get(k) != x]
    gone = [k for k in before if k not in after]
    return {"put": put, "gone": gone} if put or gone else None


def _order_after(old: tuple[Member, ...], members: dict[str, list[Any]] | None) -> list[str]:
    removed = set(members["gone"]) if members else set()
    left = [m.id for m in old if m.id not in removed]
    known = set(left)
    return left + [m["id"] for m in (members["put"] if members else ()) if m["id"] not in known]


def patched(state: State, delta: Json) -> State:
    """The state after a difference.

    Raises
    ------
    ReconError
        Where `delta` is no difference from this state.
    """
    try:
        return _patched(state, delta)
    except (KeyError, TypeError, ValueError, IndexError, AttributeError) as error:
        raise ReconError(
            f"The build's journal holds a change that makes no sense ({type(error).__name__}: {error}); "
            "put it back from a copy of the build."
        ) from error


def _patched(state: State, delta: Json) -> State:
    frame, corrections = state.frame, state.corrections
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
            a, a_hole, b, b_hole = key
            del by_key[a, a_hole, b, b_hole]
        by_key |= {joint_key(j): j for j in map(joint_from_json, change["put"])}
        joints = ordered(members, by_key.values())
    fields = {name: frame_field_from_json(name, value) for name, value in delta.get("frame", {}).items()}
    if "racked" in delta:
        fields["racked"] = racked_from_dict(delta["racked"])
    if "said" in delta:
        corrections = corrections_from_json(delta["said"], corrections)
    return _with_older_words(
        state, State(replace(frame, members=members, joints=joints, **fields), corrections)
    )
