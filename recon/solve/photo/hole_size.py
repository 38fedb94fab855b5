"""Apparent diameter of the holes in pitches, as one photo shows it; a little smaller than the true one."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.spatial import cKDTree

from recon.geometry.arrays import FloatArray
from recon.geometry.boxes import lifted
from recon.geometry.camera import Camera, image2sensor, world2camera
from recon.solve.evidence.along_line import lattice_openings
from recon.solve.evidence.candidate import Candidate
from recon.solve.evidence.occluders import occluders_of
from recon.solve.evidence.predictions import LEAST_FACING
from recon.solve.photo.row_points import OpeningRow, RowPoints, place_rows
from recon.solve.photo.vanishing_points import AxesCamera

NEAR_KNOWN = 0.1  # pitches round a predicted opening: shade moves its visible middle by up to 0.08
LEAST_KNOWN = 12  # openings found of known members, for their size to be trusted; this project's choice


def hole_of_rows(
    axes: AxesCamera,
    openings: np.ndarray,
    rows: Sequence[OpeningRow],
    points: RowPoints,
    share: FloatArray,
) -> float | None:
    """Hole diameter in pitches: weighted median over the rows that fit the camera.

    Parameters
    ----------
    axes : the camera and the axis of each row
    openings : (N,), dtype OPENING
    rows, points, share : R rows, their padded arrays, and their weights 0..1

    Returns
    -------
    None where no row fits the camera.
    """
    use = axes.axis >= 0
    if not use.any():
        return None
    cam = axes.camera
    sub = points.subset(use)
    P, d, _ = place_rows(image2sensor(cam, sub.px), sub, cam.R.T[axes.axis[use]])
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


def hole_of_members(
    camera: Camera,
    openings: np.ndarray,
    candidates: Sequence[Candidate],
    width: float,
    least: int = LEAST_KNOWN,
) -> float | None:
    """Hole diameter in pitches: median over the openings found where known members have theirs in sight.

    Parameters
    ----------
    camera : posed in the members' world
    openings : (N,), dtype OPENING
    candidates : the known members
    width : of the members, pitches
    least : openings that must be found

    Returns
    -------
    None where fewer are found.
    """
    if not len(openings):
        return None
    occluders = occluders_of(candidates, width)
    tree = cKDTree(np.c_[openings["x"], openings["y"]])
    sizes = [np.zeros(0)]
    for c in candidates:
        openings_of = lattice_openings(c.axis, c.first, c.holes, width)
        X, normals = openings_of.centre.reshape(-1, 3), openings_of.normal.reshape(-1, 3)
        to_eye = camera.centre - X
        depth = world2camera(camera, X)[:, 2]
        px = camera.project(X)
        ok = (
            ((to_eye * normals).sum(1) > LEAST_FACING * np.linalg.norm(to_eye, axis=1))
            & (depth > 0.5)
            & np.isfinite(px).all(1)
        )
        ok &= ~occluders.hide(camera.centre, lifted(X, normals))
        d, j = tree.query(px[ok])
        near = d < NEAR_KNOWN * camera.f / depth[ok]
        sizes.append(openings["major"][j[near]] * depth[ok][near] / camera.f)
    found = np.concatenate(sizes)
    return float(np.median(found)) if len(found) >= least else None
