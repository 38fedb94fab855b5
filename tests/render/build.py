"""How a frame is really built: racked, every member with a little play, some bowed.

`built` gives a frame of `frames.py`, which is an ideal lattice, the places that its members really have.
Unit: one pitch.  Amounts are this project's choice, like those of real builds: bolts with clearance let a
hole be off by about 0.035 pitch and a member turned by 0.2 degrees; boards are sawn straight to 1/300.
"""

from dataclasses import dataclass, replace

import numpy as np

from .shapes import Shape

MOST_RACK = 3.0  # degrees, between each pair of axes
PLAY, TURN = 0.035, 0.2  # rms of a member's shift along each axis, pitches, and of its turn, degrees
BOW = 1 / 300  # most that a member is out of straight, of its length
PIECES = 3  # straight pieces that a bowed member is made of
STRAIGHT = 6  # holes of a member that is too short to be seen bowed


@dataclass(frozen=True)
class RealMember:
    """Where a member really is.

    `rot` its own axes (rows, the first from the first hole to the last), `first` the centre of its first
    hole, `bow` how far its middle is off the line through its end holes (3,).
    """

    first: np.ndarray
    rot: np.ndarray
    holes: int
    bow: np.ndarray

    @property
    def direction(self):
        return self.rot[0]

    def pieces(self):
        """(low, high, rot, origin) of each straight piece: its span in holes, axes and hole 0 of its line."""
        if not self.bow.any():
            return [(-0.5, self.holes - 0.5, self.rot, self.first)]
        # Cut half-way between holes; the middle piece is shifted by the whole bow.
        cuts = np.round(np.linspace(-0.5, self.holes - 0.5, PIECES + 1) - 0.5) + 0.5
        off = np.array([0, *[1] * (PIECES - 1), 0])
        # The line through the end holes is the chord: extrapolate over the half pitch beyond them.
        reach = np.array([0.0, *cuts[1:-1], self.holes - 1.0])
        nodes = self.first + reach[:, None] * self.rot[0] + off[:, None] * self.bow
        out = []
        for k in range(PIECES):
            u = nodes[k + 1] - nodes[k]
            u /= np.linalg.norm(u)
            axes = squared(u, self.rot[1])
            middle = (reach[k] + reach[k + 1]) / 2
            out.append((float(cuts[k]), float(cuts[k + 1]), axes, (nodes[k] + nodes[k + 1]) / 2 - middle * u))
        return out

    def piece_of(self, k):
        """Axes (rows) and line's hole 0 of the piece that hole `k` is in."""
        pieces = self.pieces()
        _, _, rot, origin = next((p for p in pieces if k < p[1]), pieces[-1])
        return rot, origin

    def hole(self, k):
        """Centre of hole `k`, which may lie between holes or beyond the ends."""
        rot, origin = self.piece_of(k)
        return origin + k * rot[0]


def squared(along, near):
    """Right-handed axes (rows): the first `along`, the second as near to `near` as may be."""
    x = along / np.linalg.norm(along)
    y = near - (near @ x) * x
    y /= np.linalg.norm(y)
    return np.array([x, y, np.cross(x, y)])


def racked(degrees):
    """Matrix (3, 3) whose columns are the racked axes.

    The x axis stays, y stays level, and the angles between x and y, x and z, y and z are 90 degrees less
    those given.
    """
    xy, xz, yz = np.sin(np.deg2rad(degrees))
    return np.linalg.cholesky(np.array([[1, xy, xz], [xy, 1, yz], [xz, yz, 1]])).T


def rack_angles(axes):
    """The three angles of `racked`, degrees, of axes that are columns of any length."""
    u = axes / np.linalg.norm(axes, axis=0)
    return np.rad2deg(np.arcsin([u[:, i] @ u[:, j] for i, j in ((0, 1), (0, 2), (1, 2))]))


def small_turn(rng, degrees):
    """A rotation (3, 3) by about so many degrees about each axis."""
    x, y, z = np.deg2rad(rng.normal(0, degrees, 3))
    q, _ = np.linalg.qr(np.array([[1, -z, y], [z, 1, -x], [-y, x, 1]]))
    return q * np.sign(np.diag(q))


def lattice_rot(member):
    """Own axes (rows) of an ideal member, as the scene places it."""
    axis = getattr(member, "axis", None)
    if axis is not None:
        return np.roll(np.eye(3), -axis, axis=0)
    pin = np.eye(3)[member.pin_axis]
    return np.array([member.direction, np.cross(pin, member.direction), pin])


