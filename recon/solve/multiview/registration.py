"""Registration of one photo on others: the turn and shift under which their lattices see the same members."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from recon.geometry.arrays import FloatArray, IntArray
from recon.geometry.camera import Camera
from recon.geometry.lattice import rotations
from recon.solve.evidence.candidate import Candidate
from recon.solve.evidence.posed_photo import PosedPhoto, with_camera
from recon.solve.evidence.predictions import match_predictions
from recon.solve.photo.photo_lattice import LatticeGuess, PhotoLattice

LEAST_CHANCE = 0.4  # of a row's best guess, from which its holes count; this project's choice
DENSE = 16  # range of codes over their number up to which counting is quicker than sorting; measured
SAME_PLACE = 1 / 64  # pitches: lattices in one world lie on one another but for rounding
MOST_SHIFTS = 6  # shifts tried for each turn, most votes first; bounds the time
MOST_PLACEMENTS = 24  # turns and shifts judged by evidence, most votes first; bounds the time
MISS_WEIGHT = 0.35  # of a miss: a hidden hole cannot be distinguished from a missed one here


@dataclass(frozen=True)
class Cells:
    """Hole centres that photos show.

    Attributes
    ----------
    place : array, (N, 3)
        Pitches.
    axis : int array, (N,)
        Of the member, 0 to 2.
    weight : array, (N,)
        Chance that the hole is there.
    times : array, (N,)
        How often it is shown: by rows on several faces, in several photos.
    """

    place: FloatArray
    axis: IntArray
    weight: FloatArray
    times: FloatArray


# What a photo sees of another's cells: its name, turn and shift that lay them there, as bytes -> nats.
KeptScores = dict[tuple[str, bytes, bytes], float]
NO_CELLS = Cells(np.zeros((0, 3)), np.zeros(0, int), np.zeros(0), np.zeros(0))


@dataclass(frozen=True)
class Placement:
    """Where a photo's lattice may lie in another world: X' = turn X + shift.

    Attributes
    ----------
    score : float
        Nats that the photos give one another there.
    votes : float
        Cells that coincide, by weight.
    turn : array
        (3, 3), one of the 24 rotations of the lattice.
    shift : array, (3,)
        Pitches.
    """

    score: float
    votes: float
    turn: FloatArray
    shift: FloatArray


def together(cells: Sequence[Cells]) -> Cells:
    """Cells of several photos in one world."""
    return Cells(*(np.concatenate([getattr(c, f.name) for c in cells]) for f in fields(Cells)))


def cells_of(lattice: PhotoLattice, least: float = LEAST_CHANCE) -> Cells:
    """Holes of a photo's rows, each row where it most likely lies; no rows less likely than ``least``."""
    cells = []
    for row, sign, guesses in zip(lattice.placed.rows, lattice.placed.sign, lattice.guesses):
        if not guesses or np.exp(guesses[0].log_p) < least:
            continue
        g = guesses[0]
        n = len(row.step)
        X = np.repeat(g.first[None], n, 0)
        X[:, row.axis] += sign * row.step
        cells.append(Cells(X, np.full(n, row.axis), np.full(n, np.exp(g.log_p)), np.ones(n)))
    return together(cells) if cells else NO_CELLS


def merged(cells: Cells) -> Cells:
    """The cells with those that are one hole, shown by several rows, taken together.

    Examples
    --------
    >>> twice = merged(together([cells_of_candidates([Candidate.bare(0, [0, 0, 0], 2)])] * 2))
    >>> twice.place.tolist(), twice.weight.tolist()
    ([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0]], [2.0, 2.0])
    """
    if not len(cells.place):
        return cells
    q = np.rint(cells.place / SAME_PLACE).astype(np.int64)
    q -= q.min(0)
    code = ((q[:, 0] * (q[:, 1].max() + 1) + q[:, 1]) * (q[:, 2].max() + 1) + q[:, 2]) * 3 + cells.axis
    _, first, number = np.unique(code, return_index=True, return_inverse=True)
    weight, times = (np.asarray(np.bincount(number, x), float) for x in (cells.weight, cells.times))
    return Cells(cells.place[first], cells.axis[first], weight, times)


