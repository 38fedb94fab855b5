"""Laps kept right while members change: found anew where a member moved, with the bolts and the user's words kept."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np

from recon.corrections.state import State, joint_key, ordered
from recon.frame.joints import find_joints, three_way_flags
from recon.frame.model import Frame, Joint, bounds

TOUCH = 0.15  # pitches: farther apart than this, no bolt joins two members (holes may be 0.1 off their common axis)

_bounds = lru_cache(maxsize=8192)(bounds)
BOLTS = ("seen", "assumed", "none")


def near(members, those) -> set[str]:
    """Ids of the members whose boxes touch those of the members `those`, which are among them."""
    if not members or not those:
        return set()
    low, high = (np.array(x) for x in zip(*map(_bounds, members)))
    close = np.zeros(len(members), bool)
    for m in those:
        a, b = _bounds(m)
        close |= ((low <= b + TOUCH) & (high >= a - TOUCH)).all(axis=1)
    return {m.id for m, ok in zip(members, close) if ok}


def relapped(frame: Frame, changed: set[str], said_laps=(), bolts=()) -> Frame:
    """The frame with the laps of the members `changed` found anew from where they lie now.

    A lap that was there keeps its bolt, and one that comes back has that of `bolts`; `said_laps` (as in `State.said`) are obeyed as far as their holes still meet.
    """
    members = frame.members
    those = [m for m in members if m.id in changed]
    around = near(members, those)
    kept, theirs = [], []
    for j in frame.joints:
        (theirs if j.a in changed or j.b in changed else kept).append(j)
    before = {joint_key(j): j for j in theirs}
    told, once = ({tuple(key): word for *key, word in words} for words in (said_laps, bolts))
    for j in find_joints([m for m in members if m.id in around]):
        if j.a in changed or j.b in changed:
            key = joint_key(j)
            word = told.get(key)
            if word == "apart":
                continue
            bolt = word if word in BOLTS else before[key].bolt if key in before else once.get(key, "assumed")
            kept.append(replace(j, bolt=bolt))
    return replace(frame, joints=ordered(members, _marked(kept, frame.joints, members, changed)))


def bolts_kept(said: dict, before: Frame, after: Frame, changed: set[str]) -> dict:
    """`said` with the bolts of laps that are gone, so that a member that is moved back has what was seen of them."""
    old, new = (
        {joint_key(j): j.bolt for j in f.joints if j.a in changed or j.b in changed} for f in (before, after)
    )
    known = {tuple(key): bolt for *key, bolt in said.get("bolts", [])}
    bolts = {k: v for k, v in (known | old).items() if k not in new and v != "assumed"}
    return said if bolts == known else {**said, "bolts": [[*k, v] for k, v in bolts.items()]}


def _marked(joints, before, members, changed: set[str]) -> list[Joint]:
    """The joints with three-way laps marked anew where that can have changed: between members that a changed one touches
    or touched."""
    touched = set(changed)
    for j in (*joints, *before):
        if j.a in changed or j.b in changed:
            touched |= {j.a, j.b}
    # All laps of those members are looked at: these make the marks between them.
    at = [k for k, j in enumerate(joints) if j.a in touched or j.b in touched]
    ends = {id for k in at for id in (joints[k].a, joints[k].b)}
    result = list(joints)
    for k, flag in zip(at, three_way_flags([joints[k] for k in at], [m for m in members if m.id in ends])):
        j = joints[k]
        if j.a in touched and j.b in touched and j.three_way != flag:
            result[k] = replace(
                j, three_way=flag
            )  # the others stay the objects that they were, which tells them unchanged
    return result


def renumbered(state: State, id: str, to) -> State:
    """Laps and words about the holes of member `id` after its holes were counted anew: `to` maps an old hole index to
    (id, hole), or None where the hole is gone."""

    def moved(a, a_hole):
        return to(a_hole) if a == id else (a, a_hole)

    joints = []
    for j in state.frame.joints:
        if j.a != id and j.b != id:
            joints.append(j)
            continue
        a, b = moved(j.a, j.a_hole), moved(j.b, j.b_hole)
        if a and b:
            joints.append(replace(j, a=a[0], a_hole=a[1], b=b[0], b_hole=b[1]))
    said = dict(state.said)
    for key in ("laps", "may_turn", "bolts"):
        if said.get(key):
            said[key] = [x for x in (_moved_key(entry, moved) for entry in said[key]) if x]
    return State(replace(state.frame, joints=tuple(joints)), said)


def _moved_key(entry, moved):
    a, b = moved(entry[0], entry[1]), moved(entry[2], entry[3])
    return [*(x for end in sorted((a, b)) for x in end), *entry[4:]] if a and b else None


def lap_between(frame: Frame, key: tuple) -> Joint | None:
    """The lap of these two holes as their members lie, whether or not the frame has it; None where no bolt fits."""
    a, a_hole, b, b_hole = key
    members = [m for m in frame.members if m.id in (a, b)]
    if len(members) != 2:
        return None
    first, second = members if members[0].id == a else members[::-1]
    holes = {a: a_hole, b: b_hole}
    # Members cut down to these two holes: else members side by side would give their first and last common hole alone.
    short = [
        replace(m, first=tuple(map(float, m.hole_centre(holes[m.id]))), holes=1) for m in (first, second)
    ]
    found = [j for j in find_joints(short)]
    return replace(found[0], a=a, a_hole=a_hole, b=b, b_hole=b_hole) if found else None
