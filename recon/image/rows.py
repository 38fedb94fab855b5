"""Rows: openings of one face of a member, on a line at projectively regular steps.

A point k pitches along a line in space is seen at (a + b k) / (1 + c k) along the line's image.
Rows grow from three neighbours in a line, one predicted opening at a time; gaps are allowed.
Whether a row could be chance is judged a contrario (Desolneux, Moisan and Morel 2000,
doi:10.1023/A:1026593302236): the expected number of equally good rows in clutter of the same density.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from math import dist, hypot, log, log10, pi
from statistics import median
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from recon.geometry.arrays import BoolArray, FloatArray, IntArray, lengths
from recon.geometry.point_grid import PointGrid
from recon.image.openings import ALIKE, OPENING, alike_density

# Pitch over hole diameter of drilled stock: 38.1 / 11.1 = 3.4, 38.1 / 8 = 4.8, 25.4 / 11.1 = 2.3,
# widened by a third for what blur and shading do to an ellipse.
PITCH_OVER_HOLE = (1.7, 7.0)
KEPT = 40  # photos whose rows are kept: as many as a build may have.  This project's choice


@dataclass(frozen=True)
class Row:
    """A row seen in one photo.

    Attributes
    ----------
    index : (M,) int array
        Its openings, by number.
    step : (M,) int array
        Which step along the row each is at, from 0.
    log_nfa : float
        The log10 of the expected number of such rows by chance (lower is better).
    """

    index: IntArray
    step: IntArray
    log_nfa: float


def chord_px(openings: NDArray[Any] | Mapping[str, FloatArray], direction: FloatArray) -> FloatArray:
    """Width of each ellipse through its centre along a direction.

    Parameters
    ----------
    openings : (N,) array of dtype ``recon.image.openings.OPENING``, or a mapping of its columns
    direction : (N, 2) or (2,) array
        Unit vectors.

    Returns
    -------
    (N,) array
        Px.
    """
    c, s = np.cos(openings["angle"]), np.sin(openings["angle"])
    u = direction[..., 0] * c + direction[..., 1] * s
    v = -direction[..., 0] * s + direction[..., 1] * c
    chord: FloatArray = 1 / np.sqrt((u / openings["major"]) ** 2 + (v / openings["minor"]) ** 2)
    return chord


def pattern_directions(openings: NDArray[Any], neighbours: int = 20) -> IntArray:
    """In how many directions each opening lies midway between two others like it.

    Openings of a member do so along their row only; tiles, gratings and perforated sheet in three
    directions and more.

    Parameters
    ----------
    openings : (N,) array of dtype ``recon.image.openings.OPENING``
    neighbours : int
        How many nearest openings are looked at.

    Returns
    -------
    (N,) int array
        Directions less than 15 degrees apart count once.
    """
    o = openings
    if len(o) < 4:
        return np.zeros(len(o), int)
    xy = np.c_[o["x"], o["y"]]
    _, j = cKDTree(xy).query(xy, k=min(neighbours, len(o)))
    j = j[:, 1:]
    v = xy[j] - xy[:, None]
    length = lengths(v)
    size = np.sqrt(o["major"] * o["minor"])
    alike = np.abs(np.log(size[j] / size[:, None])) < 0.5
    a, b = np.triu_indices(j.shape[1], 1)
    i, pair = np.nonzero(alike[:, a] & alike[:, b])  # each two neighbours of each opening
    a, b = a[pair], b[pair]
    off = lengths(v[i, a] + v[i, b])
    mirror = off < 0.06 * (length[i, a] + length[i, b]) + 1.0
    i, a = i[mirror], a[mirror]
    angle = np.arctan2(v[i, a, 1], v[i, a, 0]) % np.pi
    bins = np.zeros((len(o), 12), bool)
    bins[i, (angle / np.pi * 12).astype(int) % 12] = True
    return (bins & ~np.roll(bins, 1, axis=1)).sum(1) + bins.all(1)


def fit_row(step: ArrayLike, along: ArrayLike, weight: ArrayLike | None = None) -> tuple[float, float, float]:
    """Least squares (a + b k) / (1 + c k) through positions along a line.

    Parameters
    ----------
    step : array_like, (M,)
        Whole numbers k.
    along : array_like, (M,)
        Positions, px.
    weight : array_like, (M,), optional

    Returns
    -------
    a, b, c : float
        With fewer than 4 points c is 0: three points fit any c exactly.

    Notes
    -----
    The equation a + b k - c k x = x is linear; one re-weighting by 1 + c k gives residuals in px
    (Hartley and Zisserman 2004, section 4.1.2, for the one-dimensional case).

    Examples
    --------
    >>> k = np.arange(6)
    >>> [round(value, 6) for value in fit_row(k, (50 + 20 * k) / (1 + 0.02 * k))]
    [50.0, 20.0, 0.02]
    """
    k, x = np.asarray(step, float), np.asarray(along, float)
    w = np.ones(len(k)) if weight is None else np.asarray(weight, float)
    if len(k) < 4:
        A = np.c_[np.ones(len(k)), k] * w[:, None]
        a, b = np.linalg.lstsq(A, x * w, rcond=None)[0]
        return float(a), float(b), 0.0
    x0 = x.mean()
    scale = max(np.ptp(x), 1e-9)
    y = (x - x0) / scale
    k0 = k.mean()
    q = k - k0
    den = np.ones(len(k))
    for _ in range(3):
        A = np.c_[np.ones(len(k)), q, -q * y] * (w / den)[:, None]
        a, b, c = np.linalg.lstsq(A, y * w / den, rcond=None)[0]
        den = np.maximum(1 + c * q, 0.1)
    # Back from centred units: y = (a + b q) / (1 + c q), q = k - k0.
    A0, B0, D0, C0 = a - b * k0, b, 1 - c * k0, c
    D0 = D0 if abs(D0) > 1e-9 else 1e-9
    return float((A0 * scale + x0 * D0) / D0), float((B0 * scale + x0 * C0) / D0), float(C0 / D0)


def row_position(fit: tuple[float, float, float], step: ArrayLike) -> FloatArray:
    """Positions along the line (px) of steps k under `fit` = (a, b, c)."""
    a, b, c = fit
    place: FloatArray = (a + b * np.asarray(step, float)) / (1 + c * np.asarray(step, float))
    return place


class _Field:
    """The openings as arrays with a tree, computed once."""

    def __init__(self, openings: NDArray[Any]) -> None:
        self.o = {name: openings[name].copy() for name in openings.dtype.names or ()}
        self.xy = np.c_[openings["x"], openings["y"]]
        self.tree = cKDTree(self.xy)
        self.grid = PointGrid(self.xy)
        self.density = alike_density(openings)
        # As Python's own numbers: rows grow by one opening at a time, for which these are quicker.
        self.places = self.xy.tolist()
        self.majors, self.minors = self.o["major"].tolist(), self.o["minor"].tolist()
        self.log_density = np.log10(np.maximum(self.density, 1e-6)).tolist()

    def alike(self, i: IntArray, j: IntArray) -> BoolArray:
        """Could j be i's neighbour on one face: nearly the same ellipse?  Arrays of indices."""
        o = self.o
        r = np.abs(np.log(o["major"][i] / o["major"][j])) + np.abs(np.log(o["minor"][i] / o["minor"][j]))
        near: BoolArray = r < 0.9
        return near


