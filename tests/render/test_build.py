"""Frames built by hand are off their lattice as much as was asked, and drawn where the truth says."""

import numpy as np
import pytest

from tests.render import build
from tests.render.build import built, on_line, rack_angles, racked, real_bolt, real_corners
from tests.render.cameras import Camera
from tests.render.frames import STOCK, braced, cube, frame_of
from tests.render.make import quick_frame
from tests.render.scenes import Builder, add_frame, bolt_runs
from tests.render.shapes import blocked


def members_of(frame):
    return [*frame.sticks, *frame.braces]


def some_frame():
    return braced(np.random.default_rng(3), frame_of("table", STOCK["wood8"], 3), 1)


def camera_of(photo):
    rest = (photo[k] for k in ("f", "cx", "cy", "k1", "k2"))
    return Camera(tuple(photo["size"]), *rest, np.array(photo["R"]), np.array(photo["t"]))


def triangulated(truth):
    """Lattice places and real ones (N, 3) of openings; the real ones from pixels in several photos alone."""
    rays = {}
    for photo in truth["photos"]:
        cam = camera_of(photo)
        for h in photo["holes"]:
            key = (h["stick"], h["hole"], tuple(np.rint(h["normal"])))
            o, d = cam.rays(*np.array([[h["xy"][0]], [h["xy"][1]]]))
            rays.setdefault(key, []).append((o[:, 0].astype(float), d[:, 0].astype(float)))
    lattice, real = [], []
    for (stick, hole, normal), seen in rays.items():
        if len(seen) < 2:
            continue
        across = [np.eye(3) - np.outer(d, d) for _, d in seen]
        place = np.linalg.solve(sum(across), sum(a @ o for a, (o, _) in zip(across, seen)))
        s = truth["sticks"][stick]
        half = truth["width_mm"] / truth["pitch_mm"] / 2
        lattice.append(np.array(s["at"], float) + hole * np.eye(3)[s["axis"]] + half * np.array(normal))
        real.append(place)
    return np.array(lattice), np.array(real)


def test_the_rack_in_the_openings_pixels_is_what_was_asked(monkeypatch):
    for name in ("PLAY", "TURN", "BOW"):
        monkeypatch.setattr(build, name, 0.0)
    _, truth = quick_frame(seed=2, style="box", kind="handbuilt", photos=3, long_side=400, spp=1)
    lattice, real = triangulated(truth)
    assert len(lattice) > 60
    fit, *_ = np.linalg.lstsq(np.c_[lattice, np.ones(len(lattice))], real, rcond=None)
    asked = truth["racked_deg"]
    assert np.abs(asked).max() > 1 and rack_angles(fit[:3].T) == pytest.approx(asked, abs=0.05)


def test_racked_axes_stand_at_the_angles_asked_and_the_floor_stays_level():
    axes = racked([1.0, -2.5, 3.0])
    assert rack_angles(axes) == pytest.approx([1.0, -2.5, 3.0])
    assert axes[2, 0] == axes[2, 1] == 0 and np.linalg.norm(axes, axis=0) == pytest.approx(1)
    assert racked([0, 0, 0]) == pytest.approx(np.eye(3))


def test_racks_are_up_to_three_degrees_and_members_have_their_play():
    racks, shifts, turns = [], [], []
    for seed in range(12):
        frame = built(frame_of("box", STOCK["wood8"], seed), seed)
        racks.append(frame.rack)
        lattice = np.array([s.hole((s.holes - 1) / 2) for s in frame.sticks])
        real = np.array([m.first + (m.holes - 1) / 2 * m.direction for m in frame.real])
        fixed = lattice[0] - np.linalg.solve(racked(frame.rack), real[0])
        off = real - (lattice - fixed) @ racked(frame.rack).T
        shifts += list(off - off.mean(axis=0))
        u = racked(frame.rack)[:, [s.axis for s in frame.sticks]].T
        turns += list(np.linalg.norm(np.cross(u, [m.direction for m in frame.real]), axis=1))
    assert 1 < np.abs(racks).max() <= 3
    assert 0.028 < np.std(shifts) < 0.04
    # Two of the three small turns move a member's direction.
    assert np.rad2deg(np.sqrt(np.mean(np.square(turns)))) == pytest.approx(0.2 * np.sqrt(2), rel=0.25)


