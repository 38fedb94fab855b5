"""All that one photo shows by itself: openings, rows, camera, lattice."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from recon.geometry.arrays import BoolArray, FloatArray, IntArray
from recon.geometry.camera import Camera
from recon.geometry.lattice import lattice_classes
from recon.image.openings import alike_density
from recon.image.rows import Row, find_rows, pattern_directions
from recon.image.scales import find_openings
from recon.solve.evidence.camera_prior import CameraPrior, camera_prior
from recon.solve.evidence.candidate import Candidate
from recon.solve.evidence.posed_photo import make_posed_photo
from recon.solve.photo.axis_rows import AxisRow, find_axis_rows
from recon.solve.photo.beyond_planes import better_of, planes_of, share_on
from recon.solve.photo.camera_samples import drawn_cameras
from recon.solve.photo.clutter_rows import clutter_level
from recon.solve.photo.hole_size import hole_of_members, hole_of_rows
from recon.solve.photo.photo_choice import Explained, choose_solution, explained_by_members
from recon.solve.photo.photo_lattice import (
    CLASS_DECIMALS,
    MOST_SOLUTIONS,
    PhotoLattice,
    best_chances,
    focal_trials,
    guess_rows,
    solve_lattice,
    upright_axes,
)
from recon.solve.photo.photo_reading import PhotoReading, explained_nats
from recon.solve.photo.placed_rows import place_axis_rows, twin_width
from recon.solve.photo.row_points import RowPoints, row_points, row_shares
from recon.solve.photo.turned_axes import turned_axes
from recon.solve.photo.vanishing_points import AxesCamera, camera_hypotheses, find_vanishing_points, with_axes

SEED_OPENINGS = 2000  # best-scored openings that first rows grow from: bounds time on gravel
AXIS_OPENINGS = 5000  # openings looked at once the camera is known
# Of these in rows along the axes, from which the photo is read again with all: then what is left is the
# frame's, too, and no clutter.  0.7 on a made-up frame of 384 members; this project's choice.
MOSTLY_FRAME = 0.5
LEAST_OPENINGS = 12  # fewer make no three rows; this project's choice
LEAST_ROW_EVIDENCE = 6.0  # nats: a row in 400 of clutter
SURE_ROW = -1.0  # log10 of how many such rows chance gives in a photo, at most, for a row that is counted
# Where sheets have most of the sure rows, and all else fewer clear ones than fix a camera, no frame bolted by
# hand is sought: of 8 pictures of printed dots 1 leaves as many, of 3 of a frame on a floor of dots all do.
CLEAR_ROW, ENOUGH_BESIDES = -4.0, 3
PATTERN_DIRECTIONS = 3  # directions in which an opening of tiles or a grating repeats; a member's in one
LEAST_PATTERN_SHARE = 0.1  # of first rows, for a reading beyond plane patterns; this project's choice
# Where a frame may be racked; bounds the time on patterns.  Photos of frames gave at most 89.
MOST_LATTICE_ROWS = 120
# Of the evidence of a photo's rows, what its members mostly explain at least under a right camera: of 347
# right ones 279 explained more, of 25 wrong ones 4.
LITTLE = 0.5
MOST_DRAWN = 10  # lattices solved under cameras that were drawn, best vote first; bounds the time
LEAST_CAMERA_SCORE = 0.3  # of the best camera's score, for another one to be tried; this project's choice
HOLE_RANGE = (0.45, 2.2)  # of the photo's hole: rows with others have another pitch; this project's choice
# Pitches: drilled square stock, and punched post 1.5 to 2.5 in.
KNOWN_WIDTHS = (1.0, 1.5, 1.75, 2.0, 2.25, 2.5)
SEEN_WIDTH = 0.97  # of the true width: measured widths come out 2 to 5 % small


def read_openings(bgr: np.ndarray, seen: Callable[[np.ndarray], object] | None = None) -> np.ndarray:
    """Openings (N,), dtype OPENING, of a (H, W, 3) uint8 BGR photo, best first.

    seen : called with those that are known before all are, for whoever watches
    """
    return find_openings(bgr, seen=seen)


@dataclass(frozen=True)
class _Detections:
    """What a photo shows before its camera is known.

    Attributes
    ----------
    name, size, openings : as in PhotoReading.
    density : (N,) openings per px^2 round each.
    pattern : (N,) in how many directions each opening repeats.
    rows : first rows, among the openings with the best scores.
    points : their padded arrays.
    share : (R,) their weights 0..1.
    least_evidence : nats, from which a row along an axis is more than clutter's.
    """

    name: str
    size: tuple[int, int]
    openings: np.ndarray
    density: FloatArray
    pattern: IntArray
    rows: list[Row]
    points: RowPoints
    share: FloatArray
    least_evidence: float = LEAST_ROW_EVIDENCE


def read_photo(
    name: str,
    openings: np.ndarray,
    size: tuple[int, int],
    focal_px: float | None,
    width: float | None = None,
    most_cameras: int = 3,
) -> PhotoReading:
    """Rows, camera and lattice of one photo.

    Parameters
    ----------
    name : of the photo
    openings : (N,), dtype OPENING, all detections, best first
    size : width, height, px
    focal_px : focal length from EXIF, px, or None
    width : of the members in pitches where known; else estimated
    most_cameras : cameras tried at most

    Returns
    -------
    Without a lattice, and with the reason, where there is none.

    Examples
    --------
    >>> import numpy as np
    >>> from recon.image.openings import OPENING
    >>> read_photo("wall.jpg", np.zeros(3, OPENING), (1600, 1200), None).reason
    'hardly any openings can be seen'
    """
    reading = _read_alone(name, openings[:AXIS_OPENINGS], size, focal_px, width, most_cameras)
    if len(openings) > AXIS_OPENINGS and reading.lattice is not None:
        rows = [row.index for row in reading.lattice.placed.rows]
        if rows and len(np.unique(np.concatenate(rows))) > MOSTLY_FRAME * AXIS_OPENINGS:
            return _read_alone(name, openings, size, focal_px, width, most_cameras)
    return reading


def _read_alone(
    name: str,
    openings: np.ndarray,
    size: tuple[int, int],
    focal_px: float | None,
    width: float | None,
    most_cameras: int,
) -> PhotoReading:
    """:func:`read_photo` with all the openings given."""
    nothing = PhotoReading(name, size, openings, None, None, (1.0, np.inf), 0.0)
    if len(openings) < LEAST_OPENINGS:
        return replace(nothing, reason="hardly any openings can be seen")
    planes = planes_of(openings)
    off = openings[~planes.sheets]
    seen = _first_rows(name, off, size)
    if len(seen.rows) < 3:
        return replace(nothing, reason="no rows of openings can be seen")
    most = 1 if _only_sheets(seen, openings, planes.sheets) else most_cameras
    reading = _read(seen, focal_px, width, most)
    if planes.each_sheet and reading is not None and reading.lattice is not None:
        fewer = planes.without_members(reading.lattice.camera)
        if len(fewer.each_sheet) < len(planes.each_sheet):
            planes, off = fewer, openings[~fewer.sheets]
            seen = _first_rows(name, off, size)
            reading = _read(seen, focal_px, width, most)
    reading = _without(reading, openings[planes.sheets])
    wide = planes.wide[~planes.sheets]
    if share_on(wide, [r.index for r in seen.rows]) > LEAST_PATTERN_SHARE:
        apart = _first_rows(name, off[~wide], size)
        beyond = _read(apart, focal_px, width, most) if len(apart.rows) >= 3 else None
        beyond = _without(beyond, openings[planes.sheets | planes.wide])
        reading = better_of(reading, beyond, planes.wide_evidence)
    return reading or replace(nothing, reason="its rows of openings fit no camera")


def _without(reading: PhotoReading | None, left_out: np.ndarray) -> PhotoReading | None:
    """A reading that knows which openings were left out."""
    return replace(reading, left_out=left_out) if reading and len(left_out) else reading


def _only_sheets(seen: _Detections, openings: np.ndarray, sheets: BoolArray) -> bool:
    """Are sheets nearly all that rows of openings show?  `seen` has what they leave."""
    if not sheets.any() or sum(r.log_nfa <= CLEAR_ROW for r in seen.rows) >= ENOUGH_BESIDES:
        return False
    besides = sum(r.log_nfa <= SURE_ROW for r in seen.rows)
    rows = [r for r in find_rows(openings[:SEED_OPENINGS]) if r.log_nfa <= SURE_ROW]
    return sum(sheets[r.index].mean() > 0.5 for r in rows) >= besides


def _read(seen: _Detections, focal_px: float | None, width: float | None, most: int) -> PhotoReading | None:
    """The photo read from its first rows: a square frame in a whole picture, where the members say so.

    Where one camera only is to be tried, no other frame is sought.
    """
    points, share, size = seen.points, seen.share, seen.size
    hypotheses = camera_hypotheses(points, share, size, focal_px)
    cameras = find_vanishing_points(points, share, size, focal_px, most=most, hypotheses=hypotheses)
    if cameras:
        seen = replace(seen, least_evidence=_least_evidence(seen, cameras[0]))
    reading = _of_trials(_with_cameras(seen, cameras, width, None))
    known = explained_by_members(reading) if most > 1 and reading else Explained(False)
    if most > 1 and not known.enough:  # more that is free fits more
        free = find_vanishing_points(
            points, share, size, focal_px, most=most, free=True, hypotheses=hypotheses
        )
        freer = _of_trials(_with_cameras(seen, free, width, camera_prior(size, focal_px)))
        both = (freer, None), (reading, known.polished)
        reading = _of_trials([choose_solution(r, first) for r, first in both if r is not None])
        if _explains_little(reading):
            reading = _with_rivals(reading, _turned(seen, reading, [*cameras, *free], focal_px, width))
    return reading


def _with_rivals(reading: PhotoReading | None, turned: Sequence[PhotoReading]) -> PhotoReading | None:
    """The reading that explains most, with all solutions of all in the order of what they explain.

    So those that explain nearly as much stay rivals, whichever way they were found.
    """
    trials = [r for r in (reading, *turned) if r is not None and r.nats]
    best = _of_trials(trials)
    if best is None:
        return reading
    ranked = sorted(((n, s) for t in trials for n, s in zip(t.nats, t.solutions)), key=lambda pair: -pair[0])
    others = tuple(s for _, s in ranked[1:])
    return replace(best, others=others, nats=tuple(n for n, _ in ranked))


def _explains_little(reading: PhotoReading | None) -> bool:
    """Do the members of a reading explain so little of its rows that its camera may be wrong?"""
    if reading is None or reading.lattice is None:
        return True
    return reading.worth < LITTLE * sum(r.evidence for r in reading.lattice.placed.rows)


def _turned(
    seen: _Detections,
    before: PhotoReading | None,
    found: Sequence[AxesCamera],
    focal_px: float | None,
    width: float | None,
) -> list[PhotoReading]:
    """The photo read with cameras turned round the direction that rows tell best of those found before.

    Those alone under which its openings make more rows than under the camera it was read with before.
    """
    points, share, size = seen.points, seen.share, seen.size

    def find(axes: AxesCamera, most: int) -> list[AxisRow]:
        hole = hole_of_rows(axes, seen.openings, seen.rows, points, share)
        if hole is None:
            return []
        rows = find_axis_rows(axes.camera, seen.openings[:most], hole, seen.density[:most])
        return trusted_rows(rows, seen.pattern)

    value = share * points.counted
    least = 0.0
    if before is not None and before.photo is not None:
        now = find(with_axes(before.photo.camera, points, value, None), len(seen.openings))
        least = sum(r.evidence for r in now)
    cameras = turned_axes(found, seen.openings, points, value, size, focal_px, find, least)
    if cameras:
        seen = replace(seen, least_evidence=_least_evidence(seen, cameras[0]))
    return [choose_solution(r) for r in _with_cameras(seen, cameras, width, camera_prior(size, focal_px))]


def _of_trials(trials: Sequence[PhotoReading]) -> PhotoReading | None:
    """Of readings of one photo the one that explains most, with the others' solutions among its own."""
    if not trials:
        return None
    best = max(trials, key=lambda t: t.worth)
    return replace(best, others=(*best.others, *(s for t in trials if t is not best for s in t.solutions)))


