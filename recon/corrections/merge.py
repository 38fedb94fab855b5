"""The user's word against a new solving: what the solver is given to keep, and a result brought in line with them.

What the user said holds whatever the solver makes of it; where the photos say otherwise, the result carries a conflict
in words, and nothing is overruled.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from recon.corrections import describe
from recon.corrections.disagreements import along
from recon.corrections.edits import SAID, free_label
from recon.corrections.laps import relapped
from recon.corrections.state import State, member_from_json, ordered
from recon.frame.confidence import SURE
from recon.frame.lattice import LINE_TOL, align, overlap, transform
from recon.frame.length import SIZE_DOUBTS, parse_known_length
from recon.frame.model import Frame, Member, as_tuple, reversed_member
from recon.workshop.wording import plural

MOST_TOLD = 4  # members of which a reading's words say what became of them


def given(state: State, photos):
    """What a solver must keep (recon.solve.priors.constraints.Constraints), in the frame's present place; None where there is nothing to keep or no camera to begin from.

    photos : names of the photos that will be read.
    """
    from recon.solve.priors.constraints import (
        Constraints,  # with it comes the whole solver, which the page's own process does without
    )

    said, frame = state.said, state.frame
    marks = said.get("marks", {})
    ends = {
        m.id: tuple(said["members"][m.id]["ends"]) for m in frame.members if m.id in said.get("members", {})
    }
    known = any(p.used and p.camera and p.file in photos for p in frame.photos)
    if not known or not any(m.on_lattice for m in frame.members) or not (ends or said.get("gone") or marks):
        return None
    px = lambda word: {photo: np.array(m[word], float).reshape(-1, 2) for photo, m in marks.items()}
    return Constraints(
        frame, ends, tuple(map(member_from_json, said.get("gone", []))), px("missed"), px("false")
    )


def kept(state: State, solved: Frame, against=()) -> State:
    """The state with a newly solved frame, brought in line with what the user said of the old one.

    The new frame is laid on the old; members keep their labels; what the user vouched for stays as it is.
    against : recon.solve.priors.constraints.Disagreement, where the photos say otherwise, from a solver that kept the word.
    """
    old, said = state.frame, state.said
    if not old.members:
        return State(
            replace(solved, joints=ordered(solved.members, solved.joints)), {**said, "conflicts": []}
        )
    solved = _laid_on(solved, old)
    conflicts: list[dict] = []
    gone = tuple(map(member_from_json, said.get("gone", [])))
    members = _without(solved.members, gone, said, old, conflicts)
    names = _names(old, members, said)
    members = [replace(m, id=names[i]) for i, m in enumerate(members)]
    by_id = {m.id: m for m in members}
    result = {}
    for m in old.members:
        word = said.get("members", {}).get(m.id)
        new = by_id.pop(m.id, None)
        if word is None:
            if new is not None:
                result[m.id] = new
        elif new is None:
            result[m.id] = m
            if solved.members:
                conflicts.append(_unseen(m))
        else:
            result[m.id] = _obeyed(m, new, word, conflicts)
    conflicts += _objections(old, said, gone, against, {id for c in conflicts for id in c["members"]})
    vouched = [m for id, m in result.items() if id in said.get("members", {})]
    result |= {id: m for id, m in by_id.items() if not any(overlap(v, m) > 0.5 * m.holes for v in vouched)}
    frame = replace(solved, members=tuple(result.values()), name=old.name or solved.name)
    if said.get("scale"):
        doubts = [d for d in solved.doubts if not d.startswith(SIZE_DOUBTS)] + [
            d for d in old.doubts if d.startswith(SIZE_DOUBTS)
        ]
        frame = replace(frame, pitch_mm=old.pitch_mm, stock=old.stock or frame.stock, doubts=tuple(doubts))
    if said.get("stock"):
        frame = replace(frame, stock=old.stock, pitch_mm=old.pitch_mm or frame.pitch_mm)
    frame = replace(frame, photos=_photos(old, solved, said), joints=_bolts(old, solved, names, result))
    frame = relapped(frame, set(result), said.get("laps", ()))
    told = {c["text"]: c for c in conflicts}  # each once; what the user settled already is not asked again
    settled = [text for text in said.get("settled", []) if text in told]
    said = {k: v for k, v in said.items() if k != "bolts"}  # found anew in the photos
    return State(
        frame,
        {**said, "conflicts": [c for text, c in told.items() if text not in settled], "settled": settled},
    )


def untold(state: State, told: dict) -> State:
    """The state without words that a reading was told anew: `told` may hold a stock's id as `stock` and a measured `length`."""
    old = {word for key, word in (("stock", "stock"), ("length", "scale")) if key in told}
    frame = replace(state.frame, pitch_mm=None) if "length" in told else state.frame
    return State(frame, {k: v for k, v in state.said.items() if k not in old})