def test_without_errors_a_frame_is_its_lattice():
    frame = built(some_frame(), 4, share=0.0)
    for ideal, real in zip(members_of(frame), frame.real):
        for k in (0, ideal.holes - 1):
            assert real.hole(k) == pytest.approx(ideal.hole(k), abs=1e-9)


def test_a_bow_is_up_to_a_three_hundredth_and_short_members_are_straight():
    frame = built(some_frame(), 4)
    for m in frame.real:
        ends = m.hole(0), m.hole(m.holes - 1)
        middle = m.hole((m.holes - 1) / 2) - (ends[0] + ends[1]) / 2
        assert middle == pytest.approx(m.bow, abs=0.02 * np.linalg.norm(m.bow) + 1e-9)
        assert np.linalg.norm(m.bow) <= m.holes / 300 and (m.holes > 6 or not m.bow.any())
        gaps = np.linalg.norm(np.diff([m.hole(k) for k in range(m.holes)], axis=0), axis=1)
        assert gaps == pytest.approx(1, abs=2e-3)
    assert max(np.linalg.norm(m.bow) for m in frame.real) > 0.02


def test_a_bowed_member_is_drawn_with_its_holes_where_the_truth_has_them():
    frame = built(frame_of("tower", STOCK["wood8"], 4), 4)
    m = max(frame.real, key=lambda m: np.linalg.norm(m.bow))
    scene = Builder()
    build.add_real(scene, m, (m.holes, 1.0, 0.125, None, 0.02), build_material(), None)
    assert len(scene.clusters) == 3

    def stopped(k, along):
        rot, origin = m.piece_of(k)
        p = origin + (k + along) * rot[0] + 3 * rot[1]
        o, d = (np.array([v], np.float32).T for v in (p, -rot[1]))
        return bool(blocked(scene.clusters, o, d, np.array([6], np.float32))[0])

    assert not any(stopped(k, along) for k in range(m.holes) for along in (0.0, 0.11, -0.11))
    # Between holes, where the pieces meet, too, and not beyond the ends.
    assert all(stopped(k, along) for k in range(m.holes) for along in (0.14, -0.14, 0.49, -0.49))
    assert not stopped(0, -0.51) and not stopped(m.holes - 1, 0.51)


def build_material():
    from tests.render.textures import Material, plain

    return Material(plain((0.5, 0.5, 0.5), 1))


def test_bolts_go_through_the_holes_where_they_really_are():
    frame = built(some_frame(), 5)
    through = 0
    for p, axis, low, high in bolt_runs(frame):
        at, z, start, end = real_bolt(frame, p, axis, low, high)
        holes = on_line(frame, p, axis, low, high)
        assert len(holes) >= 2 and z[axis] > 0.99
        for i, k in holes:
            off = frame.real[i].hole(k) - at
            assert np.linalg.norm(off - (off @ z) * z) < 0.2  # play of two members, and their turns
            assert start < off @ z < end
            through += 1
    assert through == 2 * len(frame.bolts) + 2 * len(frame.pins)


def test_the_corners_of_a_built_frame_are_near_those_of_its_lattice():
    ideal = frame_of("box", STOCK["wood8"], 3)
    corners = real_corners(built(ideal, 3, 0.0))
    lattice = real_corners(built(ideal, 3))
    far = np.linalg.norm(corners - lattice, axis=1)
    assert 0.05 < far.max() < np.ptp(corners, axis=0).max() * 3 * np.sin(np.deg2rad(3)) + 0.3


def test_every_member_of_a_built_frame_is_in_the_scene():
    frame = built(some_frame(), 6)
    scene = Builder()
    add_frame(scene, frame, np.random.default_rng(1))
    pieces = sum(len(m.pieces()) for m in frame.real)
    assert sum(c.shapes[0].kind == "member" for c in scene.clusters) == pieces > len(frame.real)


def test_a_cube_has_twelve_members_of_one_length_bolted_near_their_ends():
    for seed in range(5):
        frame = frame_of("cube", STOCK["wood8"], seed)
        (n,) = {s.holes for s in frame.sticks}
        assert len(frame.sticks) == 12 and 9 <= n <= 27
        assert {min(k, n - 1 - k) for b in frame.bolts for k in (b.a_hole, b.b_hole)} <= {0, 1}
    assert len(cube(np.random.default_rng(1))) == 12
