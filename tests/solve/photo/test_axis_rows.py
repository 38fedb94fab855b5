"""Rows along known directions: an arithmetic progression of cotangents, found among clutter."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given

from recon.image.openings import local_density
from recon.solve.photo.axis_rows import find_axis_rows, sight_lines
from tests.solve.scenes import HOLE, axes_of, grown_scene, rows_in_space, true_rows


@given(rows_in_space())
def test_openings_of_a_row_share_theta_and_step_evenly_in_tau(row):
    """tau steps by 1 / rho, rho being the distance in pitches from the camera's centre to the row's line."""
    camera, first, way, steps = row
    s = sight_lines(camera, camera.project(first + steps[:, None] * way), way)
    assert np.abs(np.angle(np.exp(1j * (s.theta - s.theta[0])))).max() < 1e-7
    rho = np.linalg.norm(np.cross(first, way))
    assert np.diff(s.tau) == pytest.approx(np.diff(steps) / rho, rel=1e-5, abs=1e-8)


@given(rows_in_space())
def test_sight_lines_say_how_much_a_pixel_is(row):
    """theta_px and tau_px against finite steps sideways of and along the row's image."""
    camera, first, way, steps = row
    px = camera.project(first + steps[:, None] * way)
    s = sight_lines(camera, px, way)
    next_px = camera.project(first + (steps[:, None] + 1e-4) * way) - px
    if np.linalg.norm(next_px, axis=1).min() < 1e-4:
        return
    along = next_px / np.linalg.norm(next_px, axis=1, keepdims=True)
    assert np.abs(np.abs((along * s.along).sum(1)) - 1).max() < 1e-3
    side = np.c_[-along[:, 1], along[:, 0]]
    moved = sight_lines(camera, px + 0.01 * side, way)
    assert np.abs(np.angle(np.exp(1j * (moved.theta - s.theta)))) / 0.01 == pytest.approx(
        s.theta_px, rel=0.02
    )
    moved = sight_lines(camera, px + 0.01 * s.along, way)
    assert np.abs(moved.tau - s.tau) / 0.01 == pytest.approx(s.tau_px, rel=0.02)


def axis_rows(shot, camera=None, hole=HOLE):
    camera = camera or replace(shot.camera, t=np.zeros(3))
    return find_axis_rows(camera, shot.openings, hole, local_density(shot.openings))


def best_for(index, rows):
    """The found row that shares most openings with `index`."""
    return max(rows, key=lambda r: len(np.intersect1d(r.index, index)))


# Known hole, hole not known, many misses, a lens.
@pytest.mark.parametrize(
    "seed, hole, how",
    [
        (1, HOLE, {}),
        (2, None, {}),
        (3, HOLE, {"found": 0.75}),
        (4, HOLE, {"clutter": 400}),
        (5, HOLE, {"k1": -0.05, "noise_px": 0.5}),
    ],
)
def test_rows_of_members_are_found_at_their_steps(seed, hole, how):
    frame, shot = grown_scene(seed, **how)
    rows = axis_rows(shot, hole=hole)
    missed, total = 0, 0
    true_ones, members = true_rows(shot, 5)
    for true, axis in zip(true_ones, axes_of(frame, members)):
        found = best_for(true.index, rows)
        both, i, j = np.intersect1d(true.index, found.index, return_indices=True)
        total += 1
        if len(both) < 0.8 * len(true.index):
            missed += 1
            continue
        assert found.axis == axis
        difference = true.step[i] - found.step[j], true.step[i] + found.step[j]
        assert any((d == d[0]).all() for d in difference)  # the same steps, from either end
    assert missed <= 0.1 * total


def test_rows_come_strongest_first_and_true_ones_lead():
    _frame, shot = grown_scene(4, clutter=400)
    rows = axis_rows(shot)
    assert all(a.evidence >= b.evidence for a, b in pairwise(rows))
    true = shot.source[:, 0] >= 0
    faces = len(true_rows(shot, 5)[0])
    assert all(true[r.index].mean() > 0.7 for r in rows[:faces])


def test_clutter_gives_no_believable_row():
    _frame, shot = grown_scene(1, clutter=500)
    clutter = shot.openings[shot.source[:, 0] < 0]
    rows = find_axis_rows(replace(shot.camera, t=np.zeros(3)), clutter, HOLE, local_density(clutter))
    assert not rows or rows[0].evidence < 10
    assert sum(r.evidence > 6 for r in rows) <= 3


def test_a_gap_of_several_holes_is_bridged():
    """Holes behind another member: the row goes on past them with the right count."""
    _frame, shot = grown_scene(2, clutter=30, found=1.0)
    row, _ = max(zip(*true_rows(shot)), key=lambda r: len(r[0].index))
    left_out = row.index[4:7]
    keep = np.setdiff1d(np.arange(len(shot.openings)), left_out)
    kept_row = np.setdiff1d(row.index, left_out)
    openings = shot.openings[keep]
    rows = find_axis_rows(replace(shot.camera, t=np.zeros(3)), openings, HOLE, local_density(openings))
    index = np.searchsorted(keep, kept_row)
    found = best_for(index, rows)
    assert len(np.intersect1d(found.index, index)) >= len(index) - 1
    assert np.ptp(found.step) == np.ptp(row.step)


def test_a_camera_turned_away_finds_less():
    _frame, shot = grown_scene(3)
    turned = replace(
        shot.camera, t=np.zeros(3), R=shot.camera.R @ np.array([[0.8, -0.6, 0], [0.6, 0.8, 0], [0, 0, 1.0]])
    )

    def horizontal(rows):
        return sum(r.evidence for r in rows if r.axis != 2 and r.evidence > 6)

    assert horizontal(axis_rows(shot, turned)) < 0.3 * horizontal(axis_rows(shot))