def _with_cameras(
    seen: _Detections, cameras: Sequence[AxesCamera], width: float | None, prior: CameraPrior | None
) -> list[PhotoReading]:
    """The photo read with the cameras found under a prior; None: centred, before a square frame."""
    return [
        trial
        for axes in cameras
        if axes.score >= LEAST_CAMERA_SCORE * cameras[0].score
        and (trial := _read_with(seen, axes, width, prior)) is not None
    ]


def _first_rows(name: str, openings: np.ndarray, size: tuple[int, int]) -> _Detections:
    """Rows before any camera is known, and how much each counts."""
    pattern = pattern_directions(openings)
    rows = find_rows(openings[:SEED_OPENINGS])
    share = row_shares([r.index for r in rows])
    # Chance that the row is none of clutter's.
    share = share / (1 + 10.0 ** np.array([r.log_nfa for r in rows]))
    share = share * np.array([(pattern[r.index] < PATTERN_DIRECTIONS).mean() ** 2 for r in rows])
    points = row_points(openings, rows)
    return _Detections(name, size, openings, alike_density(openings), pattern, rows, points, share)


def _read_with(
    seen: _Detections, axes: AxesCamera, width: float | None, prior: CameraPrior | None
) -> PhotoReading | None:
    """The photo read with one of its cameras; None where its rows make no lattice."""
    openings = seen.openings
    hole = hole_of_rows(axes, openings, seen.rows, seen.points, seen.share)
    if hole is None:
        return None
    cameras = drawn_cameras(axes) if prior else focal_trials(upright_axes(axes.camera))
    camera = cameras[0]
    rows = _beyond_clutter(seen, camera, hole)
    if len(rows) < 3:
        return None
    placed = place_axis_rows(camera, openings, rows)
    depth = (placed.place @ camera.R.T)[:, 2]
    sizes = np.array([np.median(openings["major"][r.index]) for r in rows]) * depth / camera.f
    rows = [r for r, h in zip(rows, sizes) if HOLE_RANGE[0] < h / hole < HOLE_RANGE[1]]
    if len(rows) < 3:
        return None
    estimate = twin_width(place_axis_rows(camera, openings, rows))
    used = width or nearest_known_width(estimate)
    if prior:  # the vanishing points have said most of what is to be known of f
        prior = replace(prior, focal=camera.f, focal_spread=min(prior.focal_spread, axes.focal_spread))
        rows = sorted(rows, key=lambda r: -r.evidence)[:MOST_LATTICE_ROWS]
    most = MOST_DRAWN if prior else MOST_SOLUTIONS
    solutions = solve_lattice(cameras, openings, rows, used, prior, most)
    if not solutions:
        return None
    photos = [
        make_posed_photo(seen.name, x.camera, seen.size, openings, hole, prior, x.play) for x in solutions
    ]
    return PhotoReading(
        seen.name,
        seen.size,
        openings,
        photos[0],
        solutions[0],
        estimate,
        explained_nats(solutions[0]),
        lattice_width=used,
        others=tuple(zip(photos[1:], solutions[1:])),
    )


