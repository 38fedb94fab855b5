"""What the web and a telephone do to a picture, and to the truth about it."""

from dataclasses import replace

import numpy as np
import pytest

from tests.render.cameras import Camera
from tests.render.kinds import develop
from tests.render.make import quick_frame
from tests.render.retouch import Shot, bordered, grey, lifted, mirrored, shaken, sharpened, web
from tests.render.truth import photo_record


def some_shot(seed=1):
    picture = np.random.default_rng(seed).integers(0, 255, (60, 80, 3), dtype=np.uint8)
    return Shot(picture, Camera((80, 60), 70.0, 45.0, 28.0, 0.0, 0.0, np.eye(3), np.zeros(3)))


def test_a_mirrored_picture_turned_back_is_the_plain_picture():
    one = some_shot()
    twice = mirrored(mirrored(one))
    assert np.array_equal(twice.picture, one.picture) and not twice.mirrored and twice.camera == one.camera
    assert not np.array_equal(mirrored(one).picture, one.picture)


@pytest.mark.parametrize("flip", [False, True])
def test_what_the_camera_shows_at_a_pixel_is_in_the_file_where_the_truth_says(flip):
    one = some_shot()
    for seed in range(8):
        done = bordered(mirrored(one) if flip else one, np.random.default_rng(seed))
        shift = np.array([done.camera.cx - one.camera.cx, done.camera.cy - one.camera.cy])
        assert done.picture.shape[1::-1] == done.camera.size and shift[1] > 0
        for x, y in ((0, 0), (79, 59), (13, 40)):
            u, v = done.placed(np.array([x, y]) + shift).astype(int)
            assert np.array_equal(done.picture[v, u], one.picture[y, x])


def test_the_truth_of_a_mirrored_photo_says_so_and_has_its_openings_mirrored(monkeypatch):
    made = {}
    for flip in (False, True):
        monkeypatch.setattr(
            "tests.render.make.develop",
            lambda *a, flip=flip: mirrored(develop(*a)) if flip else develop(*a),
        )
        made[flip] = quick_frame(seed=3, members=3, photos=1, long_side=160, spp=1)
    (plain, truth), (other, mirror) = made[False], made[True]
    assert np.array_equal(other[0][:, ::-1], plain[0])
    one, two = truth["photos"][0], mirror["photos"][0]
    assert two["mirrored"] and "mirrored" not in one
    assert all(one[k] == two[k] for k in ("f", "cx", "cy", "R", "t", "size"))
    assert [(159 - h["xy"][0] if one["size"][0] == 160 else 119 - h["xy"][0]) for h in one["holes"]] == (
        pytest.approx([h["xy"][0] for h in two["holes"]], abs=0.011)
    )


def test_sharpening_leaves_halos_on_both_sides_of_an_edge_and_even_areas_alone():
    step = np.full((20, 40, 3), 80, np.uint8)
    step[:, 20:] = 170
    sharp = sharpened(step, 1.5, 1.2)
    assert sharp[10, 20, 0] > 185 and sharp[10, 19, 0] < 65
    assert sharp[10, 2, 0] == 80 and sharp[10, 37, 0] == 170


def test_black_and_white_has_no_colour():
    picture = grey(some_shot().picture)
    assert np.ptp(picture, axis=2).max() == 0 and picture.std() > 10


def test_the_web_sharpens_mirrors_frames_and_compresses_some_pictures():
    notes, qualities = [], []
    for seed in range(120):
        done = web(some_shot(), np.random.default_rng(seed))
        notes.append(" ".join(done.notes))
        qualities.append(done.quality)
        assert done.mirrored == ("mirrored" in done.notes)
    share = {k: np.mean([k in n for n in notes]) for k in ("sharp", "black", "mirror", "screen")}
    assert 0.65 < share["sharp"] < 0.95 and all(0.04 < share[k] < 0.3 for k in ("black", "mirror", "screen"))
    assert 30 <= min(qualities) < 40 and 70 < max(qualities) <= 75


def test_lifted_tones_bring_large_areas_together_and_keep_small_contrasts():
    picture = np.full((200, 400, 3), 200, np.uint8)
    picture[:, 200:] = 40
    picture[:, 300:360:4] = 50  # fine stripes in the dark
    out = lifted(picture, 0.6).astype(float)
    assert out[100, 50:150].mean() > out[100, 220:280].mean() > 1.3 * 40
    before, after = (p[100, 300:360].std() / p[100, 300:360].mean() for p in (picture.astype(float), out))
    assert after == pytest.approx(before, rel=0.25)


def test_a_shaken_picture_is_as_bright_and_less_sharp():
    linear = np.random.default_rng(1).random((80, 80, 3), dtype=np.float32)
    out = shaken(linear, np.random.default_rng(2), 6.0)
    assert out.mean() == pytest.approx(linear.mean(), rel=0.02)
    assert np.abs(np.diff(out, axis=1)).mean() < 0.6 * np.abs(np.diff(linear, axis=1)).mean()


@pytest.mark.parametrize("kind", ["telephone", "web"])
def test_noise_is_taken_out_and_edges_are_kept(monkeypatch, kind):
    linear = np.full((160, 160, 3), 0.2, np.float32)
    linear[:, 80:] = 0.03
    cam = some_shot().camera

    def made(seed=7):
        return develop(kind, linear, cam, np.random.default_rng(seed), 1.0).picture.astype(float)

    cleaned = made()
    monkeypatch.setattr("tests.render.retouch.calm", lambda picture, _: picture)
    noisy = made()
    grain = [np.diff(p[20:-20, 20:60], axis=0).std() for p in (cleaned, noisy)]  # not the lens's fall-off
    assert grain[0] < 0.5 * grain[1]
    edges = [p[20:-20, 76].mean() - p[20:-20, 84].mean() for p in (cleaned, noisy)]
    assert edges[0] > 0.9 * edges[1] > 20


def test_a_record_without_members_lists_no_opening():
    cam = some_shot().camera
    empty = type("Empty", (), {"real": (), "sticks": (), "braces": (), "stock": None})()
    record = photo_record(empty, cam, [], "a.jpg", None, 0.0, shot=replace(some_shot(), notes=("x",)))
    assert record["holes"] == [] and record["done"] == ["x"] and "mirrored" not in record
