"""Corrections: pure functions from a state and what the user asked to the next state and words for it.

Each is called through `edit(state, ask)`, where `ask` is a JSON object with `op` and what that operation needs.  Holes
are counted from 0 here and from 1 in words.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import count

import numpy as np

from recon.corrections import disagreements, validation
from recon.corrections.laps import BOLTS, bolts_kept, lap_between, near, relapped, renumbered
from recon.corrections.measuring import scale, sized
from recon.corrections.state import LAST_HOLE, State, joint_key, member_from_json, member_to_json, ordered
from recon.errors import ReconError
from recon.frame.joints import collisions, mark_three_way
from recon.frame.lattice import on_lattice, on_one_line, transform
from recon.frame.model import End, Frame, Member, StockUse, as_tuple, label
from recon.geometry.lattice import rotations
from recon.workshop.wording import listed, plural

SAID = End("seen", 0)  # an end that the user vouches for
# Pitches that two members may be off one line to be one member; braces are measured.  Less than in `frame.lattice`,
# where two readings of one member are told from its neighbours: here the user's own members are made one.
LINE_TOL = 0.05


def edit(state: State, ask: dict, stocks=None) -> tuple[State, str]:
    """The next state and words for the change.  Raises ReconError where it cannot be done."""
    name = validation.word(ask, "op", OPERATIONS)
    before = state
    state, words = (
        OPERATIONS[name](state, ask)
        if name not in _WITH_STOCKS
        else OPERATIONS[name](state, ask, stocks or {})
    )
    if name not in _OF_ALL:
        state = disagreements.still_open(before, state)
    return (state if stocks is None else sized(state, stocks)), words


# Helpers


def _member(state: State, ask, key="member") -> Member:
    return validation.member(state.frame, ask, key)


def _vouch(said: dict, id: str, *, place=None, ends=(None, None)) -> dict:
    """`said` with what of member `id` is now the user's word."""
    old = said.get("members", {}).get(id, {"place": False, "ends": [False, False]})
    new = {
        "place": old["place"] if place is None else place,
        "ends": [o if e is None else e for o, e in zip(old["ends"], ends)],
    }
    return {**said, "members": {**said.get("members", {}), id: new}}


def _forget(said: dict, id: str) -> dict:
    out = dict(said)
    if id in out.get("members", {}):
        out["members"] = {k: v for k, v in out["members"].items() if k != id}
    for key in ("laps", "may_turn", "bolts"):
        if key in out:
            out[key] = [e for e in out[key] if id not in (e[0], e[2])]
    return out


def _with_members(state: State, members, changed: set[str], said=None) -> State:
    said = state.said if said is None else said
    frame = relapped(
        replace(state.frame, members=tuple(members)), changed, said.get("laps", ()), said.get("bolts", ())
    )
    return State(frame, bolts_kept(said, state.frame, frame, changed))


def _put(frame: Frame, *members: Member) -> tuple[Member, ...]:
    by_id = {m.id: m for m in members}
    return tuple(by_id.pop(m.id, m) for m in frame.members) + tuple(by_id.values())


def free_label(frame: Frame) -> str:
    """The first label that no member has."""
    used = {m.id for m in frame.members}
    return next(name for name in map(label, count()) if name not in used)


def _lattice_flag(frame: Frame, member: Member) -> Member:
    others = [m for m in frame.members if m.id != member.id and m.on_lattice]
    return replace(
        member, on_lattice=bool(on_lattice([*others, member])[-1]) if others else member.on_lattice
    )


# Members


def _end(state, ask):
    """Moves an end by so many holes: {member, end: 0 or 1, by}."""
    m, end, by = (
        _member(state, ask),
        validation.whole(ask, "end", 0, 1),
        validation.whole(ask, "by", -LAST_HOLE, LAST_HOLE),
    )
    holes = m.holes + by
    if not 1 <= holes <= LAST_HOLE:
        raise ReconError(f"Member {m.id} has {plural(m.holes, 'hole')}; it must keep 1 to {LAST_HOLE}.")
    said = _vouch(state.said, m.id, place=True, ends=(True, None) if end == 0 else (None, True))
    ends = (SAID, m.ends[1]) if end == 0 else (m.ends[0], SAID)
    offset = by if end == 0 else 0
    first = as_tuple(m.hole_centre(-offset)) if offset else m.first
    moved = replace(m, first=first, holes=holes, ends=ends, confidence=_surer(said, m))
    state = renumbered(
        State(state.frame, said), m.id, lambda k: (m.id, k + offset) if 0 <= k + offset < holes else None
    )
    words = (
        f"{m.id}: {plural(m.holes, 'hole')} → {holes}"
        if by
        else f"{m.id}: end at hole {1 if end == 0 else holes} confirmed"
    )
    return _with_members(state, _put(state.frame, moved), {m.id}), words


