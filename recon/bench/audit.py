"""The audit on random frames with one random change each: all found, none invented.

`python -m recon.bench audit [FRAMES] [FIRST_SEED]`, 200 frames from seed 0 by default.
"""

from __future__ import annotations

import time
from collections import Counter
from dataclasses import replace

import numpy as np

from recon.bench.random_frames import random_frame
from recon.frame.joints import collisions, find_joints
from recon.frame.lattice import canonical, mirrored, transform
from recon.frame.model import Frame, Member, as_tuple, flipped, rename, reversed_member
from recon.geometry.lattice import rotations
from recon.workshop.audit.differences import audit_frame

CHANGES = ("none", "length", "shift", "missing", "extra", "moved", "mirrored", "bolt")
# What may be told of a change: a member that is longer at one end and shorter at the other was shifted, and the like.
TOLD = {
    "length": {"length"},
    "shift": {"shift"},
    "missing": {"missing"},
    "extra": {"extra"},
    "moved": {"moved", "shift"},
    "mirrored": {"mirrored"},
    "bolt": {"bolt missing"},
}


def run(args) -> int:
    frames, first = (int(x) for x in (*args, *("200", "0")[len(args) :]))
    start, count, wrong = time.time(), Counter(), []
    for seed in range(first, first + frames):
        for change in CHANGES:
            verdict = one(seed, change)
            count[change, verdict] += 1
            if verdict in ("missed", "invented", "other"):
                wrong.append((seed, change, verdict))
    print(
        f"{'change':10} {'found':>6} {'another':>8} {'missed':>7} {'invented':>9} {'other':>6} {'not made':>9}"
    )
    for change in CHANGES:
        row = [count[change, v] for v in ("found", "another", "missed", "invented", "other", "not made")]
        print(f"{change:10} {row[0]:6} {row[1]:8} {row[2]:7} {row[3]:9} {row[4]:6} {row[5]:9}")
    print(
        "found: that one difference and no other (none: no difference). another: one difference of another member or kind, which"
    )
    print(
        "makes the same frame of the plan. not made: no change of this kind fits the frame, or it is the same frame turned."
    )
    for seed, change, verdict in wrong[:20]:
        print(f"  seed {seed}, {change}: {verdict}")
    print(f"{frames} frames, {time.time() - start:.0f} s")
    return 1 if wrong else 0


def one(seed: int, change: str) -> str:
    """What the audit makes of one change: "found", "another", "missed", "invented", "other" or "not made"."""
    rng = np.random.default_rng([seed, CHANGES.index(change)])
    plan = seen(random_frame(seed))
    made = changed(plan, change, rng)
    if made is None:
        return "not made"
    built, label = made
    result = audit_frame(disguised(built, rng), plan)
    told = [d for d in result.differences]
    if change == "none":
        return "found" if result.verdict == "same" and not result.not_checked else "invented"
    if not told:
        return "missed"
    if len(told) > 1:
        return "invented"
    if told[0].kind in TOLD[change] and (
        label is None or label in told[0].members or change in ("extra", "mirrored")
    ):
        return "found"
    # With symmetric and small frames, another single difference may make the same frame; it is then as true.
    return "another" if told[0].kind in SINGLE else "other"


SINGLE = ("length", "shift", "missing", "extra", "moved", "mirrored", "both", "bolt missing")


def seen(frame: Frame) -> Frame:
    """The frame with every bolt seen."""
    return replace(
        frame, joints=tuple(replace(j, bolt=j.bolt if j.bolt == "none" else "seen") for j in frame.joints)
    )


def disguised(frame: Frame, rng) -> Frame:
    """The frame as another reading gives it: turned, shifted, with other labels, in another order, counted from other ends."""
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
    joints = [flipped(j) if rng.random() < 0.5 else j for j in joints]
    members = [members[i] for i in rng.permutation(len(members))]
    joints = [joints[i] for i in rng.permutation(len(joints))]
    return rename(
        replace(frame, members=tuple(members), joints=tuple(joints)),
        {m.id: f"x{i}" for i, m in enumerate(members)},
    )


