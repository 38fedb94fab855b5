"""Evidence for a member at any angle: the photos are looked at from a world turned so that it runs along an axis.

In the turned world everything that is known about members along an axis holds (``recon.solve.evidence.predictions``,
``recon.solve.members.ends``); only what hides what is asked in the world of the frame, whose members lie along its axes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from recon.frame.boxes import hidden as hidden_by_members
from recon.geometry.boxes import OrientedBoxes, lifted, occluded, penetration
from recon.solve.evidence.predictions import View, look, member_openings, with_camera
from recon.solve.members.ends import FAR, LAP_PRIOR, LATERAL, NEAR, EndGuess, colour_steps, step_llr

NEAR_PITCHES = 0.9  # openings within this of a line's openings are looked at


@dataclass(frozen=True)
class Line:
    """A line of holes: ``first`` (3,) centre of hole 0, ``direction`` (3,) unit, ``normal`` (3,) unit, of one pair
    of faces (perpendicular to the direction); pitches, in the frame's world."""

    first: np.ndarray
    direction: np.ndarray
    normal: np.ndarray

    @property
    def turn(self) -> np.ndarray:
        """(3, 3) rotation to the world in which the line runs along axis 0 and ``normal`` is axis 2."""
        return np.array([self.direction, np.cross(self.normal, self.direction), self.normal])

    def shifted(self, steps: float) -> Line:
        return replace(self, first=self.first + steps * self.direction)


def openings_along(line: Line, count: int, width: float):
    """Opening centres (4, count, 3) and face normals (4, 3) in the frame's world; the last two faces are -+ ``normal``."""
    X, normals = member_openings(0, line.turn @ line.first, count, width)
    return X @ line.turn, normals @ line.turn


@dataclass(frozen=True)
class Solids:
    """What may stand in front: boxes ``lo``, ``hi`` (B, 3) along the frame's axes, and ``members`` at any angle
    (recon.frame.model.Member)."""

    lo: np.ndarray
    hi: np.ndarray
    members: tuple = ()

    def hide(self, eye, points) -> np.ndarray:
        """(N,) bool: is the straight way from the eye (3,) to each point (N, 3) blocked?"""
        out = occluded(eye, points, self.lo, self.hi)
        return out | hidden_by_members(points, eye, self.members) if self.members else out


@dataclass(frozen=True)
class LineView:
    """A photo as the line sees it: the view in the turned world, with the detections near the line only.

    index : (M,) their numbers in the whole photo.
    """

    view: View
    index: np.ndarray


def line_view(view: View, line: Line, count: int, width: float) -> LineView | None:
    """The photo turned, with the detections near the line's openings; None where none is near."""
    X, _ = openings_along(line, count, width)
    px = view.camera.project(line.first + np.array([[0.0], [count - 1.0]]) * line.direction)
    depth = X.reshape(-1, 3) @ view.camera.R[2] + view.camera.t[2]
    if not np.isfinite(px).all() or depth.min() < 0.5:
        return None
    reach = view.camera.f / depth.min() * (NEAR_PITCHES + width)
    o = view.openings
    q = np.c_[o["x"], o["y"]] - px[0]
    d = px[1] - px[0]
    t = np.clip(q @ d / max(float(d @ d), 1e-9), 0, 1)
    index = np.nonzero(np.linalg.norm(q - t[:, None] * d, axis=1) < reach)[0]
    if not len(index):
        return None
    part = replace(
        view,
        openings=o[index],
        tree=cKDTree(np.c_[o["x"], o["y"]][index]),
        density=view.density[index],
        free=view.free[index],
        mark=view.mark[index],
    )
    c = view.camera
    return LineView(with_camera(part, c.posed(c.R @ line.turn.T, c.t)), index)


@dataclass(frozen=True)
class Found:
    """Evidence along a line: ``llr``, ``hit`` (numbers of detections, -1 none), ``visible``, each (V, 4, K)."""

    llr: np.ndarray
    hit: np.ndarray
    visible: np.ndarray


def evidence_along(views, line: Line, count: int, width: float, solids: Solids, bolted=None) -> Found:
    """What all photos say at the openings of a line of holes; detections that are not free say nothing.

    Parameters
    ----------
    views : recon.solve.evidence.predictions.View, ``free`` False for detections that other members explain.
    bolted : (4, count) bool, faces that a bolt's head or nut may cover: a miss there is no miss.
    """
    X, normals = openings_along(line, count, width)
    flat, nn = X.reshape(-1, 3), np.repeat(normals, count, 0)
    llr, hit = np.zeros((len(views), 4 * count)), np.full((len(views), 4 * count), -1)
    visible = np.zeros(llr.shape, bool)
    for i, v in enumerate(views):
        part = line_view(v, line, count, width)
        if part is None:
            continue
        hidden = solids.hide(v.camera.centre, lifted(flat, nn))
        s = look(part.view, flat @ line.turn.T, nn @ line.turn.T, hidden, only_free=True)
        llr[i], visible[i] = s.llr, s.visible
        hit[i] = np.where(s.hit >= 0, part.index[s.hit], -1)
    shape = (len(views), 4, count)
    llr = llr.reshape(shape)
    if bolted is not None:
        llr = np.where(bolted, np.maximum(llr, 0), llr)
    return Found(llr, hit.reshape(shape), visible.reshape(shape))


