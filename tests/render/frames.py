"""Random frames of drilled square members: stock, members, laps, bolts, braces.

Unit everywhere: one pitch.  z is up.  A stick's `at` is the centre of its first hole; its body reaches half a
pitch past its first and last hole.  `frame_of` grows a frame lap by lap or builds one of the usual shapes
from posts and rails, and rejects whatever collides or falls in two pieces.
"""

from dataclasses import dataclass, field, replace
from itertools import combinations

import numpy as np

TOUCH = 1e-6  # two faces nearer than this touch and do not collide, pitches


@dataclass(frozen=True)
class Stock:
    """One kind of member: sizes in millimetres, `wall_mm` None where solid, and its look (see
    `textures.py`)."""

    id: str
    pitch_mm: float
    width_mm: float
    hole_mm: float
    wall_mm: float | None
    look: str

    @property
    def width(self):
        return self.width_mm / self.pitch_mm

    @property
    def radius(self):
        return self.hole_mm / self.pitch_mm / 2


# Sizes: common practice in drilled wood and tube; the punched posts' pitch, hole and wall are in US Federal
# Highway Administration acceptance letters SS-62 (1996) and SS-82 (1999).
STOCK = {
    s.id: s
    for s in (
        Stock("wood8", 38.1, 38.1, 9.5, None, "wood"),
        Stock("wood", 38.1, 38.1, 8.0, None, "wood"),
        Stock("alu", 38.1, 38.1, 9.5, 3.2, "aluminium"),
        Stock("steel", 38.1, 38.1, 11.1, 2.7, "galvanised"),
        Stock("dark", 38.1, 38.1, 11.1, 2.7, "dark"),
        Stock("metric40", 40.0, 40.0, 8.0, None, "wood"),
        Stock("metric40t", 40.0, 40.0, 10.0, 3.0, "aluminium"),
        Stock("metric50", 50.0, 50.0, 12.0, None, "wood"),
        Stock("metric50t", 50.0, 50.0, 10.5, 3.0, "galvanised"),
        Stock("post38", 25.4, 38.1, 11.1, 2.1, "galvanised"),
        Stock("post44", 25.4, 44.45, 11.1, 2.1, "galvanised"),
        Stock("post51", 25.4, 50.8, 11.1, 2.7, "dark"),
    )
}

# Kinds of stock that only hand-built frames have; `STOCK` keeps its order for the plain ones.
MORE_STOCK = {
    s.id: s
    for s in (
        Stock("beam8", 8.0, 8.0, 4.8, None, "wood"),
        Stock("beam10", 10.0, 10.0, 5.0, None, "wood"),
        Stock("alu25", 25.4, 25.4, 7.1, 2.0, "aluminium"),
    )
}


@dataclass(frozen=True)
class Stick:
    """An axis-aligned member: `axis` 0, 1, 2; `at` centre of the first hole; `holes` its length in holes."""

    axis: int
    at: tuple[float, float, float]
    holes: int

    @property
    def first(self):
        return np.array(self.at, float)

    @property
    def direction(self):
        return np.eye(3)[self.axis]

    def hole(self, k):
        return self.first + k * self.direction


@dataclass(frozen=True)
class Brace:
    """A member off the lattice's axes, pinned through two of its holes along `pin_axis`."""

    first: np.ndarray
    direction: np.ndarray
    holes: int
    pin_axis: int

    def hole(self, k):
        return self.first + k * self.direction


@dataclass(frozen=True)
class Bolt:
    """A bolt through hole `a_hole` of stick `a` and `b_hole` of `b`, along coordinate axis `axis`."""

    a: int
    a_hole: int
    b: int
    b_hole: int
    axis: int


@dataclass(frozen=True)
class TrueFrame:
    """A frame as it is: sticks, the bolts in it, braces and the pins ((point on the bolt's axis, axis)
    pairs)."""

    style: str
    seed: int
    stock: Stock
    sticks: tuple[Stick, ...]
    bolts: tuple[Bolt, ...] = ()
    braces: tuple[Brace, ...] = ()
    pins: tuple[tuple[np.ndarray, int], ...] = field(default=())
    real: tuple = ()  # where each stick, then each brace really is (`build.RealMember`), if not just there
    rack: tuple[float, float, float] | None = None  # degrees, see `build.racked`


