"""Plates with holes, boards on a frame, things before it and what throws shadows on it."""

import numpy as np
import pytest

from tests.render.cameras import cameras_round
from tests.render.frames import STOCK, body, frame_of
from tests.render.make import corners_of
from tests.render.obstacles import (
    LEAST_HIDDEN,
    MOST_HIDDEN,
    add_before,
    add_boards,
    add_shadow,
    board_boxes,
    in_picture,
    obstacles,
)
from tests.render.scenes import Builder, extent, scene_of
from tests.render.shapes import blocked, hit_plate
from tests.render.surroundings import light_of


def rays(origins, directions):
    d = np.array(directions, np.float32)
    return np.array(origins, np.float32).T.copy(), (d / np.linalg.norm(d, axis=1, keepdims=True)).T.copy()


def down(*places):
    return rays([(x, y, 5) for x, y in places], [(0, 0, -1)] * len(places))


def plate(o, d, square=False, stagger=False, blind=None, hole=(0.3, 0.2)):
    return hit_plate(o, d, (3.5, 2.5, 0.2), (1.0, 1.0), hole, square, stagger, blind)


def test_rays_pass_a_plates_holes_and_hit_it_between_them_and_miss_it_beside():
    o, d = down((0, 0), (0.28, 0), (0.32, 0), (0, 0.22), (2, -1), (3.4, 0.5), (3.6, 0))
    index, t, normal = plate(o, d)
    assert list(index) == [2, 3, 5]
    assert t == pytest.approx(4.8, abs=1e-3) and normal[2] == pytest.approx(1)


def test_square_holes_have_corners_and_round_ones_have_none():
    o, d = down((1.25, 1.15))
    assert len(plate(o, d, square=True)[0]) == 0 and len(plate(o, d)[0]) == 1


def test_every_other_row_of_a_staggered_plate_is_half_a_step_on():
    o, d = down((0.5, 1), (0, 1), (0, 0), (0.5, 0), (0.5, -1))
    assert list(plate(o, d, stagger=True)[0]) == [1, 3]


def test_a_slanted_ray_meets_the_wall_of_a_hole():
    o, d = rays([(0.1 - 0.3, 0, 0.2 + 0.3)], [(1, 0, -1)])  # enters 0.1 beyond the middle
    index, t, normal = plate(o, d, square=True)
    assert len(index) == 1 and normal[:, 0] == pytest.approx((-1, 0, 0))
    assert t[0] == pytest.approx(0.5 * np.sqrt(2), abs=2e-3)
    round_one = plate(o, d)
    assert round_one[1][0] == pytest.approx(t[0], abs=2e-3) and round_one[2][0, 0] == pytest.approx(-1)


def test_a_blind_hole_has_a_bottom():
    o, d = down((0, 0), (0.5, 0))
    index, t, normal = plate(o, d, blind=0.15)
    assert list(index) == [0, 1] and t == pytest.approx((4.95, 4.8), abs=1e-3)
    assert normal[2] == pytest.approx(1)


def test_holes_that_would_cut_a_plates_edge_are_left_out():
    o, d = down((3, 2), (3, -2))
    assert len(plate(o, d, hole=(0.6, 0.2))[0]) == 2 and len(plate(o, d)[0]) == 0


@pytest.fixture
def scene():
    frame = frame_of("table", STOCK["wood8"], 3)
    rng = np.random.default_rng(1)
    lo, hi = extent(frame)
    cams, _ = cameras_round(rng, corners_of(frame), lo[2], 3, 800)
    return frame, cams, lo, hi


def test_boards_rest_on_two_members_and_run_through_none(scene):
    frame = scene[0]
    count = 0
    for seed in range(8):
        for lo, hi in board_boxes(frame, np.random.default_rng(seed)):
            rests = 0
            for low, high in (body(s, frame.stock.width) for s in frame.sticks):
                shared = np.minimum(hi, high) - np.maximum(lo, low)
                assert shared.min() < 0.021
                rests += bool(np.sum(shared > 0.5) == 2 and abs(shared.min()) < 1e-6)
            assert rests >= 2
            count += 1
    assert count >= 8
    build = Builder()
    assert add_boards(build, frame, np.random.default_rng(2)) == len(build.clusters) > 0


def test_a_thing_before_the_frame_hides_a_little_of_it(scene):
    frame, cams, lo, _ = scene
    holes = np.array([s.hole(k) for s in frame.sticks for k in range(s.holes)])
    shares = []
    for seed in range(6):
        build = Builder()
        if add_before(build, frame, cams[0], np.random.default_rng(seed), lo[2]):
            way = cams[0].place - holes
            far = np.linalg.norm(way, axis=1)
            o, d = (np.ascontiguousarray(v.T, np.float32) for v in (holes, way / far[:, None]))
            shares.append(blocked(build.clusters, o, d, far.astype(np.float32)).mean())
    # A pole is thinner, a crate higher, than the ball that was looked for a place for.
    assert len(shares) >= 4 and max(shares) > LEAST_HIDDEN and max(shares) < 2.5 * MOST_HIDDEN
    assert min(shares) > 0


@pytest.mark.parametrize("kind", ["sun", "lamp"])
def test_what_throws_a_shadow_is_in_no_picture_and_keeps_light_off_some_holes(scene, kind):
    frame, cams, lo, hi = scene
    lights, _, _ = light_of(kind, np.random.default_rng(4), (lo + hi) / 2, 20.0, lo[2])
    holes = np.array([s.hole(k) for s in frame.sticks for k in range(s.holes)])
    done = 0
    for seed in range(6):
        build = Builder()
        if not add_shadow(build, frame, lights[0], cams, np.random.default_rng(seed), lo, hi):
            continue
        (cluster,) = build.clusters
        assert not any(in_picture(cam, cluster.mid, cluster.reach * 0.9) for cam in cams)
        way = np.broadcast_to(lights[0].at, holes.shape) if lights[0].far else lights[0].at - holes
        far = np.linalg.norm(way, axis=1)
        o, d = (np.ascontiguousarray(v.T, np.float32) for v in (holes, way / far[:, None]))
        limit = np.full(len(holes), 1e6, np.float32) if lights[0].far else far.astype(np.float32)
        dark = blocked(build.clusters, o, d, limit)
        done += bool(0 < dark.sum() < len(dark))
    assert done >= 3


def test_a_thing_in_the_middle_of_a_picture_or_behind_the_camera_is_known(scene):
    _, cams, lo, hi = scene
    cam, mid = cams[0], (lo + hi) / 2
    assert in_picture(cam, mid, 0.5)
    assert not in_picture(cam, cam.place + 3 * (cam.place - mid), 0.5)


def test_a_scene_notes_what_stands_about_the_frame(scene):
    frame, cams, *_ = scene
    plain = scene_of(frame, cams, 3, "plain", "sun")
    busy = scene_of(frame, cams, 3, "plain", "sun", more=obstacles(frame, cams, np.random.default_rng(2)))
    more = sum(busy.note[k] for k in ("boards", "before", "shadows"))
    assert more >= 2 and len(busy.clusters) == len(plain.clusters) + more
    assert "boards" not in plain.note
