"""What was read in each photo, in its own pixels: openings, rows and cameras for overlays and the page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from recon.frame.model import Frame
from recon.geometry.arrays import FloatArray, IntArray
from recon.geometry.boxes import lifted
from recon.geometry.camera import Camera
from recon.image.photo_rows import MOST_OPENINGS, likely
from recon.image.rows import find_rows
from recon.solve.evidence.along_line import match_members
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.predictions import match_predictions
from recon.solve.evidence.scene import Scene
from recon.solve.off_lattice.brace import off_lattice_hits
from recon.solve.photo.photo_reading import PhotoReading

NO_OPENINGS = np.zeros((0, 6))
MOST_OF_ROW = 0.5  # of a row's openings that must be a member's, for the row to be the frame's


def photo_px(x: np.ndarray, y: np.ndarray, scale: float) -> FloatArray:
    """(N, 2) px of the photo, from px x, y of a working copy ``scale`` times its size.

    Pixel centres are at whole numbers in both.

    Examples
    --------
    >>> import numpy as np
    >>> photo_px(np.array([0.0]), np.array([9.5]), 0.5)
    array([[ 0.5, 19.5]])
    """
    return (np.c_[x, y] + 0.5) / scale - 0.5


def _opening_table(openings: np.ndarray, scale: float) -> FloatArray:
    """(N, 6) x, y, semi-major, semi-minor (px of the photo), angle (rad), taken by a bolt (0)."""
    o = openings
    return np.c_[
        photo_px(o["x"], o["y"], scale),
        o["major"] / 2 / scale,
        o["minor"] / 2 / scale,
        o["angle"],
        np.zeros(len(o)),
    ]


def _row_px(openings: np.ndarray, index: IntArray, scale: float) -> FloatArray:
    """(M, 2) px of the photo: the openings of a row."""
    return photo_px(openings["x"][index], openings["y"][index], scale)


def detected_tables(
    openings: np.ndarray, scale: float, most: int = MOST_OPENINGS
) -> tuple[FloatArray, list[FloatArray]]:
    """The best `most` detections of a photo and likely rows of them, all as of `first_tables`."""
    rows = [_row_px(openings, row, scale) for row in likely_rows(openings)]
    return _opening_table(openings[:most], scale), rows


def first_tables(reading: PhotoReading, scale: float) -> tuple[FloatArray, list[FloatArray]]:
    """Openings and rows of a photo read by itself, before any member is known; likely rows where it has no
    camera.

    Parameters
    ----------
    reading : of the photo
    scale : size of the working copy over the photo's

    Returns
    -------
    openings : (N, 6) x, y, semi-major, semi-minor (px of the photo), angle (rad), taken by a bolt (0)
    rows : list of (M, 2) px of the photo
    """
    rows = [] if reading.lattice is None else [r.index for r in reading.lattice.placed.rows]
    tables = [_rows_of(reading.openings, rows or likely_rows(reading.openings), scale)]
    if reading.left_out is not None:
        tables.append(_rows_of(reading.left_out, likely_rows(reading.left_out), scale))
    return np.concatenate([t for t, _ in tables]), [r for _, found in tables for r in found]


def likely_rows(openings: np.ndarray) -> list[IntArray]:
    """Numbers of the openings in each row of (N,) openings, dtype OPENING, that is likelier than clutter."""
    return [r.index for r in likely(find_rows(openings[:MOST_OPENINGS]))]


def _rows_of(
    openings: np.ndarray, rows: Sequence[IntArray], scale: float
) -> tuple[FloatArray, list[FloatArray]]:
    """The openings in rows, as of `first_tables`, and the rows."""
    if not rows:
        return NO_OPENINGS, []
    index = np.unique(np.concatenate(rows))
    return _opening_table(openings[index], scale), [_row_px(openings, r, scale) for r in rows]


def reading_tables(
    readings: Sequence[PhotoReading], scene: Scene, frame: Frame, scales: Mapping[str, float]
) -> tuple[dict[str, FloatArray], dict[str, list[FloatArray]], dict[str, Camera]]:
    """Openings, rows and cameras of each photo in its own pixels, once the frame is known.

    Parameters
    ----------
    readings : of each photo by itself
    scene : as :func:`recon.solve.result.frame.make_frame` gives it
    frame : made of it
    scales : photo -> size of the working copy over the photo's

    Returns
    -------
    openings : photo -> (N, 6) x, y, semi-major, semi-minor (px), angle (rad), taken by a bolt (0 / 1)
    rows : photo -> list of (M, 2) px
    cameras : photo -> camera, of the photos used
    """
    openings: dict[str, FloatArray] = {}
    rows: dict[str, list[FloatArray]] = {}
    cameras: dict[str, Camera] = {}
    by_name = {p.name: p for p in scene.photos}
    for r in readings:
        scale = scales[r.name]
        photo = by_name.get(r.name)
        if photo is None or r.lattice is None:
            openings[r.name], rows[r.name] = NO_OPENINGS, []
            continue
        cameras[r.name] = photo.camera.resized(1 / scale)
        hits = np.union1d(
            _member_hits(scene, photo),
            off_lattice_hits(scene, photo, [m for m in frame.members if not m.on_lattice]),
        )
        openings[r.name] = np.concatenate(
            [_opening_table(r.openings[hits], scale), _bolted_holes(scene, photo, frame, scale)]
        )
        # Rows that no member explains (tiles, a second frame) are not the frame's.
        rows[r.name] = [
            _row_px(r.openings, w.index, scale)
            for w in r.lattice.placed.rows
            if np.isin(w.index, hits).mean() > MOST_OF_ROW
        ]
    return openings, rows, cameras


def _member_hits(scene: Scene, photo: PosedPhoto) -> IntArray:
    """Numbers of the detections that are openings of the scene's candidates."""
    hits = [np.zeros(0, int)]
    for _, seen in match_members(scene, photo):
        hits.append(seen.hit[(seen.hit >= 0) & (seen.llr > 0)])
    return np.unique(np.concatenate(hits))


def _bolted_holes(scene: Scene, photo: PosedPhoto, frame: Frame, scale: float) -> FloatArray:
    """(N, 6) holes taken by bolts that were seen, as openings with the flag set."""
    points, normals = [], []
    by_id = {m.id: m for m in frame.members}
    for j in frame.joints:
        if j.bolt != "seen":
            continue
        axis = np.asarray(j.axis)
        points += [
            by_id[j.a].hole_centre(j.a_hole) - 0.5 * scene.width * axis,
            by_id[j.b].hole_centre(j.b_hole) + 0.5 * scene.width * axis,
        ]
        normals += [-axis, axis]
    if not points:
        return NO_OPENINGS
    X, n = np.array(points), np.array(normals)
    seen = match_predictions(photo, X, n, scene.occluders.hide(photo.camera.centre, lifted(X, n)))
    depth = (X @ photo.camera.R.T + photo.camera.t)[:, 2]
    ok = seen.visible & (seen.hit < 0)
    radius = photo.camera.f * photo.hole / np.maximum(depth, 1) / 2 / scale
    return np.c_[photo_px(seen.px[:, 0], seen.px[:, 1], scale), radius, radius, 0 * radius, 0 * radius + 1][
        ok
    ]
