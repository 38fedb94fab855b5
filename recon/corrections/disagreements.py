"""Where the user and the photos differ: what each difference offers to take, and which of them still stand.

A difference is a dict in `State.said["conflicts"]`: members, text, and `take`, what the photos show in its place, told by holes
along a line that the state knows, so that it holds however the frame is turned:

    {"offset", "holes"}          the member, from so many holes further on, with so many holes
    {"gone": True}               nothing: the photos do not show the member
    {"of", "offset", "holes"}    a member on the line of number `of` of those that the user deleted
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from recon.corrections.state import State, member_from_json
from recon.errors import ReconError
from recon.frame.lattice import overlap
from recon.frame.model import Member, as_tuple


def along(line: Member, seen: Member) -> dict | None:
    """How `seen`, which runs the same way, lies on the line of another member; None where it is off that line or its count."""
    way = (np.array(seen.first) - np.array(line.first)) @ np.array(line.direction)
    if np.abs(np.array(seen.first) - line.hole_centre(way)).max() > 0.1 or abs(way - round(way)) > 0.1:
        return None
    return {"offset": int(round(way)), "holes": seen.holes}


def found(state: State, text: str) -> dict:
    """The difference of this text.  Raises ReconError where it does not stand any more."""
    for conflict in state.said.get("conflicts", []):
        if conflict["text"] == text:
            return conflict
    raise ReconError("That is settled already.")


def as_shown(state: State, conflict: dict) -> Member | None:
    """The member as the photos show it; None where they show none, or where the difference does not tell (those of old journals)."""
    take = conflict.get("take") or {}
    if "of" in take:
        line = member_from_json(state.said["gone"][take["of"]])
    elif "offset" in take:
        line = state.frame.member(conflict["members"][0])
    else:
        return None
    return replace(line, first=as_tuple(line.hole_centre(take["offset"])), holes=take["holes"])


def without(said: dict, conflict: dict) -> dict:
    return {**said, "conflicts": [c for c in said["conflicts"] if c is not conflict]}


def not_gone(said: dict, number: int) -> dict:
    """`said` without the user's word that member `number` of those deleted is not there."""
    left = []
    for c in said["conflicts"]:
        of = (c.get("take") or {}).get("of")
        if of != number:
            left.append(c if of is None or of < number else {**c, "take": {**c["take"], "of": of - 1}})
    return {**said, "gone": said["gone"][:number] + said["gone"][number + 1 :], "conflicts": left}


def confirmed(said: dict, id: str) -> dict:
    """`said` once the user says again that this member is right as it is."""
    those = [c for c in said.get("conflicts", []) if c["members"] == [id]]
    if not those:
        return said
    return {
        **said,
        "conflicts": [c for c in said["conflicts"] if c not in those],
        "settled": [*said.get("settled", []), *(c["text"] for c in those)],
    }


def note(state: State, text: str) -> tuple[State, str]:
    """The state once the user has seen a sentence of the frame's doubts, and words for that.  It is known by its text: the same is
    not asked again after another reading."""
    if text not in state.frame.doubts:
        raise ReconError("That is settled already.")
    seen = [t for t in state.said.get("read_notes", []) if t != text]
    return State(state.frame, {**state.said, "read_notes": [*seen, text]}), f"Seen: {text}"


def still_open(before: State, after: State) -> State:
    """The state without the differences that a change leaves nothing of: over members that it made others or took away, and over
    deleted ones of which it put a member back."""
    if not after.said.get("conflicts"):
        return after
    old, new = ({m.id: m for m in s.frame.members} for s in (before, after))
    fresh = [m for id, m in new.items() if id not in old]

    def stands(c):
        of = (c.get("take") or {}).get("of")
        back = of is not None and any(overlap(member_from_json(after.said["gone"][of]), m) for m in fresh)
        return not back and all(id in new and old.get(id) == new[id] for id in c["members"])

    left = [c for c in after.said["conflicts"] if stands(c)]
    return (
        after
        if len(left) == len(after.said["conflicts"])
        else State(after.frame, {**after.said, "conflicts": left})
    )
