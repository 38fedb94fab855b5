"""Rays against members with holes, prisms, cylinders, spheres and planes; all arrays NumPy or CuPy alike.

A ray bundle is `o`, `d`: (3, N) float32 arrays, origins and unit directions.  Every `hit_*` takes rays in the
shape's own axes and gives `(index, t, normal)`: which of the rays hit, how far along, and the unit outward
normal (3, M) there; a ray that starts inside a solid hits it at once.  Method for drilled members:
constructive solid geometry along the ray (Roth 1982, doi:10.1016/0146-664X(82)90169-1): what is drilled away
or hollow is left by its far wall, until solid matter or the outside is met.
"""

import sys
from dataclasses import dataclass

import numpy as np

EPS = 3e-4  # pitches; well above float32's rounding at the distances of a scene
FAR = 1e9
STEPS = 10  # surfaces met inside one member before the ray is taken to have hit


def xp_of(a):
    """The array module (numpy or cupy) that `a` belongs to."""
    return sys.modules[type(a).__module__.split(".")[0]]


def lin(row, x):
    """Dot product of a plain 3-vector with the rows of `x` (3, N), skipping zeros."""
    terms = [float(c) * xi for c, xi in zip(row, x) if c != 0]
    return sum(terms[1:], terms[0])


@dataclass
class Shape:
    """A shape placed in the scene: `kind`, `rot` (rows.

    Its own axes), `mid`, bounding `reach`, `size`, material index.
    """

    kind: str
    rot: np.ndarray
    mid: np.ndarray
    reach: float
    size: tuple
    material: int


@dataclass
class Cluster:
    """Shapes inside one bounding sphere (`mid`, `reach`); `reach` None for planes, which no sphere holds."""

    mid: np.ndarray
    reach: float | None
    shapes: list


def interval(o, d, slabs):
    """Entry and exit of rays through an intersection of slabs ((normal, half width) pairs).

    And the slab entered by.
    """
    xp = xp_of(o)
    t0 = xp.full(o.shape[1], -FAR, xp.float32)
    t1 = xp.full(o.shape[1], FAR, xp.float32)
    face = xp.zeros(o.shape[1], xp.int8)
    for i, (n, half) in enumerate(slabs):
        dn, on = lin(n, d), lin(n, o)
        dn = xp.where(xp.abs(dn) < 1e-8, xp.float32(1e-8), dn)
        mid, span = -on / dn, xp.abs(half / dn)
        near = mid - span
        face = xp.where(near > t0, xp.int8(i), face)
        t0 = xp.maximum(t0, near)
        t1 = xp.minimum(t1, mid + span)
    return t0, t1, face


def slab_normals(slabs, face, d):
    """Outward unit normals (3, M) where rays `d` entered by slab `face`."""
    xp = xp_of(d)
    table = xp.asarray(np.array([n for n, _ in slabs], np.float32).T)
    n = table[:, face]
    return n * -xp.sign((n * d).sum(axis=0))


def hit_prism(o, d, slabs):
    """Convex body bounded by slabs."""
    xp = xp_of(o)
    t0, t1, face = interval(o, d, slabs)
    index = xp.nonzero((t1 > t0) & (t1 > EPS))[0]
    return index, xp.maximum(t0[index], EPS), slab_normals(slabs, face[index], d[:, index])


def hit_cylinder(o, d, radius, half):
    """Solid cylinder along its own third axis, `half` its half length."""
    xp = xp_of(o)
    t0, t1, _ = interval(o, d, [((0, 0, 1), half)])
    a = xp.maximum(d[0] ** 2 + d[1] ** 2, 1e-10)
    b = o[0] * d[0] + o[1] * d[1]
    disc = b * b - a * (o[0] ** 2 + o[1] ** 2 - radius**2)
    root = xp.sqrt(xp.maximum(disc, 0))
    side = (-b - root) / a
    near, far = xp.maximum(t0, side), xp.minimum(t1, (-b + root) / a)
    index = xp.nonzero((disc > 0) & (far > near) & (far > EPS))[0]
    t, dd = xp.maximum(near[index], EPS), d[:, index]
    p = o[:, index] + t * dd
    flat = t0[index] > side[index]
    zero = xp.zeros_like(t)
    n = xp.where(
        flat, xp.stack([zero, zero, -xp.sign(dd[2])]), xp.stack([p[0] / radius, p[1] / radius, zero])
    )
    return index, t, n