def body(stick, width):
    """Lower and upper corner of an axis-aligned stick's body, two (3,) arrays in pitches."""
    half = np.full(3, width / 2)
    half[stick.axis] = 0.5
    return stick.first - half, stick.hole(stick.holes - 1) + half


def collide(s, t, width):
    """Whether two axis-aligned bodies share more than a face."""
    (lo, hi), (lo2, hi2) = body(s, width), body(t, width)
    return bool(np.all(np.minimum(hi, hi2) - np.maximum(lo, lo2) > TOUCH))


def laps(sticks, width):
    """Every lap of crossing sticks, as `Bolt`s: centre lines one width apart, holes on a common axis."""
    found = []
    for (i, s), (j, t) in combinations(enumerate(sticks), 2):
        if s.axis == t.axis:
            continue
        axis = 3 - s.axis - t.axis
        if abs(abs(s.at[axis] - t.at[axis]) - width) > TOUCH:
            continue
        ks, kt = t.at[s.axis] - s.at[s.axis], s.at[t.axis] - t.at[t.axis]
        if all(abs(k - round(k)) < TOUCH and 0 <= round(k) < n for k, n in ((ks, s.holes), (kt, t.holes))):
            found.append(Bolt(i, round(ks), j, round(kt), axis))
    return found


def bolted(rng, every):
    """The laps that have a bolt: nine in ten, and no two bolts across each other in one hole."""
    taken, bolts = {}, []
    for b in every:
        free = all(taken.get(end, b.axis) == b.axis for end in ((b.a, b.a_hole), (b.b, b.b_hole)))
        if free and rng.random() < 0.9:
            bolts.append(b)
            taken[b.a, b.a_hole] = taken[b.b, b.b_hole] = b.axis
    return bolts


def connected(n, joints):
    """Whether `n` sticks hang together through `joints`."""
    group = list(range(n))
    for b in joints:
        old, new = group[b.a], group[b.b]
        group = [new if g == old else g for g in group]
    return len(set(group)) == 1


def grown(rng, stock, members):
    """Sticks attached lap by lap to random holes of those already there."""
    w, sticks = stock.width, []
    long = 32 if w < 1.2 else 30

    def length():
        return int(rng.choice([3, 4, 5, 6, 8, 8, 10, 12, 12, 16, 16, 20, 24, long]))

    sticks.append(Stick(int(rng.integers(3)), (0.0, 0.0, 0.0), int(rng.choice([8, 12, 16, 20, 24]))))
    for _ in range(2000):
        if len(sticks) == members:
            return sticks
        host = sticks[rng.integers(len(sticks))]
        k = int(rng.choice([0, host.holes - 1, rng.integers(host.holes)]))
        lap_axis, axis = rng.permutation([a for a in range(3) if a != host.axis])
        n = length()
        j = int(rng.choice([0, 1, n - 1, rng.integers(n)]))
        at = host.hole(k)
        at[lap_axis] += rng.choice([-w, w])
        at[axis] -= min(j, n - 1)
        new = Stick(int(axis), tuple(float(v) for v in np.round(at, 9)), n)
        spread = np.ptp(np.array([c for s in [*sticks, new] for c in body(s, w)]), axis=0)
        if spread.max() <= 40 and not any(collide(new, s, w) for s in sticks):
            sticks.append(new)
    raise ValueError("no room left to grow")


def rails(axis, posts, side, level, w, rng, levels_apart):
    """A rail along `axis` lapped on the outer (`side` = -1 or 1) faces of two posts at height `level`."""
    (x0, y0), (x1, y1) = posts
    reach = int(np.ceil(w / 2 + 0.5)) if levels_apart else 0
    before, after = rng.integers(reach, reach + 3, 2)
    span = (x1 - x0) if axis == 0 else (y1 - y0)
    at = [x0, y0, level]
    at[axis] -= before
    at[1 - axis] += side * w
    return Stick(axis, tuple(float(v) for v in at), int(span + 1 + before + after))


