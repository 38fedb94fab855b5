"""A scene round a frame: its members and bolts as shapes, floor, walls, clutter, light."""

import numpy as np

from . import textures as tx
from .build import add_real, lattice_rot, real_bolt, real_corners
from .frames import STOCK, body, frame_of
from .shapes import Cluster, Shape
from .surroundings import floor_texture, light_of
from .trace import Scene

PAINTS = [
    (0.55, 0.05, 0.04),
    (0.05, 0.22, 0.5),
    (0.06, 0.32, 0.12),
    (0.75, 0.5, 0.04),
    (0.03, 0.03, 0.035),
    (0.72, 0.72, 0.7),
    (0.3, 0.12, 0.35),
    (0.04, 0.35, 0.38),
    (0.62, 0.25, 0.05),
    (0.25, 0.28, 0.3),
]
METALS = [(0.62, 0.63, 0.64), (0.45, 0.46, 0.47), (0.12, 0.12, 0.13), (0.6, 0.5, 0.3)]
FLOORS = ("tiles", "paving", "gravel", "brick", "planks", "carpet", "checker", "plain", "grass", "dots")
LIGHTS = ("sun", "overcast", "lamp", "dim", "window")


def turn(angle):
    """Rotation (3, 3) about z."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])


def upright(axis):
    """Right-handed axes (rows) whose third is `axis`."""
    axis = np.asarray(axis, float) / np.linalg.norm(axis)
    side = np.cross(axis, np.eye(3)[np.argmin(np.abs(axis))])
    side /= np.linalg.norm(side)
    return np.array([side, np.cross(axis, side), axis])


class Builder:
    """Collects materials and clusters; `rot`, `at` place what is added next."""

    def __init__(self):
        self.clusters, self.materials = [], []
        self.rot, self.at = np.eye(3), np.zeros(3)

    def material(self, m):
        self.materials.append(m)
        return len(self.materials) - 1

    def shape(self, kind, rot, mid, reach, size, material):
        return Shape(
            kind,
            np.asarray(rot, float) @ self.rot.T,
            self.rot @ np.asarray(mid, float) + self.at,
            reach,
            size,
            material,
        )

    def add(self, shapes, mid=None, reach=None):
        mid = shapes[0].mid if mid is None else self.rot @ np.asarray(mid, float) + self.at
        self.clusters.append(Cluster(mid, reach, shapes))


def member_material(rng, stock, mode, seed):
    """A material for one member of a frame whose members are finished as `mode`."""
    if mode == "painted" or (mode == "mixed" and rng.random() < 0.5):
        colour = np.array(PAINTS[rng.integers(len(PAINTS))])
        return tx.Material(tx.paint(colour, seed), 0.05, rng.uniform(0.25, 0.5))
    if stock.look == "wood":
        base = tx.WOODS[rng.integers(len(tx.WOODS))] if mode == "mixed" else mode
        base = np.clip(np.multiply(base, rng.normal(1, 0.07)) * rng.normal(1, 0.02, 3), 0.02, 0.85)
        return tx.Material(
            tx.wood(base, seed, rng.uniform(0.25, 0.6), 0.12 if rng.random() < 0.5 else 0),
            0.04,
            rng.uniform(0.35, 0.6),
        )
    if stock.look == "aluminium":
        return tx.Material(
            tx.brushed(np.full(3, rng.uniform(0.68, 0.8)), seed), 0.65, rng.uniform(0.25, 0.4), True
        )
    if stock.look == "galvanised":
        return tx.Material(
            tx.galvanised(np.multiply((0.5, 0.52, 0.54), rng.uniform(0.85, 1.15)), seed),
            0.45,
            rng.uniform(0.35, 0.5),
            True,
        )
    return tx.Material(
        tx.galvanised(np.multiply((0.13, 0.125, 0.12), rng.uniform(0.6, 1.6)), seed),
        0.25,
        rng.uniform(0.3, 0.5),
        True,
    )


def bolt_runs(frame):
    """Physical bolts: (point on the axis, axis, low, high) with bolts of one line through touching members
    joined."""
    w, runs = frame.stock.width, {}
    ends = [
        ((frame.sticks[b.a].hole(b.a_hole) + frame.sticks[b.b].hole(b.b_hole)) / 2, b.axis)
        for b in frame.bolts
    ]
    for p, axis in [*ends, *frame.pins]:
        key = (axis, *np.round(np.delete(p, axis), 4))
        runs.setdefault(key, []).append((p, p[axis] - w, p[axis] + w))
    for (axis, *_), parts in runs.items():
        parts.sort(key=lambda r: r[1])
        p, low, high = parts[0]
        for q, lo, hi in parts[1:]:
            if lo > high + 1e-6:
                yield p, axis, low, high
                p, low = q, lo
            high = hi
        yield p, axis, low, high


def add_bolts(build, frame, rng, material):
    """Shafts, heads or nuts with washers and thread at the free ends."""
    radius = frame.stock.radius * rng.uniform(0.82, 0.95)
    head, wide = str(rng.choice(["hex", "round", "flat"])), rng.uniform(0.75, 0.95)
    washer, thread = rng.random() < 0.6, rng.uniform(0.3, 1.8) * radius
    boxes = [body(s, frame.stock.width) for s in frame.sticks]
    for p, axis, low, high in bolt_runs(frame):
        flip = rng.random() < 0.15
        z, shapes = np.eye(3)[axis], []
        base = p - p[axis] * z
        tips = [base + (face + side * 0.2) * z for side, face in ((-1, low), (1, high))]
        if frame.real:
            base, z, low, high = real_bolt(frame, p, axis, low, high)
        shapes.append(
            build.shape(
                "cylinder", upright(z), base + (low + high) / 2 * z, 0, (radius, (high - low) / 2), material
            )
        )
        for (side, face), tip in zip(((-1, low), (1, high)), tips):
            if any(np.all(tip + 0.2 > lo) and np.all(tip - 0.2 < hi) for lo, hi in boxes):
                continue  # something lies against this end: the bolt ends in it
            out, up = side * z, 0.0
            turned = turn(rng.uniform(0, 3)) @ upright(out)

            def put(kind, along, size, turned=turned, at=base + face * z, out=out, shapes=shapes):
                shapes.append(build.shape(kind, turned, at + along * out, 0, size, material))

            if washer or side > 0:
                put("cylinder", 0.04 * radius * 2, (2.2 * radius, 0.08 * radius * 2))
                up = 0.16 * radius * 2
            flats = [
                ((np.cos(a), np.sin(a), 0.0), 1.65 * radius * (0.9 + 0.1 * wide))
                for a in np.arange(3) * np.pi / 3
            ]
            if (side > 0) != flip:  # nut and thread
                height = 1.6 * radius
                put("prism", up + height / 2, ((*flats, ((0, 0, 1.0), height / 2)),))
                put("cylinder", up + height + thread / 2, (radius * 0.95, thread / 2))
            elif head == "hex":
                height = 1.3 * radius
                put("prism", up + height / 2, ((*flats, ((0, 0, 1.0), height / 2)),))
            elif head == "round":
                rim, height = 2.2 * radius * wide, 1.0 * radius
                ball = (rim**2 + height**2) / (2 * height)
                put("ball", up + height - ball, (ball, ball - height))
            else:
                put("cylinder", up + 0.3 * radius, (2.6 * radius * wide, 0.3 * radius))
        build.add(shapes, base + (low + high) / 2 * z, (high - low) / 2 + 4 * radius + thread + 0.3)


def add_frame(build, frame, rng):
    """All members, braces and bolts of a frame, each member with a material of its own."""
    stock = frame.stock
    wood = stock.look == "wood"
    mode = str(rng.choice(["natural", "mixed", "painted"], p=[0.5, 0.3, 0.2] if wood else [0.85, 0.1, 0.05]))
    if mode == "natural":
        mode = tuple(tx.WOODS[rng.integers(len(tx.WOODS))])
    wall = None if stock.wall_mm is None else stock.wall_mm / stock.pitch_mm
    bevel = stock.width * (rng.uniform(0.01, 0.05) if wood else rng.uniform(0.04, 0.08))
    raw = (0.3, 0.2, 0.11) if wood and mode in ("painted", "mixed") else None
    for i, s in enumerate([*frame.sticks, *frame.braces]):
        m = member_material(rng, stock, mode, int(rng.integers(1 << 20)))
        size = (s.holes, stock.width, stock.radius, wall, bevel)
        core = (stock.width / 2 - bevel / 2, s.holes, raw)
        if frame.real:
            add_real(build, frame.real[i], size, m, core)
            continue
        shape = build.shape("member", lattice_rot(s), s.hole(0), 0, size, build.material(m))
        m.rot, m.mid, m.core = shape.rot, shape.mid, core
        build.add([shape], s.hole((s.holes - 1) / 2), np.hypot(s.holes / 2, stock.width * 0.71))
    metal = tx.Material(
        tx.plain(METALS[rng.integers(len(METALS))], 3, 0.4, 0.1), 0.55, rng.uniform(0.25, 0.4), True
    )
    add_bolts(build, frame, rng, build.material(metal))
    return "natural" if isinstance(mode, tuple) else mode


def free_spot(rng, cams, lo, hi, reach, frame, near=False):
    """A place on the floor plan for something of radius `reach` that neither stands in the frame nor hides
    it; None if none."""
    mid, size = (lo + hi) / 2, np.linalg.norm(hi - lo)
    for _ in range(60):
        dist, a = size * rng.uniform(0.1 if near else 0.5, 1.6), rng.uniform(0, 2 * np.pi)
        p = np.array([mid[0] + dist * np.cos(a), mid[1] + dist * np.sin(a), lo[2] + reach])
        gaps = [
            np.linalg.norm(np.maximum(np.maximum(low - p, p - high), 0))
            for low, high in (body(s, frame.stock.width) for s in frame.sticks)
        ]
        gaps += [
            np.min(np.linalg.norm(b.first + np.arange(b.holes)[:, None] * b.direction - p, axis=1)) - 1
            for b in frame.braces
        ]
        ok = min(gaps, default=np.linalg.norm(p - np.clip(p, lo, hi))) > reach + 0.3
        for cam in cams:
            to, axis = p - cam.place, mid - cam.place
            far, deep = np.linalg.norm(to), np.linalg.norm(axis)
            beside = np.linalg.norm(np.cross(to, axis)) / deep
            ok &= far > 8 + 2 * reach and not (
                to @ axis / deep < deep and beside < size * 0.5 + reach and rng.random() < 0.93
            )
        if ok:
            return p
    return None


def add_clutter(build, rng, cams, lo, hi, frame):
    """Round and square things on the floor."""
    for _ in range(int(rng.integers(2, 10))):
        reach = rng.uniform(0.8, 4.5)
        p = free_spot(rng, cams, lo, hi, reach, frame, near=reach < 2)
        if p is None:
            continue
        kind = rng.choice(["ball", "can", "pipe", "box", "disc", "sheet"])
        look = tx.plain(np.clip(rng.uniform(0.03, 0.75, 3), 0, 1), int(rng.integers(999)), 1.0, 0.08)
        if rng.random() < 0.25 or kind == "sheet":
            look = tx.dots(
                rng.uniform(0.3, 0.7, 3),
                rng.uniform(0.01, 0.1, 3),
                rng.uniform(0.4, 1.2),
                rng.uniform(0.1, 0.25),
                True,
            )
        m = tx.Material(look, rng.choice([0.04, 0.1]), rng.uniform(0.15, 0.5))
        k = build.material(m)
        rot, s = turn(rng.uniform(0, 3)), reach * 0.57
        floor = np.array([p[0], p[1], lo[2]])
        shape = {
            "ball": lambda: build.shape("ball", rot, p, 0, (reach,), k),
            "can": lambda: build.shape(
                "cylinder", np.eye(3), floor + (0, 0, 0.6 * reach), 0, (0.7 * reach, 0.6 * reach), k
            ),
            "pipe": lambda: build.shape(
                "cylinder", upright(rot[0]), floor + (0, 0, 0.4 * reach), 0, (0.4 * reach, 0.85 * reach), k
            ),
            "disc": lambda: build.shape("cylinder", np.eye(3), floor + (0, 0, 0.1), 0, (0.9 * reach, 0.1), k),
            "box": lambda: build.shape(
                "prism", rot, floor + (0, 0, s), 0, (tuple((tuple(e), s) for e in np.eye(3)),), k
            ),
            "sheet": lambda: build.shape(
                "prism",
                np.array([rot[0], (0, 0, 1), np.cross(rot[0], (0, 0, 1))]),
                floor + (0, 0, 0.7 * reach),
                0,
                (tuple((tuple(e), h) for e, h in zip(np.eye(3), (0.7 * reach, 0.7 * reach, 0.08))),),
                k,
            ),
        }[kind]()
        m.rot, m.mid = shape.rot, shape.mid
        build.add([shape], shape.mid, 1.05 * reach)


def add_second_frame(build, rng, cams, lo, hi, frame, seed):
    """Another frame behind the first; the id of its stock, None where there is no place for it."""
    extra = frame_of("grown", STOCK[str(rng.choice(list(STOCK)))], seed + 5000, int(rng.integers(4, 7)))
    low, high = extent(extra)
    reach = float(np.linalg.norm(high - low)) / 2
    p = free_spot(rng, cams, lo, hi, reach, frame)
    if p is None:
        return None
    build.rot = turn(rng.uniform(0, 6))
    build.at = np.array([p[0], p[1], lo[2] - low[2]]) - build.rot @ ((low + high) / 2 * (1, 1, 0))
    add_frame(build, extra, rng)
    build.rot, build.at = np.eye(3), np.zeros(3)
    return extra.stock.id


def scene_of(frame, cams, seed, floor=None, light=None, other=False, more=None):
    """The whole scene of a frame (or a decoy) seen by `cams`.

    `floor`, `light` pick their kinds, `other` puts a second frame behind, `more(build, lights, lo, hi)` puts
    further things in and notes them.
    """
    rng = np.random.default_rng([seed, 2])
    build = Builder()
    finish = add_frame(build, frame, rng) if frame.sticks else frame.add(build, rng)
    lo, hi = extent(frame)
    mid, size = (lo + hi) / 2, float(np.linalg.norm(hi - lo))
    floor = floor or str(rng.choice(FLOORS))
    light = light or str(rng.choice(LIGHTS))
    outside = light in ("sun", "overcast")

    def plane(rot, at, kind):
        m = tx.Material(
            floor_texture(kind, rng, int(rng.integers(1 << 20))),
            rng.choice([0.02, 0.04, 0.08]),
            rng.uniform(0.2, 0.6),
            rot=rot,
            mid=at,
        )
        build.add([build.shape("plane", rot, at, 0, (), build.material(m))])

    plane(turn(rng.uniform(0, 6)), np.array([mid[0], mid[1], lo[2]]), floor)
    places = np.array([c.place for c in cams]) - mid
    walls = []
    if not outside or rng.random() < 0.35:
        base = rng.uniform(0, 2 * np.pi)
        kind = str(rng.choice(["plain", "plain", "brick", "tiles", "dots", "planks"]))
        for a in base + np.arange(4) * np.pi / 2:
            if outside and len(walls) == 1:
                break
            n = np.array([np.cos(a), np.sin(a), 0])
            deep = max(float((-(places @ n)).max()) + 4, size * rng.uniform(0.6, 1.0)) + rng.uniform(0, 15)
            if outside and deep > 2.5 * size:
                continue
            walls.append(kind)
            plane(np.array([np.cross((0, 0, 1), n), (0, 0, 1), n]), mid - deep * n, kind)
    second = add_second_frame(build, rng, cams, lo, hi, frame, seed) if other else None
    add_clutter(build, rng, cams, lo, hi, frame)
    lights, sky, ambient = light_of(light, rng, mid, size, lo[2])
    note = {
        "floor": floor,
        "walls": walls[0] if walls else None,
        "light": light,
        "finish": finish,
        "second": second,
    }
    if more:
        note |= more(build, lights, lo, hi)
    return Scene(
        build.clusters,
        build.materials,
        lights,
        sky,
        np.array(ambient),
        60 * size if outside else np.inf,
        note,
    )


def extent(frame):
    """Lower and upper corner of all bodies of a frame, braces included."""
    if frame.real or not frame.sticks:
        corners = real_corners(frame) if frame.real else frame.corners()
        return corners.min(axis=0), corners.max(axis=0)
    w = frame.stock.width
    corners = [c for s in frame.sticks for c in body(s, w)]
    for b in frame.braces:
        corners += [
            b.hole(-0.5) - w / 2,
            b.hole(-0.5) + w / 2,
            b.hole(b.holes - 0.5) - w / 2,
            b.hole(b.holes - 0.5) + w / 2,
        ]
    return np.min(corners, axis=0), np.max(corners, axis=0)
