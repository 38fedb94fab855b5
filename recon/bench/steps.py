"""Build steps of random frames, checked by other means than they were found with.

`python -m recon.bench steps [FRAMES] [FIRST_SEED]`, 200 frames from seed 0 by default.  `recon.bench.gravity`
checks what the floor and gravity ask.

The check knows nothing of boxes that separate or of blocking graphs.  It strews points over what moves and
follows each on its straight way (a ray against the slabs of every box: T. Kay, J. Kajiya, "Ray Tracing
Complex Scenes", SIGGRAPH 1986, doi:10.1145/15886.15916), and fills bolts, nuts and spanners with points of
which none may lie in anything.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from typing import TypeAlias

import numpy as np

from recon.bench.gravity import gravity_faults
from recon.bench.random_frames import hole_of, random_frame
from recon.frame.boxes import box_axes, centre
from recon.frame.model import Frame, Member, box_half_sizes
from recon.geometry.arrays import BoolArray, FloatArray
from recon.workshop.assembly.fitting_words import NO_WAY
from recon.workshop.assembly.steps import BuildOrder, build_steps
from recon.workshop.assembly.tool_access import HANDLE, HANDLE_WIDTH, LEVEL, RING, SWING_DEG
from recon.workshop.hardware.bolts import Bolt, find_bolts
from recon.workshop.solids import BOLT_PER_HOLE, END_LENGTH, END_RADIUS, HOLE

SKIN = 0.03  # pitches: what lies less deep than this touches
FINE_DEG = 4  # between angles that a spanner is tried at

# What is together: members and the bolts between them.
Piece: TypeAlias = tuple[set[str], set[Bolt]]


def run(args: Sequence[str]) -> int:
    """Run the measurement; returns 1 where steps cannot be done."""
    frames, first = (int(x) for x in (*args, *("200", "0")[len(args) :]))
    start, count = time.time(), Counter[str]()
    for seed in range(first, first + frames):
        frame = random_frame(seed)
        steps = build_steps(frame, hole_of(frame))
        if not steps.steps:
            count["no order"] += 1
            print(f"seed {seed}: no order: {' '.join(steps.why)}")
            continue
        wrong = faults(frame, steps, hole_of(frame)) + gravity_faults(frame, steps)
        count["wrong" if wrong else "valid, part of it" if steps.stuck else "valid"] += 1
        count["hands held after a step"] += sum(len(s.hands) for s in steps.steps)
        count["steps after which it does not stand"] += sum(not s.steady for s in steps.steps)
        count["turns"] += sum(s.kind == "turn" for s in steps.steps)
        count["steps"] += len(steps.steps)
        count["with sub-frames"] += bool(steps.groups)
        for text in wrong[:3]:
            print(f"seed {seed}: {text}")
    print(
        f"{frames} frames, {time.time() - start:.0f} s: "
        + ", ".join(f"{n} {what}" for what, n in sorted(count.items()))
    )
    return 1 if count["wrong"] else 0


def faults(frame: Frame, steps: BuildOrder, hole: float = HOLE) -> list[str]:
    """What is wrong with the steps, in words; nothing where every step can be done.

    Parameters
    ----------
    frame : Frame
    steps : BuildOrder
        As `build_steps` gives them.
    hole : float
        Diameter of the holes, pitches.

    Examples
    --------
    >>> from recon.bench.scaffold import scaffold
    >>> from recon.bench.steps import faults
    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.model import Frame, Member
    >>> from recon.workshop.assembly.steps import build_steps
    >>> a, b = Member("A", (0.0, 0, 0), (0.0, 0, 1), 4), Member("B", (0.0, 1, 0), (1.0, 0, 0), 4)
    >>> frame = Frame((a, b), find_joints((a, b)))
    >>> faults(frame, build_steps(frame))
    []
    """
    d = BOLT_PER_HOLE * hole
    found: list[str] = []
    pieces: list[Piece] = []  # together so far
    for step in steps.steps:
        new, there = set(step.new) - set(step.laid), set(step.there) | set(step.laid)
        whole = new | there
        if any(p & whole and not (p <= new or p <= there) for p, _ in pieces):
            found.append(f"step {step.number}: takes what is together apart")
        moving, resting = _piece(pieces, new), _piece(pieces, there)
        if step.direction is not None:
            met = _met_on_the_way(frame, moving, resting, np.asarray(step.direction, float), d)
            found += [f"step {step.number}: {text}" for text in met]
        bolts = list(resting[1] | moving[1])
        pieces = [p for p in pieces if not p[0] & whole]
        if step.kind == "core":  # no order was found for these, and the steps say so
            bolts += step.bolts
        unsure = step.kind == "core" or NO_WAY in step.text
        for bolt in () if unsure else step.bolts:
            if not {id for id, _ in bolt.through} <= whole:
                found.append(f"step {step.number}: a bolt for members that are not there")
            elif not _can_be_put_in(frame, bolt, whole, bolts, d):
                found.append(
                    f"step {step.number}: the bolt through {bolt.through} cannot be put in and turned"
                )
            bolts.append(bolt)
        pieces.append((whole, set(bolts)))
    return found + _unfinished(frame, pieces)


def _unfinished(frame: Frame, pieces: Sequence[Piece]) -> list[str]:
    """What is missing after the last step."""
    if (len(pieces) != 1 and len(frame.members) > 1) or (
        pieces and pieces[0][0] != {m.id for m in frame.members}
    ):
        return ["the steps do not end with the whole frame"]
    if pieces and {bolt for bolt in pieces[0][1] if not bolt.fitting} != set(find_bolts(frame)):
        return ["the steps do not put in every bolt once"]
    return []


def _piece(pieces: Sequence[Piece], members: set[str]) -> Piece:
    """What is together of these members: themselves and the bolts that are in."""
    bolts: set[Bolt] = set()
    for piece, inside in pieces:
        if piece <= members:
            bolts |= inside
    return members, bolts


def _met_on_the_way(frame: Frame, moving: Piece, resting: Piece, way: FloatArray, d: float) -> Iterator[str]:
    """What the moving members and bolts meet on their straight way."""
    for id in sorted(moving[0]):
        points = _points(frame.member(id))
        for other in sorted(resting[0]):
            if _rays_meet(points, -way, frame.member(other)):
                yield f"{id} meets {other} on its way"
        for bolt in resting[1]:
            if _rays_meet(_both_ends(bolt, d), way, frame.member(id)):
                yield f"{id} meets an end of the bolt through {bolt.through}"
    for bolt in moving[1]:
        for other in sorted(resting[0]):
            if _rays_meet(_both_ends(bolt, d), -way, frame.member(other)):
                yield f"an end of the bolt through {bolt.through} meets {other}"


def _both_ends(bolt: Bolt, d: float) -> FloatArray:
    return np.vstack([_end_points(bolt, side, d) for side in (-1, 1)])


def _points(member: Member) -> FloatArray:
    """Points in a member, a little below its faces and inside, 0.2 pitch apart."""
    rows = [
        np.linspace(-h + SKIN * 2, h - SKIN * 2, max(2, int(np.ceil(2 * h / 0.2))))
        for h in box_half_sizes(member)
    ]
    return centre(member) + np.stack(np.meshgrid(*rows, indexing="ij"), axis=-1).reshape(-1, 3) @ box_axes(
        member
    )


def _rays_meet(points: FloatArray, way: FloatArray, member: Member) -> bool:
    """Whether a ray from one of the points meets the member, in more than its skin."""
    start, way = (points - centre(member)) @ box_axes(member).T, way @ box_axes(member).T
    half = box_half_sizes(member) - SKIN
    with np.errstate(divide="ignore", invalid="ignore"):
        a, b = (-half - start) / way, (half - start) / way
    outside = (np.abs(way) < 1e-9) & (np.abs(start) >= half)
    enter = np.where(np.abs(way) < 1e-9, -np.inf, np.minimum(a, b)).max(axis=1)
    leave = np.where(np.abs(way) < 1e-9, np.inf, np.maximum(a, b)).min(axis=1)
    return bool((~outside.any(axis=1) & (np.maximum(enter, 0) + 1e-6 < leave)).any())


def _in_member(points: FloatArray, member: Member) -> BoolArray:
    """Which points lie in a member, below its skin."""
    within = np.abs((points - centre(member)) @ box_axes(member).T) < box_half_sizes(member) - SKIN
    return np.asarray(within.all(axis=1))


def _across(axis: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Two unit vectors across an axis and each other."""
    u = np.cross(axis, [0.3, 0.5, 0.8])
    u /= np.linalg.norm(u)
    return u, np.cross(axis, u)