def _surer(said, m: Member) -> float:
    """1 where both ends and the place are the user's word, else as it was."""
    word = said["members"][m.id]
    return 1.0 if word["place"] and all(word["ends"]) else m.confidence


def _confirm(state, ask):
    """The member is right as it is: {member}."""
    m = _member(state, ask)
    said = _vouch(disagreements.confirmed(state.said, m.id), m.id, place=True, ends=(True, True))
    sure = replace(m, confidence=1.0, ends=(SAID, SAID))
    return State(replace(state.frame, members=_put(state.frame, sure)), said), f"{m.id} confirmed"


def _add(state, ask):
    """A new member: {first, direction, holes, like: id of a member whose stock it has, or nothing}."""
    frame = state.frame
    like = _member(state, ask, "like") if ask.get("like") else frame.members[0] if frame.members else None
    direction = np.array(validation.vector(ask, "direction"))
    size = np.linalg.norm(direction)
    if size < 1e-6:
        raise ReconError("The new member's direction is zero.")
    new = Member(
        free_label(frame),
        as_tuple(validation.vector(ask, "first")),
        as_tuple(direction / size),
        validation.whole(ask, "holes", 1, LAST_HOLE),
        like.width if like else 1.0,
        like.stock if like else None,
        1.0,
        (SAID, SAID),
    )
    new = _lattice_flag(frame, new)
    _refuse_same_place(frame, new)
    said = _vouch(state.said, new.id, place=True, ends=(True, True))
    return _with_members(
        state, _put(frame, new), {new.id}, said
    ), f"{new.id} added, {plural(new.holes, 'hole')}"


def _refuse_same_place(frame: Frame, new: Member):
    close = near((*frame.members, new), [new])
    for m in frame.members:
        if m.id in close and _one_line(m, new) and _gap(m, new) < 0:
            raise ReconError(f"Member {m.id} lies there already; move its end instead.")


def _delete(state, ask):
    """Takes members away: {members: [ids]}."""
    gone = [validation.member_of(state.frame, id) for id in validation.several(ask, "members")]
    ids = {m.id for m in gone}
    said = state.said
    for id in ids:
        said = _forget(said, id)
    said = {**said, "gone": [*said.get("gone", []), *map(member_to_json, gone)]}
    frame = replace(
        state.frame,
        members=tuple(m for m in state.frame.members if m.id not in ids),
        joints=tuple(j for j in state.frame.joints if j.a not in ids and j.b not in ids),
    )
    return State(
        replace(frame, joints=mark_three_way(frame.joints, frame.members)), said
    ), f"{listed(sorted(ids))} deleted"


def _split(state, ask):
    """Two members in place of one, cut after hole `after` (counted from 0): {member, after}."""
    m = _member(state, ask)
    if m.holes < 2:
        raise ReconError(f"Member {m.id} has one hole and cannot be split.")
    after = validation.whole(ask, "after", 0, m.holes - 2)
    id = free_label(state.frame)
    one = replace(m, holes=after + 1, ends=(m.ends[0], SAID))
    two = replace(
        m, id=id, first=as_tuple(m.hole_centre(after + 1)), holes=m.holes - after - 1, ends=(SAID, m.ends[1])
    )
    word = state.said.get("members", {}).get(m.id, {"ends": [False, False]})["ends"]
    said = _vouch(state.said, m.id, place=True, ends=(None, True))
    said = _vouch(said, id, place=True, ends=(True, word[1]))
    state = renumbered(
        State(state.frame, said), m.id, lambda k: (m.id, k) if k <= after else (id, k - after - 1)
    )
    return (
        _with_members(state, _put(state.frame, one, two), {m.id, id}),
        f"{m.id} split after hole {after + 1}: {m.id} has {one.holes}, {id} has {two.holes}",
    )


