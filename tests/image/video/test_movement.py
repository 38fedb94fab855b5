"""The way of a camera is found from what it sees: made-up videos whose cameras are known."""

import numpy as np
import pytest

from recon.image.video.movement import PathFinder, half_view, off_axis, relative_pose
from tests.image.video.made import SIZE, looking_at, on_circle, seen_from, walk


def path_of(pictures):
    finder = PathFinder(SIZE)
    for picture in pictures:
        finder.add(picture[..., 0])
    return finder.path()


def test_a_walk_is_as_long_and_turns_as_far_as_it_was():
    path = path_of(walk(0, 60, 31))
    assert set(path.stretch) == {0} and len(path.place) == 31
    way = np.linalg.norm(np.diff(path.place, axis=0), axis=1)
    # In distances to what is seen, some of which is three times as far away as the planes in the middle.
    assert 0.6 * np.radians(60) < way.sum() < 1.2 * np.radians(60)
    assert np.quantile(way, 0.9) < 2.5 * np.quantile(way, 0.1)
    turned = np.degrees(np.arccos(path.axis @ path.axis[0]))
    assert turned[15] == pytest.approx(30, abs=4) and turned[-1] == pytest.approx(60, abs=5)
    assert off_axis(path).max() < half_view(SIZE) / 2  # it looked at the frame all the time


def test_standing_still_and_turning_on_the_spot_are_no_way():
    place = on_circle(0)
    pictures = [seen_from(place)] * 6 + [seen_from(place, (x, 0, 0)) for x in np.linspace(0, 0.4, 15)]
    path = path_of(pictures)
    assert np.linalg.norm(path.place, axis=1).max() < 0.02
    assert np.degrees(np.arccos(path.axis[-1] @ path.axis[0])) > 15
    assert np.argmax(off_axis(path)) == len(pictures) - 1  # it looked away at the end


def test_a_cut_begins_another_stretch():
    path = path_of([*walk(0, 10, 6), *[p[::-1].copy() for p in walk(100, 110, 6)]])
    assert path.stretch.tolist() == [0] * 6 + [1] * 6
    assert np.allclose(path.place[6], 0)


def test_points_without_a_common_movement_tell_none():
    rng = np.random.default_rng(2)
    there, here = rng.uniform(-200, 200, (2, 80, 2))
    assert relative_pose(there, here, 400.0)[1] is None


def test_a_step_is_measured_in_distances_to_what_is_seen():
    rng = np.random.default_rng(3)
    points = rng.uniform(-0.3, 0.3, (200, 3))
    seen = []
    for place in (on_circle(0), on_circle(5)):
        R, t = looking_at(place)
        p = points @ R.T + t
        seen.append(p[:, :2] / p[:, 2:] * 400)
    turn, place = relative_pose(*seen, 400.0)
    R0, _ = looking_at(on_circle(0))
    R1, _ = looking_at(on_circle(5))
    distance = np.linalg.norm(on_circle(0))
    assert np.allclose(turn, R1 @ R0.T, atol=0.01)
    assert np.allclose(place, R0 @ (on_circle(5) - on_circle(0)) / distance, atol=0.01)
