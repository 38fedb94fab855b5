"""The maker of test photographs is itself checked: its truth must be true."""

from itertools import combinations

import cv2
import numpy as np
import pytest

from tests.render.cameras import Camera, look
from tests.render.frames import STOCK, Bolt, Stick, bolted, braced, collide, connected, frame_of, laps
from tests.render.make import STYLES, corners_of, quick_frame
from tests.render.shapes import hit_cylinder, hit_member


def rays(origins, directions):
    d = np.array(directions, np.float32)
    return np.array(origins, np.float32).T.copy(), (d / np.linalg.norm(d, axis=1, keepdims=True)).T.copy()


def some_camera():
    place = np.array([20.0, -30.0, 12.0])
    R = look(place, np.zeros(3), 0.03)
    return Camera((1600, 1200), 1500.0, 805.0, 596.0, -0.06, 0.015, R, -R @ place)


def test_a_ray_through_a_hole_passes_and_beside_it_hits():
    o, d = rays([[2, -5, 0], [2.3, -5, 0], [2.5, -5, 0.1]], [[0, 1, 0]] * 3)
    index, t, normal = hit_member(o, d, 6, 1.0, 0.125, None, 0.02)
    assert sorted(index) == [1, 2]
    assert t == pytest.approx(4.5, abs=1e-3) and normal[1] == pytest.approx(-1)


def test_a_slanted_ray_meets_a_tubes_far_wall_and_solid_woods_near_bore():
    o, d = rays([[2 - 0.45 * 0.3, -0.95, 0]], [[0.3, 1, 0]])  # goes in through hole 2
    near = hit_member(o, d, 6, 1.0, 0.15, None, 0.02)[1][0]
    far = hit_member(o, d, 6, 1.0, 0.15, 0.08, 0.02)[1][0]
    slope = np.hypot(1, 0.3)
    assert 0.45 * slope < near < 1.0 * slope
    assert far == pytest.approx((0.95 + 0.42) * slope, abs=2e-3)


def test_a_ray_from_inside_a_solid_is_stopped_at_once():
    o, d = rays([[0, 0, 0]], [[1, 0, 0]])
    assert len(hit_cylinder(o, d, 0.5, 0.5)[0]) == 1
    o[0] = 0.25  # in the wood between holes 0 and 1, whose radius is 0.1
    assert hit_member(o, d, 3, 1.0, 0.1, None, 0.02)[1][0] < 1e-2


def test_projection_agrees_with_opencv():
    """Outside truth: cv2.projectPoints of the installed OpenCV."""
    cam = some_camera()
    points = np.random.default_rng(1).uniform(-8, 8, (50, 3))
    K = np.array([[cam.f, 0, cam.cx], [0, cam.f, cam.cy], [0, 0, 1]])
    theirs = cv2.projectPoints(points, cv2.Rodrigues(cam.R)[0], cam.t, K, np.array([cam.k1, cam.k2, 0, 0]))[
        0
    ][:, 0]
    assert np.abs(cam.project(points)[0] - theirs).max() < 1e-6


def test_the_ray_of_a_pixel_goes_through_what_is_seen_there():
    cam = some_camera()
    points = np.random.default_rng(2).uniform(-8, 8, (50, 3))
    xy, _ = cam.project(points)
    o, d = cam.rays(xy[:, 0], xy[:, 1])
    off = np.cross((points - o.T), d.T)
    assert np.linalg.norm(off, axis=1).max() < 1e-3


def test_crossing_members_a_width_apart_with_a_common_axis_lap_and_others_do_not():
    post = Stick(2, (0, 0, 0), 10)
    rail = Stick(0, (-2, 1, 4), 6)
    assert laps([post, rail], 1.0) == [Bolt(0, 4, 1, 2, 1)]
    assert laps([post, Stick(0, (-2, 1.2, 4), 6)], 1.0) == []
    assert laps([post, Stick(0, (-2, 1, 4.5), 6)], 1.0) == []


