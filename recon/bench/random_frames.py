"""Random frames that could be built, for measurements and tests: every member lapped on another, no bolt through another.

Grown frames hang members on random holes; bays are posts with rails on their faces; some get a brace or a cross member.
"""

from __future__ import annotations

from dataclasses import replace

import networkx as nx
import numpy as np

from recon.frame.joints import collisions, find_joints
from recon.frame.model import Frame, Member, as_tuple, bounds, label, relabel
from recon.workshop.hardware.bolts import find_bolts
from recon.workshop.rigidity.bolt_conflicts import blocked_ends, crossing_bolts, meeting_ends
from recon.workshop.rigidity.bracing import additions
from recon.workshop.solids import HOLE

WIDTHS = (1.0, 1.0, 1.0, 1.5, 2.0)  # pitches; 1 is the usual stock
WIDE_HOLE = 0.437  # pitches, of stock wider than its pitch: 7/16 in every 1 in (letters SS-62, SS-82)


def hole_of(frame: Frame) -> float:
    """Diameter of the holes of a random frame, pitches."""
    return HOLE if frame.members[0].width <= 1 else WIDE_HOLE


def random_frame(seed: int, members: int | None = None) -> Frame:
    """A frame of about `members` members (5 to 16 by default), labelled in reading order; the same for the same seed."""
    rng = np.random.default_rng([seed, 3])
    while True:
        width = float(rng.choice(WIDTHS))
        count = int(members or rng.integers(5, 17))
        sticks = _bay(rng, width) if members is None and rng.random() < 0.4 else _grown(rng, width, count)
        frame = _bolted(sticks)
        if frame is None or len(frame.members) < min(count, 5):
            continue
        if members is None and rng.random() < 0.3:
            for extra in additions(frame, most=int(rng.integers(1, 3)), hole=hole_of(frame)):
                if extra.member:
                    frame = _bolted([*frame.members, extra.member]) or frame
        return relabel(frame)


def _bolted(sticks) -> Frame | None:
    """The frame of these members with a bolt in every lap that has room for one, less those that hang on no bolt then;
    None where fewer than two hang together or two take the same room."""
    if collisions(sticks):
        return None
    frame = Frame(tuple(sticks), find_joints(sticks), 38.1)
    while True:
        bolts = find_bolts(frame)
        bad = {crossing[1].joints for crossing in crossing_bolts(bolts)}
        bad |= {bolt.joints for bolt, _ in blocked_ends(frame, bolts, hole_of(frame))}
        bad |= {bolt.joints for _, bolt in meeting_ends(bolts, hole_of(frame))}
        if not bad:
            break
        none = {j for joints in bad for j in joints}
        frame = replace(
            frame, joints=tuple(replace(j, bolt="none") if j in none else j for j in frame.joints)
        )
    graph = nx.Graph([(j.a, j.b) for j in frame.joints if j.bolt != "none"])
    if not graph:
        return None
    whole = max(nx.connected_components(graph), key=lambda piece: (len(piece), min(piece)))
    return replace(
        frame,
        members=tuple(m for m in frame.members if m.id in whole),
        joints=tuple(j for j in frame.joints if j.a in whole and j.b in whole),
    )


def _grown(rng, width: float, count: int) -> list[Member]:
    def length():
        return int(rng.choice([2, 3, 4, 5, 6, 8, 8, 10, 12, 12, 16, 20, 24]))

    sticks = [Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), int(rng.choice([8, 12, 16])), width)]
    for _ in range(40 * count):
        if len(sticks) == count:
            break
        host = sticks[rng.integers(len(sticks))]
        along = int(np.abs(host.direction).argmax())
        side, bolt = rng.permutation([k for k in range(3) if k != along])
        holes = length()
        hole = int(rng.choice([0, host.holes - 1, rng.integers(host.holes)]))
        at = host.hole_centre(hole) + np.eye(3)[bolt] * width * rng.choice((-1, 1))
        first = at - np.eye(3)[side] * int(rng.choice([0, holes - 1, rng.integers(holes)]))
        new = Member(label(len(sticks)), as_tuple(first), as_tuple(np.eye(3)[side]), holes, width)
        if not collisions([new, *_near(new, sticks)]):
            sticks.append(new)
    return sticks


def _near(new: Member, members):
    low, high = bounds(new)
    return [m for m in members if (bounds(m)[0] < high).all() and (bounds(m)[1] > low).all()]


def _bay(rng, width: float) -> list[Member]:
    """Four posts, rails along x outside them in front and behind, rails along y outside those or inside, some left out."""
    step = int(np.ceil(width))
    nx_, ny, height = (int(rng.integers(lo, hi)) * step for lo, hi in ((6, 16), (5, 11), (7, 16)))
    posts = [((x, y, 0), 2, height + 1) for x in (0, nx_) for y in (0, ny)]
    rails = []
    for n, z in enumerate(
        sorted(rng.choice(np.arange(1, height - step), int(rng.integers(1, 4)), replace=False))
    ):
        beyond = int(np.ceil(width / 2 + 0.5)) + int(rng.integers(0, 2))
        for y in (-width, ny + width):
            if n == 0 or rng.random() < 0.8:
                rails.append(((-beyond, y, z), 0, nx_ + 1 + 2 * beyond))
        for x in (-width, nx_ + width):
            if rng.random() < 0.8:
                rails.append(((x, -beyond, z + step), 1, ny + 1 + 2 * beyond))
    sticks = [
        Member(label(i), as_tuple(map(float, at)), as_tuple(np.eye(3)[axis]), n, width)
        for i, (at, axis, n) in enumerate([*posts, *rails])
    ]
    kept: list[Member] = []
    for stick in sticks:
        if not collisions([stick, *_near(stick, kept)]):
            kept.append(stick)
    return kept
