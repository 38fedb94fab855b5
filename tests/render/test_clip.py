"""A made film's pictures are taken by a moving camera, each row at its own moment."""

import numpy as np
import pytest

from tests.render.clip import EXPOSURE_S, Walk, blur_px
from tests.render.frames import STOCK, frame_of
from tests.render.make import corners_of
from tests.render.scenes import extent


def walk(seed):
    frame = frame_of("table", STOCK["wood8"], 3)
    rng = np.random.default_rng([seed, 9])
    return Walk(rng, corners_of(frame), extent(frame)[0][2], 9.0, 1280)


@pytest.mark.parametrize("seed", [1, 6, 8])
def test_each_row_is_seen_from_where_the_camera_is_at_its_moment(seed):
    w = walk(seed)
    moving = w.moving(2.0, 0.0, 0.03, np.random.default_rng(0))
    width, height = w.seen.size
    x, y = np.array([0.0, width, 0.0, width]), np.array([0.0, 0.0, height, height])
    places, ways = moving.rays(x, y)
    for i in range(4):
        late = 0.03 * ((x[i] / width if w.upright else y[i] / height) - 0.5)
        place, way = w.camera(2.0 + late).rays(x[i : i + 1], y[i : i + 1])
        still = moving.at.rays(x[i : i + 1], y[i : i + 1])[1]
        wrong = np.abs(ways[:, i] - way[:, 0]).max() * w.seen.f
        assert wrong < 0.5 and np.abs(places[:, i] - place[:, 0]).max() < 0.01  # px, pitches
        assert wrong < 0.2 * np.abs(still - way).max() * w.seen.f


def test_a_film_stands_still_for_a_while_and_is_blurred_more_in_dim_light():
    w = walk(1)
    shares = np.array([w.share(t) for t in np.linspace(0, 9, 73)])
    assert shares[0] == 0 and shares[-1] == pytest.approx(1) and (np.diff(shares) == 0).sum() >= 5
    bright, dim = (np.median([blur_px(w, t, EXPOSURE_S[k]) for t in range(9)]) for k in ("sun", "dim"))
    assert bright < 1 < dim