def box_of(line: Line, count: int, width: float):
    """Middle (3,), axes (3, 3) in rows and half sizes (3,) of a member on the line."""
    return (
        line.first + (count - 1) / 2 * line.direction,
        line.turn,
        np.array([count / 2, width / 2, width / 2]),
    )


def overlap_boxes(line: Line, count: int, width: float, lo: np.ndarray, hi: np.ndarray) -> np.ndarray:
    """(B,) how deep a member on the line lies in axis-aligned boxes, pitches; not above 0 where they are apart."""
    aligned = OrientedBoxes((lo + hi) / 2, np.eye(3), (hi - lo) / 2)
    return penetration(aligned, OrientedBoxes(*box_of(line, count, width)))


def line_ends(views, images, line: Line, count: int, width: float, solids: Solids, bolted, room, reach: int):
    """Where a member on the line starts and stops, from openings and edges in all photos.

    The same reckoning as ``recon.solve.members.ends.find_ends``, in the turned world.

    Parameters
    ----------
    images : (H, W, 3) uint8 BGR, one a view.   count : holes known, 0 to count - 1.
    bolted : (4, count + 2 reach) bool, from ``reach`` holes before hole 0.
    room : (low, high) holes that there is room for before hole 0 and past the last.

    Returns
    -------
    Two EndGuess, holes counted from the line's hole 0.
    """
    steps = np.arange(-reach, count + reach)
    found = evidence_along(views, line.shifted(-reach), len(steps), width, solids, bolted)
    opening = np.clip(found.llr.sum((0, 1)), -8, 8)
    boundaries = np.arange(-reach, count + reach + 1) - 0.5
    between = (boundaries > 0) & (boundaries < count - 1)
    edge, inner = np.zeros(len(boundaries)), np.zeros(len(boundaries))
    for view, image in zip(views, images):
        e, i = step_llr(_steps_in_sight(view, image, line, boundaries, width, solids), between)
        edge, inner = edge + e, inner + i
    edge, inner = np.clip(edge, -7, 7), np.clip(inner, -5, 2)
    laps = LAP_PRIOR * bolted.any(0)
    inside = _in_some_photo(views, line, steps)
    middle = reach + count // 2
    guesses = []
    for way, last in ((-1, max(-reach, -room[0])), (1, min(count - 1 + reach, count - 1 + room[1]))):
        k = np.arange(middle, last + reach + way, way)
        gain = opening[k] + laps[k] + inner[k + 1 if way < 0 else k]
        gain[0] = 0.0
        log_p = np.cumsum(gain) + edge[k if way < 0 else k + 1]
        log_p = log_p - np.logaddexp.reduce(log_p)
        beyond = k[int(log_p.argmax())] + way
        guesses.append(EndGuess(steps[k], log_p, bool(0 <= beyond < len(steps) and not inside[beyond])))
    return guesses[0], guesses[1]


def _steps_in_sight(view, image, line, boundaries, width, solids):
    """``colour_steps`` in the turned world, NaN where anything stands before the place."""
    c = view.camera
    turned = replace(view, camera=c.posed(c.R @ line.turn.T, c.t))
    steps = colour_steps(turned, image, 0, line.turn @ line.first, boundaries, width, None)
    strength = steps.strength.copy()
    along = boundaries[:, None] + np.array([-FAR, -NEAR, NEAR, FAR])
    for f, normal in enumerate(steps.normal @ line.turn):
        side = np.cross(line.direction, normal)
        X = (
            line.first
            + 0.52 * width * normal
            + along[:, None, :, None] * line.direction
            + (LATERAL * width)[None, :, None, None] * side
        )
        hidden = solids.hide(c.centre, X.reshape(-1, 3)).reshape(len(boundaries), -1)
        strength[f, hidden.any(1)] = np.nan
    return replace(steps, strength=strength)


def _in_some_photo(views, line, steps):
    X = line.first + np.asarray(steps)[:, None] * line.direction
    out = np.zeros(len(X), bool)
    for v in views:
        px = v.camera.project(X)
        with np.errstate(invalid="ignore"):
            out |= ((px > 0) & (px < np.array(v.size))).all(1)
    return out
