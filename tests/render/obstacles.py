"""Things of daily use about a frame: boards on it, things before it, and what throws shadows on it."""

from itertools import combinations

import numpy as np

from . import textures as tx
from .build import racked, squared
from .frames import body
from .trace import Light

APART = (2.5, 30.0)  # pitches between the two members that a board lies on
MOST_HIDDEN, LEAST_HIDDEN = 0.22, 0.03  # of a photo's openings, by one thing in front


def slabs(half):
    """A prism's size: a box of three half sizes."""
    return (tuple((tuple(e), float(h)) for e, h in zip(np.eye(3), half)),)


def supports(frame):
    """Pairs of parallel members that a board can lie on: (across axis, along axis, the two sticks)."""
    for s, t in combinations(frame.sticks, 2):
        if s.axis != t.axis:
            continue
        gap = np.abs(t.first - s.first)
        for out in (a for a in range(3) if a != s.axis):
            along = 3 - s.axis - out
            if gap[out] < 1e-6 and APART[0] < gap[along] < APART[1]:
                yield out, along, (s, t)


def board_boxes(frame, rng, tries=60):
    """Low and high corners of boards on pairs of members, side by side, where nothing is in their way."""
    w, found = frame.stock.width, []
    pairs = sorted(supports(frame), key=lambda p: p[0] != 2)  # what lies level first
    if not pairs:
        return found
    level = [p for p in pairs if p[0] == 2] or pairs
    taken = [body(s, w) for s in frame.sticks]
    for _ in range(tries):
        some = level if rng.random() < 0.7 else pairs
        out, along, (s, t) = some[rng.integers(len(some))]
        low = max(s.first[s.axis], t.first[s.axis]) - 0.5
        high = min(s.hole(s.holes - 1)[s.axis], t.hole(t.holes - 1)[s.axis]) + 0.5
        wide, thick = rng.uniform(1.2, 5.0), rng.uniform(0.3, 0.8)
        if high - low < wide:
            continue
        side = 1 if out == 2 else rng.choice([-1, 1])
        lo, hi = np.zeros(3), np.zeros(3)
        lo[s.axis] = rng.uniform(low, high - wide)
        hi[s.axis] = lo[s.axis] + wide
        ends = sorted((s.first[along], t.first[along]))
        lo[along], hi[along] = ends[0] - rng.uniform(0.3, 1.5), ends[1] + rng.uniform(0.3, 1.5)
        face = s.first[out] + side * w / 2
        lo[out], hi[out] = (face, face + thick) if side > 0 else (face - thick, face)
        if all(np.any((np.minimum(hi, b) - np.maximum(lo, a)) < 0.02) for a, b in taken):
            found.append((lo, hi))
            taken.append((lo, hi))
        if len(found) == 4:
            break
    return found


def add_boards(build, frame, rng):
    """Boards on the members; how many."""
    axes = racked(frame.rack) if frame.rack else np.eye(3)
    every = np.array([c for s in frame.sticks for c in (s.first, s.hole(s.holes - 1))])
    fixed = (every.min(axis=0) + every.max(axis=0)) / 2
    fixed[2] = every[:, 2].min()
    boxes = board_boxes(frame, rng)[: int(rng.integers(1, 5))]
    for lo, hi in boxes:
        colour = np.multiply(tx.WOODS[rng.integers(len(tx.WOODS))], rng.uniform(0.8, 1.2))
        seed = int(rng.integers(1 << 20))
        wood = rng.random() < 0.7
        look = tx.wood(colour, seed, 0.4, 0.3) if wood else tx.plain(rng.uniform(0.1, 0.8, 3), seed)
        m = tx.Material(look, 0.04, 0.4)
        half = (hi - lo) / 2
        order = np.argsort(-half)
        rot = squared(axes @ np.eye(3)[order[0]], axes @ np.eye(3)[order[1]])
        mid = axes @ ((lo + hi) / 2 - fixed) + fixed
        shape = build.shape("prism", rot, mid, 0, slabs(half[order]), build.material(m))
        m.rot, m.mid = shape.rot, shape.mid
        build.add([shape], mid, float(np.linalg.norm(half)))
    return len(boxes)


def hidden_share(cam, centres, p, reach):
    """Share of points (N, 3) that a ball hides from a camera."""
    d = centres - cam.place
    far = np.linalg.norm(d, axis=1)
    d /= far[:, None]
    to = p - cam.place
    along = d @ to
    off = np.linalg.norm(to - along[:, None] * d, axis=1)
    return float(np.mean((off < reach) & (along > 0) & (along < far)))


def clear_of(frame, p, reach):
    """Whether a ball keeps clear of every member, and a little more, for members may be off."""
    gaps = [
        np.linalg.norm(np.maximum(np.maximum(lo - p, p - hi), 0))
        for lo, hi in (body(s, frame.stock.width) for s in frame.sticks)
    ]
    gaps += [
        np.linalg.norm(b.first + np.arange(b.holes)[:, None] * b.direction - p, axis=1).min() - 1
        for b in frame.braces
    ]
    return min(gaps) > reach + 0.8