def _least_evidence(seen: _Detections, axes: AxesCamera) -> float:
    """The evidence, nats, from which a row along a camera's axes is more than clutter's."""
    hole = hole_of_rows(axes, seen.openings, seen.rows, seen.points, seen.share)

    def find(camera: Camera, free: BoolArray) -> list[AxisRow]:
        found = find_axis_rows(camera, seen.openings[free], hole, seen.density[free])
        return trusted_rows(found, seen.pattern[free])

    if hole is None:
        return LEAST_ROW_EVIDENCE
    rows = find(axes.camera, np.ones(len(seen.openings), bool))
    return clutter_level(axes.camera, rows, len(seen.openings), LEAST_ROW_EVIDENCE, find)


def _beyond_clutter(seen: _Detections, camera: Camera, hole: float) -> list[AxisRow]:
    """Rows along a camera's axes, with what evidence they have beyond rows of clutter."""
    rows = trusted_rows(find_axis_rows(camera, seen.openings, hole, seen.density), seen.pattern)
    over = seen.least_evidence - LEAST_ROW_EVIDENCE
    return [replace(r, evidence=r.evidence - over) for r in rows if r.evidence >= seen.least_evidence]


def read_posed(
    name: str,
    openings: np.ndarray,
    size: tuple[int, int],
    camera: Camera,
    candidates: Sequence[Candidate],
    width: float,
) -> PhotoReading | None:
    """Rows and lattice of a photo whose camera is known from a frame read before.

    Parameters
    ----------
    name : of the photo
    openings : (N,), dtype OPENING, all detections, best first
    size : width, height, px
    camera : posed in that frame's world
    candidates : members of that frame
    width : of the members, pitches

    Returns
    -------
    None where too few of their openings can be seen to measure the holes by; the photo is then to be read
    anew.
    """
    openings = openings[:AXIS_OPENINGS]
    hole = hole_of_members(camera, openings, candidates, width)
    if hole is None:
        return None
    pattern = pattern_directions(openings)
    rows = trusted_rows(find_axis_rows(camera, openings, hole, alike_density(openings)), pattern)
    if not rows:
        return None
    placed = place_axis_rows(camera, openings, rows)
    guesses = guess_rows(placed, width, lattice_classes([width], decimals=CLASS_DECIMALS))
    lattice = PhotoLattice(camera, placed, guesses, float(best_chances(guesses).mean()))
    return PhotoReading(
        name,
        size,
        openings,
        make_posed_photo(name, camera, size, openings, hole),
        lattice,
        (width, 0.0),
        explained_nats(lattice),
        lattice_width=width,
        posed=True,
    )


def nearest_known_width(estimate: tuple[float, float]) -> float:
    """The known width nearest to a measured one (mean, standard error; pitches); 1 for none measured.

    Measured widths come out 2 to 5 % small: shading moves the visible spots towards the edge between
    the faces, so each known width is expected there.

    Examples
    --------
    >>> nearest_known_width((1.46, 0.03))
    1.5
    """
    mean, error = estimate
    if not np.isfinite(error):
        return 1.0
    return min(KNOWN_WIDTHS, key=lambda w: abs(SEEN_WIDTH * w - mean))


def trusted_rows(rows: list[AxisRow], pattern: IntArray) -> list[AxisRow]:
    """Strongest rows first; each opening serves one row; rows of a plane's pattern are left out.

    Parameters
    ----------
    rows : strongest first
    pattern : (N,) in how many directions each opening repeats
    """
    used: set[int] = set()
    kept = []
    for r in rows:
        if r.evidence < LEAST_ROW_EVIDENCE or (pattern[r.index] >= PATTERN_DIRECTIONS).mean() > 0.5:
            continue
        if np.mean([int(i) not in used for i in r.index]) < 0.6:
            continue
        used.update(int(i) for i in r.index)
        kept.append(r)
    return kept