def changed(plan: Frame, change: str, rng) -> tuple[Frame, str | None] | None:
    """The plan with one random change, and the label of the member changed; None where none of 60 tries fits."""
    for _ in range(60):
        built, label = _change(plan, change, rng)
        if built is None or collisions(built.members):
            continue
        if change == "none" or _told_apart(built, plan):
            return built, label
        if change == "mirrored":
            return None
    return None


def _told_apart(built: Frame, plan: Frame) -> bool:
    return canonical(_bare(built)) != canonical(_bare(plan))


def _bare(frame: Frame) -> Frame:
    return replace(frame, joints=tuple(sorted(frame.joints, key=lambda j: (j.a, j.b, j.a_hole))))


def _change(plan: Frame, change: str, rng):
    members = list(plan.members)
    k = int(rng.integers(len(members)))
    m = members[k]
    along = np.asarray(m.direction, float)
    if change == "none":
        return plan, None
    if change == "mirrored":
        return mirrored(plan), None
    if change == "missing":
        return _with(plan, [x for x in members if x is not m]), m.id
    if change == "bolt":
        bolted = [j for j in plan.joints if j.bolt == "seen"]
        gone = bolted[rng.integers(len(bolted))]
        return replace(
            plan, joints=tuple(replace(j, bolt="none") if j is gone else j for j in plan.joints)
        ), gone.a
    if change == "length":
        longer, at_start = rng.random() < 0.5, rng.random() < 0.5
        if m.holes < 3:
            return None, None
        first = (
            np.asarray(m.first) - along
            if longer and at_start
            else np.asarray(m.first) + along * (at_start and not longer)
        )
        members[k] = replace(m, first=as_tuple(first), holes=m.holes + (1 if longer else -1))
    elif change == "shift":
        axis = np.eye(3)[rng.integers(3)] * rng.choice((-1, 1))
        members[k] = replace(m, first=as_tuple(np.asarray(m.first) + axis))
    elif change == "moved":
        members[k] = _hung(rng, [x for x in members if x is not m], m.holes, m.width, m.id)
        if abs(np.dot(members[k].direction, along)) > 0.5:
            return None, None  # along another line of the same direction: that is a shift
    elif change == "extra":
        members.append(_hung(rng, members, int(rng.integers(2, 13)), m.width, "new"))
    return _with(plan, members), m.id


def _hung(rng, members, holes: int, width: float, id: str) -> Member:
    """A member on a random hole of another."""
    host = members[rng.integers(len(members))]
    k = int(np.abs(host.direction).argmax())
    side, bolt = rng.permutation([i for i in range(3) if i != k])
    at = host.hole_centre(int(rng.integers(host.holes))) + np.eye(3)[bolt] * (
        host.width + width
    ) / 2 * rng.choice((-1, 1))
    return Member(
        id, as_tuple(at - np.eye(3)[side] * int(rng.integers(holes))), as_tuple(np.eye(3)[side]), holes, width
    )


def _with(plan: Frame, members) -> Frame:
    """The plan with other members: bolts that still have both their holes stay, and new laps are bolted."""
    at, was = {m.id: m for m in members}, {m.id: m for m in plan.members}
    kept = []
    for j in plan.joints:
        holes = [_hole_at(at.get(id), was[id].hole_centre(k)) for id, k in ((j.a, j.a_hole), (j.b, j.b_hole))]
        if None not in holes:
            kept.append(replace(j, a_hole=holes[0], b_hole=holes[1]))
    pairs = {frozenset((j.a, j.b)) for j in kept}
    new = [replace(j, bolt="seen") for j in find_joints(members) if frozenset((j.a, j.b)) not in pairs]
    return replace(plan, members=tuple(members), joints=(*kept, *new))


def _hole_at(member: Member | None, place) -> int | None:
    if member is None:
        return None
    off = np.abs(member.hole_centres() - place).max(axis=1)
    return int(off.argmin()) if off.min() < 1e-6 else None