def test_no_two_bolts_cross_in_one_hole():
    cross = [Bolt(0, 3, 1, 0, 1), Bolt(0, 3, 2, 0, 0)]
    for seed in range(20):
        assert len(bolted(np.random.default_rng(seed), cross)) <= 1


@pytest.mark.parametrize("style", sorted(set(STYLES)))
@pytest.mark.parametrize("stock", ["wood8", "post44", "post51"])
def test_frames_hang_together_and_no_two_members_share_room(style, stock):
    for seed in range(3):
        frame = frame_of(style, STOCK[stock], seed)
        assert not any(collide(s, t, frame.stock.width) for s, t in combinations(frame.sticks, 2))
        every = laps(frame.sticks, frame.stock.width)

        def ends(bolts):
            return {frozenset([(b.a, b.a_hole), (b.b, b.b_hole)]) for b in bolts}

        assert connected(len(frame.sticks), every) and ends(frame.bolts) <= ends(every)


def test_a_brace_has_a_hole_on_each_of_its_pins():
    frame = braced(np.random.default_rng(3), frame_of("table", STOCK["wood8"], 3), 1)
    (brace,) = frame.braces
    for pin, axis in frame.pins:
        line = np.delete(np.array([brace.hole(k) for k in range(brace.holes)]) - pin, axis, axis=1)
        assert np.linalg.norm(line, axis=1).min() < 1e-6


def test_true_openings_are_darker_than_the_face_round_them():
    pictures, truth = quick_frame(seed=5, members=4, photos=2, stock="post44")
    width, radius = truth["width_mm"] / truth["pitch_mm"], truth["hole_mm"] / truth["pitch_mm"] / 2
    inside, round_it = [], []
    for picture, photo in zip(pictures, truth["photos"]):
        grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY).astype(np.float32)
        cam = Camera(
            tuple(photo["size"]),
            *(photo[k] for k in ("f", "cx", "cy", "k1", "k2")),
            np.array(photo["R"]),
            np.array(photo["t"]),
        )
        for hole in photo["holes"]:
            stick = truth["sticks"][hole["stick"]]
            u, n = np.eye(3)[stick["axis"]], np.array(hole["normal"], float)
            centre = np.array(stick["at"], float) + hole["hole"] * u + n * width / 2
            facing = n @ (cam.place - centre) / np.linalg.norm(cam.place - centre)
            if hole["seen"] < 8 or hole["px"] < 5 or facing < 0.5:
                continue
            a = np.arange(12) * np.pi / 6
            ring = np.cos(a)[:, None] * u + np.sin(a)[:, None] * np.cross(n, u)
            tone = []
            for r in (0.3, 1.6):
                xy = cam.project(centre + r * radius * ring)[0].astype(np.float32)
                tone.append(float(cv2.remap(grey, xy[:, 0], xy[:, 1], cv2.INTER_LINEAR).mean()))
            inside.append(tone[0]), round_it.append(tone[1])
    # Not all: a hole that shows lit ground, or sunlight on its far wall, is bright.
    assert len(inside) > 40
    assert np.mean(np.array(inside) < 0.85 * np.array(round_it)) > 0.75


def test_cameras_see_the_whole_frame_but_for_a_sliver():
    _, truth = quick_frame(seed=5, members=5, photos=3, long_side=160, spp=1)
    frame = frame_of("grown", STOCK["wood8"], 5, 5)
    for photo in truth["photos"]:
        cam = Camera(
            tuple(photo["size"]),
            *(photo[k] for k in ("f", "cx", "cy", "k1", "k2")),
            np.array(photo["R"]),
            np.array(photo["t"]),
        )
        xy, depth = cam.project(corners_of(frame))
        assert depth.min() > 0
        assert np.mean(np.all((xy > 0) & (xy < cam.size), axis=1)) > 0.8