def hit_ball(o, d, radius, cut=None):
    """Sphere; with `cut`, only its part beyond `cut` along its own third axis (a round bolt head)."""
    xp = xp_of(o)
    b = (o * d).sum(axis=0)
    disc = b * b - (o * o).sum(axis=0) + radius**2
    root = xp.sqrt(xp.maximum(disc, 0))
    t = xp.maximum(-b - root, EPS)
    ok = (disc > 0) & (-b + root > EPS)
    if cut is not None:
        ok &= o[2] + t * d[2] > cut
    index = xp.nonzero(ok)[0]
    return index, t[index], (o[:, index] + t[index] * d[:, index]) / radius


def hit_plane(o, d):
    """The plane through the origin of its own axes, seen from its positive third axis."""
    xp = xp_of(o)
    t = -o[2] / xp.where(d[2] < -1e-7, d[2], xp.float32(-1e-7))
    index = xp.nonzero((d[2] < -1e-7) & (t > EPS))[0]
    n = xp.zeros((3, len(index)), xp.float32)
    n[2] = 1
    return index, t[index], n


def through_holes(p, d, t, du, radius, n):
    """Where rays that are inside a hole at `p` leave it; (t, normal there, whether they are in one).

    `du` is how far along the member they are from the hole's axis.
    """
    xp = xp_of(p)
    leave, turned, void = t, n, xp.zeros(len(t), bool)
    for across in (2, 1):  # holes along the second, then along the third axis
        inside = du**2 + p[across] ** 2 < radius**2
        a = xp.maximum(d[0] ** 2 + d[across] ** 2, 1e-12)
        b = du * d[0] + p[across] * d[across]
        c = du**2 + p[across] ** 2 - radius**2
        out = t + EPS + (-b + xp.sqrt(xp.maximum(b * b - a * c, 0))) / a
        later = inside & (out > leave)
        q0, q1 = du + (out - t - EPS) * d[0], p[across] + (out - t - EPS) * d[across]
        normal = xp.zeros_like(d)
        normal[0], normal[across] = -q0 / radius, -q1 / radius
        turned = xp.where(later, normal, turned)
        leave = xp.where(later, out, leave)
        void |= inside
    return leave, turned, void


def through_bore(p, d, t, half, leave, turned, void):
    """The same for the square bore of a tube, `half` wide on each side of the centre line."""
    xp = xp_of(p)
    inside = (xp.abs(p[1]) < half) & (xp.abs(p[2]) < half)
    for across in (1, 2):
        dn = xp.where(xp.abs(d[across]) < 1e-8, xp.float32(1e-8), d[across])
        out = t + EPS + (xp.sign(dn) * half - p[across]) / dn
        if across == 1:
            first, which = out, xp.zeros(len(t), bool)
        else:
            which, first = out < first, xp.minimum(first, out)
    normal = xp.zeros_like(d)
    normal[1], normal[2] = xp.where(which, 0, -xp.sign(d[1])), xp.where(which, -xp.sign(d[2]), 0)
    later = inside & (first > leave)
    return xp.where(later, first, leave), xp.where(later, normal, turned), void | inside