def _rod(bolt: Bolt, side: int, near: float, far: float, radius: float) -> FloatArray:
    """Points of a cylinder round the bolt's axis, from `near` to `far` beyond the face on one side."""
    axis = np.asarray(bolt.axis, float)
    u, v = _across(axis)
    face = np.asarray(bolt.start if side < 0 else bolt.end, float)
    along = np.linspace(near + SKIN, far, max(2, int((far - near) / 0.08)))
    turn = np.radians(np.arange(0, 360, 15))
    circle = np.vstack(
        [r * (np.outer(np.cos(turn), u) + np.outer(np.sin(turn), v)) for r in (0.0, radius / 2, radius)]
    )
    return (face + side * along[:, None, None] * axis + circle[None]).reshape(-1, 3)


def _end_points(bolt: Bolt, side: int, d: float) -> FloatArray:
    """Points of the head or nut of a bolt of diameter d."""
    return _rod(bolt, side, 0.0, END_LENGTH * d, END_RADIUS * d * 0.95)


def _in_ends(points: FloatArray, bolts: Sequence[Bolt], d: float) -> BoolArray:
    """Which points lie in an end of one of the bolts."""
    inside = np.zeros(len(points), bool)
    for bolt in bolts:
        axis = np.asarray(bolt.axis, float)
        for side in (-1, 1):
            off = points - (bolt.start if side < 0 else bolt.end)
            along = side * (off @ axis)
            round_about = np.linalg.norm(off - np.outer(off @ axis, axis), axis=1)
            inside |= (along > SKIN) & (along < END_LENGTH * d - SKIN) & (round_about < END_RADIUS * d - SKIN)
    return inside


