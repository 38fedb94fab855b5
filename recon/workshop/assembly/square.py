"""Whether a frame is square: diagonals between bolts that must be equal."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

import numpy as np

from recon.frame.length import both_text
from recon.frame.model import Frame, Member
from recon.geometry.arrays import FloatArray
from recon.workshop.hardware.bolts import Hole

RIGHT = 1e-3  # |cosine| below which two members are at right angles, and its counterpart for parallel ones
SAME = 1e-3  # pitches: rounding


@dataclass(frozen=True)
class Diagonals:
    """Two lengths that are equal where four members make a rectangle.

    Attributes
    ----------
    first, second : (hole, hole)
        From where to where each is measured: member id and hole, counted from 0.
    length : float
        Of both, pitches.
    area : float
        Of the rectangle, square pitches.
    normal : (3,)
        Unit vector across it.
    """

    first: tuple[Hole, Hole]
    second: tuple[Hole, Hole]
    length: float
    area: float
    normal: FloatArray


def square_checks(frame: Frame, members: Collection[str]) -> list[Diagonals]:
    """The largest rectangle of bolted members in each plane that has one, largest first.

    Parameters
    ----------
    frame : Frame
    members : collection of str
        Ids of those that are together.

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> posts = [Member(id, (x, 0, 0), (0, 0, 1), 8) for id, x in (("A", 0), ("B", 6))]
    >>> rails = [Member(id, (-1, -1, z), (1, 0, 0), 9) for id, z in (("C", 1), ("D", 6))]
    >>> members = (*posts, *rails)
    >>> (found,) = square_checks(Frame(members, find_joints(members)), "ABCD")
    >>> found.first, found.second, round(found.length, 2)
    ((('A', 1), ('B', 6)), (('A', 6), ('B', 1)), 7.81)
    """
    best: list[Diagonals] = []
    for found in sorted(
        _rectangles(frame, set(members)), key=lambda d: (-round(d.area, 6), d.first, d.second)
    ):
        if all(abs(found.normal @ other.normal) < 1 - RIGHT for other in best):
            best.append(found)
    return best


def square_words(checks: Collection[Diagonals], pitch_mm: float | None) -> list[str]:
    """A sentence for each: what to measure, and how long both are where the pitch is known."""
    out = []
    for check in checks:
        (a, b), (c, d) = (map(_hole_words, pair) for pair in (check.first, check.second))
        size = f"equal, {both_text(check.length * pitch_mm)}" if pitch_mm else "equal"
        out.append(
            f"Check that it is square: from the bolt in {a} to that in {b}, and from {c} to {d}, both "
            f"must be {size}; where they are not, push the longer way together."
        )
    return out


def _hole_words(hole: Hole) -> str:
    return f"hole {hole[1] + 1} of {hole[0]}"


def _rectangles(frame: Frame, members: set[str]) -> Iterator[Diagonals]:
    at = {m.id: m for m in frame.members}
    order = {m.id: k for k, m in enumerate(frame.members)}
    laps: dict[str, dict[str, int]] = {id: {} for id in members}
    for j in frame.joints:
        if j.bolt != "none" and j.a in members and j.b in members:
            laps[j.a][j.b], laps[j.b][j.a] = j.a_hole, j.b_hole
    for a in sorted(members, key=order.__getitem__):
        across = [id for id in laps[a] if abs(np.dot(at[id].direction, at[a].direction)) < RIGHT]
        for i, c in enumerate(across):
            for d in across[i + 1 :]:
                for b in laps[c].keys() & laps[d].keys() - {a}:
                    if order[a] < order[b] and (
                        found := _diagonals(at[a], at[b], at[c], laps[a], laps[b], c, d)
                    ):
                        yield found


def _diagonals(
    a: Member, b: Member, across: Member, on_a: dict[str, int], on_b: dict[str, int], c: str, d: str
) -> Diagonals | None:
    """Those of the rectangle of a and b with the members c and d across; None where it is none."""
    a_c, a_d, b_c, b_d = on_a[c], on_a[d], on_b[c], on_b[d]
    corners = [m.hole_centre(k) for m, k in ((a, a_c), (a, a_d), (b, b_d), (b, b_c))]
    side, top = corners[1] - corners[0], corners[3] - corners[0]
    if np.abs(corners[2] - corners[1] - top).max() > SAME or abs(side @ top) > SAME:
        return None
    area = float(np.linalg.norm(np.cross(side, top)))
    if area < SAME or abs(np.dot(across.direction, top)) < (1 - RIGHT) * np.linalg.norm(top):
        return None
    return Diagonals(
        ((a.id, a_c), (b.id, b_d)),
        ((a.id, a_d), (b.id, b_c)),
        float(np.linalg.norm(corners[2] - corners[0])),
        area,
        np.cross(side, top) / area,
    )
