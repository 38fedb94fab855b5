"""The lattice of one photo: pose and scale fall out of the demand that all rows lie on one lattice.

With unit pitch every row has a place in space and an uncertainty (long thin ellipsoids towards the
camera).  All centre lines must agree modulo one pitch along each axis; a row lies half a width off its
centre line, on one of the two faces that can be seen.  The common phase, the focal length that makes
the rows agree best, and each row's lattice line follow from that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from recon.geometry.arrays import FloatArray
from recon.geometry.camera import Camera, world2camera
from recon.geometry.lattice import lattice_classes, snap
from recon.solve.evidence.camera_prior import CameraPrior
from recon.solve.photo.axis_rows import AxisRow
from recon.solve.photo.placed_rows import PlacedRows, place_axis_rows
from recon.solve.photo.resection import resect

PHASES = np.arange(0, 1, 0.02)  # pitches: phases tried along each axis
FOCAL_SIGMA = 0.01  # standard error of ln f from vanishing points, where nothing else is free
FOCAL_TRIALS = np.linspace(-2.5, 2.5, 21)  # focal lengths tried, in standard errors of ln f
MOST_SOLUTIONS = 3
PLAY = 0.06  # pitches that openings of a frame bolted by hand lie off its lattice (0.045 to 0.064 on six)
NEAREST_ROW = 0.5  # pitches before the camera
CLASS_DECIMALS = 3  # places within a pitch are told apart to this; rows are known to a hundredth of a pitch
SURE_ROWS = (0.75, 0.6, 0.5, 0.5)  # probability from which a row's best guess is used, round by round
CLUTTER_LIKE = 0.15  # density with which a row lies anywhere in a pitch: clutter, and what no class explains
MOST_SIGMA = 0.5  # pitches: a row less well known along an axis says nothing of the phase there
TIE = (
    1e-9  # votes that differ by less are equal: phases half a pitch apart are, where widths are half a pitch
)
ROWS_AT_ONCE = 16  # searched for lattice points: bounds memory
MOST_CHI2 = 16.0  # squared distance, in standard errors, of a lattice point from the row


@dataclass(frozen=True)
class LatticeGuess:
    """Where a row may lie.

    Attributes
    ----------
    first : (3,) centre of its first hole, pitches, on the lattice.
    normal : (3,) outward normal of its face.
    log_p : log probability.
    """

    first: FloatArray
    normal: FloatArray
    log_p: float


@dataclass(frozen=True)
class PhotoLattice:
    """One photo solved.

    Attributes
    ----------
    camera : posed on the lattice.
    placed : its rows.
    guesses : for each row its lattice guesses, best first.
    agreement : 0..1, share of the rows' evidence whose place is sure.
    """

    camera: Camera
    placed: PlacedRows
    guesses: list[list[LatticeGuess]]
    agreement: float
    play: float = 0.0


def upright_axes(camera: Camera) -> Camera:
    """The same axes renamed: z is the one most upright in the photo and points up; right-handed.

    Examples
    --------
    >>> import numpy as np
    >>> upright_axes(Camera(1000.0, 0.0, 0.0)).R + 0.0
    array([[ 1.,  0.,  0.],
           [ 0.,  0., -1.],
           [ 0.,  1.,  0.]])
    """
    R = camera.R
    z = int(np.abs(R[1]).argmax())
    up = -np.sign(R[1, z]) * R[:, z]
    rest = [j for j in range(3) if j != z]
    x = R[:, rest[0]] * (np.sign(R[0, rest[0]]) or 1)
    y = R[:, rest[1]] * (np.sign(np.cross(up, x) @ R[:, rest[1]]) or 1)
    return replace(camera, R=np.c_[x, y, up])


def _phase_vote(placed: PlacedRows, width: float, classes: FloatArray) -> tuple[FloatArray, float]:
    """(3,) phases and their score: where whole pitches and half widths agree best, axis by axis."""
    phase, score = np.zeros(3), 0.0
    axes = np.array([r.axis for r in placed.rows], int)
    p_face = np.exp(placed.face_log)
    # A row is worth its evidence, up to a limit: its errors are common to all its openings.
    worth = np.clip(np.array([r.evidence for r in placed.rows]) / 15, 0.0, 5.0)
    for c in range(3):
        spread = np.sqrt(placed.cov[:, c, c])
        sure = spread <= MOST_SIGMA
        # Along itself a row lies where it was placed, across by half a width on either face.
        along = axes[sure, None] == c
        centre = placed.place[sure, None, c] - np.where(along, 0.0, 0.5 * width * placed.normal[sure, :, c])
        chance = np.where(along, 0.5, p_face[sure])
        off = centre[..., None, None] - PHASES[:, None] - classes
        like = _wrapped_normal(off, spread[sure, None, None, None]).mean(-1)  # (R, 2, phases)
        terms = CLUTTER_LIKE + (chance[..., None] * like).sum(1)
        votes = (worth[sure, None] * np.log(terms)).sum(0)
        phase[c] = PHASES[(votes > votes.max() - TIE).argmax()]
        score += votes.max()
    return phase, float(score)


def _wrapped_normal(x: FloatArray, sigma: FloatArray) -> FloatArray:
    """Density of a wrapped normal of period 1, good to 1e-6 for sigma < 0.5."""
    y = x - np.rint(x)
    total = sum((np.exp(-0.5 * ((y + k) / sigma) ** 2) for k in (-1, 0, 1)), np.zeros(()))
    return total / (sigma * np.sqrt(2 * np.pi))


def guess_rows(
    placed: PlacedRows, width: float, classes: FloatArray, most: int = 12
) -> list[list[LatticeGuess]]:
    """Lattice lines near each row, best first, with probabilities that sum to one.

    Parameters
    ----------
    placed : R rows on the lattice
    width : of the members, pitches
    classes : fractions at which centre lines may lie (:func:`recon.geometry.lattice.lattice_classes`)
    most : guesses a row at most

    Returns
    -------
    R lists; an empty one for a row that no lattice line is near.
    """
    near: list[dict[tuple[float, ...], tuple[float, FloatArray, FloatArray]]] = [{} for _ in placed.rows]
    for i, f, p, log in _lattice_points_near(placed, width, classes):
        key = tuple(p.tolist())
        if key not in near[i] or near[i][key][0] < log:
            near[i][key] = (log, p, placed.normal[i, f])
    out = []
    for points in near:
        ranked = sorted(points.values(), key=lambda c: -c[0])[:most]
        total = np.logaddexp.reduce([log for log, _, _ in ranked] + [-8.0])
        out.append([LatticeGuess(p, n, float(log - total)) for log, p, n in ranked])
    return out


def _lattice_points_near(
    placed: PlacedRows, width: float, classes: FloatArray
) -> list[tuple[int, int, FloatArray, float]]:
    """Row, face, first hole and log likelihood of all lattice points in the rows' ellipsoids."""
    if not len(placed.rows):
        return []
    val, vec = np.linalg.eigh(placed.cov)
    info = np.linalg.inv(placed.cov)
    centre = placed.place[:, None] - 0.5 * width * placed.normal  # (R, 2, 3)
    reach = 3.2 * np.sqrt(val[:, 2])
    found = []
    order = np.argsort(reach)  # rows whose ellipsoids are about as long are searched together
    for rows in (order[i : i + ROWS_AT_ONCE] for i in range(0, len(order), ROWS_AT_ONCE)):
        steps = np.arange(0, 2 * reach[rows].max() + 0.2, 0.2)
        # Covers the two short axes, too: all lattice points within a cell of the line.
        along = (steps - reach[rows, None])[:, None, :, None]
        line = centre[rows, :, None] + along * vec[rows, None, None, :, 2]
        lattice, _ = snap(line, classes)  # along as across: laps round a corner shift members both ways
        lattice = np.round(lattice, 3) + 0.0
        new = np.ones(lattice.shape[:3], bool)  # the line runs on: a point is met in one stretch of it
        new[:, :, 1:] = (lattice[:, :, 1:] != lattice[:, :, :-1]).any(-1)
        off = lattice - centre[rows, :, None]
        m = ((off @ info[rows, None]) * off).sum(-1)
        inside = new & (m < MOST_CHI2) & (steps <= 2 * reach[rows, None] + 0.2)[:, None]
        for k, f, t in np.argwhere(inside):
            i = int(rows[k])
            found.append((i, int(f), lattice[k, f, t], float(placed.face_log[i, f] - 0.5 * m[k, f, t])))
    return found


