"""Cameras turned round one clear direction: the rows of one axis alone, and openings of all, amid clutter."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from recon.geometry.camera import Camera
from recon.image.openings import OPENING, local_density
from recon.solve.photo.axis_rows import find_axis_rows
from recon.solve.photo.read_photo import trusted_rows
from recon.solve.photo.row_points import row_points
from recon.solve.photo.turned_axes import MOST_CAMERAS, turned_axes
from recon.solve.photo.vanishing_points import with_axes
from tests.solve.scenes import HOLE, SIZE, axes_of, grown_scene, true_rows


def off_degrees(a: Camera, b: Camera) -> float:
    """Largest angle between axes of two cameras, whatever their names."""
    return float(np.degrees(np.arccos(np.clip(np.abs(a.R.T @ b.R).max(0).min(), 0, 1))))


def with_clutter(openings, count, rng):
    """The openings, and others like them anywhere in the picture."""
    others = openings[rng.integers(0, len(openings), count)].copy()
    others["x"], others["y"] = rng.uniform(0, SIZE[0], count), rng.uniform(0, SIZE[1], count)
    others["angle"] = rng.uniform(0, np.pi, count)
    both = np.concatenate([openings, others]).astype(OPENING)
    return both[rng.permutation(len(both))]


def one_axis_seen(seed, f, clutter):
    """A made-up photo: its camera, its openings amid clutter, and the rows along one axis with their camera
    turned round that axis by 25 degrees."""
    frame, shot = grown_scene(seed, azimuth=20 + 17 * seed % 50, f=f)
    rows, members = true_rows(shot)
    axes = axes_of(frame, members)
    main = int(np.bincount(axes).argmax())
    points = row_points(shot.openings, [r for r, a in zip(rows, axes) if a == main])
    turn = Rotation.from_rotvec(np.radians(25) * shot.camera.R[:, main]).as_matrix()
    wrong = replace(shot.camera, R=turn @ shot.camera.R, t=np.zeros(3))
    value = np.full(len(points.px), 5.0)
    openings = with_clutter(shot.openings, clutter, np.random.default_rng(seed))
    return shot.camera, openings, points, value, with_axes(wrong, points, value, None)


# EXIF says the focal length; it says none; as many openings of clutter as of the frame, and four times that.
@pytest.mark.parametrize(
    "seed, f, exif, clutter", [(1, 1400, 1400, 200), (2, 1600, None, 200), (3, 1500, 1480, 800)]
)
def test_short_rows_tell_the_turn_round_the_clear_direction(seed, f, exif, clutter):
    true, openings, points, value, wrong = one_axis_seen(seed, f, clutter)
    density = local_density(openings)

    def find(axes, most):
        return trusted_rows(
            find_axis_rows(axes.camera, openings[:most], HOLE, density[:most]), np.zeros(len(openings), int)
        )

    assert off_degrees(wrong.camera, true) > 20
    found = turned_axes([wrong], openings, points, value, SIZE, exif, find)
    assert 0 < len(found) <= MOST_CAMERAS
    assert [a.score for a in found] == sorted((a.score for a in found), reverse=True)
    assert off_degrees(found[0].camera, true) < 1.5
    assert found[0].camera.f == pytest.approx(f, rel=0.06)
    most = found[0].score
    assert all(
        a.score > 0.99 * most
        for a in turned_axes([wrong], openings, points, value, SIZE, exif, find, 0.99 * most)
    )
    assert turned_axes([wrong], openings, points, value, SIZE, exif, find, 1.01 * most) == []


def test_without_a_direction_no_camera_is_turned():
    true, openings, points, value, _ = one_axis_seen(1, 1400, 0)
    none = with_axes(replace(true, t=np.zeros(3)), points, value, None)
    assert turned_axes([], openings, points, value, SIZE, 1400, lambda axes, most: []) == []
    assert turned_axes([none], openings, points, value, SIZE, 1400, lambda axes, most: []) == []
