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
from recon.frame.fitting import fitting_from_dict, fitting_to_dict, on_members
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


def _new_words(before: Corrections, after: Corrections) -> dict[LapKey, str]:
    """Words "seen" and "none" on laps that a person has said since, by lap."""
    known = {w.lap: w.word for w in before.laps}
    words = {w.lap: w.word for w in after.laps if w.word in ("seen", "none")}
    return {lap: word for lap, word in words.items() if known.get(lap) != word}


# Differences


def difference(old: State, new: State) -> Json:
    """What must be put and taken away to come from `old` to `new`: `patched` does nothing but that.

    Returns
    -------
    dict
        `members` and `joints`, each {put, gone}; `order` of the members where it is not the obvious one;
        `frame`, fields of the frame; `racked`, how far it is out of square, and `fittings`, all of
        them (both beside `frame`, whose fields older programs must know); `said`, corrections by the
        journal's keys.  Keys of what did not change are left out.

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
    if old.frame.fittings != new.frame.fittings:
        delta["fittings"] = list(map(fitting_to_dict, new.frame.fittings))
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


def patched(state: State, *deltas: Json) -> State:
    """The state after differences, one after another.

    Many at once take much less time than one by one, and come to the same.

    Raises
    ------
    ReconError
        Where one of `deltas` is no difference from the state before it.
    """
    patch = _Patch(state)
    try:
        for delta in deltas:
            patch.apply(delta)
        return patch.state()
    except (KeyError, TypeError, ValueError, IndexError, AttributeError) as error:
        raise ReconError(
            f"The build's journal holds a change that makes no sense ({type(error).__name__}: {error}); "
            "put it back from a copy of the build."
        ) from error


class _Patch:
    """A state while differences are applied: members and laps in dicts, put in order at the end."""

    def __init__(self, state: State) -> None:
        self._start = state
        self._members = {m.id: m for m in state.frame.members}
        self._joints = {joint_key(j): j for j in state.frame.joints}
        self._fields: dict[str, Any] = {}
        self._corrections = state.corrections
        self._other_members = self._other_joints = False

    def apply(self, delta: Json) -> None:
        """Applies one difference; raises KeyError, TypeError and the like where it is none."""
        words: dict[LapKey, str] = {}
        if "said" in delta:
            before = self._corrections
            self._corrections = corrections_from_json(delta["said"], before)
            # From nothing comes a whole state, which says itself what was seen.
            words = _new_words(before, self._corrections) if self._members else {}
        was = {lap: self._joints[lap].bolt for lap in words if lap in self._joints}
        if "members" in delta or "order" in delta:
            self._put_members(delta)
        if "joints" in delta:
            for a, a_hole, b, b_hole in delta["joints"]["gone"]:
                del self._joints[a, a_hole, b, b_hole]
            self._joints |= {joint_key(j): j for j in map(joint_from_json, delta["joints"]["put"])}
            self._other_joints = True
        for name, value in delta.get("frame", {}).items():
            self._fields[name] = frame_field_from_json(name, value)
        if "racked" in delta:
            self._fields["racked"] = racked_from_dict(delta["racked"])
        if "fittings" in delta:
            self._fields["fittings"] = tuple(map(fitting_from_dict, delta["fittings"]))
        self._with_older_words(words, was)

    def _put_members(self, delta: Json) -> None:
        change = delta.get("members", {"put": [], "gone": []})
        for id in change["gone"]:
            del self._members[id]
        self._members |= {m.id: m for m in map(member_from_json, change["put"])}
        if "order" in delta:
            self._members = {id: self._members[id] for id in delta["order"]}
        self._other_members = True

    def _with_older_words(self, words: dict[LapKey, str], was: dict[LapKey, str]) -> None:
        """Marks bolts as said where an older build's change made them "seen" by a person's word.

        Such a build kept the word "seen" for a bolt that a person said is there, and the bolt itself became
        "seen".
        """
        for lap, word in words.items():
            j = self._joints.get(lap)
            if j and word == j.bolt and not j.bolt_by and was.get(lap) != word:
                self._joints[lap] = replace(j, bolt=word_now(j.bolt), bolt_by="person")
                self._other_joints = True

    def state(self) -> State:
        """The state as it is now."""
        frame = self._start.frame
        fittings = self._fields.get("fittings", frame.fittings)
        if fittings:  # programs that know none may have taken their members away
            self._fields["fittings"] = on_members(fittings, self._members)
        members = tuple(self._members.values()) if self._other_members else frame.members
        other = self._other_members or self._other_joints
        joints = ordered(members, self._joints.values()) if other else frame.joints
        return State(replace(frame, members=members, joints=joints, **self._fields), self._corrections)