def _can_be_put_in(frame: Frame, bolt: Bolt, there: set[str], bolts: Sequence[Bolt], d: float) -> bool:
    """Whether the bolt goes in from one side and takes its nut on the other, and can be turned.

    It is held on one side and turned on the other, among the members `there` and the ends of `bolts`.
    """
    members = [frame.member(id) for id in there]

    def taken(points: FloatArray) -> BoolArray:
        inside = _in_ends(points, bolts, d)
        for m in members:
            inside |= _in_member(points, m)
        return inside

    length = bolt.grip + END_LENGTH * d
    way = {s: not taken(_rod(bolt, s, 0.0, length, END_RADIUS * d * 0.95)).any() for s in (-1, 1)}
    end = {s: not taken(_end_points(bolt, s, d)).any() for s in (-1, 1)}
    angles = {s: _free_angles(bolt, s, taken, d) for s in (-1, 1)}
    holds = {s: angles[s].any() for s in angles}
    turns = {s: _longest_run(angles[s]) * FINE_DEG >= SWING_DEG for s in angles}
    return any(way[s] and end[-s] for s in way) and any(holds[s] and turns[-s] for s in holds)


def _free_angles(bolt: Bolt, side: int, taken: Callable[[FloatArray], BoolArray], d: float) -> BoolArray:
    """At which angles about the bolt's axis a spanner on this side is clear of everything."""
    ring = _rod(bolt, side, LEVEL[0] * d, LEVEL[1] * d, RING * d * 0.95)
    turn = np.radians(np.arange(0, 360, FINE_DEG))
    if taken(ring).any():
        return np.zeros(len(turn), bool)
    axis = np.asarray(bolt.axis, float)
    u, v = _across(axis)
    out = np.outer(np.cos(turn), u) + np.outer(np.sin(turn), v)
    across = np.cross(axis, out)
    face = np.asarray(bolt.start if side < 0 else bolt.end, float)
    level = face + side * axis * d * np.array([[LEVEL[0] + 0.05], [LEVEL[1] - 0.05]])
    radius, wide = np.arange(1.0, HANDLE, 0.3) * d, np.array([-1, 0, 1]) * HANDLE_WIDTH / 2 * d
    points = (
        level[None, :, None, None]
        + radius[None, None, :, None, None] * out[:, None, None, None]
        + wide[None, None, None, :, None] * across[:, None, None, None]
    )
    return np.asarray(~taken(points.reshape(-1, 3)).reshape(len(turn), -1).any(axis=1))


def _longest_run(free: BoolArray) -> int:
    """The most angles in a row, round about, that are free; the whole round is one more than there are."""
    if free.all():
        return len(free) + 1
    run = best = 0
    for ok in np.concatenate([free, free]):
        run = run + 1 if ok else 0
        best = max(best, run)
    return best - 1