def _merge(state, ask):
    """One member in place of two on one line, with all holes between them: {members: [id, id]}."""
    ids = validation.several(ask, "members")
    if len(ids) != 2:
        raise ReconError("Choose two members to merge.")
    a, b = (validation.member_of(state.frame, id) for id in ids)
    if not _one_line(a, b):
        raise ReconError(f"{a.id} and {b.id} do not lie on one line, so they cannot be one member.")
    d = np.array(a.direction)
    where = np.round(np.array([p @ d for p in (b.first - np.array(a.first), b.last - np.array(a.first))]), 6)
    if np.abs(where - np.round(where)).max() > 2 * LINE_TOL:
        raise ReconError(f"The holes of {a.id} and {b.id} are not on one count; shift one of them first.")
    low, high = int(min(0, round(where.min()))), int(max(a.holes - 1, round(where.max())))
    turned = where[1] < where[0]
    b_ends = b.ends[::-1] if turned else b.ends
    ends = (a.ends[0] if low == 0 else b_ends[0], a.ends[1] if high == a.holes - 1 else b_ends[1])
    start = int(round(where[0]))
    one = replace(
        a, first=as_tuple(a.hole_centre(low)), holes=high - low + 1, ends=ends, seen=a.seen + b.seen
    )
    state = renumbered(state, a.id, lambda k: (a.id, k - low))
    state = renumbered(state, b.id, lambda k: (a.id, start + (-k if turned else k) - low))
    said = _vouch(
        _forget(state.said, b.id), a.id, place=True, ends=(True, True)
    )  # one member as long as is seen now
    joints = tuple({joint_key(j): j for j in state.frame.joints if j.a != j.b}.values())
    members = tuple(m for m in _put(state.frame, one) if m.id != b.id)
    frame = replace(state.frame, members=members, joints=joints)
    return _with_members(
        State(frame, said), members, {a.id}
    ), f"{a.id} and {b.id} merged: {a.id} has {plural(one.holes, 'hole')}"


def _one_line(a: Member, b: Member) -> bool:
    return on_one_line(a, b, off=LINE_TOL + 1e-9, parallel=1 - 1e-3)


def _gap(a: Member, b: Member) -> float:
    """Room between the ends of two members on one line, pitches; below 0 where they overlap."""
    d = np.array(a.direction)
    place = sorted(
        (float(min(m.first @ d, m.last @ d)) - 0.5, float(max(m.first @ d, m.last @ d)) + 0.5)
        for m in (replace(a, first=np.array(a.first)), replace(b, first=np.array(b.first)))
    )
    return round(place[1][0] - place[0][1], 6)


def _shift(state, ask):
    """Moves members as they are: {members: [ids], by: [x, y, z] pitches} or {members: [id], along: holes}."""
    ids = validation.several(ask, "members")
    members = [validation.member_of(state.frame, id) for id in ids]
    if "along" in ask:
        steps = validation.whole(ask, "along", -LAST_HOLE, LAST_HOLE)
        moved = [replace(m, first=as_tuple(m.hole_centre(steps))) for m in members]
        words = f"{listed(ids)} shifted by {plural(abs(steps), 'hole')} along {'itself' if len(ids) == 1 else 'themselves'}"
    else:
        by = np.array(validation.vector(ask, "by"))
        moved = [replace(m, first=as_tuple(np.array(m.first) + by)) for m in members]
        words = f"{listed(ids)} shifted by {', '.join(f'{v:g} along {c}' for v, c in zip(by, 'xyz') if v) or 'nothing'}"
    moved = [_lattice_flag(state.frame, m) for m in moved]
    said = state.said
    for old, m in zip(members, moved):
        said = _vouch(said, m.id, place=True, ends=(True, True))  # as it lies now
        if not _one_line(old, m):  # it is not where it was: no solving may bring it back there
            said = {**said, "gone": [*said.get("gone", []), member_to_json(old)]}
    return _with_members(state, _put(state.frame, *moved), set(ids), said), words


