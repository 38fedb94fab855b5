"""Laps kept right while members change: found anew where one moved, with bolts and the user's word kept."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np

from recon.corrections.fittings import with_holes
from recon.corrections.members import place_along
from recon.corrections.model import Corrections, LapBolt, LapKey, LapWord
from recon.corrections.state import State, joint_key, ordered, word_now
from recon.frame.joints import collisions, find_joints, three_way_flags
from recon.frame.model import Frame, Joint, Member, bounds

# pitches: farther apart than this, no bolt joins two members (holes may be 0.1 off their common axis)
TOUCH = 0.15
SAID_BOLTS = ("said", "assumed", "none")  # what a person may say of a bolt

Renumber = Callable[[int], tuple[str, int]]

_bounds = lru_cache(maxsize=8192)(bounds)


def near(members: Sequence[Member], those: Collection[Member]) -> set[str]:
    """Labels of the members whose boxes touch those of the members `those`, which are among them."""
    if not members or not those:
        return set()
    low, high = (np.array(x) for x in zip(*map(_bounds, members)))
    close = np.zeros(len(members), bool)
    for m in those:
        a, b = _bounds(m)
        close |= ((low <= b + TOUCH) & (high >= a - TOUCH)).all(axis=1)
    return {m.id for m, ok in zip(members, close) if ok}


def clashes(frame: Frame, changed: set[str]) -> list[tuple[str, str, float]]:
    """Collisions of the members `changed`: (label, label, depth in pitches)."""
    around = near(frame.members, [m for m in frame.members if m.id in changed])
    return [c for c in collisions([m for m in frame.members if m.id in around]) if changed & {c[0], c[1]}]


def relapped(frame: Frame, changed: set[str], corrections: Corrections | None = None) -> Frame:
    """The frame with the laps of some members found anew from where they lie now.

    Parameters
    ----------
    frame : Frame
        Its joints say which bolts are known.
    changed : set of str
        Labels of the members whose laps are sought.
    corrections : Corrections, optional
        Its words on laps are obeyed as far as their holes still meet, and a lap that comes back has its bolt
        of `bolts`.

    Examples
    --------
    >>> a = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 5)
    >>> b = Member("B", (-2.0, 1.0, 2.0), (1.0, 0.0, 0.0), 5)
    >>> [(j.a_hole, j.b_hole) for j in relapped(Frame((a, b)), {"B"}).joints]
    [(2, 2)]
    """
    corrections = corrections or Corrections()
    members = frame.members
    around = near(members, [m for m in members if m.id in changed])
    untouched: list[Joint] = []
    theirs: list[Joint] = []
    for j in frame.joints:
        (theirs if j.a in changed or j.b in changed else untouched).append(j)
    bolts = {b.lap: (b.bolt, b.bolt_by) for b in corrections.bolts}
    bolts |= {joint_key(j): (j.bolt, j.bolt_by) for j in theirs}
    words = {w.lap: word_now(w.word) for w in corrections.laps}
    joints = untouched
    for j in find_joints([m for m in members if m.id in around]):
        key = joint_key(j)
        if (j.a in changed or j.b in changed) and words.get(key) != "apart":
            bolt, by = bolts.get(key, ("assumed", ""))
            j = replace(j, bolt=bolt, bolt_by=by)
            joints.append(j.with_word(words[key]) if words.get(key) in SAID_BOLTS else j)
    return replace(frame, joints=ordered(members, _marked(joints, frame.joints, members, changed)))


def bolts_remembered(corrections: Corrections, before: Frame, after: Frame, changed: set[str]) -> Corrections:
    """`corrections` with the bolts of laps that went, for when their members are moved back."""
    old, new = (
        {joint_key(j): (j.bolt, j.bolt_by) for j in f.joints if j.a in changed or j.b in changed}
        for f in (before, after)
    )
    known = {b.lap: (b.bolt, b.bolt_by) for b in corrections.bolts}
    bolts = {k: v for k, v in (known | old).items() if k not in new and v[0] != "assumed"}
    if bolts == known:
        return corrections
    return corrections.changed(bolts=tuple(LapBolt(k, *v) for k, v in bolts.items()))


def _marked(
    joints: Sequence[Joint], before: Iterable[Joint], members: Sequence[Member], changed: set[str]
) -> list[Joint]:
    """The joints with three-way laps marked anew between members that a changed one touches or touched."""
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
            # The others stay the objects that they were, which shows that they did not change.
            result[k] = replace(j, three_way=flag)
    return result


def renumbered(state: State, id: str, to: Renumber, holes: int | None = None) -> State:
    """The state with laps, words about them and fittings in the holes of a member as these are counted now.

    Parameters
    ----------
    state : State
    id : str
        Of the member.
    to : callable
        From an old hole index, which for a fitting may lie beyond the ends, to (label, hole).
    holes : int, optional
        How many holes the member has then: laps at others are no more.
    """

    def moved(a: str, a_hole: int) -> tuple[str, int] | None:
        at = to(a_hole) if a == id else (a, a_hole)
        return None if holes is not None and at[0] == id and not 0 <= at[1] < holes else at

    joints = []
    for j in state.frame.joints:
        if id not in (j.a, j.b):
            joints.append(j)
            continue
        a, b = moved(j.a, j.a_hole), moved(j.b, j.b_hole)
        if a and b:
            joints.append(replace(j, a=a[0], a_hole=a[1], b=b[0], b_hole=b[1]))
    fittings = tuple(with_holes(f, lambda a, k: to(k) if a == id else (a, k)) for f in state.frame.fittings)
    corrections = _with_moved_laps(state.corrections, moved)
    return State(replace(state.frame, joints=tuple(joints), fittings=fittings), corrections)


def _with_moved_laps(
    corrections: Corrections, moved: Callable[[str, int], tuple[str, int] | None]
) -> Corrections:
    def lap(key: LapKey) -> LapKey | None:
        ends = moved(key[0], key[1]), moved(key[2], key[3])
        if not ends[0] or not ends[1]:
            return None
        a, b = sorted((ends[0], ends[1]))
        return (*a, *b)

    words = [LapWord(key, w.word) for w in corrections.laps if (key := lap(w.lap))]
    turning = [key for k in corrections.may_turn if (key := lap(k))]
    bolts = [replace(b, lap=key) for b in corrections.bolts if (key := lap(b.lap))]
    return _with_laps(corrections, words, turning, bolts)


def _with_laps(
    corrections: Corrections, words: list[LapWord], turning: list[LapKey], bolts: list[LapBolt]
) -> Corrections:
    """The corrections with these words on laps; lists of which nothing was ever said stay so."""
    lists = {"laps": tuple(words), "may_turn": tuple(turning), "bolts": tuple(bolts)}
    return corrections.changed(**{k: v for k, v in lists.items() if getattr(corrections, k)})


def without_laps_of(corrections: Corrections, id: str) -> Corrections:
    """The corrections without words on laps of member `id`."""

    def other(lap: LapKey) -> bool:
        return id not in (lap[0], lap[2])

    return _with_laps(
        corrections,
        [w for w in corrections.laps if other(w.lap)],
        [k for k in corrections.may_turn if other(k)],
        [b for b in corrections.bolts if other(b.lap)],
    )


def lap_between(frame: Frame, key: LapKey) -> Joint | None:
    """The lap of two holes as their members lie, whether or not the frame has it; None where no bolt fits."""
    a, a_hole, b, b_hole = key
    members = [m for m in frame.members if m.id in (a, b)]
    if len(members) != 2:
        return None
    first, second = members if members[0].id == a else members[::-1]
    holes = {a: a_hole, b: b_hole}
    # Members cut down to these two holes: else members side by side would give their first and last common
    # hole.
    short = [replace(m, first=place_along(m, holes[m.id]), holes=1) for m in (first, second)]
    found = find_joints(short)
    return replace(found[0], a=a, a_hole=a_hole, b=b, b_hole=b_hole) if found else None
