"""A stroke along a row of openings, and how many holes lie under it: typed, or counted from the openings.

With both ends on a row's openings one number is free for each count of holes: how much the pitch on the photo
changes from one end to the other.  Count and change are those under which most openings lie at whole steps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from recon.errors import ReconError
from recon.geometry.arrays import FloatArray, IntArray
from recon.image.rows import fit_row, row_position
from recon.solve.photo.row_points import RowPoints, centre_sigma_px

STROKE_SIGMA_PX = 1.5  # standard error of a stroke's end set by hand, px; this project's choice
CORRIDOR = (3.0, 0.015)  # openings belong to a stroke within this many px and this part of its length of it
END_REACH = (4.0, 0.04)  # px and part of the length: an opening this near to an end is meant by it
COUNTS = (3, 120)  # holes that are tried where none are typed; this project's choice
# Pitch at the end over that at the start is the square of this: a row seen from near its end reaches 4.
CHANGES = np.geomspace(0.5, 2.0, 161)
HIT = 0.08  # of the pitch on the photo: an opening this near to a whole step counts for it (made-up photos)
TAKEN = 0.2  # of the pitch: an opening this near to its step is taken, once the steps are fitted to openings
SEEN = (
    0.7  # part of a row's holes that the detector finds on the worst photos with truth; others hide the rest
)
LEAST_SURE = 0.5  # chance of a count, below which it is to be typed; this project's choice


@dataclass(frozen=True)
class RowStroke:
    """A stroke along one row.

    Attributes
    ----------
    start, end : tuple of float
        Its ends on the first and the last hole, px.
    holes : int or None
        Holes from one to the other, both included; None where they are to be counted.
    axis : int or None
        0, 1 or 2 where it is known which strokes run in one direction; else None.
    """

    start: tuple[float, float]
    end: tuple[float, float]
    holes: int | None = None
    axis: int | None = None


@dataclass(frozen=True)
class CountedStroke:
    """A stroke with its holes.

    Attributes
    ----------
    stroke : RowStroke
    holes : int
        From the first to the last, both included.
    px : (M, 2) array
        Known places of its holes, px: openings, or the stroke's two ends.
    step : (M,) array
        Which hole each is, counted from 0 at the stroke's start.
    index : (M,) int array
        Numbers of the openings that were taken; empty where the stroke's ends stand for themselves.
    sigma : float
        Standard error of a place, px.
    sure : float
        Chance that the count is right; 1 where it was typed.
    """

    stroke: RowStroke
    holes: int
    px: FloatArray
    step: FloatArray
    index: IntArray
    sigma: float
    sure: float


def count_holes(stroke: RowStroke, openings: NDArray[Any]) -> CountedStroke:
    """The holes under a stroke.

    Parameters
    ----------
    stroke : RowStroke
    openings : (N,) array of dtype ``recon.image.openings.OPENING``
        Of the photo, px; may be empty.

    Raises
    ------
    ReconError
        Where the stroke is too short, or no count is typed and too few openings lie under it.

    Examples
    --------
    >>> from recon.image.openings import OPENING
    >>> openings = np.zeros(9, OPENING)
    >>> openings["x"], openings["y"], openings["minor"] = 100 + 20.0 * np.arange(9), 50.0, 6.0
    >>> counted = count_holes(RowStroke((99, 51), (261, 49)), np.delete(openings, 4))
    >>> counted.holes, counted.step.astype(int).tolist()
    (9, [0, 1, 2, 3, 5, 6, 7, 8])
    >>> count_holes(RowStroke((99, 51), (261, 49), holes=9), openings[:0]).px.tolist()
    [[99.0, 51.0], [261.0, 49.0]]
    """
    ends = np.array([stroke.start, stroke.end], float)
    length = float(np.linalg.norm(ends[1] - ends[0]))
    if not np.isfinite(ends).all() or length < 3 * STROKE_SIGMA_PX:
        raise ReconError(
            "The stroke is too short to count holes under; draw it from a row's first hole to its last."
        )
    if stroke.holes is not None and stroke.holes < 2:
        raise ReconError(
            "A stroke goes from one hole to another, so it has 2 holes or more; type its count again."
        )
    under = _openings_under(ends, openings)
    along = _along(ends, openings, under)
    start, end = _snapped_ends(along, length, stroke.holes)
    counts = [stroke.holes] if stroke.holes else list(range(*COUNTS))
    scores, changes = _scores((along - start) / (end - start), counts)
    best = int(scores.argmax())
    holes, sure = counts[best], float(np.exp(scores[best] - np.logaddexp.reduce([0.0, *scores])))
    step, place = _assigned((along - start) / (end - start), holes, changes[best])
    enough = len(step) >= max(4, 0.4 * holes) and scores[best] > 0
    if stroke.holes is None and (not enough or sure < LEAST_SURE):
        likeliest = f", likeliest {holes}," if enough else ""
        raise ReconError(
            f"The {len(under)} openings seen under this stroke do not settle its count of holes{likeliest}; "
            "type how many there are."
        )
    if enough:
        sigma = float(centre_sigma_px(np.median(openings["minor"][under[place]])))
        px = np.c_[openings["x"], openings["y"]][under[place]]
        return CountedStroke(stroke, holes, px, step, under[place], sigma, 1.0 if stroke.holes else sure)
    none = np.zeros(0, int)
    return CountedStroke(stroke, holes, ends, np.array([0.0, holes - 1]), none, STROKE_SIGMA_PX, 1.0)


def _openings_under(ends: FloatArray, openings: NDArray[Any]) -> IntArray:
    """Numbers of the openings in a stroke's corridor, in order along it."""
    length = float(np.linalg.norm(ends[1] - ends[0]))
    way = (ends[1] - ends[0]) / length
    q = np.c_[openings["x"], openings["y"]] - ends[0]
    along, off = q @ way, np.abs(q @ [-way[1], way[0]])
    beyond = END_REACH[0] + END_REACH[1] * length
    inside = (off < CORRIDOR[0] + CORRIDOR[1] * length) & (along > -beyond) & (along < length + beyond)
    return np.nonzero(inside)[0][np.argsort(along[inside])]