def _settle(state, ask):
    """Where the user and the photos differ: {text of the difference, word: mine (as the user said) or photos (as they show it)}."""
    conflict, word = (
        disagreements.found(state, validation.text(ask, "text", 500)),
        validation.word(ask, "word", ("mine", "photos")),
    )
    said, take, ids = disagreements.without(state.said, conflict), conflict.get("take"), conflict["members"]
    if word == "mine":
        said = {**said, "settled": [*said.get("settled", []), conflict["text"]]}
        return State(state.frame, said), f"{ids[0] if ids else 'The deleted member'} stays as you said"
    if not take:
        raise ReconError("What the photos show is not kept with this difference; solve again first.")
    if "gone" in take:
        return _delete(State(state.frame, said), {"members": ids})
    shown = disagreements.as_shown(state, conflict)
    if "of" in take:
        shown = replace(
            shown,
            id=shown.id if shown.id not in {m.id for m in state.frame.members} else free_label(state.frame),
        )
        said = disagreements.not_gone(said, take["of"])
    else:
        old, by = state.frame.member(shown.id), take["offset"]
        moved = renumbered(
            State(state.frame, said),
            old.id,
            lambda k: (old.id, k - by) if 0 <= k - by < shown.holes else None,
        )
        state, said = moved, moved.said
    said = _vouch(said, shown.id, place=True, ends=(True, True))
    shown = replace(shown, ends=(SAID, SAID), confidence=1.0)
    return _with_members(
        state, _put(state.frame, shown), {shown.id}, said
    ), f"{shown.id} as the photos show it, {plural(shown.holes, 'hole')}"


# Laps


def _lap(state, ask):
    """A lap joined, parted, or its bolt told: {lap: [a, a_hole, b, b_hole], word: joined, apart, seen, assumed, none}."""
    key = validation.lap(state.frame, ask)
    word = validation.word(ask, "word", ("joined", "apart", *BOLTS))
    joints = {joint_key(j): j for j in state.frame.joints}
    said = {
        **state.said,
        "laps": [e for e in state.said.get("laps", []) if tuple(e[:4]) != key] + [[*key, word]],
    }
    name = f"hole {key[1] + 1} of {key[0]} on hole {key[3] + 1} of {key[2]}"
    if word == "apart":
        if key not in joints:
            raise ReconError(f"There is no lap at {name}.")
        del joints[key]
        words = f"Lap parted: {name}"
    else:
        lap = joints.get(key) or lap_between(state.frame, key)
        if lap is None:
            raise ReconError(f"No bolt fits {name}: the two holes are not on one axis, face to face.")
        joints[key] = replace(lap, bolt=word if word in BOLTS else lap.bolt)
        words = {
            "joined": f"Lap joined: {name}",
            "none": f"No bolt: {name}",
            "seen": f"Bolt there: {name}",
            "assumed": f"Bolt assumed: {name}",
        }[word]
    members = state.frame.members
    return State(
        replace(state.frame, joints=ordered(members, mark_three_way(joints.values(), members))), said
    ), words


def _may_turn(state, ask):
    """A lap is meant to turn, or not: {lap, wanted: bool}."""
    key = validation.lap(state.frame, ask)
    wanted = validation.flag(ask, "wanted")
    rest = [e for e in state.said.get("may_turn", []) if tuple(e) != key]
    words = f"Hole {key[1] + 1} of {key[0]} on hole {key[3] + 1} of {key[2]} {'may' if wanted else 'must not'} turn"
    return State(state.frame, {**state.said, "may_turn": rest + ([list(key)] if wanted else [])}), words


def _note(state, ask):
    """A sentence of the frame's doubts was seen: {text}."""
    return disagreements.note(state, validation.text(ask, "text", 1000))


# The whole frame


def _stock(state, ask, stocks):
    """The stock of some members or, where `members` is null, of all: {members, stock}."""
    stock = validation.stock(stocks, ask)
    frame, said = state.frame, state.said
    ids = (
        {m.id for m in frame.members}
        if ask.get("members") is None
        else set(validation.several(ask, "members"))
    )
    members = [replace(m, stock=stock.id, width=stock.width) if m.id in ids else m for m in frame.members]
    if ask.get("members") is None:
        pitch = frame.pitch_mm if said.get("scale") and frame.pitch_mm else stock.pitch_mm
        frame = replace(frame, stock=StockUse(stock.id, "given", 1.0), pitch_mm=pitch)
        said = {**said, "stock": True}
    changed = {m.id for old, m in zip(frame.members, members) if old.width != m.width}
    state = State(replace(frame, members=tuple(members)), said)
    return (
        _with_members(state, members, changed) if changed else state,
        f"{'All members' if ask.get('members') is None else listed(sorted(ids))}: {stock.name}",
    )


