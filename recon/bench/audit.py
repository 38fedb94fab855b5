"""The audit on random frames with one random change each: all found, none invented.

`python -m recon.bench audit [FRAMES] [FIRST_SEED]`, 200 frames from seed 0 by default.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TypeAlias

import numpy as np

from recon.bench.random_frames import random_frame
from recon.frame.joints import collisions, find_joints
from recon.frame.lattice import canonical, mirrored, transform
from recon.frame.model import Frame, Member, as_tuple, flipped, rename, reversed_member
from recon.geometry.arrays import FloatArray
from recon.geometry.lattice import rotations
from recon.workshop.audit.differences import audit_frame

CHANGES = ("none", "length", "shift", "missing", "extra", "moved", "mirrored", "bolt", "exchanged")
VERDICTS = ("found", "another", "missed", "invented", "other", "not made")
# Kinds of difference that describe a change: a member longer at one end and shorter at the other was shifted.
KINDS = {
    "length": {"length"},
    "shift": {"shift"},
    "missing": {"missing"},
    "extra": {"extra"},
    "moved": {"moved", "shift"},
    "mirrored": {"mirrored"},
    "bolt": {"bolt missing"},
    "exchanged": {"exchanged"},
}


# With symmetric and small frames, another single difference may make the same frame; it is then as true.
SINGLE = ("length", "shift", "missing", "extra", "moved", "mirrored", "both", "bolt missing", "exchanged")
LEGEND = (
    "found: that one difference and no other (none: no difference). another: one difference of another "
    "member or kind, which\nmakes the same frame of the plan. not made: no change of this kind fits the "
    "frame, or it is the same frame turned."
)
TRIES = 60  # for each change; this project's choice


def run(args: Sequence[str]) -> int:
    """Run the measurement; returns 1 where a change was missed or invented."""
    frames, first = (int(x) for x in (*args, *("200", "0")[len(args) :]))
    start, count, wrong = time.time(), Counter[tuple[str, str]](), []
    for seed in range(first, first + frames):
        for change in CHANGES:
            verdict = one(seed, change)
            count[change, verdict] += 1
            if verdict in ("missed", "invented", "other"):
                wrong.append((seed, change, verdict))
    print(
        f"{'change':10} {'found':>6} {'another':>8} {'missed':>7} {'invented':>9} {'other':>6} "
        f"{'not made':>9}"
    )
    for change in CHANGES:
        row = [count[change, v] for v in VERDICTS]
        print(f"{change:10} {row[0]:6} {row[1]:8} {row[2]:7} {row[3]:9} {row[4]:6} {row[5]:9}")
    print(LEGEND)
    for seed, change, verdict in wrong[:20]:
        print(f"  seed {seed}, {change}: {verdict}")
    print(f"{frames} frames, {time.time() - start:.0f} s")
    return 1 if wrong else 0


def one(seed: int, change: str) -> str:
    """What the audit makes of one change of a random frame: one of VERDICTS.

    Examples
    --------
    >>> from recon.bench.audit import one
    >>> one(0, "missing")
    'found'
    """
    rng = np.random.default_rng([seed, CHANGES.index(change)])
    plan = seen(random_frame(seed))
    made = changed(plan, change, rng)
    if made is None:
        return "not made"
    built, label = made
    result = audit_frame(disguised(built, rng), plan)
    found = result.differences
    if change == "none":
        return "found" if result.verdict == "same" and not result.not_checked else "invented"
    if not found:
        return "missed"
    if len(found) > 1:
        return "invented"
    if found[0].kind in KINDS[change] and (
        label is None or label in found[0].members or change in ("extra", "mirrored")
    ):
        return "found"
    return "another" if found[0].kind in SINGLE else "other"


def seen(frame: Frame) -> Frame:
    """The frame with every bolt seen."""
    return replace(
        frame, joints=tuple(replace(j, bolt=j.bolt if j.bolt == "none" else "seen") for j in frame.joints)
    )


def disguised(frame: Frame, rng: np.random.Generator) -> Frame:
    """The frame as another reading gives it: turned, shifted, relabelled, counted from other ends."""
    frame = transform(frame, rotations()[rng.integers(24)], rng.integers(-20, 20, 3))
    back = {m.id: m.holes - 1 for m in frame.members if rng.random() < 0.5}
    members = [reversed_member(m) if m.id in back else m for m in frame.members]
    joints = [
        replace(
            j,
            a_hole=back[j.a] - j.a_hole if j.a in back else j.a_hole,
            b_hole=back[j.b] - j.b_hole if j.b in back else j.b_hole,
        )
        for j in frame.joints
    ]
    fittings = tuple(
        replace(
            f.counted_back() if f.holes[0][0] in back else f,
            holes=tuple((id, back[id] - k if id in back else k) for id, k in f.holes),
        )
        for f in frame.fittings
    )
    joints = [flipped(j) if rng.random() < 0.5 else j for j in joints]
    members = [members[i] for i in rng.permutation(len(members))]
    joints = [joints[i] for i in rng.permutation(len(joints))]
    return rename(
        replace(frame, members=tuple(members), joints=tuple(joints), fittings=fittings),
        {m.id: f"x{i}" for i, m in enumerate(members)},
    )


def changed(plan: Frame, change: str, rng: np.random.Generator) -> tuple[Frame, str | None] | None:
    """The plan with one random change, and the label of the member changed; None where no try fits."""
    for _ in range(TRIES):
        made = _MAKE[change](plan, rng)
        if made is None or collisions(made[0].members):
            continue
        if change == "none" or _distinguishable(made[0], plan):
            return made
        if change == "mirrored":
            return None
    return None


def _distinguishable(built: Frame, plan: Frame) -> bool:
    """Whether the two are different frames, however they are turned."""
    return canonical(_sorted_joints(built)) != canonical(_sorted_joints(plan))


def _sorted_joints(frame: Frame) -> Frame:
    return replace(frame, joints=tuple(sorted(frame.joints, key=lambda j: (j.a, j.b, j.a_hole))))


# Each change draws a member first, so that all of them see the same random numbers.
Change: TypeAlias = "tuple[Frame, str | None] | None"


def _drawn(plan: Frame, rng: np.random.Generator) -> tuple[int, Member]:
    k = int(rng.integers(len(plan.members)))
    return k, plan.members[k]


def _replaced(plan: Frame, k: int, member: Member) -> Frame:
    return _with(plan, [*plan.members[:k], member, *plan.members[k + 1 :]])


def _unchanged(plan: Frame, rng: np.random.Generator) -> Change:
    _drawn(plan, rng)
    return plan, None


def _mirror(plan: Frame, rng: np.random.Generator) -> Change:
    _drawn(plan, rng)
    return mirrored(plan), None


def _remove(plan: Frame, rng: np.random.Generator) -> Change:
    _, m = _drawn(plan, rng)
    return _with(plan, [x for x in plan.members if x is not m]), m.id


def _unbolt(plan: Frame, rng: np.random.Generator) -> Change:
    _drawn(plan, rng)
    bolted = [j for j in plan.joints if j.bolt == "seen"]
    lap = bolted[rng.integers(len(bolted))]
    joints = tuple(replace(j, bolt="none") if j is lap else j for j in plan.joints)
    return replace(plan, joints=joints), lap.a


def _relength(plan: Frame, rng: np.random.Generator) -> Change:
    """One member one hole longer or shorter, at its first or its last hole."""
    k, m = _drawn(plan, rng)
    longer, at_start = rng.random() < 0.5, rng.random() < 0.5
    if m.holes < 3:
        return None
    step = (-1 if longer else 1) if at_start else 0
    first = np.asarray(m.first) + step * np.asarray(m.direction, float)
    return _replaced(plan, k, replace(m, first=as_tuple(first), holes=m.holes + (1 if longer else -1))), m.id


def _shift(plan: Frame, rng: np.random.Generator) -> Change:
    """One member a pitch along an axis."""
    k, m = _drawn(plan, rng)
    axis = np.eye(3)[rng.integers(3)] * rng.choice((-1, 1))
    return _replaced(plan, k, replace(m, first=as_tuple(np.asarray(m.first) + axis))), m.id


def _move(plan: Frame, rng: np.random.Generator) -> Change:
    """One member on another hole of another member."""
    k, m = _drawn(plan, rng)
    new = _hung(rng, [x for x in plan.members if x is not m], m.holes, m.width, m.id)
    if abs(np.dot(new.direction, np.asarray(m.direction, float))) > 0.5:
        return None  # along another line of the same direction: that is a shift
    return _replaced(plan, k, new), m.id


def _add(plan: Frame, rng: np.random.Generator) -> Change:
    _, m = _drawn(plan, rng)
    return _with(
        plan, [*plan.members, _hung(rng, plan.members, int(rng.integers(2, 13)), m.width, "new")]
    ), m.id


def _exchange(plan: Frame, rng: np.random.Generator) -> Change:
    """Two members of one section and different lengths, each in the other's place."""
    k, m = _drawn(plan, rng)
    others = [n for n, x in enumerate(plan.members) if x.holes != m.holes and x.width == m.width]
    if not others:
        return None
    n = int(rng.choice(others))
    other = plan.members[n]
    members = list(plan.members)
    members[k], members[n] = replace(m, holes=other.holes), replace(other, holes=m.holes)
    return _with(plan, members), m.id


