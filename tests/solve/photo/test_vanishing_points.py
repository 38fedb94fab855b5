"""Camera from rows: focal length, rotation and lens from the rows of made-up photos."""

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from recon.geometry.camera import Camera, image2sensor
from recon.image.rows import Row
from recon.solve.evidence.camera_prior import camera_prior
from recon.solve.photo.row_points import RowPoints, place_rows, row_points, row_residuals, row_shares
from recon.solve.photo.vanishing_points import FOCAL_OFF, AxesCamera, find_vanishing_points, refine_camera
from tests.solve.scenes import SIZE, axes_of, grown_scene, rows_in_space, true_rows


def renaming(found: Camera, true: Camera):
    """For each true axis the found axis along it, and the largest angle between the two in degrees."""
    m = np.abs(found.R.T @ true.R)
    return m.argmax(0), float(np.degrees(np.arccos(np.clip(m.max(0).min(), 0, 1))))


@cache
def rows_of_scene(seed, **how):
    frame, shot = grown_scene(seed, azimuth=20 + 17 * seed % 50, **how)
    rows, members = true_rows(shot)
    return frame, shot, rows, axes_of(frame, members)


# 24, 36 and 70 mm equivalents of a 1600 px wide photo, barrel and pincushion.
@pytest.mark.parametrize("seed, f, k1", [(1, 1070, -0.06), (2, 1600, 0.0), (3, 3100, 0.05)])
def test_focal_length_rotation_and_lens_come_from_the_rows(seed, f, k1):
    _frame, shot, rows, axes = rows_of_scene(seed, f=f, k1=k1)
    found = find_vanishing_points(row_points(shot.openings, rows), np.ones(len(rows)), SIZE, None)[0]
    names, degrees = renaming(found.camera, shot.camera)
    assert found.camera.f == pytest.approx(f, rel=0.03)
    assert degrees < 0.5
    assert (found.axis == names[axes]).all()
    if f < 2000:
        assert found.camera.k1 == pytest.approx(k1, abs=0.025)  # a narrow picture tells little of k1


def test_false_rows_do_not_lead_it_astray():
    _frame, shot, rows, _axes = rows_of_scene(2, f=1600, k1=0.0)
    rng = np.random.default_rng(0)
    false = []
    for _ in range(2 * len(rows)):  # five openings each, anywhere on a line at even steps, or nearly so
        start, way = rng.uniform(0, SIZE, 2), rng.normal(0, 40, 2)
        false.append(start + np.arange(5)[:, None] * way + rng.normal(0, 1.5, (5, 2)))
    openings = np.concatenate([shot.openings, np.zeros(5 * len(false), shot.openings.dtype)])
    n = len(shot.openings)
    openings["x"][n:], openings["y"][n:] = np.concatenate(false).T
    openings["major"][n:] = openings["minor"][n:] = 8
    both = rows + [Row(n + 5 * i + np.arange(5), np.arange(5), -1.0) for i in range(len(false))]
    found = find_vanishing_points(row_points(openings, both), np.ones(len(both)), SIZE, None)[0]
    assert found.camera.f == pytest.approx(1600, rel=0.03)
    assert renaming(found.camera, shot.camera)[1] < 0.5


def test_a_picture_turned_by_a_quarter_gives_the_same_camera():
    _frame, shot, rows, _ = rows_of_scene(1, f=1070, k1=-0.06)
    turned = shot.openings.copy()
    turned["x"], turned["y"] = SIZE[1] - 1 - shot.openings["y"], shot.openings["x"]
    one = find_vanishing_points(row_points(shot.openings, rows), np.ones(len(rows)), SIZE, None)[0].camera
    two = find_vanishing_points(row_points(turned, rows), np.ones(len(rows)), SIZE[::-1], None)[0].camera
    quarter = np.array([[0, -1.0, 0], [1, 0, 0], [0, 0, 1]])
    assert two.f == pytest.approx(one.f, rel=2e-3) and two.k1 == pytest.approx(one.k1, abs=2e-3)
    assert renaming(two, one.posed(quarter @ one.R, one.t))[1] < 0.1


def test_refinement_comes_back_from_a_wrong_start():
    _frame, shot, rows, _ = rows_of_scene(2, f=1600, k1=0.0)
    points, true = row_points(shot.openings, rows), shot.camera
    value = np.minimum(points.weight.sum(1), 12)
    start = Camera(
        true.f * 1.15,
        true.cx,
        true.cy,
        0.0,
        0.0,
        Rotation.from_rotvec([0.03, -0.03, 0.02]).as_matrix() @ true.R,
    )
    found = refine_camera(start, points, value, camera_prior(SIZE, None)).camera
    assert found.f == pytest.approx(1600, rel=0.02) and renaming(found, true)[1] < 0.3


def test_an_exif_focal_length_a_little_off_is_mended_by_the_rows():
    _frame, shot, rows, _ = rows_of_scene(1, f=1070, k1=-0.06)
    found = find_vanishing_points(row_points(shot.openings, rows), np.ones(len(rows)), SIZE, 1070 * 1.05)[0]
    assert found.camera.f == pytest.approx(1070, rel=0.02)


def test_fewer_than_three_rows_give_no_camera():
    _, shot, rows, _ = rows_of_scene(1, f=1070, k1=-0.06)
    assert find_vanishing_points(row_points(shot.openings, rows[:2]), np.ones(2), SIZE, None) == []


