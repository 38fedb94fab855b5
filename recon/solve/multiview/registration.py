"""Photos together: the 24 turns and the shift under which two photos' lattices see the same members."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from recon.geometry.camera import Camera
from recon.geometry.lattice import rotations
from recon.solve.evidence.predictions import look, with_camera
from recon.solve.photo.photo_lattice import LatticeGuess, PhotoLattice


@dataclass(frozen=True)
class Cells:
    """Hole centres that a photo shows: place (N, 3), axis of the member (N,), weight (N,), outward normal (N, 3)."""

    place: np.ndarray
    axis: np.ndarray
    weight: np.ndarray
    normal: np.ndarray


def cells_of(lattice: PhotoLattice, least: float = 0.4) -> Cells:
    place, axis, weight, normal = [], [], [], []
    for row, sign, guesses in zip(lattice.placed.rows, lattice.placed.sign, lattice.guesses):
        if not guesses or np.exp(guesses[0].log_p) < least:
            continue
        g = guesses[0]
        X = np.repeat(g.first[None], len(row.step), 0)
        X[:, row.axis] += sign * row.step
        place.append(X)
        axis.append(np.full(len(X), row.axis))
        weight.append(np.full(len(X), np.exp(g.log_p)))
        normal.append(np.repeat(g.normal[None], len(X), 0))
    if not place:
        return Cells(np.zeros((0, 3)), np.zeros(0, int), np.zeros(0), np.zeros((0, 3)))
    return Cells(np.concatenate(place), np.concatenate(axis), np.concatenate(weight), np.concatenate(normal))


def turned_cells(cells: Cells, turn: np.ndarray, shift=np.zeros(3)) -> Cells:
    new_axis = np.abs(turn).argmax(0)  # column j of the turn is where axis j goes
    return Cells(cells.place @ turn.T + shift, new_axis[cells.axis], cells.weight, cells.normal @ turn.T)


def vote_shift(a: Cells, b: Cells, turn: np.ndarray, grid: float, most: int = 6):
    """Shifts that lay most of b's cells (turned) on a's: [(votes, shift (3,))]."""
    tb = turned_cells(b, turn)
    diffs, votes = [], []
    for j in range(3):
        p, q = a.axis == j, tb.axis == j
        if not p.any() or not q.any():
            continue
        d = a.place[p][:, None] - tb.place[q][None]
        diffs.append(np.rint(d.reshape(-1, 3) / grid).astype(np.int64))
        votes.append((a.weight[p][:, None] * tb.weight[q][None]).ravel())
    if not diffs:
        return []
    d, w = np.concatenate(diffs), np.concatenate(votes)
    base = 4096
    code = ((d[:, 0] + base // 2) * base + d[:, 1] + base // 2) * base + d[:, 2] + base // 2
    uniq, inverse = np.unique(code, return_inverse=True)
    total = np.bincount(inverse, w)
    out = []
    for i in np.argsort(-total)[:most]:
        c = int(uniq[i])
        s = np.array([c // base**2, c // base % base, c % base]) - base // 2
        out.append((float(total[i]), s * grid))
    return out


def moved_camera(camera: Camera, turn: np.ndarray, shift: np.ndarray) -> Camera:
    """The camera when its world is turned and shifted: X' = turn X + shift."""
    return camera.moved(turn, shift)


def moved_lattice(lattice: PhotoLattice, turn: np.ndarray, shift: np.ndarray) -> PhotoLattice:
    """A photo's lattice expressed in another photo's world."""
    new_axis = np.abs(turn).argmax(0)
    sense = turn.sum(0)  # sign with which axis j goes there
    pl = lattice.placed
    rows = [replace(r, axis=int(new_axis[r.axis])) for r in pl.rows]
    sign = np.array([s * sense[r.axis] for r, s in zip(pl.rows, pl.sign)])
    placed = replace(
        pl,
        rows=rows,
        sign=sign,
        place=pl.place @ turn.T + shift,
        cov=turn @ pl.cov @ turn.T,
        normal=pl.normal @ turn.T,
    )
    guesses = [
        [LatticeGuess(turn @ g.first + shift, turn @ g.normal, g.log_p) for g in gs] for gs in lattice.guesses
    ]
    return PhotoLattice(moved_camera(lattice.camera, turn, shift), placed, guesses, lattice.agreement)


def fit_score(view, camera: Camera, cells: Cells, width: float) -> float:
    """Evidence (nats) that a photo at ``camera`` sees openings on the given cells, on any face turned to it."""
    v = with_camera(view, camera)
    best = np.full(len(cells.place), -np.inf)
    for j in range(3):
        for s in (1, -1):
            n = np.zeros(3)
            n[j] = s
            ok = cells.axis != j
            if not ok.any():
                continue
            see = look(v, cells.place + 0.5 * width * n, np.repeat(n[None], len(cells.place), 0))
            llr = np.where(ok & see.visible, see.llr, -np.inf)
            best = np.maximum(best, llr)
    # A cell out of sight of this photo says nothing; a hidden one cannot be told from a miss here, so misses weigh little.
    seen = np.isfinite(best)
    total = np.where(best[seen] > 0, best[seen], 0.35 * best[seen]).sum()
    return float(total)


def join(view_b, lattice_b: PhotoLattice, cells_a: Cells, width: float, grid: float, views_a=()):
    """Best turns and shifts of photo b into a's world: [(score, votes, turn, shift)], best first."""
    cells_b = cells_of(lattice_b)
    if not len(cells_b.place):
        return []
    hyps = []
    for t in rotations():
        for votes, shift in vote_shift(cells_a, cells_b, t, grid):
            hyps.append((votes, t, shift))
    hyps.sort(key=lambda h: -h[0])
    out = []
    for votes, t, s in hyps[:24]:
        cam = moved_camera(lattice_b.camera, t, s)
        score = fit_score(view_b, cam, cells_a, width)
        moved = turned_cells(cells_b, t, s)
        for v in views_a:
            score += fit_score(v, v.camera, moved, width)
        out.append((score, votes, t, s))
    out.sort(key=lambda h: -h[0])
    return out
