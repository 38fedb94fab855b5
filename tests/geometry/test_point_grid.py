"""Points nearest to one place, against SciPy's k-d tree."""

import numpy as np
import pytest
from scipy.spatial import cKDTree

from recon.geometry.point_grid import PointGrid


@pytest.mark.parametrize("within", [0.5, 7.0, 60.0])
def test_the_nearest_points_are_those_of_a_k_d_tree(within):
    rng = np.random.default_rng(3)
    points = np.concatenate([rng.random((200, 2)) * 300 - 40, rng.random((80, 2)) * 9])
    grid, tree = PointGrid(points), cKDTree(points)
    for x, y in rng.random((100, 2)) * 360 - 60:
        distance, known = tree.query((x, y), k=3, distance_upper_bound=within)
        assert grid.nearest(x, y, within, 3) == known[np.isfinite(distance)].tolist()


def test_no_points_have_no_nearest():
    assert PointGrid(np.zeros((0, 2))).nearest(0.0, 0.0, 5.0, 3) == []
