"""Random frames that could be built, for measurements and tests.

Every member is lapped on another, and no bolt goes through another. Grown frames hang members on random
holes; bays are posts with rails on their faces; some get a brace or a cross member.
"""

from __future__ import annotations

from collections.abc import Sequence
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
LENGTHS = (2, 3, 4, 5, 6, 8, 8, 10, 12, 12, 16, 20, 24)  # holes; the usual ones twice
WIDE_HOLE = 0.437  # pitches, of stock wider than its pitch: 7/16 in every 1 in (letters SS-62, SS-82)


def hole_of(frame: Frame) -> float:
    """Diameter of the holes of a random frame, pitches."""
    return HOLE if frame.members[0].width <= 1 else WIDE_HOLE


def random_frame(seed: int, members: int | None = None) -> Frame:
    """A random frame, labelled in reading order; the same for the same seed.

    Parameters
    ----------
    seed : int
    members : int, optional
        About how many members; 5 to 16 by default.

    Examples
    --------
    >>> from recon.bench.random_frames import random_frame
    >>> frame = random_frame(1, 8)
    >>> 5 <= len(frame.members) <= 8, frame == random_frame(1, 8)
    (True, True)
    """
    rng = np.random.default_rng([seed, 3])
    while True:
        width = float(rng.choice(WIDTHS))
        count = int(members or rng.integers(5, 17))
        made = _bay(rng, width) if members is None and rng.random() < 0.4 else _grown(rng, width, count)
        frame = _bolted(made)
        if frame is None or len(frame.members) < min(count, 5):
            continue
        if members is None and rng.random() < 0.3:
            for extra in additions(frame, most=int(rng.integers(1, 3)), hole=hole_of(frame)):
                if extra.member:
                    frame = _bolted([*frame.members, extra.member]) or frame
        return relabel(frame)


def _bolted(made: Sequence[Member]) -> Frame | None:
    """The frame of these members with a bolt in every lap that has room for one, less those that hang on
    none.

    None where fewer than two hang together or two overlap.
    """
    if collisions(made):
        return None
    frame = Frame(tuple(made), find_joints(made), 38.1)
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


def _grown(rng: np.random.Generator, width: float, count: int) -> list[Member]:
    """Members hung on random holes of one another."""
    made = [Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), int(rng.choice([8, 12, 16])), width)]
    for _ in range(40 * count):
        if len(made) == count:
            break
        host = made[int(rng.integers(len(made)))]
        along = int(np.abs(host.direction).argmax())
        side, bolt = rng.permutation([k for k in range(3) if k != along])
        holes = int(rng.choice(LENGTHS))
        hole = int(rng.choice([0, host.holes - 1, int(rng.integers(host.holes))]))
        at = host.hole_centre(hole) + np.eye(3)[bolt] * width * rng.choice((-1, 1))
        first = at - np.eye(3)[side] * int(rng.choice([0, holes - 1, int(rng.integers(holes))]))
        new = Member(label(len(made)), as_tuple(first), as_tuple(np.eye(3)[side]), holes, width)
        if not collisions([new, *_near(new, made)]):
            made.append(new)
    return made


def _near(new: Member, members: Sequence[Member]) -> list[Member]:
    """The members whose boxes reach into that of the new one."""
    low, high = bounds(new)
    return [m for m in members if (bounds(m)[0] < high).all() and (bounds(m)[1] > low).all()]


def _bay(rng: np.random.Generator, width: float) -> list[Member]:
    """Four posts with rails along x and y on their outer faces, some left out."""
    step = int(np.ceil(width))
    nx_, ny, height = (int(rng.integers(lo, hi)) * step for lo, hi in ((6, 16), (5, 11), (7, 16)))
    posts = [((x, y, 0), 2, height + 1) for x in (0, nx_) for y in (0, ny)]
    rails: list[tuple[tuple[float, float, float], int, int]] = []
    heights = rng.choice(np.arange(1, height - step), int(rng.integers(1, 4)), replace=False)
    for n, z in enumerate(sorted(heights)):
        beyond = int(np.ceil(width / 2 + 0.5)) + int(rng.integers(0, 2))
        rails += [
            ((-beyond, y, z), 0, nx_ + 1 + 2 * beyond)
            for y in (-width, ny + width)
            if n == 0 or rng.random() < 0.8
        ]
        rails += [
            ((x, -beyond, z + step), 1, ny + 1 + 2 * beyond)
            for x in (-width, nx_ + width)
            if rng.random() < 0.8
        ]
    made = [
        Member(label(i), as_tuple(at), as_tuple(np.eye(3)[axis]), n, width)
        for i, (at, axis, n) in enumerate([*posts, *rails])
    ]
    kept: list[Member] = []
    for member in made:
        if not collisions([member, *_near(member, kept)]):
            kept.append(member)
    return kept