def hit_member(o, d, holes, width, radius, wall, bevel, span=None):
    """A drilled square member along its own first axis, hole 0 at the origin; `wall` None where solid.

    `span`: (from, to) along the axis, where only a piece of the member is meant.
    """
    xp = xp_of(o)
    s = 0.5**0.5
    low, high = span or (-0.5, holes - 0.5)
    mid = (low + high) / 2
    slabs = [
        ((1, 0, 0), (high - low) / 2),
        ((0, 1, 0), width / 2),
        ((0, 0, 1), width / 2),
        ((0, s, s), (width - bevel) * s),
        ((0, s, -s), (width - bevel) * s),
    ]
    # Most rays pass the centre line at a distance: sort those out first, cheaply.
    close = xp.nonzero((o[1] * d[2] - o[2] * d[1]) ** 2 <= (d[1] ** 2 + d[2] ** 2 + 1e-6) * (0.5 * width**2))[
        0
    ]
    o, d = o[:, close], d[:, close]
    t0, t1, face = interval(xp.stack([o[0] - mid, o[1], o[2]]), d, slabs)
    keep = xp.nonzero(t1 > xp.maximum(t0, 0) + EPS)[0]
    index, o, d, t0, t1, face = close[keep], o[:, keep], d[:, keep], t0[keep], t1[keep], face[keep]
    n = slab_normals(slabs, face, d)
    n = xp.where(t0 > EPS, n, -d)
    t = xp.maximum(t0, 0)
    got_i, got_t, got_n = [], [], []
    half = None if wall is None else width / 2 - wall
    for step in range(STEPS):
        if not len(index):
            break
        p = o + (t + EPS) * d
        near = xp.clip(xp.rint(p[0]), 0, holes - 1)
        du = p[0] - near
        leave, turned, void = through_holes(p, d, t, du, radius, n)
        if half is not None:
            leave, turned, void = through_bore(p, d, t, half, leave, turned, void)
        if step == STEPS - 1:
            void[:] = False
        solid = xp.nonzero(~void)[0]
        got_i.append(index[solid]), got_t.append(t[solid]), got_n.append(n[:, solid])
        on = xp.nonzero(void & (leave < t1 - EPS))[0]
        index, o, d, t1, n, t = (
            index[on],
            o[:, on],
            d[:, on],
            t1[on],
            turned[:, on],
            xp.maximum(leave, t + EPS)[on],
        )
    if not got_i:
        return index, t, n
    return xp.concatenate(got_i), xp.concatenate(got_t), xp.concatenate(got_n, axis=1)


def hit_plate(o, d, half, step, hole, square, stagger, blind):
    """A plate with rows of holes through its third axis, in the directions of its first two.

    `half` (3 half sizes), `step` (between holes, along each direction), `hole` (half its size along each),
    `square` or elliptic, `stagger` (every other row half a step on), `blind` (depth of the holes, or None
    where they go through).
    """
    xp = xp_of(o)
    # Plain numbers: those of NumPy would turn float32 into float64.
    half, step, hole = ([float(v) for v in values] for values in (half, step, hole))
    t0, t1, face = interval(o, d, [(tuple(e), h) for e, h in zip(np.eye(3), half)])
    index = xp.nonzero((t1 > t0) & (t1 > EPS))[0]
    o, d, t1 = o[:, index], d[:, index], t1[index]
    t = xp.maximum(t0[index], EPS)
    n = slab_normals([(tuple(e), 0) for e in np.eye(3)], face[index], d)
    p = o + (t + EPS) * d
    row = xp.rint(p[1] / step[1])
    shift = 0.5 * (row % 2) * step[0] if stagger else xp.zeros_like(row)
    mid = [xp.rint((p[0] - shift) / step[0]) * step[0] + shift, row * step[1]]
    q = [p[i] - mid[i] for i in (0, 1)]
    inside = (xp.abs(mid[0]) + hole[0] < half[0]) & (xp.abs(mid[1]) + hole[1] < half[1])
    if square:
        inside &= (xp.abs(q[0]) < hole[0]) & (xp.abs(q[1]) < hole[1])
        walls = []
        for i in (0, 1):
            di = xp.where(xp.abs(d[i]) < 1e-8, xp.float32(1e-8), d[i])
            walls.append((xp.sign(di) * hole[i] - q[i]) / di)
        out, first = xp.minimum(*walls), walls[0] < walls[1]
        zero = xp.zeros_like(out)
        wall = xp.stack([xp.where(first, -xp.sign(d[0]), 0), xp.where(first, 0, -xp.sign(d[1])), zero])
    else:
        scaled, way = [q[i] / hole[i] for i in (0, 1)], [d[i] / hole[i] for i in (0, 1)]
        inside &= scaled[0] ** 2 + scaled[1] ** 2 < 1
        a = xp.maximum(way[0] ** 2 + way[1] ** 2, 1e-12)
        b = scaled[0] * way[0] + scaled[1] * way[1]
        c = scaled[0] ** 2 + scaled[1] ** 2 - 1
        out = (-b + xp.sqrt(xp.maximum(b * b - a * c, 0))) / a
        to = [-(scaled[i] + out * way[i]) / hole[i] for i in (0, 1)]
        long = xp.sqrt(xp.maximum(to[0] ** 2 + to[1] ** 2, 1e-12))
        wall = xp.stack([to[0] / long, to[1] / long, xp.zeros_like(long)])
    leave = t + EPS + out
    if blind is not None:
        inside &= p[2] > half[2] - blind
        down = xp.where(d[2] < -1e-8, d[2], xp.float32(-1e-8))
        bottom = t + EPS + xp.where(d[2] < 0, (half[2] - blind - p[2]) / down, xp.float32(FAR))
        floor = inside & (bottom < leave)
        leave = xp.minimum(leave, bottom)
        up = xp.zeros_like(wall)
        up[2] = 1
        wall = xp.where(floor, up, wall)
    through = inside & (leave >= t1 - EPS)
    keep = xp.nonzero(~through)[0]
    return index[keep], xp.where(inside, leave, t)[keep], xp.where(inside, wall, n)[:, keep]