def posted(rng, stock, style):
    """Sticks of a bench, cart, table, shelf, box, tower or gate.

    Posts on the lattice, rails lapped on them.
    """
    w, step = stock.width, int(np.ceil(stock.width))

    def r(lo, hi):
        return int(rng.integers(lo, hi + 1))

    scale = 1 if w < 1.2 else 1.3
    nx, ny, h = {
        "bench": (r(14, 24), r(6, 9), r(7, 9)),
        "cart": (r(12, 20), r(7, 11), r(4, 6)),
        "table": (r(11, 16), r(7, 12), r(10, 13)),
        "shelf": (r(10, 16), r(5, 8), r(18, 26)),
        "box": (r(8, 13), r(7, 11), r(8, 13)),
        "tower": (r(5, 8), r(5, 7), r(22, 30)),
        "gate": (r(12, 24), 0, r(10, 16)),
        "shelter": (r(9, 13), r(10, 14), r(14, 17)),
    }[style]
    nx, ny, h = (int(v * scale) for v in (nx, ny, h))
    sx, sy = rng.choice([-1, 1], 2)  # which rails go outside, which inside the posts
    corners = {(i, j): (i * nx, j * ny) for i in (0, 1) for j in ((0, 1) if ny else (0,))}
    tall = {j: h + (r(6, 10) if style == "bench" and j == 1 else 0) for j in (0, 1)}
    tall[1] = min(tall[1], 31)
    sticks = [
        Stick(2, (float(x), float(y), 0.0), tall[j] + 1 + (r(0, 1) if style != "table" else 0))
        for (i, j), (x, y) in corners.items()
    ]
    levels = {
        "bench": [h - 1 - step, r(0, 2)],
        "cart": [r(1, 2), h - step],
        "table": [h - step, r(1, 3)],
        "shelf": [2, h // 2, h - 2],
        "box": [1, h - step],
        "tower": [2, h // 2, h - step],
        "gate": [2, h - 2, h // 2],
        "shelter": [1, h - step],
    }[style]
    for n, z in enumerate(levels):
        for j in {j for _, j in corners}:
            if style == "bench" and n == 1 and j == 0:
                continue  # no low rail at the front of a bench
            if n == 0 or rng.random() < 0.85:
                sticks.append(
                    rails(0, (corners[0, j], corners[1, j]), (1 if j else -1) * sx, z, w, rng, True)
                )
        if ny:
            sticks += [
                rails(1, (corners[i, 0], corners[i, 1]), (1 if i else -1) * sy, z + step, w, rng, True)
                for i in (0, 1)
                if n == 0 or rng.random() < 0.9
            ]
    if style == "bench":
        sticks += [
            rails(0, (corners[0, 1], corners[1, 1]), sx, z, w, rng, True)
            for z in sorted({tall[1] - 1, tall[1] - 1 - step - r(1, 2)})
        ]
    if style == "gate":
        sticks += [  # pickets on the other face of the rails
            Stick(2, (float(x), float(2 * -sx * w), float(r(0, 1))), h) for x in range(3, nx - 1, r(3, 5))
        ]
    return sticks


def cube(rng):
    """Twelve sticks of one length, bolted near or in their end holes: the simplest thing to build by hand."""
    n = int(rng.integers(8, 27))
    far = float(n)
    posts = [Stick(2, (x, y, 0.0), n + 1) for x in (0.0, far) for y in (0.0, far)]
    along_x = [Stick(0, (0.0, y, z), n + 1) for y in (-1.0, far + 1) for z in (0.0, far)]
    along_y = [Stick(1, (x, 0.0, z), n + 1) for x in (-1.0, far + 1) for z in (1.0, far - 1)]
    return [*posts, *along_x, *along_y]


def oriented_clear(brace, sticks, width):
    """Whether a brace's body keeps clear of every stick, by the separating-axis theorem for two boxes."""
    u = brace.direction
    c = np.eye(3)[brace.pin_axis]
    axes_b = np.array([u, c, np.cross(c, u)])
    half_b = np.array([brace.holes / 2, width / 2, width / 2])
    mid_b = brace.first + u * (brace.holes - 1) / 2
    for s in sticks:
        lo, hi = body(s, width)
        gap = (lo + hi) / 2 - mid_b
        tests = np.concatenate([np.eye(3), axes_b, [np.cross(a, b) for a in np.eye(3) for b in axes_b]])
        tests = tests[np.linalg.norm(tests, axis=1) > 1e-9]
        reach = np.abs(tests) @ ((hi - lo) / 2) + np.abs(tests @ axes_b.T) @ half_b
        if np.all(np.abs(tests @ gap) < reach - TOUCH * np.linalg.norm(tests, axis=1)):
            return False
    return True


def braced(rng, frame, wanted):
    """The frame with up to `wanted` braces.

    Each pinned to holes of two sticks a whole number of pitches apart.
    """
    w = frame.stock.width
    spots = [(i, k, s.hole(k)) for i, s in enumerate(frame.sticks) for k in range(s.holes)]
    used = {(b.a, b.a_hole) for b in frame.bolts} | {(b.b, b.b_hole) for b in frame.bolts}
    points = np.array([p for _, _, p in spots])
    braces, pins = [], []
    for n in rng.permutation(len(spots))[:150]:
        i, k, p = spots[n]
        axis = int(rng.choice([a for a in range(3) if a != frame.sticks[i].axis]))
        gap = points - p
        dist = np.linalg.norm(gap, axis=1)
        fits = (
            (np.abs(gap[:, axis]) < TOUCH)
            & (np.abs(dist - np.round(dist)) < 1e-4)
            & (dist > 4.5)
            & (dist < 24)
            & (np.count_nonzero(np.abs(gap) > 0.5, axis=1) == 2)
        )
        for m in rng.permutation(np.flatnonzero(fits))[:12]:
            j, hole, q = spots[m]
            if i == j or axis == frame.sticks[j].axis or {(i, k), (j, hole)} & used or len(braces) == wanted:
                continue
            u, off = (q - p) / dist[m], rng.choice([-1, 1]) * w * np.eye(3)[axis]
            before, after = (int(v) for v in rng.integers(0, 3, 2))
            brace = Brace(p + off - before * u, u, int(np.rint(dist[m])) + 1 + before + after, axis)
            apart = all(b.pin_axis == axis and abs((b.first - brace.first)[axis]) > w - TOUCH for b in braces)
            if apart and oriented_clear(brace, frame.sticks, w):
                braces.append(brace)
                pins += [(p + off / 2, axis), (q + off / 2, axis)]
    return replace(frame, braces=tuple(braces), pins=tuple(pins))


def frame_of(style, stock, seed, members=None, braces=0):
    """A random sound frame of `style` ("grown", "bench", "cart", ...).

    Raises ValueError when none is found.
    """
    rng = np.random.default_rng([seed, 1])
    for _ in range(200):
        try:
            sticks = (
                grown(rng, stock, members or int(rng.integers(5, 15)))
                if style == "grown"
                else cube(rng)
                if style == "cube"
                else posted(rng, stock, style)
            )
        except ValueError:
            continue
        if max(s.holes for s in sticks) > 40 or any(
            collide(s, t, stock.width) for s, t in combinations(sticks, 2)
        ):
            continue
        every = laps(sticks, stock.width)
        if not connected(len(sticks), every):
            continue
        bolts = bolted(rng, every)
        order = rng.permutation(len(sticks))
        place = {int(old): new for new, old in enumerate(order)}
        sticks = [sticks[i] for i in order]
        bolts = [Bolt(place[b.a], b.a_hole, place[b.b], b.b_hole, b.axis) for b in bolts]
        frame = TrueFrame(style, seed, stock, tuple(sticks), tuple(bolts))
        if braces:
            frame = braced(rng, frame, braces)
            if not frame.braces:
                continue
        return frame
    raise ValueError(f"no sound frame of style {style} with {stock.id} from seed {seed}")
