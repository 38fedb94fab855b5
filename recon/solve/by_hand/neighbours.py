"""Members that could be lapped on known ones, under a further stroke.

With camera and one member known, a lap ties the next member down: its line lies one width off, along a normal
of both, and a hole of it on a hole of the known one.  The stroke and its count then say which it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from recon.errors import ReconError
from recon.frame.joints import collisions
from recon.frame.model import Member
from recon.geometry.arrays import FloatArray
from recon.geometry.camera import Camera
from recon.solve.by_hand.row_strokes import CountedStroke
from recon.solve.evidence.candidate import across

PLACE_SPREAD = (
    0.12  # pitches that a hand-built frame's holes and a camera by hand are off; this project's choice
)
FAR_NATS = -12.0  # of a stroke that means no member lapped on those known; this project's choice
LEAST_CHANCE = 0.01  # less likely ones are left out; this project's choice


@dataclass(frozen=True)
class Neighbour:
    """A member that a stroke may mean.

    Attributes
    ----------
    member : Member
        `confidence` is its chance.
    on : str
        Label of a known member that it is lapped on.
    normal : tuple of float
        Outward normal of the face that the stroke is on.
    off_px : float
        How far its first and last hole are from the stroke's, px, root mean square.
    """

    member: Member
    on: str
    normal: tuple[float, float, float]
    off_px: float


def neighbours(
    camera: Camera, known: Sequence[Member], stroke: CountedStroke, label: str = "?", most: int = 8
) -> list[Neighbour]:
    """Members lapped on known ones that a further stroke may mean, the likeliest first.

    Parameters
    ----------
    camera : Camera
        Of the photo, in the members' world.
    known : sequence of Member
        On the lattice.
    stroke : CountedStroke
        Along the whole of the new member's row.
    label : str
        Of the new member.
    most : int
        How many to give.

    Raises
    ------
    ReconError
        Where no member lapped on the known ones has its row there.

    Examples
    --------
    >>> from recon.image.openings import OPENING
    >>> from recon.solve.by_hand.row_strokes import RowStroke, count_holes
    >>> camera = Camera(1000.0, 400.0, 300.0, t=np.array([-3.0, -2.0, 20.0]))
    >>> rail = Member("A", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 8)
    >>> row = camera.project([[3.0, -1, -1.5], [3.0, 5, -1.5]])  # a post in front of the rail
    >>> stroke = count_holes(RowStroke(tuple(row[0]), tuple(row[1]), holes=7), np.zeros(0, OPENING))
    >>> best = neighbours(camera, [rail], stroke)[0]
    >>> best.member.first, best.member.holes, best.on
    ((3.0, -1.0, -1.0), 7, 'A')
    """
    found: dict[tuple, tuple[float, Neighbour]] = {}
    for m in known:
        for axis in range(3):
            for candidate in _lapped(m, axis, stroke.holes, camera, stroke):
                log, new = candidate
                key = (new.member.first, axis)
                if key not in found or found[key][0] < log:
                    found[key] = candidate
    ranked = sorted(found.values(), key=lambda pair: -pair[0])[: 4 * most]
    free = [
        (log, n)
        for log, n in ranked
        if not any(n.member.id in pair[:2] for pair in collisions([*known, n.member]))
    ]
    total = np.logaddexp.reduce([FAR_NATS, *(log for log, _ in free)])
    out = [
        replace(n, member=replace(n.member, id=label, confidence=float(np.exp(log - total))))
        for log, n in free[:most]
        if np.exp(log - total) >= LEAST_CHANCE
    ]
    if not out:
        raise ReconError(
            "No member lapped on a known one has its row under this stroke; check its count of holes, or "
            "draw a member between them first."
        )
    return out


def _lapped(
    m: Member, axis: int, holes: int, camera: Camera, stroke: CountedStroke
) -> list[tuple[float, Neighbour]]:
    """Members along an axis lapped on one known, with nats for each, those near the stroke alone."""
    along = int(np.abs(m.direction).argmax())
    low = np.minimum(m.first, m.last)
    lines = []
    for normal in across(along):
        if normal == axis:
            continue
        for side in (-m.width, m.width):
            # A hole of the new member lies on a hole of the known one, across along the bolt's axis.
            at = low + side * np.eye(3)[normal]
            on = at + np.arange(m.holes)[:, None] * np.eye(3)[along]
            back = np.arange(holes)[:, None] * np.eye(3)[axis]
            lines.append((on[:, None] - back[None]).reshape(-1, 3))
    if not lines:
        return []
    first = np.unique(np.round(np.concatenate(lines), 6), axis=0)
    out = []
    for face in across(axis):
        out += _on_face(first, face, axis, m, camera, stroke)
    return out


def _on_face(
    first: FloatArray, face: int, axis: int, m: Member, camera: Camera, stroke: CountedStroke
) -> list[tuple[float, Neighbour]]:
    """Nats of members of first holes (N, 3) with the stroke on their face turned to the camera."""
    side = np.sign(camera.centre[face] - first[:, face])
    rows = first + (0.5 * m.width * side)[:, None] * np.eye(3)[face]
    ends = np.array([0.0, stroke.holes - 1])
    seen = np.stack([camera.project(rows + k * np.eye(3)[axis]) for k in ends], 1)
    drawn = _ends_px(stroke)
    pitch = np.linalg.norm(seen[:, 1] - seen[:, 0], axis=1) / (stroke.holes - 1)
    sigma2 = stroke.sigma**2 + (PLACE_SPREAD * pitch) ** 2
    out = []
    off2 = np.minimum(*(((seen - way) ** 2).sum((1, 2)) for way in (drawn, drawn[::-1])))
    nats = -0.5 * off2 / sigma2
    for i in np.nonzero(np.isfinite(nats) & (side != 0) & (nats > FAR_NATS))[0]:
        x, y, z = (first[i] + 0.0).tolist()
        way, normal = np.eye(3)[axis].tolist(), (side[i] * np.eye(3)[face]).tolist()
        member = Member("?", (x, y, z), (way[0], way[1], way[2]), stroke.holes, m.width)
        off = float(np.sqrt(off2[i] / 2))
        out.append((float(nats[i]), Neighbour(member, m.id, (normal[0], normal[1], normal[2]), off)))
    return out


def _ends_px(stroke: CountedStroke) -> FloatArray:
    """(2, 2) px of a stroke's first and last hole: the openings there, else the stroke's ends."""
    ends = np.array([stroke.stroke.start, stroke.stroke.end], float)
    for k, step in enumerate((0, stroke.holes - 1)):
        at = np.nonzero(stroke.step == step)[0]
        if len(at):
            ends[k] = stroke.px[at[0]]
    return ends
