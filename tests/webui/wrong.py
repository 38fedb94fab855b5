"""Frames made wrong in two or three members, as readings go wrong, from a sample's truth."""

from __future__ import annotations

import json
import random
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from recon.corrections.state import ordered
from recon.frame.joints import collisions, find_joints
from recon.frame.model import End, Frame, Member, label
from tests.truth import frame_from_truth

SHORT, WAYS = 2, ("shifted", "missing")  # holes that one end lacks; what is wrong with the second member
HIDDEN = 3  # holes more that a hidden end could have, as readings say of such ends


@dataclass(frozen=True)
class Wrong:
    """frame : what the page opens.   truth : what it should be.   told : the mistakes in words."""

    frame: Frame
    truth: Frame
    told: tuple[str, ...]


def wrong_frame(sample: Path, seed: int, mistakes: int = 3) -> Wrong:
    """The sample's true frame with one end two holes short, one member shifted by a hole (odd seeds) or
    missing (even seeds), and, of three mistakes, one member that is not there.

    Ends of which the truth file shows no opening in any photo are `hidden`, as a reading has them, and one
    right member as not sure: so the doubts hold false alarms, too.
    """
    rng, data = random.Random(f"{sample.name} {seed}"), json.loads((sample / "truth.json").read_text())
    truth = frame_from_truth(data)
    seen = {(h["stick"], h["hole"]) for p in data["photos"] for h in p["holes"]}

    def end(i, hole):
        return End("seen") if (i, hole) in seen else End("hidden", HIDDEN)

    members = [
        replace(m, confidence=0.97, ends=(end(i, 0), end(i, m.holes - 1)))
        for i, m in enumerate(truth.members)
    ]
    drawable = [i for i in range(len(members)) if _row_in_sight(data, i, members[i].holes)]
    second = rng.choice(drawable)
    first, alarm = rng.sample([i for i, m in enumerate(members) if i != second and m.holes >= SHORT + 4], 2)
    told = []

    m, side = members[first], rng.choice((0, 1))
    ends = [replace(e) for e in m.ends]
    ends[side] = End("hidden", HIDDEN)
    members[first] = replace(
        m,
        holes=m.holes - SHORT,
        ends=tuple(ends),
        confidence=0.8,
        first=tuple(map(float, m.hole_centre(SHORT if side == 0 else 0))),
    )
    told.append(f"{m.id} ends {SHORT} holes short at {'hole 1' if side == 0 else 'its last hole'}")
    members[alarm] = replace(members[alarm], confidence=0.85)

    m, way = members[second], WAYS[(seed + 1) % 2]
    if way == "shifted":
        by = rng.choice((-1, 1))
        members[second] = replace(m, first=tuple(map(float, m.hole_centre(by))), confidence=0.65)
        told.append(f"{m.id} lies a hole {'further on' if by > 0 else 'further back'}")
    else:
        del members[second]
        told.append(f"{m.id} is missing")

    if mistakes > 2:
        false = _ghost(members, truth, rng)
        members.append(false)
        told.append(f"{false.id} is not there")
    frame = replace(truth, members=tuple(members), joints=ordered(members, find_joints(members)))
    return Wrong(frame, truth, tuple(told))


def _row_in_sight(data, i, holes) -> bool:
    """Whether one photo shows both end openings of one face of member i wholly."""
    return bool(photos_to_draw(data, i, holes))


def photos_to_draw(data, i, holes) -> list[tuple[str, list, list]]:
    """(photo, first opening, last opening in px), the longest row first, of those that show both openings of
    one face."""
    found = []
    for p in data["photos"]:
        rim = {
            (h["hole"], tuple(h["normal"])): h["xy"] for h in p["holes"] if h["stick"] == i and h["seen"] == 8
        }
        for (hole, normal), xy in rim.items():
            if hole == 0 and (holes - 1, normal) in rim:
                found.append((p["file"], xy, rim[holes - 1, normal]))
    return sorted(found, key=lambda f: -float(np.hypot(*np.subtract(f[1], f[2]))))


def _ghost(members, truth: Frame, rng) -> Member:
    """A false member: of the frame's lattice, beside another one and in nobody's room."""
    id = label(len(truth.members))
    for _ in range(1000):
        like = rng.choice(members)
        step = np.array(
            rng.choice([v for v in ((1, 0, 0), (0, 1, 0), (0, 0, 1)) if abs(np.dot(v, like.direction)) < 0.1])
        ) * rng.choice((-3, -2, 2, 3))
        ghost = Member(
            id,
            tuple(map(float, np.array(like.first) + step)),
            like.direction,
            rng.randint(5, 9),
            like.width,
            like.stock,
            round(rng.uniform(0.5, 0.85), 2),
            (End("seen"), End("hidden", HIDDEN)),
        )
        if not collisions([*members, *truth.members[:0], ghost]) and not collisions([*truth.members, ghost]):
            return ghost
    raise ValueError("no room for a false member")
