"""How far a frame still gives when nothing racks any more: the play that its bolts have in their holes.

A bolt is thinner than its hole, so two members on one bolt can shift against one another, in the plane of
their faces, by the clearance between bolt and hole: half of it in either hole, whichever way.  Faces stay
flat on one another.  How far a point of the frame can then go is a linear program: the twists of all members
are the unknowns, each lap bounds the shift of one member against the other there, and the point's way is made
largest.  Angles are small, so positions are those of the frame as planned.  (Its dual is the unit-load method
of structural analysis: the clearance times the sum of the forces that a load of 1 at that point puts on the
bolts.)

The worst case is worked out, with every bolt at the end of its play; a bolt that is drawn tight holds by
friction as well, which is left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csr_array

from recon.frame.boxes import corners
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.geometry.arrays import FloatArray, IntArray
from recon.workshop.frame_size import stock_of
from recon.workshop.hardware.bolts import fasten, find_bolts
from recon.workshop.rigidity.mechanism import Motion, hinge_twists, velocity
from recon.workshop.solids import BOLT_PER_HOLE, HOLE, section_frames

# Of the polygon round the circle within which a bolt may shift: it reaches 2 % beyond it at most.
SIDES = 16
MOST_LAPS = 2000  # beyond, the program takes minutes: measured on trellises; this project's choice
LARGE = np.radians(10.0)  # past which small turns no longer say how far: this project's choice
AT_TOP = 1.0  # pitches below the highest corner that still count as the top: this project's choice


@dataclass(frozen=True)
class LeftOver:
    """How far a frame gives along a way to move, with all bolts in place, because of their play.

    Attributes
    ----------
    angle : float
        Of the bolt that turns most, radians.
    travel : float
        Of the farthest point, pitches.
    member : str
        The id of the member that this point lies on.
    at_top : bool
        Whether that point is at the top of the frame.
    """

    angle: float
    travel: float
    member: str
    at_top: bool


def clearance(frame: Frame, stocks: Mapping[str, Stock], system: str | None = None) -> float:
    """The largest clearance between a bolt and the holes of a lap, pitches.

    It is the mean of the two holes' diameters less that of the bolt.  Where no stock is known, bolts are as
    thin against their holes as usual (`recon.workshop.solids.BOLT_PER_HOLE`).

    Parameters
    ----------
    frame : Frame
        The frame.
    stocks : mapping of str to Stock
        By id.
    system : "metric", "inch" or None
        Of the bolts; None: as the stock is made.

    Examples
    --------
    A hole of 9.5 mm takes a bolt of 5/16 in, 7.94 mm; the pitch is 38.1 mm.

    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.model import Member
    >>> from recon.frame.stock import load_stocks
    >>> post = Member("A", (0, 0, 0), (0, 0, 1), 8, stock="softwood-38")
    >>> rail = Member("B", (-2, 1, 3), (1, 0, 0), 8, stock="softwood-38")
    >>> frame = Frame((post, rail), find_joints((post, rail)), 38.1)
    >>> round(clearance(frame, load_stocks()) * 38.1, 2)
    1.56
    """
    members = {m.id: m for m in frame.members}
    found = []
    for bolt in find_bolts(frame) if frame.pitch_mm else ():
        fastening = fasten(bolt, frame, stocks, system)
        if fastening is None:
            continue
        holes = [s.hole_mm for id, _ in bolt.through if (s := stock_of(members[id], stocks))]
        widest = sorted(holes)[-2:]
        found.append((sum(widest) / len(widest) - fastening.thread.d_mm) / (frame.pitch_mm or 1.0))
    return max(found, default=(1 - BOLT_PER_HOLE) * HOLE)


def left_over(frame: Frame, motion: Motion, play: float) -> LeftOver | None:
    """How far the frame gives along a way to move that its bolts no longer leave.

    Parameters
    ----------
    frame : Frame
        With what was added against the motion.
    motion : Motion
        Of the frame before; its members are in `frame`, too.
    play : float
        The clearance of a lap, pitches (see `clearance`).

    Returns
    -------
    LeftOver or None
        None where the bolts still leave it, so that play is not what ends it; and for more than MOST_LAPS
        laps.

    Examples
    --------
    Two posts between two rails rack, until a brace with legs of 4 and 3 joins the posts.

    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.model import Member
    >>> from recon.workshop.rigidity.mechanism import mobility
    >>> members = [Member(id, (x, 0, 0), (0, 0, 1), 8) for id, x in (("A", 0), ("B", 4))]
    >>> members += [Member(id, (0, -1, z), (1, 0, 0), 5) for id, z in (("C", 0), ("D", 7))]
    >>> (motion,) = mobility(Frame(tuple(members), find_joints(members))).motions
    >>> left_over(Frame(tuple(members), find_joints(members)), motion, 0.04) is None
    True
    >>> members += [Member("E", (0, 1, 2), (0.8, 0, 0.6), 6, on_lattice=False)]
    >>> left_over_words(left_over(Frame(tuple(members), find_joints(members)), motion, 0.04), 38.1)
    '4.5 degrees, 22 mm at the top'
    """
    rows = _laps(frame)
    if not 0 < len(rows.ends) <= MOST_LAPS:
        return None
    rest, goal_at = _farthest(frame, motion)
    number = {m.id: k for k, m in enumerate(frame.members)}
    count, still = 6 * len(number), number[rest]
    middle = np.array([m.first for m in frame.members], float).mean(axis=0)
    goal, at = np.zeros(count), 6 * number[goal_at.member]
    goal[at : at + 6] = -np.concatenate([np.cross(goal_at.point - middle, goal_at.way), goal_at.way])
    equal, within = _equations(rows, middle, count)
    bounds = [(0.0, 0.0) if k // 6 == still else (None, None) for k in range(count)]
    solved = linprog(
        goal,
        A_ub=within,
        b_ub=np.full(within.shape[0], play),
        A_eq=equal,
        b_eq=np.zeros(equal.shape[0]),
        bounds=bounds,
        method="highs",
    )
    if solved.status != 0:
        return None
    travel = max(float(-solved.fun), 0.0)
    angle = travel / goal_at.speed * max(abs(rate) for rate in motion.rates)
    return LeftOver(angle, travel, goal_at.member, _at_top(frame, goal_at))


def turned_by(frame: Frame, motion: Motion, angle: float) -> LeftOver:
    """How far a frame goes along a motion while its bolt that turns most turns by an angle, radians."""
    _, goal_at = _farthest(frame, motion)
    travel = angle / max(abs(rate) for rate in motion.rates) * goal_at.speed
    return LeftOver(angle, travel, goal_at.member, _at_top(frame, goal_at))


def _at_top(frame: Frame, corner: _Corner) -> bool:
    top = max(float(corners(m)[:, 2].max()) for m in frame.members)
    return bool(corner.point[2] > top - AT_TOP)


def most_left_over(frame: Frame, motions: Iterable[Motion], play: float) -> LeftOver | None:
    """The largest of what is left over along these ways; None where one of them is still free."""
    found = []
    for motion in motions:
        left = left_over(frame, motion, play)
        if left is None:
            return None
        found.append(left)
    return max(found, key=lambda left: left.angle, default=None)


def left_over_words(left: LeftOver, pitch_mm: float | None) -> str:
    """'0.9 degrees, 5.2 mm at the top'.

    >>> left_over_words(LeftOver(0.0157, 0.137, "D", True), 38.1)
    '0.9 degrees, 5.2 mm at the top'
    >>> left_over_words(LeftOver(0.6, 5.2, "D", False), 38.1)
    'more than 10 degrees at D'
    """
    where = "the top" if left.at_top else left.member
    if left.angle > LARGE:
        return f"more than {np.degrees(LARGE):.0f} degrees at {where}"
    way = f"{left.travel * pitch_mm:.2g} mm" if pitch_mm else f"{left.travel:.2g} pitches"
    if pitch_mm and left.travel * pitch_mm >= 10:
        way = f"{left.travel * pitch_mm:.0f} mm"
    return f"{degrees_text(left.angle)}, {way} at {where}"


def degrees_text(angle: float) -> str:
    """An angle in radians as '0.9 degrees'.

    >>> degrees_text(0.0157), degrees_text(0.0001)
    ('0.9 degrees', 'less than 0.1 degrees')
    """
    degrees = float(np.degrees(angle))
    return f"{degrees:.1f} degrees" if degrees >= 0.05 else "less than 0.1 degrees"


class _Corner(NamedTuple):
    """A corner of a member: its place, pitches, the unit vector of its way, how far it goes, pitches."""

    member: str
    point: FloatArray
    way: FloatArray
    speed: float


def _farthest(frame: Frame, motion: Motion) -> tuple[str, _Corner]:
    """The lowest member that takes part in a motion, and the corner that goes farthest against it.

    Of several corners that go as far the highest one.
    """
    members = [m for m in frame.members if m.id in motion.twists]
    points = np.array([corners(m) for m in members])
    rest = min(range(len(members)), key=lambda k: (round(points[k, :, 2].mean(), 6), -members[k].holes))
    twists = np.array([motion.twists[m.id] for m in members])
    ways = velocity(twists - twists[rest], points)
    speed = np.linalg.norm(ways, axis=2)
    order = np.lexsort((-points[..., 2].ravel(), -np.round(speed.ravel(), 2)))
    k, c = divmod(int(order[0]), points.shape[1])
    return members[rest].id, _Corner(
        members[k].id, points[k, c], ways[k, c] / speed[k, c], float(speed[k, c])
    )


@dataclass(frozen=True)
class _Laps:
    """Of n bolted laps: member indices (n, 2), points (n, 3), and rows of axis and two across, (n, 3, 3)."""

    ends: IntArray
    points: FloatArray
    axes: FloatArray


def _laps(frame: Frame) -> _Laps:
    number = {m.id: k for k, m in enumerate(frame.members)}
    bolted = [(k, j) for k, j in enumerate(frame.joints) if j.bolt != "none"]
    axis = hinge_twists(frame)[[k for k, _ in bolted], :3].reshape(-1, 3)
    members = {m.id: m for m in frame.members}
    points = [
        (members[j.a].hole_centre(j.a_hole) + members[j.b].hole_centre(j.b_hole)) / 2 for _, j in bolted
    ]
    ends = np.array([(number[j.a], number[j.b]) for _, j in bolted], int).reshape(-1, 2)
    return _Laps(ends, np.array(points, float).reshape(-1, 3), section_frames(axis))


def _equations(laps: _Laps, middle: FloatArray, count: int) -> tuple[csr_array, csr_array]:
    """What is 0 at every lap, (3 n, count), and what is no more than the play, (SIDES n, count).

    Unknowns are the turn and the travel of the point `middle` of each member.
    """
    n = len(laps.ends)
    arm = laps.points - middle
    angles = 2 * np.pi * np.arange(SIDES) / SIDES
    across = np.einsum("sk,nkj->nsj", np.column_stack([np.cos(angles), np.sin(angles)]), laps.axes[:, 1:])

    def shift(ways: FloatArray) -> FloatArray:
        """Rows (n, k, 6) of the shift at each lap along its k ways (n, k, 3)."""
        return np.concatenate([np.cross(arm[:, None], ways), ways], axis=2)

    tilt = np.concatenate([laps.axes[:, 1:], np.zeros((n, 2, 3))], axis=2)
    equal = np.concatenate([shift(laps.axes[:, :1]), tilt], axis=1)
    return _placed(equal, laps.ends, count), _placed(shift(across), laps.ends, count)


def _placed(rows: FloatArray, ends: IntArray, count: int) -> csr_array:
    """Rows (n, k, 6) on the unknowns of each lap's second member, less those of its first."""
    n, k, _ = rows.shape
    line = np.repeat(np.arange(n * k), 12)
    column = np.repeat((6 * ends[:, ::-1, None] + np.arange(6)).reshape(n, 12), k, axis=0).ravel()
    values = np.concatenate([rows, -rows], axis=2).ravel()
    return csr_array((values, (line, column)), shape=(n * k, count))