def find_rows(openings: NDArray[Any], most_log_nfa: float = 2.0, most_seeds: int = 40000) -> list[Row]:
    """Rows of at least four openings, least likely by chance first.

    Parameters
    ----------
    openings : (N,) array of dtype ``recon.image.openings.OPENING``
    most_log_nfa : float
        Rows expected more often than 10 to this power by chance are left out.  Above 0, so that short true
        rows come along: the consensus of all rows on one camera sorts them.
    most_seeds : int
        Bound on the triples looked at, straightest first.

    Examples
    --------
    >>> from recon.image.openings import OPENING
    >>> openings = np.zeros(8, OPENING)
    >>> openings["x"], openings["y"] = 20.0 * np.arange(8), 100.0
    >>> openings["major"], openings["minor"], openings["score"] = 6.0, 5.0, 3.0
    >>> [row.step.tolist() for row in find_rows(openings)]
    [[0, 1, 2, 3, 4, 5, 6, 7]]
    """
    if len(openings) < 4:
        return []
    data = np.ascontiguousarray(openings, OPENING).tobytes()
    return list(_rows_among(data, most_log_nfa, most_seeds))


@lru_cache(KEPT)
def _rows_among(data: bytes, most_log_nfa: float, most_seeds: int) -> list[Row]:
    """:func:`find_rows` of openings as bytes; a reading asks for those of the same photo more than once."""
    field = _Field(np.frombuffer(data, OPENING))
    seeds, pairs = _triples(field)
    used: set[tuple[int, int]] = set()
    rows = []
    for i, j, k in seeds[:most_seeds]:
        if (i, j) in used or (j, k) in used:
            continue
        index, step, hits = _grow(field, [i, j, k])
        if len(index) < 4:
            continue
        nfa = np.log10(pairs) + hits
        for a, b in pairwise(index):
            used.add((a, b))
            used.add((b, a))
        if nfa < most_log_nfa:
            rows.append(Row(np.array(index), np.array(step), float(nfa)))
    rows.sort(key=lambda r: r.log_nfa)
    return _drop_repeats(rows)