def cells_of_candidates(candidates: Sequence[Candidate]) -> Cells:
    """All holes of candidates, each as sure as the next."""
    cells = []
    for c in candidates:
        X = np.repeat(c.first[None], c.holes, 0)
        X[:, c.axis] += np.arange(c.holes)
        cells.append(Cells(X, np.full(c.holes, c.axis), np.ones(c.holes), np.ones(c.holes)))
    return together(cells) if cells else NO_CELLS


def turned_cells(cells: Cells, turn: FloatArray, shift: FloatArray | None = None) -> Cells:
    """The cells in another world: X' = turn X + shift."""
    new_axis = np.abs(turn).argmax(0)  # column j of the turn is where axis j goes
    place = cells.place @ turn.T
    if shift is not None:
        place = place + shift
    return replace(cells, place=place, axis=new_axis[cells.axis])


def vote_shift(
    a: Cells, b: Cells, turn: FloatArray, grid: float, most: int = MOST_SHIFTS
) -> list[tuple[float, FloatArray]]:
    """Shifts that lay most of b's cells, turned, on a's; cells of members along one axis vote for each other.

    Parameters
    ----------
    a, b : Cells
        Cells in two worlds.
    turn : array, (3, 3)
        From b's world to a's.
    grid : float
        Pitches; shifts are multiples of it.
    most : int
        How many shifts to return.

    Returns
    -------
    Votes and shift (3,) pitches, most votes first.

    Examples
    --------
    >>> cells = cells_of_candidates([Candidate.bare(0, [0, 0, 0], 5), Candidate.bare(2, [2, 1, -2], 5)])
    >>> moved = turned_cells(cells, np.eye(3), np.array([3, 0, -2]))
    >>> votes, shift = vote_shift(cells, moved, np.eye(3), 1.0)[0]
    >>> votes, shift.tolist()
    (10.0, [-3.0, 0.0, 2.0])
    """
    tb = turned_cells(b, turn)
    pairs = [(a.axis == j, tb.axis == j) for j in range(3)]
    pairs = [(p, q) for p, q in pairs if p.any() and q.any()]
    if not pairs:
        return []
    # All lie on one lattice, but for a shift of each world: whole steps may be taken before the differences.
    off_a, off_b = a.place[pairs[0][0]][0], tb.place[pairs[0][1]][0]
    A, B = (np.rint((c.place - off) / grid).astype(np.int64) for c, off in ((a, off_a), (tb, off_b)))
    low = A.min(0) - B.max(0)
    base = (A.max(0) - B.min(0) - low + 1).tolist()
    from_a, from_b = ((x[:, 0] * base[1] + x[:, 1]) * base[2] + x[:, 2] for x in (A, B))
    start = (low[0] * base[1] + low[1]) * base[2] + low[2]
    code = np.concatenate([(from_a[p][:, None] - from_b[q]).ravel() for p, q in pairs]) - start
    w = np.concatenate([(a.weight[p][:, None] * tb.weight[q]).ravel() for p, q in pairs])
    uniq, total = _summed(code, w)
    low = low + np.rint((off_a - off_b) / grid).astype(np.int64)
    out = []
    for i in np.argsort(-total)[:most]:
        c = int(uniq[i])
        s = np.array([c // base[2] // base[1], c // base[2] % base[1], c % base[2]]) + low
        out.append((float(total[i]), s * grid))
    return out


def _summed(code: IntArray, weight: FloatArray) -> tuple[IntArray, FloatArray]:
    """The distinct codes in rising order, and the sum of the weights of each."""
    if np.ptp(code) > DENSE * len(code):
        some, inverse = np.unique(code, return_inverse=True)
        return some, np.asarray(np.bincount(inverse, weight), float)
    low = code.min()
    there = np.nonzero(np.bincount(code - low))[0]
    return there + low, np.asarray(np.bincount(code - low, weight), float)[there]


def moved_lattice(lattice: PhotoLattice, turn: np.ndarray, shift: np.ndarray) -> PhotoLattice:
    """A photo's lattice expressed in another photo's world."""
    new_axis = np.abs(turn).argmax(0)
    sense = turn.sum(0)  # sign with which axis j goes there
    pl = lattice.placed
    rows = [replace(r, axis=int(new_axis[r.axis])) for r in pl.rows]
    sign = np.array([s * sense[r.axis] for r, s in zip(pl.rows, pl.sign)])
    # The faces of a row are in the order of the axes that their normals lie along.
    normal = pl.normal @ turn.T
    order = np.argsort(np.abs(normal).argmax(2), 1)[..., None]
    placed = replace(
        pl,
        rows=rows,
        sign=sign,
        place=pl.place @ turn.T + shift,
        cov=turn @ pl.cov @ turn.T,
        normal=np.take_along_axis(normal, order, 1),
        face_log=np.take_along_axis(pl.face_log, order[..., 0], 1),
    )
    guesses = [
        [LatticeGuess(turn @ g.first + shift, turn @ g.normal, g.log_p) for g in gs] for gs in lattice.guesses
    ]
    return replace(lattice, camera=lattice.camera.moved(turn, shift), placed=placed, guesses=guesses)


def fit_score(photo: PosedPhoto, camera: Camera, cells: Cells, width: float) -> float:
    """Nats for a photo, taken with ``camera``, seeing openings on the cells, on any face turned to it."""
    posed = photo if camera is photo.camera else with_camera(photo, camera)
    faces = [s * np.eye(3)[j] for j in range(3) for s in (1.0, -1.0)]
    beside = [np.nonzero(cells.axis != j)[0] for j in range(3) for _ in range(2)]
    normal = np.repeat(faces, [len(b) for b in beside], 0)
    cell = np.concatenate(beside)
    seen = match_predictions(posed, cells.place[cell] + 0.5 * width * normal, normal)
    best = np.full(len(cells.place), -np.inf)
    np.maximum.at(best, cell[seen.visible], seen.llr[seen.visible])
    # A cell out of sight of this photo says nothing.
    in_sight = np.isfinite(best)
    llr = best[in_sight]
    return float(np.where(llr > 0, llr, MISS_WEIGHT * llr) @ cells.times[in_sight])


def lattice_grid(width: float) -> float:
    """Pitches of which shifts between two photos' lattices are multiples."""
    return 1.0 if width == round(width) else 0.25


def register(
    photo: PosedPhoto,
    lattice: PhotoLattice,
    known: Cells,
    width: float,
    known_photos: Sequence[PosedPhoto] = (),
    turns: IntArray | None = None,
    kept: KeptScores | None = None,
) -> list[Placement]:
    """Turns and shifts of a photo's lattice into the world of known cells, best first.

    Turns and shifts with most votes are judged by what the photo sees of the known cells, and the known
    photos of its own.

    Parameters
    ----------
    photo, lattice : PosedPhoto or PhotoLattice
        The photo, in a world of its own.
    known : Cells
        Cells in the other world.
    width : float
        Of the members, pitches.
    known_photos : Sequence[PosedPhoto]
        Photos in the other world.
    turns : array, (N, 3, 3), or None
        Those tried: reflections, too; None for the 24 rotations.
    kept : KeptScores or None
        What known photos saw of the photo's cells before; takes what they see now.
    """
    kept = {} if kept is None else kept
    own = merged(cells_of(lattice))
    if not len(own.place):
        return []
    trials = [
        (votes, turn, shift)
        for turn in (rotations() if turns is None else turns)
        for votes, shift in vote_shift(known, own, turn, lattice_grid(width))
    ]
    trials.sort(key=lambda t: -t[0])
    out = []
    for votes, turn, shift in trials[:MOST_PLACEMENTS]:
        score = fit_score(photo, lattice.camera.moved(turn, shift), known, width)
        moved = turned_cells(own, turn, shift)
        for other in known_photos:
            key = other.name, turn.tobytes(), shift.tobytes()
            if key not in kept:
                kept[key] = fit_score(other, other.camera, moved, width)
            score += kept[key]
        out.append(Placement(score, votes, turn, shift))
    return sorted(out, key=lambda p: -p.score)