def really(member, rng, axes, fixed, share=1.0):
    """The real place of an ideal member in a frame whose axes are racked (columns) about the point `fixed`.

    `share` is how much of the usual play and bow it has.
    """
    ideal = lattice_rot(member)
    u = axes @ ideal[0]
    # A brace's third axis is its bolts', which keeps to the racked lattice; a stick's second one does.
    rot = squared(u, axes @ ideal[1])
    if not hasattr(member, "axis"):
        z = squared(u, axes @ ideal[2])[1]
        rot = np.array([rot[0], np.cross(z, rot[0]), z])
    middle = member.hole((member.holes - 1) / 2)
    rot = rot @ small_turn(rng, share * TURN).T
    shift = np.clip(rng.normal(0, share * PLAY, 3), -3 * share * PLAY, 3 * share * PLAY)
    middle = axes @ (middle - fixed) + fixed + shift
    bow, way = rng.uniform(-1, 1) * BOW * share * member.holes, rng.uniform(0, np.pi)
    bow = np.zeros(3) if member.holes <= STRAIGHT else bow * (np.cos(way) * rot[1] + np.sin(way) * rot[2])
    return RealMember(middle - (member.holes - 1) / 2 * rot[0], rot, member.holes, bow)


def built(frame, seed, share=1.0):
    """The frame as somebody built it by hand; `share` is how much of the usual errors it has."""
    rng = np.random.default_rng([seed, 5])
    members = [*frame.sticks, *frame.braces]
    places = np.array([m.hole(k) for m in members for k in (0, m.holes - 1)])
    fixed = (places.min(axis=0) + places.max(axis=0)) / 2
    fixed[2] = places[:, 2].min()
    rack = np.clip(rng.normal(0, MOST_RACK / 2, 3), -MOST_RACK, MOST_RACK) * share
    real = tuple(really(m, rng, racked(rack), fixed, share) for m in members)
    return replace(frame, real=real, rack=tuple(float(a) for a in rack))


def real_corners(frame):
    """Corners (N, 3) of all bodies of a frame that has been built."""
    w = frame.stock.width / 2
    return np.array(
        [
            m.hole(end) + s * w * m.piece_of(end)[0][1] + t * w * m.piece_of(end)[0][2]
            for m in frame.real
            for end in (-0.5, m.holes - 0.5)
            for s in (-1, 1)
            for t in (-1, 1)
        ]
    )


def on_line(frame, point, axis, low, high):
    """(member, hole) of the ideal holes on the line through `point` along an axis, from `low` to `high`."""
    found = []
    for i, m in enumerate([*frame.sticks, *frame.braces]):
        for k in range(m.holes):
            h = m.hole(k)
            if np.abs(np.delete(h - point, axis)).max() < 1e-4 and low < h[axis] < high:
                found.append((i, k))
    return found


def real_bolt(frame, point, axis, low, high):
    """Where the bolt through an ideal line of holes really is: a point, its direction, and both ends."""
    holes, ways = [], []
    for i, k in on_line(frame, point, axis, low, high):
        rot, origin = frame.real[i].piece_of(k)
        side = rot[1 + int(np.argmax(np.abs(rot[1:, axis])))]
        holes.append(origin + k * rot[0])
        ways.append(side * np.sign(side[axis]))
    z = np.mean(ways, axis=0)
    z /= np.linalg.norm(z)
    middle = np.mean(holes, axis=0)
    along = np.array(holes) @ z
    half = frame.stock.width / 2
    return middle - (middle @ z) * z, z, float(along.min()) - half, float(along.max()) + half


def add_real(build, member, size, material, core):
    """Put a real member's pieces into a scene, each with its own placed copy of the material."""
    holes, width, *_ = size
    for low, high, rot, origin in member.pieces():
        m = replace(material)
        # Pieces overlap by a hair, so that no light comes through between them.
        span = (
            low - 0.01 if low > -0.5 else low,
            high + 0.01 if high < holes - 0.5 else high,
        )
        shape: Shape = build.shape("member", rot, origin, 0, (*size, span), build.material(m))
        m.rot, m.mid, m.core = shape.rot, shape.mid, core
        reach = np.hypot((high - low) / 2 + 0.02, width * 0.71)
        build.add([shape], origin + (low + high) / 2 * rot[0], reach)