def _triples(field: _Field) -> tuple[list[tuple[int, int, int]], int]:
    """(i, j, k) with j midway between i and k, straightest and most even first; of how many pairs."""
    o, xy = field.o, field.xy
    reach = PITCH_OVER_HOLE[1] * float(np.percentile(o["major"], 98))
    near = field.tree.query(xy, k=min(25, len(xy)), distance_upper_bound=reach)[1][:, 1:]
    i = np.repeat(np.arange(len(xy)), near.shape[1])
    j = near.ravel()
    ok = j < len(xy)
    i, j = i[ok], j[ok]
    d = xy[j] - xy[i]
    dist = np.linalg.norm(d, axis=1)
    u = d / np.maximum(dist, 1e-9)[:, None]
    ci, cj = chord_px({n: v[i] for n, v in o.items()}, u), chord_px({n: v[j] for n, v in o.items()}, u)
    ratio = 2 * dist / (ci + cj)
    ok = field.alike(i, j) & (ratio > PITCH_OVER_HOLE[0]) & (ratio < PITCH_OVER_HOLE[1])
    i, j, d, dist, u = i[ok], j[ok], d[ok], dist[ok], u[ok]
    guess = xy[j] + d
    tol = 1.0 + 0.16 * dist
    dk, kk = field.tree.query(guess, k=2, distance_upper_bound=reach)
    out = []
    for c in range(2):
        k = kk[:, c]
        ok = (k < len(xy)) & (dk[:, c] < tol) & (k != i)
        ii, jj, k, uu, dd = i[ok], j[ok], k[ok], u[ok], dist[ok]
        good = field.alike(jj, k) & (ii < k)
        ii, jj, k, uu, dd = ii[good], jj[good], k[good], uu[good], dd[good]
        e = xy[k] - guess[ok][good]
        lateral = np.abs(e[:, 0] * -uu[:, 1] + e[:, 1] * uu[:, 0])
        good = lateral < 0.8 + 0.05 * dd
        cost = (
            lateral / (0.6 + 0.02 * dd)
            + np.hypot(e[:, 0], e[:, 1]) / (0.6 + 0.08 * dd)
            - 0.2 * np.minimum(np.minimum(o["score"][ii], o["score"][jj]), o["score"][k])
        )
        out += [(float(c), int(a), int(b), int(q)) for c, a, b, q, g in zip(cost, ii, jj, k, good) if g]
    out.sort()
    return [t[1:] for t in out], max(1, len(i) // 2)  # every pair both ways round


def _grow(field: _Field, start: Sequence[int]) -> tuple[list[int], list[int], float]:
    """Extend a triple both ways; returns indices, steps and the log10 chance of all hits."""
    index, step = list(start), [0, 1, 2]
    # The first two openings of a triple say where the third should be: that one is the first hit.
    tol = 1.0 + 0.16 * dist(field.places[index[0]], field.places[index[1]])
    chance = _log_chance(field, index[2], tol)
    for way in (1, -1):
        missed = 0
        ahead = 1
        while missed <= (2 if len(index) < 6 else 4):
            k = (step[-1] if way > 0 else step[0]) + way * ahead
            predicted = _predict(field, index, step, k, way)
            if predicted is None:
                break
            guess, tol, size = predicted
            hit = _next_opening(field, index, guess, tol, size)
            if hit is None:
                missed += 1
                ahead += 1
                chance += 0.15  # a miss: such a row would show 7 of 10 (worst photos with truth)
                continue
            chance += _log_chance(field, hit, tol)
            if way > 0:
                index.append(hit)
                step.append(k)
            else:
                index.insert(0, hit)
                step.insert(0, k)
            missed, ahead = 0, 1
        chance -= 0.15 * missed  # running out of the end is no evidence against the row
    return index, [s - step[0] for s in step], chance


def _log_chance(field: _Field, opening: int, tol: float) -> float:
    """The log10 of the chance that clutter lies within `tol` px of where this opening was expected."""
    return min(0.0, field.log_density[opening] + log10(pi * tol * tol))


def _next_opening(
    field: _Field, index: Sequence[int], guess: tuple[float, float], tol: float, size: tuple[float, float]
) -> int | None:
    """The opening nearest to a place, within `tol` px, that looks like the row's and is not in it."""
    for i in field.grid.nearest(*guess, within=tol, most=3):
        if (
            i not in index
            and abs(log(field.majors[i] / size[0])) < ALIKE
            and abs(log(field.minors[i] / size[1])) < 0.6
        ):
            return i
    return None


def _predict(
    field: _Field, index: Sequence[int], step: Sequence[int], k: int, way: int
) -> tuple[tuple[float, float], float, tuple[float, float]] | None:
    """Where step k of a row should be: place px, tolerance px, (major, minor); None for steps too short.

    The last gaps and their change, as vectors: a row seen through a lens bends and shrinks evenly.
    """
    if way > 0:
        idx, st = index[-7:], step[-7:]
    else:
        idx, st = index[6::-1], step[6::-1]  # nearest the end last
    n = len(idx)
    last = n - 1
    mid = last - (1 if n < 5 else n // 2)
    (x2, y2), (x1, y1), (x0, y0) = field.places[idx[last]], field.places[idx[mid]], field.places[idx[0]]
    d21, d10 = abs(st[last] - st[mid]), abs(st[mid] - st[0])
    gap = (x2 - x1) / d21, (y2 - y1) / d21
    length = hypot(*gap)
    if length < 2.0:
        return None
    turn = (0.5 if n < 5 else 1.0) / (0.5 * (d21 + d10))  # short rows: half, against noise
    m = abs(k - st[last])
    bent = turn * 0.5 * m * (m + d21)
    guess = (
        x2 + gap[0] * m + (gap[0] - (x1 - x0) / d10) * bent,
        y2 + gap[1] * m + (gap[1] - (y1 - y0) / d10) * bent,
    )
    tol = (1.0 + (0.15 if n < 5 else 0.09) * length) * (1 + 0.15 * (m - 1))
    return guess, tol, (median(field.majors[i] for i in idx), median(field.minors[i] for i in idx))


def _drop_repeats(rows: list[Row]) -> list[Row]:
    """Of rows that share more than half of their openings, the least likely by chance stays."""
    owner: dict[int, list[int]] = {}
    kept: list[Row] = []
    for row in rows:
        shared: dict[int, int] = {}
        for i in row.index:
            for r in owner.get(int(i), ()):
                shared[r] = shared.get(r, 0) + 1
        if shared and max(shared.values()) >= 0.5 * len(row.index):
            continue
        for i in row.index:
            owner.setdefault(int(i), []).append(len(kept))
        kept.append(row)
    return kept
