"""Focal length of one plane of openings, against the published chessboard and made-up planes."""

import numpy as np
import pytest

from recon.solve.photo.plane_camera import FOCAL_PRIOR, focal_of_plane, posterior_peak
from tests.solve import chessboard
from tests.solve.decoys import camera_at

NODE = np.stack(np.meshgrid(np.arange(10), np.arange(8)), 2).reshape(-1, 2)
SIZE = (1000, 750)


def of_plane(tilt, turn=15, f=900.0, noise=0.2, space=NODE, seed=0):
    rng = np.random.default_rng(seed)
    px = camera_at(tilt, turn, 10, 16, f).project(np.c_[space - space.mean(0), np.zeros(len(space))])
    return focal_of_plane(NODE, px + rng.normal(0, noise, px.shape), SIZE)


@pytest.mark.parametrize("number", [1, 5, 8, 12])
def test_each_published_view_of_the_chessboard_gives_the_focal_length_within_a_tenth(number):
    found = focal_of_plane(chessboard.BOARD[:, :2], chessboard.corners("left", number), chessboard.SIZE)
    published = chessboard.published()[0][0, 0]
    assert found.known
    assert abs(np.log(found.focal_px / published)) < min(0.1, 2 * found.spread)


@pytest.mark.parametrize("f", [600.0, 900.0, 1500.0])
def test_a_tilted_plane_says_the_focal_length(f):
    found = of_plane(40, f=f)
    assert found.known and abs(np.log(found.focal_px / f)) < 2.5 * found.spread


def test_a_plane_seen_straight_on_says_nothing():
    found = of_plane(0, turn=0)
    assert not found.known and found.spread > FOCAL_PRIOR[1] / 2


def test_the_steeper_the_plane_the_better_the_focal_length_is_known():
    assert of_plane(45).spread < of_plane(15).spread


def test_a_sheet_perforated_at_60_degrees_says_the_focal_length():
    hexagonal = np.c_[NODE[:, 0] + 0.5 * NODE[:, 1], 0.75**0.5 * NODE[:, 1]]
    found = of_plane(40, space=hexagonal)
    assert abs(np.log(found.focal_px / 900)) < 2.5 * found.spread < 0.5


def test_a_focal_length_in_the_file_is_what_a_plane_straight_on_leaves():
    px = camera_at(0, 0, 0, 16).project(np.c_[NODE - NODE.mean(0), np.zeros(len(NODE))])
    found = focal_of_plane(NODE, px, SIZE, 910.0)
    assert abs(found.focal_px - 910) < 10


def test_a_flat_posterior_with_one_steep_side_is_no_peak():
    """The costs of a printed plane between 0.7 and 2 of the long side: any focal length of these will do."""
    at = np.log(np.geomspace(0.35, 4.0, 24))
    cost = np.abs(np.arange(24) - 7.5) ** 2 + 40.0
    cost[5:11] = [65.4, 64.3, 64.2, 63.9, 63.0, 61.9]
    cost[:5], cost[11:] = 120.0, 70.4 + 20 * np.arange(13)
    assert posterior_peak(at, cost)[1] > 0.1
    cost[5:11] = [120.0, 90.0, 70.0, 61.9, 68.0, 90.0]
    assert posterior_peak(at, cost)[1] < 0.05