def told(state: State, told: dict) -> State:
    """The state with the stock and the length that its reading was told as the user's word, which further readings keep."""
    said, frame = dict(state.said), state.frame
    if "stock" in told and frame.members:
        said["stock"] = True
    if "length" in told and frame.pitch_mm:
        known = parse_known_length(told["length"])
        holes = {m.id: m.holes for m in frame.members}.get(known.member, known.holes)
        said["scale"] = {
            "mm": round(known.mm, 4),
            "pitches": holes or round(known.mm / frame.pitch_mm, 6),
            "member": known.member if holes else None,
        }
    return State(frame, said)


def words(old: State, new: State) -> str:
    """What a reading made of the state, in words."""
    count = plural(len(new.frame.members), "member")
    if not old.frame.members:
        return f"Read: {count}"
    other = [
        f"{id} {what}"
        for id, what in sorted(describe.members(old, new).items())
        if not what.endswith(("sure", "surer", "settled", "confirmed"))
    ]
    rest = f" and {len(other) - MOST_TOLD} more" if len(other) > MOST_TOLD else ""
    open_ = len(new.said.get("conflicts", []))
    return f"Solved again: {'; '.join(other[:MOST_TOLD]) + rest if other else 'no member changed'}" + (
        f". In {plural(open_, 'place')} you and the photos differ" if open_ else ""
    )


def _unseen(m: Member) -> dict:
    return {
        "members": [m.id],
        "text": f"The photos do not show {m.id}; it stays, as you said.",
        "take": {"gone": True},
    }


def _another(mine: Member, seen: Member) -> dict:
    """That the photos show the user's member otherwise; both run the same way."""
    offset = int(round(float((np.array(seen.first) - np.array(mine.first)) @ np.array(mine.direction))))
    words = (
        f"look like {seen.holes}"
        if seen.holes != mine.holes
        else f"show it {plural(abs(offset), 'hole')} {'further on' if offset > 0 else 'further back'}"
    )
    return {
        "members": [mine.id],
        "text": f"You said {plural(mine.holes, 'hole')} for {mine.id}; the photos {words}. It stays as you said.",
        "take": along(mine, seen),
    }


def _there(gone, number: int, seen: Member) -> dict:
    """That the photos show a member where the user deleted number `number` of `gone`."""
    mine = gone[number]
    seen = seen if np.dot(mine.direction, seen.direction) > 0 else reversed_member(seen)
    take = along(mine, seen)
    return {
        "members": [],
        "text": f"The photos show a member of {plural(seen.holes, 'hole')} where you deleted {mine.id}; it stays away.",
        "take": take and {"of": number, **take},
    }


def _objections(old: Frame, said, gone, against, told) -> list[dict]:
    """What the photos hold against words that still stand."""
    vouched = {m.id: m for m in old.members if m.id in said.get("members", {})}
    out = []
    for a in against:
        mine = vouched.get(a.member.id)
        if a.deleted:
            number = next((i for i, g in enumerate(gone) if _same_place(a.member, g)), None)
            if number is not None:
                out.append(_there(gone, number, a.seen))
        elif mine is not None and mine.id not in told and _same_place(mine, a.member):
            seen = a.seen and (
                a.seen if np.dot(mine.direction, a.seen.direction) > 0 else reversed_member(a.seen)
            )
            out.append(_another(mine, seen) if seen else _unseen(mine))
    return out


def _same_place(a: Member, b: Member) -> bool:
    return bool(
        a.holes == b.holes
        and np.allclose(a.first, b.first, atol=LINE_TOL)
        and np.allclose(a.last, b.last, atol=LINE_TOL)
    )