HIT = {
    "prism": hit_prism,
    "cylinder": hit_cylinder,
    "ball": hit_ball,
    "plane": hit_plane,
    "member": hit_member,
    "plate": hit_plate,
}


def place(shape, o, d):
    """Rays of the scene in the shape's own axes."""
    xp = xp_of(o)
    shifted = [o[i] - float(shape.mid[i]) for i in range(3)]
    return xp.stack([lin(r, shifted) for r in shape.rot]), xp.stack([lin(r, d) for r in shape.rot])


def maybe(cluster, o, d, limit):
    """Indices of the rays that meet the cluster's bounding sphere nearer than `limit`."""
    xp = xp_of(o)
    if cluster.reach is None:
        return None
    r = [float(cluster.mid[i]) - o[i] for i in range(3)]
    along = r[0] * d[0] + r[1] * d[1] + r[2] * d[2]
    off = r[0] * r[0] + r[1] * r[1] + r[2] * r[2] - along * along
    return xp.nonzero((off < cluster.reach**2) & (along > -cluster.reach) & (along - cluster.reach < limit))[
        0
    ]


def nearest(clusters, o, d):
    """First surface each ray meets: `t` (N,), inf where none; `material` (N,) int16, -1 where none.

    `normal` (3, N).
    """
    xp = xp_of(o)
    count = o.shape[1]
    best = xp.full(count, FAR, xp.float32)
    material = xp.full(count, -1, xp.int16)
    normal = xp.zeros((3, count), xp.float32)
    for cluster in clusters:
        rays = maybe(cluster, o, d, best)
        if rays is not None and not len(rays):
            continue
        oc, dc = (o, d) if rays is None else (o[:, rays], d[:, rays])
        for shape in cluster.shapes:
            index, t, n = HIT[shape.kind](*place(shape, oc, dc), *shape.size)
            full = index if rays is None else rays[index]
            closer = xp.nonzero(t < best[full])[0]
            full = full[closer]
            best[full] = t[closer]
            material[full] = shape.material
            n = n[:, closer]
            normal[:, full] = xp.stack([lin(c, n) for c in shape.rot.T])
    return xp.where(material < 0, xp.float32(np.inf), best), material, normal


def blocked(clusters, o, d, limit):
    """Whether something lies between each ray's origin and `limit` along it, (N,) bool."""
    xp = xp_of(o)
    dark = xp.zeros(o.shape[1], bool)
    for cluster in clusters:
        rays = maybe(cluster, o, d, xp.where(dark, xp.float32(-FAR), limit))
        if rays is not None and not len(rays):
            continue
        oc, dc = (o, d) if rays is None else (o[:, rays], d[:, rays])
        for shape in cluster.shapes:
            index, t, _ = HIT[shape.kind](*place(shape, oc, dc), *shape.size)
            full = index if rays is None else rays[index]
            dark[full[t < limit[full]]] = True
    return dark