def solve_lattice(
    cameras: Sequence[Camera],
    openings: np.ndarray,
    rows: list[AxisRow],
    width: float,
    prior: CameraPrior | None = None,
    most: int = MOST_SOLUTIONS,
) -> list[PhotoLattice]:
    """Pose a photo on the lattice of its own rows: a few solutions, best first.

    Parameters
    ----------
    cameras : upright, t = 0: the one from the vanishing points, and others that may be the true one
    openings : (N,), dtype OPENING
    rows : found along its axes, those trusted
    width : of the members, pitches
    prior : of the camera; without one its principal point and the frame's squareness are kept
    most : solutions at most

    Returns
    -------
    Empty if there are too few rows.

    Examples
    --------
    >>> import numpy as np
    >>> from recon.image.openings import OPENING
    >>> solve_lattice([Camera(1000.0, 799.5, 599.5)], np.zeros(0, OPENING), [], 1.0)
    []
    """
    if len(rows) < 3:
        return []
    classes = lattice_classes([width], decimals=CLASS_DECIMALS)
    play = PLAY if prior else 0.0
    faces = place_axis_rows(cameras[0], openings, rows, play=play)
    trials = []
    for trial in cameras:
        phase, score = _phase_vote(place_axis_rows(trial, openings, rows, faces, play), width, classes)
        off = np.log(trial.f / cameras[0].f) / FOCAL_SIGMA
        trials.append((score if prior else score - 0.5 * off**2, trial, phase))
    trials.sort(key=lambda t: -t[0])
    # The vote looks at each axis by itself; the best few are settled by solving them.
    chosen: list = []
    for t in trials:
        if len(chosen) < most and all(prior or _apart(t[1], c[1]) for c in chosen):
            chosen.append(t)
    solved = [_settled(trial, phase, openings, faces, width, classes, prior) for _, trial, phase in chosen]
    return sorted(solved, key=lambda s: -s.agreement)