def _laid_on(solved: Frame, old: Frame) -> Frame:
    """The solved frame turned and shifted onto the old one, unless it lies on it already as well as it can."""
    found = align(solved, old) if solved.members else None
    if found is not None and sum(any(_same_place(m, o) for o in old.members) for m in solved.members) < len(
        found.pairs
    ):
        solved = transform(solved, found.turn, found.shift)
    return solved


def _without(members, gone, said, old, conflicts) -> list[Member]:
    """The members less those that the user took away."""
    vouched = [m for m in old.members if m.id in said.get("members", {})]
    left = []
    for m in members:
        away = next((i for i, g in enumerate(gone) if overlap(g, m) > 0.5 * m.holes), None)
        if away is None or any(overlap(v, m) > 0.5 * m.holes for v in vouched):
            left.append(m)
        elif m.confidence >= SURE:
            conflicts.append(_there(gone, away, m))
    return left


def _names(old: Frame, members, said) -> list[str]:
    """A label for each new member: that of the old member on the same line that it overlaps most, else a free one."""
    pairs = sorted(
        (
            (overlap(o, m), o.id in said.get("members", {}), o.id, i)
            for o in old.members
            for i, m in enumerate(members)
        ),
        key=lambda p: (-p[0], not p[1]),
    )
    names: dict[int, str] = {}
    for shared, _, id, i in pairs:
        if shared > 0 and i not in names and id not in names.values():
            names[i] = id
    taken = {m.id for m in old.members} | set(names.values())
    for i in range(len(members)):
        if i not in names:
            names[i] = free_label(Frame(tuple(Member(id, (0, 0, 0), (1, 0, 0), 1) for id in taken)))
            taken.add(names[i])
    return [names[i] for i in range(len(members))]


def _obeyed(mine: Member, new: Member, word, conflicts) -> Member:
    """The solved member with what the user vouched for put in its place; its free end may have changed."""
    if np.dot(mine.direction, new.direction) < 0:
        new = reversed_member(new)
    d = np.array(mine.direction)
    offset = int(round(float((np.array(new.first) - np.array(mine.first)) @ d)))
    low = 0 if word["ends"][0] else offset
    high = mine.holes - 1 if word["ends"][1] else offset + new.holes - 1
    low, high = (0, mine.holes - 1) if high < low else (low, high)
    if (word["ends"][0] and offset != 0) or (word["ends"][1] and offset + new.holes != mine.holes):
        conflicts.append(_another(mine, new))
    ends = (SAID if word["ends"][0] else new.ends[0], SAID if word["ends"][1] else new.ends[1])
    sure = 1.0 if all(word["ends"]) else new.confidence
    return replace(
        mine,
        first=as_tuple(mine.hole_centre(low)),
        holes=high - low + 1,
        ends=ends,
        confidence=sure,
        seen=new.seen,
    )


def _photos(old: Frame, solved: Frame, said):
    """Photos as solved; those that the user set aside stay so."""
    aside = set(said.get("aside", []))
    known = {p.file: p for p in old.photos}
    photos = [
        replace(p, used=False, reason="set aside by hand") if p.file in aside else p for p in solved.photos
    ]
    left = [p for f, p in known.items() if f not in {q.file for q in photos}]
    return tuple(photos + [replace(p, camera=None, used=False, reason=p.reason or "not used") for p in left])


def _bolts(old: Frame, solved: Frame, names, result) -> tuple:
    """Joints that tell which bolts were seen, under the new labels, for `relapped` to take over."""
    label = {m.id: n for m, n in zip(solved.members, names)} if len(names) == len(solved.members) else {}
    found = {}
    for j in (
        *old.joints,
        *(replace(j, a=label[j.a], b=label[j.b]) for j in solved.joints if j.a in label and j.b in label),
    ):
        if j.a in result and j.b in result and j.a_hole < result[j.a].holes and j.b_hole < result[j.b].holes:
            found[min((j.a, j.a_hole, j.b, j.b_hole), (j.b, j.b_hole, j.a, j.a_hole))] = j
    return tuple(found.values())
