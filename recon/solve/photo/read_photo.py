"""All that one photo tells by itself: openings, rows, camera, lattice."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from recon.geometry.camera import Camera, image2sensor, world2camera
from recon.image.openings import detect_openings, lab_image
from recon.image.rows import find_rows, pattern_directions
from recon.solve.evidence.candidate import boxes
from recon.solve.evidence.posed_photo import PosedPhoto, local_density, make_posed_photo
from recon.solve.evidence.predictions import LEAST_FACING, hidden_by_boxes, member_openings
from recon.solve.photo.axis_rows import GuidedRow, find_guided_rows
from recon.solve.photo.photo_lattice import (
    PhotoLattice,
    guess_rows,
    place,
    solve_lattice,
    transverse_classes,
    twin_width,
    upright,
)
from recon.solve.photo.vanishing_points import (
    Pencils,
    RowPoints,
    find_pencils,
    place_rows,
    row_points,
    row_shares,
)

SEED_OPENINGS = 2000  # best-scored openings that first rows grow from: bounds time on gravel
GUIDED_OPENINGS = 5000  # openings looked at once the camera is known
LEAST_ROW_EVIDENCE = 6.0  # nats: a row in 400 of clutter


@dataclass(frozen=True)
class PhotoReading:
    """One photo read by itself.

    openings : (N,) dtype OPENING.   photo, lattice : None when no lattice was found, with ``reason``.
    width : (estimate, standard error), pitches.   worth : nats of evidence that its lattice explains.
    """

    name: str
    size: tuple
    openings: np.ndarray
    photo: PosedPhoto | None
    lattice: PhotoLattice | None
    width: tuple
    worth: float
    reason: str = ""
    lattice_width: float = 1.0  # pitches: the width that the lattice was solved with
    others: tuple = ()  # further (photo, lattice), should this one not fit the other photos
    posed: bool = False  # camera and lattice are in the world of a frame that is known


def read_openings(bgr: np.ndarray) -> np.ndarray:
    """Openings of a (H, W, 3) uint8 BGR photo."""
    return detect_openings(lab_image(bgr))


def read_photo(
    name: str,
    openings: np.ndarray,
    size: tuple,
    focal_px: float | None,
    width: float | None = None,
    most_cameras: int = 3,
) -> PhotoReading:
    """Rows, camera and lattice of one photo.

    Parameters
    ----------
    openings : all detections, best first.   size : width, height px.
    focal_px : from EXIF, or None.   width : of the members in pitches where known; else estimated.
    """
    openings = openings[:GUIDED_OPENINGS]

    def nothing(reason):
        return PhotoReading(name, size, openings, None, None, (1.0, np.inf), 0.0, reason)

    if len(openings) < 12:
        return nothing("hardly any openings can be seen")
    pattern = pattern_directions(openings)
    first = openings[:SEED_OPENINGS]
    rows = find_rows(first)
    if len(rows) < 3:
        return nothing("no rows of openings can be seen")
    points = row_points(first, rows)
    share = row_shares([r.index for r in rows])
    share = share / (
        1 + 10.0 ** np.array([r.log_nfa for r in rows])
    )  # chance that the row is none of clutter's
    share = share * np.array([(pattern[r.index] < 3).mean() ** 2 for r in rows])
    trials: list[PhotoReading] = []
    cameras = find_pencils(points, share, size, focal_px, most=most_cameras)
    for pencils in cameras:
        if pencils.score < 0.3 * cameras[0].score:
            continue
        trial = _try_camera(name, openings, size, first, rows, points, share, pencils, pattern, width)
        if trial:
            trials.append(trial)
    if not trials:
        return nothing("its rows of openings fit no camera")
    best = max(trials, key=lambda t: t.worth)
    spare = [pair for t in trials if t is not best for pair in ((t.photo, t.lattice), *t.others)]
    return replace(best, others=(*best.others, *spare))


def read_posed(
    name: str, openings: np.ndarray, size: tuple, camera: Camera, candidates, width: float
) -> PhotoReading | None:
    """Rows and lattice of a photo whose camera is known from a frame read before.

    candidates : recon.solve.evidence.candidate.Candidate of that frame, in the camera's world.

    Returns
    -------
    None where too few of their openings can be seen to measure the holes by; the photo is then to be read anew.
    """
    openings = openings[:GUIDED_OPENINGS]
    hole = hole_of_known(camera, openings, candidates, width)
    if hole is None:
        return None
    pattern = pattern_directions(openings)
    rows = believed_rows(find_guided_rows(camera, openings, hole, local_density(openings)), pattern)
    if not rows:
        return None
    placed = place(camera, openings, rows)
    guesses = guess_rows(placed, width, transverse_classes(width))
    sure = np.array([np.exp(g[0].log_p) if g else 0.0 for g in guesses])
    worth = float((sure * [r.evidence for r in rows]).sum())
    lattice = PhotoLattice(camera, placed, guesses, float(sure.mean()))
    return PhotoReading(
        name,
        size,
        openings,
        make_posed_photo(name, camera, size, openings, hole),
        lattice,
        (width, 0.0),
        worth,
        lattice_width=width,
        posed=True,
    )


def hole_of_known(
    camera: Camera, openings: np.ndarray, candidates, width: float, least: int = 12
) -> float | None:
    """Apparent hole diameter in pitches: median over the openings found where known candidates have theirs in sight."""
    occluders = boxes(candidates, width)
    tree = cKDTree(np.c_[openings["x"], openings["y"]]) if len(openings) else None
    sizes = []
    for s in candidates if tree else ():
        X, normals = member_openings(s.axis, s.first, s.holes, width)
        X, normals = X.reshape(-1, 3), np.repeat(normals, s.holes, 0)
        to_eye = camera.centre - X
        depth = world2camera(camera, X)[:, 2]
        px = camera.project(X)
        ok = (
            ((to_eye * normals).sum(1) > LEAST_FACING * np.linalg.norm(to_eye, axis=1))
            & (depth > 0.5)
            & np.isfinite(px).all(1)
        )
        ok &= ~hidden_by_boxes(camera.centre, X + 0.02 * normals, *occluders)
        d, j = tree.query(px[ok])
        near = d < NEAR_KNOWN * camera.f / depth[ok]
        sizes.append(openings["major"][j[near]] * depth[ok][near] / camera.f)
    sizes = np.concatenate(sizes) if sizes else np.zeros(0)
    return float(np.median(sizes)) if len(sizes) >= least else None


NEAR_KNOWN = 0.1  # pitches round a foreseen opening: shade moves its visible middle by up to 0.08


def _try_camera(name, openings, size, first, rows, points, share, pencils, pattern, width):
    hole = apparent_hole(pencils, first, rows, points, share)
    if hole is None:
        return None
    camera = upright(pencils.camera)
    found = find_guided_rows(camera, openings, hole, local_density(openings))
    kept = believed_rows(found, pattern)
    if len(kept) < 3:
        return None
    placed = place(camera, openings, kept)
    depth = (placed.place @ camera.R.T)[:, 2]
    seen = np.array([np.median(openings["major"][r.index]) for r in kept]) * depth / camera.f
    kept = [r for r, h in zip(kept, seen) if 0.45 < h / hole < 2.2]  # another pitch: another thing
    if len(kept) < 3:
        return None
    estimate = twin_width(place(camera, openings, kept))
    used = width or estimate_width(estimate)
    solutions = solve_lattice(camera, openings, kept, used)
    if not solutions:
        return None
    lattice = solutions[0]
    sure = np.array([np.exp(g[0].log_p) if g else 0.0 for g in lattice.guesses])
    worth = float((sure * [r.evidence for r in lattice.placed.rows]).sum())
    photos = [make_posed_photo(name, x.camera, size, openings, hole) for x in solutions]
    return PhotoReading(
        name,
        size,
        openings,
        photos[0],
        lattice,
        estimate,
        worth,
        lattice_width=used,
        others=tuple(zip(photos[1:], solutions[1:])),
    )


KNOWN_WIDTHS = (
    1.0,
    1.5,
    1.75,
    2.0,
    2.25,
    2.5,
)  # pitches: drilled square stock, and punched post 1.5 to 2.5 in


def estimate_width(estimate: tuple) -> float:
    """The known width nearest to a measured one (mean, standard error); 1 where nothing was measured.

    Measured widths come out 2 to 5 % small: shading moves the visible spots towards the edge between
    the faces, so each known width is expected there.
    """
    mean, error = estimate
    if not np.isfinite(error):
        return 1.0
    return min(KNOWN_WIDTHS, key=lambda w: abs(0.97 * w - mean))


def apparent_hole(pencils: Pencils, openings, rows, points: RowPoints, share) -> float | None:
    """Hole diameter in pitches as this photo shows it: weighted median over the rows that fit the camera."""
    use = pencils.axis >= 0
    if not use.any():
        return None
    cam = pencils.camera
    sub = RowPoints(points.px[use], points.step[use], points.weight[use], points.sigma[use])
    P, d, _ = place_rows(image2sensor(cam, sub.px), sub, cam.R.T[pencils.axis[use]])
    sizes, weights = [], []
    for row, p, q, s in zip([r for r, u in zip(rows, use) if u], P, d, share[use]):
        depth = p[2] + row.step * q[2]
        sizes.append(np.median(openings["major"][row.index] * depth / cam.f))
        weights.append(len(row.index) * s)
    order = np.argsort(sizes)
    total = np.cumsum(np.array(weights)[order])
    if total[-1] <= 0:
        return None
    return float(np.array(sizes)[order][np.searchsorted(total, total[-1] / 2)])


def believed_rows(rows: list[GuidedRow], pattern: np.ndarray) -> list[GuidedRow]:
    """Strongest rows first; each opening serves one row; rows of a plane's pattern are left out."""
    used: set[int] = set()
    kept = []
    for r in rows:
        if r.evidence < LEAST_ROW_EVIDENCE or (pattern[r.index] >= 3).mean() > 0.5:
            continue
        if np.mean([int(i) not in used for i in r.index]) < 0.6:
            continue
        used.update(int(i) for i in r.index)
        kept.append(r)
    return kept
