"""A made film's pictures are taken by a moving camera, each row at its own moment."""

import json

import cv2
import numpy as np
import pytest

from tests.render import clip
from tests.render.clip import EXPOSURE_S, Walk, blur_px, make_clip
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


def test_a_drawn_film_shows_the_frame_where_its_truth_says(tmp_path, monkeypatch):
    monkeypatch.setattr(clip, "STILLS", 1)
    monkeypatch.setattr(clip, "STILL_PX", 1800)
    make_clip(5, tmp_path, spp=1, frames=3, long_side=480, drawn=True, say=lambda *_, **__: None)
    truth = json.loads((tmp_path / "clip005/truth.json").read_text())
    film = cv2.VideoCapture(str(tmp_path / "clip005/walk.mp4"))
    pictures = [film.read()[1] for _ in range(3)]
    assert len(truth["clip"]["frames"]) == 3 and len(truth["photos"]) == 1 and not film.read()[0]
    photo = cv2.imread(str(tmp_path / "clip005/photo_1.jpg"), cv2.IMREAD_GRAYSCALE).astype(float)
    assert pictures[0].shape[:2] == tuple(truth["clip"]["frames"][0]["size"][::-1])
    seen = [h for h in truth["photos"][0]["holes"] if h["seen"] == 8 and h["px"] > 7]
    bolts = {(b[side], b[f"{side}_hole"]) for b in truth["bolts"] for side in "ab"}
    darker = []
    for hole in seen:
        if (hole["stick"], hole["hole"]) not in bolts:
            x, y = np.rint(hole["xy"]).astype(int)
            reach = int(hole["px"])
            around = photo[y - reach : y + reach + 1, x - reach : x + reach + 1]
            darker.append(photo[y, x] < around.mean())
    assert len(darker) > 20 and np.mean(darker) > 0.85