def focal_trials(camera: Camera) -> list[Camera]:
    """The camera, and with other focal lengths within the error of the vanishing points."""
    return [
        camera,
        *(replace(camera, f=camera.f * float(np.exp(d * FOCAL_SIGMA))) for d in FOCAL_TRIALS if d),
    ]


def _apart(a: Camera, b: Camera) -> bool:
    return abs(np.log(a.f / b.f)) > 0.6 * FOCAL_SIGMA


def _settled(
    camera: Camera,
    phase: FloatArray,
    openings: np.ndarray,
    faces: PlacedRows,
    width: float,
    classes: FloatArray,
    prior: CameraPrior | None,
) -> PhotoLattice:
    """The lattice from a phase: rows guessed and the camera resected on the sure ones, by turns."""
    rows, play = faces.rows, PLAY if prior else 0.0
    camera = replace(camera, t=camera.R @ phase)
    for limit in SURE_ROWS:
        placed = place_axis_rows(camera, openings, rows, faces, play)
        guesses = guess_rows(placed, width, classes)
        sure = [i for i, g in enumerate(guesses) if g and np.exp(g[0].log_p) > limit]
        if len(sure) < 3:
            break
        known = _correspondences(camera, placed, guesses, sure, openings, width, play)
        focal = None if prior else camera.f
        camera = resect(camera, *known, focal_prior=focal, prior=prior)
    placed = place_axis_rows(camera, openings, rows, faces, play)
    guesses = guess_rows(placed, width, classes)
    weight = np.array([r.evidence for r in rows], float)
    chance = best_chances(guesses)
    agreement = float((weight * chance).sum() / weight.sum())
    sure = np.nonzero(chance > SURE_ROWS[-1])[0].tolist()
    if sure and prior:
        world, image, _ = _correspondences(camera, placed, guesses, sure, openings, width, play)
        play = _play(camera, world, image)
    return PhotoLattice(camera, placed, guesses, agreement, play)


def _play(camera: Camera, world: FloatArray, image: FloatArray) -> float:
    """How far openings lie off the lattice, pitches: the spread of their reprojection errors, robustly.

    The median of the squared length of a two-dimensional normal error is 2 ln 2 times its variance.
    """
    depth = np.maximum(world2camera(camera, world)[:, 2], NEAREST_ROW)
    error = np.linalg.norm(camera.project(world) - image, axis=1) * depth / camera.f
    return float(np.sqrt(np.nanmedian(error**2) / (2 * np.log(2))))


def laid_again(lattice: PhotoLattice, camera: Camera, openings: np.ndarray, width: float) -> PhotoLattice:
    """The rows of a lattice placed and guessed again under another camera on it.

    Parameters
    ----------
    lattice : to begin with
    camera : posed on it
    openings : (N,), dtype OPENING
    width : of the members, pitches
    """
    placed = place_axis_rows(camera, openings, lattice.placed.rows, lattice.placed, lattice.play)
    guesses = guess_rows(placed, width, lattice_classes([width], decimals=CLASS_DECIMALS))
    weight = np.array([r.evidence for r in placed.rows], float)
    agreement = float((weight * best_chances(guesses)).sum() / weight.sum())
    return replace(lattice, camera=camera, placed=placed, guesses=guesses, agreement=agreement)


def best_chances(guesses: list[list[LatticeGuess]]) -> FloatArray:
    """(R,) probability of each row's best guess, 0 where it has none."""
    return np.array([np.exp(g[0].log_p) if g else 0.0 for g in guesses])


def guess_openings(row: AxisRow, sign: float, guess: LatticeGuess, width: float) -> FloatArray:
    """Where a guess puts the openings of a row.

    Parameters
    ----------
    row : M openings
    sign : +1 or -1, whether its steps count along +axis or -axis
    guess : one of the row's
    width : of the members, pitches

    Returns
    -------
    (M, 3) pitches.
    """
    X = np.repeat((guess.first + 0.5 * width * guess.normal)[None], len(row.step), 0)
    X[:, row.axis] += sign * row.step
    return X


def _correspondences(
    camera: Camera,
    placed: PlacedRows,
    guesses: list[list[LatticeGuess]],
    which: list[int],
    openings: np.ndarray,
    width: float,
    play: float,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """World points (N, 3), image points (N, 2) and sigma (N,) px of the rows' best guesses."""
    world, image, sigma = [], [], []
    for i in which:
        r = placed.rows[i]
        world.append(guess_openings(r, placed.sign[i], guesses[i][0], width))
        image.append(np.c_[openings["x"][r.index], openings["y"][r.index]])
        depth = np.maximum(world2camera(camera, world[-1])[:, 2], NEAREST_ROW)
        sigma.append(np.hypot(placed.points.sigma[i], play * camera.f / depth))
    return np.concatenate(world), np.concatenate(image), np.concatenate(sigma)
