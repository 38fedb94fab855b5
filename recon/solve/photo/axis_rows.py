"""Rows along the camera's axes, once the camera is known: equal steps along a known direction.

For rows along direction d, describe each opening's line of sight by the angle ``theta`` round d and
the cotangent ``tau`` of its angle with d.  All openings of a row share theta, and their tau are *equally*
spaced, 1 / rho apart, where rho is the row's distance from the camera's centre in pitches.  So a row
is an arithmetic progression on a line, which needs no projective fit and bears gaps well.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from recon.geometry.arrays import FloatArray, IntArray
from recon.geometry.camera import Camera, image2sensor
from recon.geometry.ellipses import face_distances, score_llr, shape_llr, unit_shapes
from recon.image.rows import PITCH_OVER_HOLE, chord_px
from recon.solve.photo.progressions import SightLines, SortedOpenings, grown
from recon.solve.photo.row_points import centre_sigma_px

MOST_SEEDS = 6000  # pairs that rows grow from, best first: bounds the time
NEIGHBOURS = 40  # openings next to one another by theta that pairs are made of
PAIRS_AT_ONCE = 256  # that rows grow from; more at once are less often of rows found before


@dataclass(frozen=True)
class AxisRow:
    """A row along a frame axis.

    Attributes
    ----------
    axis : 0, 1 or 2.
    index : (M,) numbers of its openings.
    step : (M,) whole pitches from the first.
    evidence : nats against clutter.
    """

    axis: int
    index: IntArray
    step: IntArray
    evidence: float


def sight_lines(camera: Camera, px: FloatArray, direction: FloatArray) -> SightLines:
    """Lines of sight of image points round a direction.

    Parameters
    ----------
    camera : only its inner parameters are used
    px : (N, 2) image points
    direction : (3,) unit, camera coordinates

    Examples
    --------
    A row one pitch apart, 20 pitches off: tau steps by 1 / 20.

    >>> import numpy as np
    >>> camera = Camera(1000.0, 799.5, 599.5)
    >>> px = camera.project(np.array([[0.0, 0, 20], [1, 0, 20], [2, 0, 20]]))
    >>> np.diff(sight_lines(camera, px, np.array([1.0, 0, 0])).tau).round(6)
    array([0.05, 0.05])
    """
    e1 = np.cross(direction, [1.0, 0, 0] if abs(direction[0]) < 0.8 else [0, 1.0, 0])
    e1 /= np.linalg.norm(e1)
    e2 = np.cross(direction, e1)

    def angles(p: FloatArray) -> tuple[FloatArray, FloatArray]:
        xy = image2sensor(camera, p)
        r = np.c_[xy, np.ones(len(xy))]
        a, b, c = r @ e1, r @ e2, r @ direction
        return np.arctan2(b, a), c / np.hypot(a, b)

    theta, tau = angles(px)
    by_x, by_y = angles(px + [1.0, 0]), angles(px + [0, 1.0])
    grad = np.c_[_wrapped(by_x[0] - theta), _wrapped(by_y[0] - theta)]
    size = np.linalg.norm(grad, axis=1)
    along = np.c_[-grad[:, 1], grad[:, 0]] / np.maximum(size, 1e-12)[:, None]  # theta stays, tau moves
    tau_px = np.abs((by_x[1] - tau) * along[:, 0] + (by_y[1] - tau) * along[:, 1])
    return SightLines(theta, tau, size, tau_px, along)


def _wrapped(angle: FloatArray) -> FloatArray:
    """Angles in -pi .. pi."""
    return (angle + np.pi) % (2 * np.pi) - np.pi


def find_axis_rows(
    camera: Camera, openings: np.ndarray, hole: float | None, density: FloatArray, least: int = 3
) -> list[AxisRow]:
    """All rows along the camera's three axes, strongest evidence first; an opening may be in several.

    Parameters
    ----------
    camera : with R from frame to camera; t is not used
    openings : (N,), dtype OPENING
    hole : diameter in pitches if known, else None
    density : (N,) openings per px^2 round each (clutter)
    least : fewest openings of a row

    Examples
    --------
    >>> import numpy as np
    >>> from recon.image.openings import OPENING
    >>> camera = Camera(1000.0, 799.5, 599.5)
    >>> openings = np.zeros(8, OPENING)
    >>> openings["x"], openings["y"] = camera.project(np.array([[k - 3.5, 1.0, 20.0] for k in range(8)])).T
    >>> openings["major"], openings["minor"], openings["score"] = 15, 15, 5
    >>> row = find_axis_rows(camera, openings, 0.3, np.full(8, 1e-4))[0]
    >>> row.axis, row.step.tolist()
    (0, [0, 1, 2, 3, 4, 5, 6, 7])
    """
    px = np.c_[openings["x"], openings["y"]]
    rows: list[AxisRow] = []
    shape = shape_llr(face_distances(camera, px, unit_shapes(openings)))
    mark = score_llr(openings["score"])
    for axis in range(3):
        found = _rows_of_axis(camera, openings, px, axis, hole, density, least)
        others = [j for j in range(3) if j != axis]
        for r in found:
            # One face bears the whole row, so the better of the two sums.
            looks = mark[r.index].sum() + shape[r.index][:, others].sum(0).max()
            if r.evidence + looks > 0:
                rows.append(AxisRow(axis, r.index, r.step, r.evidence + float(looks)))
    rows.sort(key=lambda r: -r.evidence)
    return rows


def _sorted_openings(
    lines: SightLines, openings: np.ndarray, density: FloatArray
) -> tuple[SortedOpenings, IntArray]:
    """The openings by theta, and their numbers (N,) before sorting."""
    order = np.argsort(lines.theta)
    by_theta = SightLines(
        lines.theta[order], lines.tau[order], lines.theta_px[order], lines.tau_px[order], lines.along[order]
    )
    o = openings[order]
    sigma = centre_sigma_px(o["minor"])
    return SortedOpenings(
        by_theta,
        o,
        density[order],
        chord_px(o, by_theta.along) * by_theta.tau_px,
        sigma,
        2.5 * np.hypot(sigma, 0.6) * by_theta.theta_px,  # 0.6 px: lens and rotation left over
    ), order


def _rows_of_axis(
    camera: Camera,
    openings: np.ndarray,
    px: FloatArray,
    axis: int,
    hole: float | None,
    density: FloatArray,
    least: int,
) -> list[AxisRow]:
    """Rows along one axis; the evidence leaves out what the openings look like."""
    field, order = _sorted_openings(sight_lines(camera, px, camera.R[:, axis]), openings, density)
    used: set[tuple[int, int]] = set()
    out = []
    pairs = _seed_pairs(field, camera.f, hole)
    for start in range(0, len(pairs), PAIRS_AT_ONCE):
        seeds = [pair for pair in pairs[start : start + PAIRS_AT_ONCE] if pair not in used]
        for pair, row in zip(seeds, grown(field, seeds)):
            if row is None or pair in used:
                continue
            used.update(combinations(np.sort(row.index).tolist(), 2))
            if len(row.index) >= least and row.evidence > 0:
                out.append(AxisRow(axis, order[row.index], row.step, row.evidence))
    return out


def _seed_pairs(field: SortedOpenings, f: float, hole: float | None) -> list[tuple[int, int]]:
    """Pairs of openings at one theta that may be one step apart, likeliest first."""
    theta, tau, o, chord = field.lines.theta, field.lines.tau, field.openings, field.chord
    near_vanishing = field.lines.tau_px > 0.25 * np.abs(tau) + 0.02  # one px there is many pitches
    seeds = []
    n = len(o)
    for q in range(1, min(NEIGHBOURS, n)):
        i, j = np.arange(n - q), np.arange(q, n)
        tight = np.abs(theta[j] - theta[i]) < np.minimum(field.side[i], field.side[j])
        if not tight.any():
            break
        i, j = i[tight], j[tight]
        gap = np.abs(tau[j] - tau[i])
        mean_chord = (chord[i] + chord[j]) / 2
        if hole:
            # The diameter in pitches is known: size tells the distance, so the step.
            # Depth and distance from the axis' line differ by the slant, so this gate is wide.
            depth = hole * f / np.sqrt(o["major"][i] * o["major"][j])
            ok = (gap * depth > 0.4) & (gap * depth < 2.5)
            ok &= (gap / mean_chord > 0.5 / hole) & (gap / mean_chord < 2.0 / hole)
        else:
            ok = (gap / mean_chord > PITCH_OVER_HOLE[0]) & (gap / mean_chord < PITCH_OVER_HOLE[1])
        r = np.abs(np.log(o["major"][i] / o["major"][j])) + np.abs(np.log(o["minor"][i] / o["minor"][j]))
        ok &= (r < 0.9) & ~near_vanishing[i] & ~near_vanishing[j]
        quality = np.minimum(o["score"][i], o["score"][j]) - 2 * r
        seeds.append(np.c_[quality, i, j][ok])
    if not seeds:
        return []
    pairs = np.concatenate(seeds)
    pairs = pairs[np.argsort(-pairs[:, 0])][:MOST_SEEDS]
    return [(int(i), int(j)) for _, i, j in pairs]