def test_rows_of_one_direction_score_below_the_same_number_in_three():
    """A single vanishing point fixes no camera, so it must not win over a true one."""
    _frame, shot, rows, axes = rows_of_scene(2, f=1600, k1=0.0)
    count = np.bincount(axes, minlength=3)
    assert (count > 0).sum() == 3
    one = [r for r, a in zip(rows, axes) if a == count.argmax()]
    alone = find_vanishing_points(row_points(shot.openings, one), np.ones(len(one)), SIZE, None)
    together = find_vanishing_points(row_points(shot.openings, rows), np.ones(len(rows)), SIZE, None)

    def weight(some):
        return sum(min(len(r.index), 12) for r in some)

    assert not alone or alone[0].score / weight(one) < 0.75 * together[0].score / weight(rows)


# Rows placed in space


def points_of(camera, first, way, steps, padding=0):
    px = camera.project(first + steps[:, None] * way)
    m = len(steps) + padding
    out, k, w = np.zeros((1, m, 2)), np.zeros((1, m)), np.zeros((1, m))
    out[0, : len(steps)], k[0, : len(steps)], w[0, : len(steps)] = px, steps, 1
    out[0, len(steps) :] = px[0]
    return RowPoints(out, k, w, np.array([0.3]))


@given(rows_in_space(), st.integers(0, 4), st.booleans())
def test_exact_rows_are_placed_exactly(row, padding, backwards):
    camera, first, way, steps = row
    points = points_of(camera, first, way, steps, padding)
    place, direction, _ = place_rows(
        image2sensor(camera, points.px), points, (-way if backwards else way)[None]
    )
    assert place[0] == pytest.approx(first, abs=1e-3) and direction[0] == pytest.approx(way)


@given(rows_in_space())
def test_exact_rows_have_no_residual_along_their_own_axis_only(row):
    camera, first, way, steps = row
    across = np.linalg.svd(way[None])[2][1]
    R = np.c_[way, across, np.cross(way, across)]
    camera, points = camera.posed(R, np.zeros(3)), points_of(camera, first, way, steps)
    assert np.abs(row_residuals(camera, points, np.array([0]))).max() < 1e-4
    if len(steps) > 3 and np.ptp(steps) > 5:
        assert np.abs(row_residuals(camera, points, np.array([1]))).max() > 0.5


@settings(max_examples=10)
@given(rows_in_space(), st.integers(0, 99))
def test_scatter_of_places_is_the_covariance_returned(row, seed):
    """Along the worst known direction the scatter over noisy copies agrees with the covariance."""
    camera, first, way, steps = row
    if len(steps) < 5:
        return
    rng = np.random.default_rng(seed)
    points = points_of(camera, first, way, steps)
    copies = 400
    noisy = RowPoints(
        points.px + rng.normal(0, 0.2, (copies, len(steps), 2)),
        np.repeat(points.step, copies, 0),
        np.repeat(points.weight, copies, 0),
        np.repeat(points.sigma, copies),
    )
    place, _, inverse = place_rows(image2sensor(camera, noisy.px), noisy, np.repeat(way[None], copies, 0))
    cov = np.median(inverse, axis=0) * (0.2 / camera.f) ** 2
    worst = np.linalg.eigh(cov)[1][:, 2]
    assert np.sqrt(worst @ cov @ worst) == pytest.approx((place @ worst).std(), rel=0.35)


def test_place_of_a_row_that_runs_away_is_the_least_squares_one_of_scipy():
    """Far openings count as their pixels do: the linear solution is weighted by depth."""
    camera, way = Camera(1200, 799.5, 599.5), np.array([0.35, 0.1, 0.0])
    way[2] = np.sqrt(1 - way @ way)
    first, steps = np.array([-2.0, -1, 8]), np.arange(20)
    rng = np.random.default_rng(4)
    for _ in range(5):
        points = points_of(camera, first, way, steps)
        points = RowPoints(
            points.px + rng.normal(0, 0.5, points.px.shape), points.step, points.weight, points.sigma
        )
        sensor = image2sensor(camera, points.px)
        place, _, _ = place_rows(sensor, points, way[None])

        def residual(p):
            X = p + steps[:, None] * way
            return (X[:, :2] / X[:, 2:] - sensor[0]).ravel() * camera.f

        theirs = least_squares(residual, first)
        assert np.sum(residual(place[0]) ** 2) < 1.003 * 2 * theirs.cost


# Shares


def test_a_floor_of_tiles_has_a_small_share_in_the_rows():
    grid = np.arange(36).reshape(6, 6)
    floor = [
        *grid,
        *grid.T,
        *[np.diagonal(grid, k) for k in (-1, 0, 1)],
        *[np.diagonal(grid[::-1], k) for k in (-1, 0, 1)],
    ]
    member = np.arange(100, 110)
    share = row_shares([*floor, member])
    assert share[-1] == 1.0
    assert share[:12].max() < 0.26 and (share > 0).all()


@pytest.mark.parametrize("told", [0.8, 1.0, 1.25])
def test_cameras_near_the_focal_length_of_exif_stand_first(told):
    """Also where the rows speak for another: a picture with EXIF was not cropped."""
    _frame, shot, rows, _axes = rows_of_scene(2, f=1600, k1=0.0)
    few = [r for r in rows if len(r.index) < 7]
    found = find_vanishing_points(
        row_points(shot.openings, few), np.ones(len(few)), SIZE, told * 1600, most=6
    )
    off = [
        abs(np.log(a.camera.f / (told * 1600))) > FOCAL_OFF * camera_prior(SIZE, 1600).focal_spread
        for a in found
    ]
    assert off == sorted(off)


def test_a_focal_length_that_the_rows_say_nothing_of_is_not_known():
    camera, none = Camera(1500.0, 799.5, 599.5), np.zeros(0, int)
    for covariance in (None, np.zeros((10, 10))):
        assert AxesCamera(camera, none, np.zeros(0), 0.0, covariance).focal_spread == np.inf
    assert AxesCamera(camera, none, np.zeros(0), 0.0, 225.0 * np.eye(10)).focal_spread == pytest.approx(0.01)
