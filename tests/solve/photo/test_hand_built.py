"""Frames bolted by hand in cropped photos: tilted rows, cameras drawn from what is open, and the choice."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from recon.geometry.camera import Camera
from recon.solve.evidence.camera_prior import camera_prior
from recon.solve.photo.camera_samples import drawn_cameras
from recon.solve.photo.photo_lattice import upright_axes
from recon.solve.photo.read_photo import read_photo
from recon.solve.photo.row_points import RowPoints, row_residuals
from recon.solve.photo.row_tilt import TILT_SPREAD, row_tilts
from recon.solve.photo.vanishing_points import (
    FREE,
    AxesCamera,
    after_step,
    find_vanishing_points,
    refine_camera,
)
from tests.solve.scenes import HOLE, grown_scene, lattice_change, shoot

SIZE = (1600, 1200)
TURN = Rotation.from_euler("xyz", [118, 22, 31], degrees=True).as_matrix()
CROPPED = Camera(1400.0, 870.0, 560.0, R=TURN, t=np.array([0.0, 0.0, 34.0]))  # 70 and 40 px off the middle


def rows_of_hand(seed: int, tilt: float, count: int = 18, noise: float = 0.2):
    """Rows along the three axes in turn, each tilted by its own small angles; and their axes."""
    rng = np.random.default_rng(seed)
    axes, step = np.arange(count) % 3, np.tile(np.arange(12.0), (count, 1))
    way = np.eye(3)[axes] + rng.normal(0, tilt, (count, 3))
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    first = rng.uniform(-8, 8, (count, 3)) - 5 * np.eye(3)[axes]
    space = first[:, None] + step[..., None] * way[:, None]
    px = CROPPED.project(space.reshape(-1, 3)).reshape(count, 12, 2) + rng.normal(0, noise, (count, 12, 2))
    return RowPoints(px, step, np.ones((count, 12)), np.full(count, 0.3)), axes


def test_whitened_residuals_of_tilted_rows_have_unit_variance():
    """With the tilts as a part of the noise, residuals are as large as their standard errors say."""
    size = []
    for seed in range(12):
        points, axes = rows_of_hand(seed, TILT_SPREAD, noise=0.3)
        flat = row_residuals(CROPPED, points, axes).reshape(len(axes), -1) / points.sigma[:, None]
        white = row_tilts(CROPPED, points, axes).whitened(flat)
        size.append([(flat**2).mean(), (white**2).mean()])
    raw, whitened = np.mean(size, 0)
    assert raw > 1.5  # tilts alone make them larger
    assert 0.7 < whitened < 1.1  # three numbers of each row's 24 went into its place


def test_rows_without_tilt_keep_their_residuals():
    points, axes = rows_of_hand(1, 0.0)
    flat = row_residuals(CROPPED, points, axes).reshape(len(axes), -1)
    assert row_tilts(CROPPED, points, axes, spread=0.0).whitened(flat) == pytest.approx(flat)


def test_a_cropped_picture_of_tilted_rows_gives_its_principal_point_within_its_error():
    """The error that is told is the error that is there: squared errors over variances are near one."""
    ratio = []
    for seed in range(6):
        points, _ = rows_of_hand(seed, TILT_SPREAD)
        value = np.full(len(points.px), 12.0)
        found = refine_camera(
            replace(CROPPED, cx=799.5, cy=599.5), points, value, camera_prior(SIZE, None), free=True
        )
        off = np.array([found.camera.cx - CROPPED.cx, found.camera.cy - CROPPED.cy])
        assert np.abs(off).max() < 0.08 * SIZE[0]
        ratio.append(off**2 / np.diag(found.covariance)[[5, 6]])
    assert 0.1 < np.mean(ratio) < 3.0


def test_cameras_drawn_spread_as_the_covariance_says():
    spread = np.array([30.0, 0.01, *[0.004] * 3, 20.0, 15.0, *[0.006] * 3])
    axes = AxesCamera(
        CROPPED.posed(TURN, np.zeros(3)), np.zeros(0, int), np.zeros(0), 1.0, np.diag(spread**2)
    )
    drawn = drawn_cameras(axes, 2000)
    assert pytest.approx(upright_axes(axes.camera).R) == drawn[0].R
    off = np.array([[c.f - CROPPED.f, c.cx - CROPPED.cx, c.cy - CROPPED.cy] for c in drawn[1:]])
    assert off.std(0) == pytest.approx(spread[[0, 5, 6]], rel=0.1)
    assert all(np.abs(c.R - drawn[0].R).max() < 0.1 for c in drawn)  # the same names of the axes


def test_a_step_in_all_free_parameters_moves_each():
    moved = after_step(CROPPED, np.array([10, 0.01, 0.01, 0, 0, 5, -5, 0.01, 0, 0]), FREE)
    assert (moved.f, moved.cx, moved.cy) == (1410.0, 875.0, 555.0)
    assert np.degrees(moved.rack[0]) == pytest.approx(np.degrees(0.02), rel=0.05)


def test_focal_length_of_tilted_rows_in_a_cropped_picture_is_within_a_tenth():
    points, _ = rows_of_hand(3, TILT_SPREAD)
    best = find_vanishing_points(points, np.ones(len(points.px)), SIZE, None, free=True)[0]
    assert best.camera.f == pytest.approx(CROPPED.f, rel=0.1)
    assert best.focal_spread < 0.15


def test_the_lattice_of_a_racked_frame_in_a_cropped_picture_is_found():
    """Rows lie where their members are, from one photo whose principal point is 6 % of its width off."""
    frame, square = grown_scene(5, 35, members=9, f=1500)
    shear = np.eye(3) + np.radians(0.7) * np.array([[0, 1, 0], [1, 0, -1], [0, -1, 0]])
    R = square.camera.R @ shear
    true = replace(square.camera, R=R / np.linalg.norm(R, axis=0), cx=square.camera.cx + 100)
    shot = shoot(frame, true, 5)
    rng = np.random.default_rng(0)
    for member in range(len(frame.members)):  # each a little off its place, as a bolt's play lets it be
        mine = shot.source[:, 0] == member
        for axis in ("x", "y"):
            shot.openings[axis][mine] += rng.normal(0, 0.04 * np.median(shot.openings["major"][mine]) / HOLE)
    reading = read_photo("hand", shot.openings, SIZE, None)
    assert reading.photo.prior is not None
    assert reading.photo.prior is not None  # a whole picture of a square frame does not explain the rows
    assert abs(reading.photo.camera.cx - true.cx) < 0.04 * SIZE[0]
    assert reading.photo.camera.f == pytest.approx(true.f, rel=0.06)
    turn, _, _ = lattice_change(reading.lattice.camera, true)
    off = [
        guesses[0].first + sign * row.step[0] * np.eye(3)[row.axis] - turn @ hole
        for row, sign, guesses in zip(
            reading.lattice.placed.rows, reading.lattice.placed.sign, reading.lattice.guesses
        )
        if guesses and (hole := true_hole(frame, shot, row.index)) is not None
    ]
    common = np.median(off, axis=0)
    assert len(off) >= 8
    assert np.mean([np.abs(o - common).max() < 0.1 for o in off]) > 0.9


def true_hole(frame, shot, index):
    """Centre of the hole of a row's first opening, if most of the row is one member's."""
    members = shot.source[index, 0]
    if (members == members[0]).mean() < 0.7 or members[0] < 0:
        return None
    return frame.members[members[0]].hole_centre(shot.source[index[0], 2])