def add_before(build, frame, cam, rng, floor_z):
    """One thing between a camera and the frame that hides a little of it; whether there was a place."""
    centres = np.array([s.hole(k) for s in frame.sticks for k in range(s.holes)])
    for _ in range(120):
        target = centres[rng.integers(len(centres))]
        p = cam.place + (target - cam.place) * rng.uniform(0.35, 0.93)
        far = np.linalg.norm(p - cam.place)
        reach = far * rng.uniform(0.02, 0.09) * cam.size[0] / cam.f
        if p[2] - reach < floor_z or not clear_of(frame, p, reach):
            continue
        if LEAST_HIDDEN < hidden_share(cam, centres, p, reach) < MOST_HIDDEN:
            break
    else:
        return False
    look = tx.plain(np.clip(rng.uniform(0.03, 0.75, 3), 0, 1), int(rng.integers(999)), 1.0, 0.1)
    m = tx.Material(look, 0.05, rng.uniform(0.2, 0.5))
    k, kind = build.material(m), str(rng.choice(["pole", "pole", "ball", "box"]))
    if kind == "pole":  # from the floor up: a chair's leg, a broom, a plant's stem
        radius, half = 0.45 * reach, (p[2] + reach - floor_z) / 2
        mid = np.array([p[0], p[1], floor_z + half])
        shape, size = (
            build.shape("cylinder", np.eye(3), mid, 0, (float(radius), float(half)), k),
            radius + half,
        )
    elif kind == "box":  # a crate that stands on the floor
        a, half = rng.uniform(0, 3), (p[2] + reach - floor_z) / 2
        mid = np.array([p[0], p[1], floor_z + half])
        rot = np.array([[np.cos(a), np.sin(a), 0], [-np.sin(a), np.cos(a), 0], [0, 0, 1.0]])
        shape, size = (
            build.shape("prism", rot, mid, 0, slabs((0.57 * reach, 0.57 * reach, half)), k),
            reach + half,
        )
    else:
        shape, size = build.shape("ball", np.eye(3), p, 0, (float(reach),), k), reach
    m.rot, m.mid = shape.rot, shape.mid
    build.add([shape], shape.mid, float(size) * 1.01)
    return True


def in_picture(cam, p, reach):
    """Whether a ball shows in a camera's picture, or is so near that it may."""
    x, y, z = cam.R @ p + cam.t
    if np.linalg.norm(p - cam.place) < 2 * reach + 2:
        return True
    if z < -reach:
        return False
    z = max(z, 0.3)
    px = cam.f * np.array([x, y]) / z + (cam.cx, cam.cy)
    margin = cam.f * reach / z * 1.3
    return bool(np.all((px > -margin) & (px < np.array(cam.size) + margin)))


def add_shadow(build, frame, light: Light, cams, rng, lo, hi):
    """Something out of all pictures whose shadow falls on the frame; whether there was a place."""
    size = float(np.linalg.norm(hi - lo))
    centres = np.array([s.hole(k) for s in frame.sticks for k in range(s.holes)])
    for _ in range(150):
        target = centres[rng.integers(len(centres))]
        way = light.at if light.far else light.at - target
        far = np.linalg.norm(way)
        way = way / far
        p = target + way * (size * rng.uniform(0.5, 2.5) if light.far else far * rng.uniform(0.3, 0.85))
        reach = size * rng.uniform(0.06, 0.2)
        unseen = not any(in_picture(c, p, reach) for c in cams)
        if unseen and p[2] - reach > lo[2] and clear_of(frame, p, reach):
            break
    else:
        return False
    a = rng.normal(0, 1, 3)
    rot = squared(way, a) if rng.random() < 0.8 else squared(a, way)
    rot = rot[[1, 2, 0]]  # the plate lies across the light
    k = build.material(tx.Material(tx.plain(rng.uniform(0.1, 0.6, 3), 3), 0.04, 0.4))
    half = np.array([reach * 0.7, reach * 0.7, 0.1])
    if rng.random() < 0.5:  # one straight edge
        half[0] *= rng.uniform(0.15, 0.8)
        shape = build.shape("prism", rot, p, 0, slabs(half), k)
    else:  # slats: several edges
        step = reach * rng.uniform(0.15, 0.4)
        size_of = (tuple(half), (step, 3 * reach), (0.3 * step, 0.66 * reach), True, False, None)
        shape = build.shape("plate", rot, p, 0, size_of, k)
    build.add([shape], p, float(np.linalg.norm(half)))
    return True


def obstacles(frame, cams, rng):
    """A function that puts things of daily use into a scene (see `scenes.scene_of`); notes what it put."""

    def put(build, lights, lo, hi):
        boards = add_boards(build, frame, rng) if rng.random() < 0.7 else 0
        before = sum(
            add_before(build, frame, cams[rng.integers(len(cams))], rng, lo[2])
            for _ in range(int(rng.integers(1, 4)))
        )
        edges = sum(
            add_shadow(build, frame, lights[0], cams, rng, lo, hi) for _ in range(int(rng.integers(1, 4)))
        )
        return {"boards": boards, "before": before, "shadows": edges}

    return put