def _along(ends: FloatArray, openings: NDArray[Any], under: IntArray) -> FloatArray:
    """Places of openings along a stroke, px from its start."""
    way = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    return np.asarray((np.c_[openings["x"], openings["y"]][under] - ends[0]) @ way, float)


def _snapped_ends(along: FloatArray, length: float, holes: int | None) -> tuple[float, float]:
    """Places along a stroke of its first and last hole: the nearest openings, else the stroke's ends."""
    reach = END_REACH[0] + END_REACH[1] * length
    if holes:
        reach = min(reach, 0.4 * length / (holes - 1))
    out = []
    for end in (0.0, length):
        near = along[np.abs(along - end) < reach]
        out.append(float(near[np.abs(near - end).argmin()]) if len(near) else end)
    return (out[0], out[1]) if out[1] - out[0] > 0.5 * length else (0.0, length)


def _steps_at(part: FloatArray, holes: int, change: FloatArray | float) -> FloatArray:
    """Fractional steps of places given as parts of the way from the first hole to the last.

    A hole at part t of the steps lies at part u = c t / (1 + (c - 1) t) of the way, c = `change`: the
    projective map that keeps both ends.
    """
    return np.asarray((holes - 1) * part / (change - (change - 1) * part), float)


def _scores(part: FloatArray, counts: Sequence[int]) -> tuple[FloatArray, FloatArray]:
    """For each count the evidence that it is right, nats, and the change of pitch that it is best at."""
    scores, changes = np.zeros(len(counts)), np.ones(len(counts))
    if not len(part):
        return scores - 1.0, changes
    change = CHANGES[:, None]
    for i, holes in enumerate(counts):
        s = _steps_at(np.clip(part, -0.2, 1.2)[None], holes, change)
        whole = np.rint(s)
        hit = (np.abs(s - whole) < HIT) & (whole >= 0) & (whole < holes)
        filled = np.zeros((len(CHANGES), holes), bool)
        filled[np.nonzero(hit)[0], whole[hit].astype(int)] = True
        hits = filled.sum(1)
        # An opening of clutter falls on some step with a chance of 2 HIT.
        by_chance = min(0.9, 1 - np.exp(-2 * HIT * len(part) / holes))
        value = hits * np.log(SEEN / by_chance) + (holes - hits) * np.log((1 - SEEN) / (1 - by_chance))
        k = int(value.argmax())
        scores[i], changes[i] = value[k], CHANGES[k]
    return scores, changes


def _assigned(part: FloatArray, holes: int, change: float) -> tuple[FloatArray, IntArray]:
    """Steps (M,) and which openings (M,) stand at them, refitted once to the openings themselves."""
    step, place = _nearest_steps(_steps_at(np.clip(part, -0.2, 1.2), holes, change), holes)
    if len(step) >= 5:
        fit = fit_row(step, part[place])
        around = np.arange(-1, holes + 1)
        at = row_position(fit, around)
        if (np.diff(at) > 0).all():
            step, place = _nearest_steps(np.interp(part, at, around), holes)
    return step, place


def _nearest_steps(s: FloatArray, holes: int) -> tuple[FloatArray, IntArray]:
    """Whole steps (M,) and the opening (M,) nearest to each, where one is within TAKEN."""
    best: dict[int, tuple[float, int]] = {}
    for i, value in enumerate(s):
        k = round(float(value))
        off = abs(float(value) - k)
        if 0 <= k < holes and off < TAKEN and (k not in best or off < best[k][0]):
            best[k] = (off, i)
    steps = sorted(best)
    return np.array(steps, float), np.array([best[k][1] for k in steps], int)


def stroke_points(strokes: Sequence[CountedStroke]) -> RowPoints:
    """The known holes of some strokes as padded arrays."""
    most = max((len(s.step) for s in strokes), default=0)
    n = len(strokes)
    px, step, weight = np.zeros((n, most, 2)), np.zeros((n, most)), np.zeros((n, most))
    for i, s in enumerate(strokes):
        k = len(s.step)
        px[i, :k], px[i, k:] = s.px, s.px[0]
        step[i, :k], weight[i, :k] = s.step, 1.0
    return RowPoints(px, step, weight, np.array([s.sigma for s in strokes]))