_MAKE: dict[str, Callable[[Frame, np.random.Generator], Change]] = {
    "none": _unchanged,
    "length": _relength,
    "shift": _shift,
    "missing": _remove,
    "extra": _add,
    "moved": _move,
    "mirrored": _mirror,
    "bolt": _unbolt,
    "exchanged": _exchange,
}


def _hung(rng: np.random.Generator, members: Sequence[Member], holes: int, width: float, id: str) -> Member:
    """A member on a random hole of another."""
    host = members[int(rng.integers(len(members)))]
    k = int(np.abs(host.direction).argmax())
    side, bolt = rng.permutation([i for i in range(3) if i != k])
    at = host.hole_centre(int(rng.integers(host.holes))) + np.eye(3)[bolt] * (
        host.width + width
    ) / 2 * rng.choice((-1, 1))
    return Member(
        id, as_tuple(at - np.eye(3)[side] * int(rng.integers(holes))), as_tuple(np.eye(3)[side]), holes, width
    )


def _with(plan: Frame, members: Sequence[Member]) -> Frame:
    """The plan with other members: bolts that still have both their holes stay, and new laps are bolted."""
    at, was = {m.id: m for m in members}, {m.id: m for m in plan.members}
    kept = []
    for j in plan.joints:
        holes = [_hole_at(at.get(id), was[id].hole_centre(k)) for id, k in ((j.a, j.a_hole), (j.b, j.b_hole))]
        a_hole, b_hole = holes
        if a_hole is not None and b_hole is not None:
            kept.append(replace(j, a_hole=a_hole, b_hole=b_hole))
    pairs = {frozenset((j.a, j.b)) for j in kept}
    new = [replace(j, bolt="seen") for j in find_joints(members) if frozenset((j.a, j.b)) not in pairs]
    return replace(plan, members=tuple(members), joints=(*kept, *new))


def _hole_at(member: Member | None, place: FloatArray) -> int | None:
    """The hole of the member that is at a place (3,), None where there is none."""
    if member is None:
        return None
    off = np.abs(member.hole_centres() - place).max(axis=1)
    return int(off.argmin()) if off.min() < 1e-6 else None
