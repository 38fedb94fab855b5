"""Photos together: turns, shifts, and whether two photos show one frame."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from recon.frame.joints import find_joints
from recon.frame.model import Frame, Member, label
from recon.geometry.camera import Camera
from recon.geometry.lattice import rotations
from recon.solve.evidence.posed_photo import with_camera
from recon.solve.multiview.assemble import drop_outlier_photos
from recon.solve.multiview.hypotheses import register_photos
from recon.solve.multiview.registration import (
    Cells,
    cells_of,
    fit_score,
    merged,
    moved_lattice,
    register,
    together,
    turned_cells,
    vote_shift,
)
from recon.solve.photo.read_photo import read_photo
from recon.workers import Workers
from tests.growing import grow_frame
from tests.solve.scenes import SIZE, camera_round, grown_scene, lattice_change, photo_of, shoot

turn_numbers = st.integers(0, 23)
whole_shifts = st.tuples(*[st.integers(-15, 15)] * 3).map(lambda v: np.array(v, float))
AZIMUTHS = (30, 85, 150)


@cache
def three_photos(seed=1):
    """One frame from three sides, each photo read by itself."""
    frame = grow_frame(seed, 8, holes=(6, 13))
    shots = [
        shoot(frame, camera_round(frame, a, 20 + 4 * i, roll=2 - i), 10 * seed + i)
        for i, a in enumerate(AZIMUTHS)
    ]
    return frame, shots, [read_photo(f"photo_{i}", s.openings, SIZE, None, 1.0) for i, s in enumerate(shots)]


@cache
def another_frame():
    _, shot = grown_scene(6, 60)
    return read_photo("another", shot.openings, SIZE, None, 1.0)


def cells_of_frame(frame) -> Cells:
    """Every hole of a frame as a cell."""
    place = np.vstack([m.hole_centres() for m in frame.members])
    axis = np.concatenate([np.full(m.holes, int(np.abs(m.direction).argmax())) for m in frame.members])
    return Cells(place, axis, np.ones(len(axis)), np.ones(len(axis)))


# Moving


@given(turn_numbers, whole_shifts, st.integers(0, 99))
def test_a_moved_camera_sees_the_moved_world_as_the_camera_saw_the_world(number, shift, seed):
    rng = np.random.default_rng(seed)
    camera = Camera(
        1200, 800, 600, -0.05, 0.01, Rotation.random(random_state=seed).as_matrix(), np.array([0.3, -0.5, 30])
    )
    X = rng.uniform(-5, 5, (9, 3))
    turn = rotations()[number]
    moved = camera.moved(turn, shift)
    assert moved.project(X @ turn.T + shift) == pytest.approx(camera.project(X), abs=1e-6)
    assert moved.centre == pytest.approx(turn @ camera.centre + shift)


@given(turn_numbers, whole_shifts)
def test_turned_cells_are_holes_of_the_turned_members(number, shift):
    frame = grow_frame(3, 5)
    turn = rotations()[number]
    turned = turned_cells(cells_of_frame(frame), turn, shift)
    k = 0
    for m in frame.members:
        for hole in range(m.holes):
            assert turned.place[k] == pytest.approx(turn @ m.hole_centre(hole) + shift)
            assert abs((turn @ m.direction)[turned.axis[k]]) == pytest.approx(1)
            k += 1


@settings(max_examples=12)
@given(turn_numbers, whole_shifts)
def test_a_moved_lattice_foretells_the_same_openings(number, shift):
    """Every guess of every row, moved, projects to where it did; places and covariances move along."""
    _, _, readings = three_photos()
    lattice = readings[0].lattice
    turn = rotations()[number]
    moved = moved_lattice(lattice, turn, shift)
    here, there = lattice.placed, moved.placed
    for i, (a, b) in enumerate(zip(lattice.guesses, moved.guesses)):
        if not a:
            continue
        old = (a[0].first + 0.5 * a[0].normal) + np.outer(
            here.sign[i] * here.rows[i].step, np.eye(3)[here.rows[i].axis]
        )
        new = (b[0].first + 0.5 * b[0].normal) + np.outer(
            there.sign[i] * there.rows[i].step, np.eye(3)[there.rows[i].axis]
        )
        assert moved.camera.project(new) == pytest.approx(lattice.camera.project(old), abs=1e-6)
    assert there.place == pytest.approx(here.place @ turn.T + shift)
    assert np.linalg.eigvalsh(there.cov) == pytest.approx(np.linalg.eigvalsh(here.cov))
    back = moved_lattice(moved, turn.T, -(turn.T @ shift))
    assert back.placed.place == pytest.approx(here.place) and (back.placed.sign == here.sign).all()
    assert back.camera.t == pytest.approx(lattice.camera.t)


# Voting


@settings(max_examples=20)
@given(st.integers(0, 6), turn_numbers, whole_shifts, st.integers(0, 99))
def test_the_vote_finds_the_shift_between_two_parts_of_a_frame(seed, number, shift, chance):
    """Each photo shows two thirds of the holes, some cells are wrong; the true turn has most votes there."""
    rng = np.random.default_rng(chance)
    cells = cells_of_frame(grow_frame(seed, 7, holes=(5, 12)))

    def some():
        keep = rng.random(len(cells.axis)) < 0.67
        return Cells(cells.place[keep], cells.axis[keep], cells.weight[keep], cells.times[keep])

    a, b = some(), some()
    wrong = Cells(
        rng.integers(-9, 9, (12, 3)).astype(float), rng.integers(0, 3, 12), np.ones(12), np.ones(12)
    )
    b = together([b, wrong])
    turn = rotations()[number]
    theirs = turned_cells(b, turn.T, -(turn.T @ shift))  # b in a lattice of its own
    votes, found = vote_shift(a, theirs, turn, 1.0)[0]
    assert (found == shift).all()
    both = {tuple(np.r_[p, x]) for p, x in zip(a.place, a.axis)} & {
        tuple(np.r_[p, x]) for p, x in zip(b.place.round(6), b.axis)
    }
    assert votes == pytest.approx(len(both), abs=3)


def test_shifts_of_half_and_quarter_pitches_are_voted_for_on_a_finer_grid():
    cells = cells_of_frame(grow_frame(2, 6, 1.5, holes=(5, 12)))
    shift = np.array([2.5, -3.25, 4.0])
    theirs = turned_cells(cells, np.eye(3), -shift)
    votes, found = vote_shift(cells, theirs, np.eye(3), 0.25)[0]
    assert found == pytest.approx(shift) and votes == pytest.approx(len(cells.axis))


def test_a_hole_that_several_rows_show_votes_as_often_as_one_by_one():
    cells = cells_of_frame(grow_frame(3, 6, holes=(5, 12)))
    thrice, own = together([cells] * 3), turned_cells(cells, np.eye(3), np.array([3.0, -1, 2]))
    once = merged(thrice)
    assert len(once.place) == len(cells.place) and once.times.tolist() == [3.0] * len(cells.place)
    for (a, b), (c, d) in zip(*(vote_shift(known, own, np.eye(3), 1.0) for known in (thrice, once))):
        assert a == pytest.approx(c) and (b == d).all()


def test_crossing_members_do_not_vote_for_one_another():
    line = Cells(np.c_[np.arange(8.0), np.zeros((8, 2))], np.zeros(8, int), np.ones(8), np.ones(8))
    assert vote_shift(line, replace(line, axis=np.ones(8, int)), np.eye(3), 1.0) == []


# Joining


def test_cells_of_a_photo_are_holes_of_the_frame():
    frame, shots, readings = three_photos()
    true = {tuple(np.rint(p)) for m in frame.members for p in m.hole_centres()}
    for shot, reading in zip(shots, readings):
        turn, shift, _ = lattice_change(reading.lattice.camera, shot.camera)
        cells = cells_of(reading.lattice)
        back = (cells.place - np.rint(shift)) @ turn
        assert len(cells.place) > 40
        assert np.mean([tuple(p) in true for p in back.round(3)]) > 0.95


@pytest.mark.parametrize("a, b", [(0, 1), (1, 2), (2, 0)])
def test_two_photos_of_one_frame_are_registered_by_the_true_turn_and_shift(a, b):
    _, shots, readings = three_photos()
    best = register(
        readings[b].photo, readings[b].lattice, cells_of(readings[a].lattice), 1.0, [readings[a].photo]
    )[0]
    turn_a, shift_a, _ = lattice_change(readings[a].lattice.camera, shots[a].camera)
    turn_b, shift_b, _ = lattice_change(readings[b].lattice.camera, shots[b].camera)
    expected = turn_a @ turn_b.T
    assert (best.turn == expected).all()
    assert best.shift == pytest.approx(np.rint(shift_a) - expected @ np.rint(shift_b))
    assert best.score > 40


def test_the_true_place_of_a_photo_explains_it_better_than_its_neighbours():
    frame, shots, _ = three_photos()
    photo, cells = photo_of(shots[0]), cells_of_frame(frame)
    here = fit_score(photo, photo.camera, cells, 1.0)
    for shift in np.vstack([np.eye(3), -np.eye(3)]):
        assert fit_score(photo, photo.camera.moved(np.eye(3), shift), cells, 1.0) < 0.6 * here


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 0, 1), (1, 2, 0)])
def test_photos_are_registered_in_any_order(order):
    """All cameras end in one world: the same lattice change for each."""
    _, shots, readings = three_photos()
    registered = register_photos([readings[i] for i in order], 1.0, {})
    assert len(registered.photos) == 3 and registered.set_aside == ()
    changes = [lattice_change(v.camera, shots[int(v.name[-1])].camera) for v in registered.photos]
    for turn, shift, degrees in changes:
        assert (turn == changes[0][0]).all() and degrees < 0.3
        assert np.abs(shift - changes[0][1]).max() < 0.2


def shelf(seed):
    """Four posts and three rings of rails: a half turn changes only how far the rails stand out."""
    rng = np.random.default_rng(seed)
    X, Y, Z = np.eye(3)
    runs = [((x, y, 0), Z, 13) for x in (0, 8) for y in (0, 5)]
    for z in (1, 6, 11):
        for y in (-1, 6):
            a, b = rng.integers(0, 3, 2)
            runs.append(((-a, y, z), X, 9 + a + b))
        for x in (-1, 9):
            a, b = rng.integers(0, 3, 2)
            runs.append(((x, -a, z + 1), Y, 6 + a + b))
    members = tuple(
        Member(label(i), tuple(map(float, at)), tuple(d), int(n), 1.0) for i, (at, d, n) in enumerate(runs)
    )
    return Frame(members, find_joints(members))


@pytest.mark.parametrize("seed", range(4))
def test_a_frame_that_nearly_fits_itself_is_registered_by_what_its_members_explain(seed):
    """Opening by opening a wrong turn is as good or better; the members of the right one explain more."""
    frame = shelf(seed)
    cameras = [camera_round(frame, a, 20 + 4 * i, roll=2 - i) for i, a in enumerate((35, 130, 215))]
    readings = [
        read_photo(f"photo_{i}", shoot(frame, c, 10 * seed + i).openings, SIZE, None, 1.0)
        for i, c in enumerate(cameras)
    ]
    with Workers(1 if seed == 0 else 0) as workers:  # in other processes all comes to the same
        registered = register_photos(readings, 1.0, {}, workers)
    if seed == 0:
        alone = register_photos(readings, 1.0, {})
        assert [p.name for p in registered.photos] == [p.name for p in alone.photos]
        assert all((a.camera.t == b.camera.t).all() for a, b in zip(registered.photos, alone.photos))
    changes = [lattice_change(v.camera, cameras[int(v.name[-1])]) for v in registered.photos]
    assert len(changes) == 3
    assert all(
        (turn == changes[0][0]).all() and np.abs(shift - changes[0][1]).max() < 0.2
        for turn, shift, _ in changes
    )


def test_a_photo_of_another_frame_fits_far_worse_and_comes_last():
    _, _, readings = three_photos()
    cells, photos = cells_of(readings[0].lattice), [readings[0].photo]

    def score(r):
        best = register(r.photo, r.lattice, cells, 1.0, photos)[0]
        return best.score / min(r.worth, readings[0].worth)

    assert score(another_frame()) < 0.65 * min(score(readings[1]), score(readings[2]))
    registered = register_photos([readings[0], another_frame(), readings[1]], 1.0, {})
    assert [v.name for v in registered.photos[:2]] in (["photo_0", "photo_1"], ["photo_1", "photo_0"])


def settled(readings):
    """Names of the photos kept and set aside once members are known; pictures without edges."""
    blank = {r.name: np.full((SIZE[1], SIZE[0], 3), 128, np.uint8) for r in readings}
    registered, scene = drop_outlier_photos(register_photos(list(readings), 1.0, {}), blank, 1.0)
    assert all(reason for _, reason in registered.set_aside)
    return {p.name for p in scene.photos}, {name for name, _ in registered.set_aside}


def test_a_photo_of_another_frame_is_named_and_set_aside():
    _, _, readings = three_photos()
    assert settled([readings[0], another_frame(), readings[1]]) == ({"photo_0", "photo_1"}, {"another"})
    assert settled(readings) == ({"photo_0", "photo_1", "photo_2"}, set())


def test_of_two_photos_of_different_frames_one_is_set_aside():
    _, _, readings = three_photos()
    kept, aside = settled([readings[0], another_frame()])
    assert len(kept) == len(aside) == 1


def test_photos_that_could_not_be_read_are_set_aside_with_their_reason():
    _, _, readings = three_photos()
    blind = replace(readings[1], photo=None, lattice=None, reason="no rows of openings can be seen")
    registered = register_photos([blind, readings[0]], 1.0, {})
    assert len(registered.photos) == 1 and registered.set_aside == (
        ("photo_1", "no rows of openings can be seen"),
    )
    assert register_photos([blind], 1.0, {}).photos == ()


def test_a_registered_view_is_judged_with_its_new_camera():
    _, _, readings = three_photos()
    registered = register_photos(list(readings), 1.0, {})
    for v in registered.photos:
        assert v.shape == pytest.approx(with_camera(v, v.camera).shape)
