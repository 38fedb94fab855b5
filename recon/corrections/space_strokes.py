"""Which member a line drawn in 3-D may mean: from a hole of a known member, on one of its faces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from recon.corrections.members import vector_of
from recon.corrections.strokes import Stroke, judged
from recon.errors import ReconError
from recon.frame.boxes import face_normals
from recon.frame.model import Frame, Member
from recon.geometry.arrays import Vector

MOST = 8  # places that are given
GROW = 3  # holes by which a member may go on past what was drawn, to reach another; this project's choice
UNIT_TOL = 1e-3  # of a direction's length


def space_strokes(
    frame: Frame, member: Member, hole: int, normal: Vector, way: Vector, holes: int
) -> list[Stroke]:
    """The members lapped on a hole of a known one that a line in 3-D may mean, the likeliest first.

    Parameters
    ----------
    frame : Frame
    member : Member
        Of the frame: the new one lies on it.
    hole : int
        Of that member.
    normal : Vector
        Outward normal of the face that the new one lies on.
    way : Vector
        Direction of the new one from that hole on; perpendicular to `normal`.
    holes : int
        From that hole to its last, both included.

    Raises
    ------
    ReconError
        Where no member can lie so.

    Examples
    --------
    >>> rail = Member("A", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 9)
    >>> found = space_strokes(Frame((rail,)), rail, 3, (0.0, 1.0, 0.0), (0.0, 0.0, 1.0), 7)
    >>> found[0].first, found[0].holes, found[0].laps
    ((3.0, 1.0, 0.0), 7, 1)
    """
    if not 0 <= hole < member.holes:
        raise ReconError(f"Member {member.id} has no hole {hole + 1}.")
    out, along = np.array(normal, float), np.array(way, float)
    square = abs(float(out @ along)) < UNIT_TOL and abs(float(np.linalg.norm(along)) - 1) < UNIT_TOL
    on_face = np.abs(face_normals(member)[2:] - out).max(axis=1).min() < UNIT_TOL
    if not square or not on_face:
        raise ReconError("A new member lies flat on a face of the known one; draw it along that face.")
    first = vector_of(member.hole_centre(hole) + member.width * out)
    drawn = Stroke(first, vector_of(along), holes, 0.0, 0, False)
    return with_longer(frame, judged(frame, [drawn]))


def with_count(frame: Frame, stroke: Stroke, holes: int, keep_last: bool = False) -> Stroke:
    """The place of a stroke with another count of holes; its first hole stays, or its last.

    Examples
    --------
    >>> rail = Member("A", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 9)
    >>> drawn = Stroke((3.0, 1.0, 0.0), (0.0, 0.0, 1.0), 5, 0.0, 1, False)
    >>> with_count(Frame((rail,)), drawn, 8, keep_last=True).first
    (3.0, 1.0, -3.0)
    """
    back = (stroke.holes - holes) * np.array(stroke.direction) if keep_last else np.zeros(3)
    return judged(frame, [replace(stroke, first=vector_of(np.array(stroke.first) + back), holes=holes)])[0]


def with_longer(frame: Frame, found: Sequence[Stroke], most: int = MOST) -> list[Stroke]:
    """Places that a stroke may mean, followed by the first ones grown until they reach another member.

    Examples
    --------
    >>> rails = [Member("AB"[k], (0.0, 0.0, 6.0 * k), (1.0, 0.0, 0.0), 9) for k in (0, 1)]
    >>> short = judged(Frame(tuple(rails)), [Stroke((3.0, 1.0, 0.0), (0.0, 0.0, 1.0), 5, 0.0, 0, False)])
    >>> [(s.holes, s.laps) for s in with_longer(Frame(tuple(rails)), short)]
    [(5, 1), (7, 2)]
    """
    out = list(found[:most])
    for stroke in found:
        if len(out) >= most:
            break
        out += [s for s in _grown(frame, stroke) if s not in out][: most - len(out)]
    return out


def _grown(frame: Frame, stroke: Stroke) -> list[Stroke]:
    """The stroke's member with up to GROW holes more at either end, where that gives it another lap."""
    longer = []
    for low in range(GROW + 1):
        for high in range(GROW + 1):
            if low or high:
                first = vector_of(np.array(stroke.first) - low * np.array(stroke.direction))
                longer.append(replace(stroke, first=first, holes=stroke.holes + low + high))
    least: dict[int, Stroke] = {}  # by laps: the shortest that has so many
    for s in sorted(judged(frame, longer, len(longer)), key=lambda s: s.holes):
        if s.laps > stroke.laps and not s.clash:
            least.setdefault(s.laps, s)
    return [least[laps] for laps in sorted(least)]
