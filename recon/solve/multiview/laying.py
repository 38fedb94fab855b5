"""A photo laid on members that are known, by its rows: its own lattice need not be right for that.

A row's place in space is known from its steps to a pitch or so, its direction is that of an axis: enough to
tell which members its photo shows, under one of 24 turns and a shift, if many rows are asked together.  The
camera follows from the members' holes (resection), and with it what was wrong in the photo's own lattice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from recon.geometry.arrays import FloatArray, IntArray
from recon.geometry.camera import Camera, world2camera
from recon.geometry.lattice import rotations
from recon.geometry.trust_region import TOLERANCE
from recon.solve.evidence.along_line import candidate_openings
from recon.solve.evidence.candidate import Candidate, across
from recon.solve.evidence.many_lines import along_lines
from recon.solve.evidence.posed_photo import PosedPhoto, with_camera
from recon.solve.evidence.scene import Scene
from recon.solve.multiview.hypotheses import Posed
from recon.solve.multiview.registration import moved_lattice
from recon.solve.photo.photo_lattice import NEAREST_ROW, PhotoLattice, laid_again
from recon.solve.photo.placed_rows import PlacedRows, place_axis_rows
from recon.solve.photo.resection import resect

BLUR = 0.8  # pitches that a row lies off its member while the camera is that of the photo by itself
# The same while the camera is fitted to the members by turns.
TOLERANCES = (1.0, 0.7, 0.45, 0.3)
COARSE = 1e-3  # of the cost, that a camera is fitted to where rows are taken anew after it
MOST_SHIFTS = 3  # for each turn, most votes first; bounds the time
MOST_BEGUN = 12  # turns and shifts that are fitted once, most votes first; bounds the time
MOST_FITTED = 5  # of these, those followed further: whose rows lie best on members after that
GATE = 9.0  # squared distance of a row from its member, in standard errors
PAST_END = 3  # holes by which a row may reach past a member's ends, which are not settled yet
LEAST_ROWS = 3  # along two axes at least: fewer fix no camera
LEAST_PLAY = 0.02  # pitches: the members known are not where they are said to be to more than this
MOST_AGAINST = 8.0  # nats that one member counts against at most: some of those known are wrong themselves


@dataclass(frozen=True)
class Laid:
    """A photo laid on known members, and the nats that their openings are worth in it."""

    posed: Posed
    nats: float


@dataclass(frozen=True)
class _Centrelines:
    """Members as lines: axis (J,), first (J, 3) and last (J,) place along the axis, pitches."""

    axis: IntArray
    first: FloatArray
    last: FloatArray


def _centrelines(candidates: Sequence[Candidate]) -> _Centrelines:
    first = np.array([c.first for c in candidates], float)
    axis = np.array([c.axis for c in candidates])
    return _Centrelines(axis, first, first[np.arange(len(axis)), axis] + [c.holes - 1 for c in candidates])


def lay_on_members(photo: PosedPhoto, lattice: PhotoLattice, scene: Scene) -> list[Laid]:
    """A photo, in a world of its own, laid on the candidates of a scene.

    Parameters
    ----------
    photo, lattice : PosedPhoto or PhotoLattice
        The photo in a world of its own.
    scene : Scene
        With the candidates known; its photos are not asked.

    Returns
    -------
    The photo with a camera in the scene's world, under each turn and shift at which its rows fit the
    candidates, that at which it shows most of them first; none where they fit nowhere.  A frame that nearly
    fits itself is fitted in several turns.
    """
    if not scene.candidates or not lattice.placed.rows:
        return []
    lines = _centrelines(scene.candidates)
    begun = []
    for turn, shift in _placements(lattice.placed, lines, scene.width):
        moved = moved_lattice(lattice, turn, shift)
        fit = _fitted(photo, moved, moved.camera, lines, scene.width, TOLERANCES[:1])
        if fit is not None:
            begun.append((fit.worth, fit, moved))
    begun.sort(key=lambda b: -b[0])
    out: list[Laid] = []
    for _, first, moved in begun[:MOST_FITTED]:
        fit = _fitted(photo, moved, first.camera, lines, scene.width, TOLERANCES[1:])
        if fit is not None:
            posed = with_camera(photo, fit.camera)
            again = laid_again(moved, posed.camera, posed.openings, scene.width)
            out.append(Laid((posed, again), _shown(scene, posed)))
    return sorted(out, key=lambda x: -x.nats)


def _shown(scene: Scene, photo: PosedPhoto) -> float:
    """Nats for the candidates of a scene from one photo."""
    found = along_lines([photo], candidate_openings(scene), [scene.occluders] * len(scene.candidates))
    each = [float(evidence.llr.sum()) for evidence in found]
    return float(np.maximum(each, -MOST_AGAINST).sum())


def _placements(placed: PlacedRows, lines: _Centrelines, width: float) -> list[tuple[FloatArray, FloatArray]]:
    """Turns and shifts under which most rows lie on faces of members along their axis, best first."""
    found: list[tuple[float, FloatArray, FloatArray]] = []
    for turn in rotations():
        # A turn in which nothing can have more votes than those that will do is not looked at further.
        least = sorted((votes for votes, _, _ in found), reverse=True)[MOST_BEGUN - 1 : MOST_BEGUN]
        for votes, shift in _shifts(placed, lines, width, turn.astype(float), *least):
            found.append((votes, turn, shift))
    found.sort(key=lambda f: -f[0])
    return [(turn, shift) for _, turn, shift in found[:MOST_BEGUN]]


def _shifts(
    placed: PlacedRows, lines: _Centrelines, width: float, turn: FloatArray, least: float = -np.inf
) -> list[tuple[float, FloatArray]]:
    """Votes and shifts of one turn: the best few on a grid of one pitch; none where none has enough votes.

    A row says nothing of the shift along its own axis: its votes lie on a plane, all rows' planes are summed.
    """
    place = placed.place @ turn.T
    axis = np.abs(turn).argmax(0)[[r.axis for r in placed.rows]]
    normal = placed.normal @ turn.T
    spread = np.einsum("ij,rjk,ik->ri", turn, placed.cov, turn)
    worth = np.minimum([r.evidence for r in placed.rows], 75.0)
    low = np.floor(lines.first.min(0) - place.max(0)) - 1
    size = (np.ceil(lines.first.max(0) + 40 - place.min(0)) - low).astype(int) + 2
    size = np.minimum(size, 160)
    grids = [low[j] + np.arange(size[j]) for j in range(3)]
    planes = [np.zeros((size[b], size[c])) for b, c in (across(j) for j in range(3))]
    for i in range(len(axis)):
        on = np.nonzero(lines.axis == axis[i])[0]
        if not len(on):
            continue
        b, c = across(int(axis[i]))
        vote = np.zeros((size[b], size[c]))
        for f in range(2):
            n = normal[i, f] * 0.5 * width
            p = np.exp(placed.face_log[i, f])
            gb = _bump(grids[b], lines.first[on, b] + n[b] - place[i, b], spread[i, b])
            gc = _bump(grids[c], lines.first[on, c] + n[c] - place[i, c], spread[i, c])
            vote += p * gb.T @ gc
        planes[axis[i]] += worth[i] * np.minimum(vote, 1.0)
    if sum(p.any() for p in planes) < 2:
        return []
    return [
        (votes, np.array([grids[j][cell[j]] for j in range(3)]))
        for votes, cell in _peaks(planes, MOST_SHIFTS, least)
    ]


def _peaks(planes: Sequence[FloatArray], most: int, least: float) -> list[tuple[float, IntArray]]:
    """The largest sums of three planes across one another and their cells, none next to a larger one.

    Parameters
    ----------
    planes : (B, C), (A, C) and (A, B) arrays
        The sum at cell (a, b, c) is of their values at (b, c), (a, c) and (a, b).
    most : int
        Cells, at most.
    least : float
        Where no sum is larger, none is sought.
    """
    bc, ac, ab = planes
    shape = len(ac), len(bc), bc.shape[1]
    # What the cells of a row (a, b) reach at most.  Sums grow with each part, rounded or not.
    bound = ((bc.max(axis=1) + ac.max(axis=1)[:, None]) + ab).ravel()
    if bound.max() <= least:
        return []
    count = min(27 * most, shape[0] * shape[1] * shape[2])
    reached = -np.inf
    if count < len(bound):
        likely = np.argpartition(bound, len(bound) - count)[len(bound) - count :]
        # So many cells reach this: the largest are among the rows that can.
        reached = float(_sums(planes, likely).max(axis=1).min())
    rows = np.nonzero(bound >= reached)[0]
    sums = _sums(planes, rows)
    where, along = np.nonzero(sums >= reached)
    value = sums[where, along]
    best = np.argsort(-value)[:count]
    cells = np.stack([*np.divmod(rows[where[best]], shape[1]), along[best]], 1)
    out: list[tuple[float, IntArray]] = []
    for votes, cell in zip(value[best].tolist(), cells):
        if len(out) < most and all(np.abs(cell - kept).max() > 1 for _, kept in out):
            out.append((votes, cell))
    return out


def _sums(planes: Sequence[FloatArray], rows: IntArray) -> FloatArray:
    """(R, C) sums of three planes across one another along some rows a B + b; see :func:`_peaks`."""
    bc, ac, ab = planes
    a, b = np.divmod(rows, len(bc))
    sums: FloatArray = (bc[b] + ac[a]) + ab[a, b][:, None]
    return sums


def _bump(grid: FloatArray, centre: FloatArray, variance: float) -> FloatArray:
    """(J, G) chance-like votes of J places on a grid."""
    return np.exp(-0.5 * (grid - centre[:, None]) ** 2 / (variance + BLUR**2))


@dataclass(frozen=True)
class _Fit:
    """A camera on the members, and the nats of the rows that lie next to one, the nearer the more."""

    camera: Camera
    worth: float


def _fitted(
    photo: PosedPhoto,
    lattice: PhotoLattice,
    camera: Camera,
    lines: _Centrelines,
    width: float,
    tolerances: Sequence[float],
) -> _Fit | None:
    """The camera resected on the members that its rows lie next to, by turns; None where too few do."""
    worth = 0.0
    for k, tolerance in enumerate(tolerances):
        placed = place_axis_rows(camera, photo.openings, lattice.placed.rows, lattice.placed, photo.play)
        known = _correspondences(photo, camera, placed, lines, width, tolerance)
        if known is None:
            return None
        focal = None if photo.prior else camera.f
        exact = COARSE if tolerance > TOLERANCES[-1] else TOLERANCE
        camera = resect(camera, *known, focal_prior=focal, prior=photo.prior, tolerance=exact)
        if k == len(tolerances) - 1:
            placed = place_axis_rows(camera, photo.openings, lattice.placed.rows, lattice.placed, photo.play)
            near = _first_holes(placed, lines, width, tolerance)
            worth = sum(r.evidence * (1 - n[1] / GATE) for r, n in zip(placed.rows, near) if n is not None)
    return _Fit(camera, worth)


def _correspondences(
    photo: PosedPhoto,
    camera: Camera,
    placed: PlacedRows,
    lines: _Centrelines,
    width: float,
    tolerance: float,
) -> tuple[FloatArray, FloatArray, FloatArray] | None:
    """World points, image points, standard errors of the rows on the members that they lie next to."""
    world, image, sigma, axes = [], [], [], []
    for i, (row, near) in enumerate(zip(placed.rows, _first_holes(placed, lines, width, tolerance))):
        if near is None:
            continue
        X = np.repeat(near[0][None], len(row.step), 0)
        X[:, row.axis] += placed.sign[i] * row.step
        o = photo.openings[row.index]
        depth = np.maximum(world2camera(camera, X)[:, 2], NEAREST_ROW)
        world.append(X)
        image.append(np.c_[o["x"], o["y"]])
        sigma.append(np.hypot(placed.points.sigma[i], max(photo.play, LEAST_PLAY) * camera.f / depth))
        axes.append(row.axis)
    if len(world) < LEAST_ROWS or len(set(axes)) < 2:
        return None
    return np.concatenate(world), np.concatenate(image), np.concatenate(sigma)


def _first_holes(
    placed: PlacedRows, lines: _Centrelines, width: float, tolerance: float
) -> list[tuple[FloatArray, float] | None]:
    """Where each row's opening of step 0 lies on the member next to it, (3,) pitches, and how far off it is.

    In squared standard errors; None where no member is near.
    """
    out: list[tuple[FloatArray, float] | None] = [None] * len(placed.rows)
    axes = np.array([r.axis for r in placed.rows])
    for axis in np.unique(axes).tolist():
        rows, on = np.nonzero(axes == axis)[0], np.nonzero(lines.axis == axis)[0]
        if not len(on):
            continue
        sides = across(axis)
        first, last, place = lines.first[on], lines.last[on], placed.place[rows]
        info = np.linalg.inv((placed.cov[rows] + tolerance**2 * np.eye(3))[:, sides][:, :, sides])
        step = np.array([[placed.rows[i].step[0], placed.rows[i].step[-1]] for i in rows.tolist()])
        ends = place[:, axis, None] + placed.sign[rows, None] * step
        target = first + 0.5 * width * placed.normal[rows][:, :, None]  # (rows, 2 faces, members, 3)
        x, y = (target[..., j] - place[:, j, None, None] for j in sides)
        xx, xy, yx, yy = (info[:, a, b, None, None] for a in (0, 1) for b in (0, 1))
        chi2 = (x * xx * x + x * xy * y) + (y * yx * x + y * yy * y)
        chi2 -= 2 * placed.face_log[rows][:, :, None]
        beyond = np.maximum(
            first[:, axis] - ends.min(axis=1)[:, None], np.maximum(ends.max(axis=1)[:, None] - last, 0)
        )
        chi2 = np.where((beyond > PAST_END + tolerance)[:, None], np.inf, chi2).reshape(len(rows), -1)
        best = chi2.argmin(axis=1)  # of two that are alike that on the first face
        for n, (i, k) in enumerate(zip(rows.tolist(), best.tolist())):
            if chi2[n, k] < GATE:
                face, j = divmod(k, len(on))
                hole, phase = target[n, face, j].copy(), first[j, axis] % 1.0
                hole[axis] = np.rint(place[n, axis] - phase) + phase
                out[i] = hole, float(chi2[n, k])
    return out