def _photo(state, ask):
    """Sets a photo aside or takes it back: {file, used}."""
    file, used = validation.text(ask, "file", 300), validation.flag(ask, "used")
    if file not in {p.file for p in state.frame.photos}:
        raise ReconError(f"'{file}' is not among the photos of this frame.")
    photos = tuple(
        replace(p, used=used, reason="" if used else "set aside by hand") if p.file == file else p
        for p in state.frame.photos
    )
    aside = [f for f in state.said.get("aside", []) if f != file] + ([] if used else [file])
    return (
        State(replace(state.frame, photos=photos), {**state.said, "aside": aside}),
        f"{file} {'taken back' if used else 'set aside'}",
    )


# Quarter turns of the frame by the axis that they are about; "x+" brings y to z.
_QUARTERS = {
    "x+": [[1, 0, 0], [0, 0, -1], [0, 1, 0]],
    "x-": [[1, 0, 0], [0, 0, 1], [0, -1, 0]],
    "y+": [[0, 0, 1], [0, 1, 0], [-1, 0, 0]],
    "y-": [[0, 0, -1], [0, 1, 0], [1, 0, 0]],
    "z+": [[0, -1, 0], [1, 0, 0], [0, 0, 1]],
    "z-": [[0, 1, 0], [-1, 0, 0], [0, 0, 1]],
}


def _turn(state, ask):
    """Turns the frame, or says which way is up by a member, or where the origin is:
    {quarter: 'x+' ...}, {up: member, end: which end is on top} or {origin: member, hole}."""
    turn, shift = np.eye(3, dtype=int), np.zeros(3)
    if "quarter" in ask:
        turn = np.array(_QUARTERS[validation.word(ask, "quarter", _QUARTERS)])
        words = f"Frame turned about {ask['quarter'][0]}"
    elif "up" in ask:
        m = _member(state, ask, "up")
        way = np.array(m.direction) * (1 if validation.whole(ask, "end", 0, 1) else -1)
        turn = max(rotations(), key=lambda r: (round(float((r @ way)[2]), 6), np.trace(r)))
        words = f"Frame turned so that {m.id} stands up"
    else:
        m = _member(state, ask, "origin")
        shift = -m.hole_centre(validation.whole(ask, "hole", 0, m.holes - 1))
        words = f"Origin at hole {ask['hole'] + 1} of {m.id}"
    frame = transform(state.frame, turn, shift)
    said = dict(state.said)
    if said.get("gone"):
        gone = transform(Frame(tuple(map(member_from_json, said["gone"]))), turn, shift).members
        said["gone"] = list(map(member_to_json, gone))
    return State(frame, said), words


def _name(state, ask):
    """What the frame is called: {name}."""
    name = validation.text(ask, "name", 120)
    return State(replace(state.frame, name=name), state.said), f"Frame called {name or 'nothing'}"


# Openings


def _mark(state, ask):
    """An opening that the reader missed or saw where there is none: {photo, xy: [x, y], word: missed, false, clear}."""
    photo, word = (
        validation.text(ask, "photo", 300),
        validation.word(ask, "word", ("missed", "false", "clear")),
    )
    x, y = (round(v, 1) for v in validation.numbers(ask, "xy", 2))
    marks = {k: {kind: list(v) for kind, v in m.items()} for k, m in state.said.get("marks", {}).items()}
    here = marks.setdefault(photo, {"missed": [], "false": []})
    for kind in here:  # one word for one place
        here[kind] = [p for p in here[kind] if np.hypot(p[0] - x, p[1] - y) > 3]
    if word != "clear":
        here[word].append([x, y])
    if not any(here.values()):
        del marks[photo]
    words = {"missed": "Opening marked", "false": "Opening marked as none", "clear": "Mark taken back"}[word]
    return State(state.frame, {**state.said, "marks": marks}), f"{words} in {photo}"


def clashes(frame: Frame, changed: set[str]) -> list[tuple[str, str, float]]:
    """Collisions of the members `changed`: (id, id, depth in pitches)."""
    around = near(frame.members, [m for m in frame.members if m.id in changed])
    return [c for c in collisions([m for m in frame.members if m.id in around]) if changed & {c[0], c[1]}]


_WITH_STOCKS = {"stock"}
_OF_ALL = {"turn", "stock"}  # change members without any word about where they are
OPERATIONS = {
    "end": _end,
    "confirm": _confirm,
    "add": _add,
    "delete": _delete,
    "split": _split,
    "merge": _merge,
    "shift": _shift,
    "lap": _lap,
    "may_turn": _may_turn,
    "stock": _stock,
    "scale": scale,
    "photo": _photo,
    "turn": _turn,
    "name": _name,
    "mark": _mark,
    "settle": _settle,
    "note": _note,
}
