"""One photo: its camera, its rows on one lattice, the width of its members; and resection."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from recon.frame.boxes import face_normals
from recon.geometry.camera import Camera
from recon.geometry.lattice import lattice_classes, rotations
from recon.image.openings import OPENING
from recon.solve.evidence.camera_prior import LENS_SPREAD as K1_SPREAD
from recon.solve.photo.photo_lattice import CLASS_DECIMALS, focal_trials, solve_lattice, upright_axes
from recon.solve.photo.read_photo import nearest_known_width, read_photo
from recon.solve.photo.resection import resect
from tests.solve.scenes import SIZE, grown_scene, lattice_change

unit = st.floats(-1, 1)
# Seed of the frame, width in pitches, azimuth, focal length in px, k1, EXIF focal length.
SCENES = {
    "steep": (1, 1.0, 33, 1200, -0.04, None),
    "wide": (3, 1.0, 59, 1000, 0.03, None),
    "long": (5, 1.0, 25, 2600, 0.0, None),
    "exif": (6, 1.0, 40, 1300, 0.0, 1340.0),
    "post": (2, 1.5, 46, 1300, 0.0, None),
    "half": (0, 1.5, 20, 1300, 0.0, None),
}


@cache
def read(name):
    seed, width, azimuth, f, k1, exif = SCENES[name]
    frame, shot = grown_scene(seed, azimuth, width=width, f=f, k1=k1)
    return frame, shot, read_photo(name, shot.openings, SIZE, exif)


def right_rows(frame, shot, lattice):
    """For each row that is a member's: probability of its best guess, and whether that is true.

    One shift for the whole photo is free: the one that most rows agree on.
    """
    turn, _, _ = lattice_change(lattice.camera, shot.camera)
    chance, off, face = [], [], []
    for row, sign, guesses in zip(lattice.placed.rows, lattice.placed.sign, lattice.guesses):
        source = shot.source[row.index]
        faces, count = np.unique(source[:, :2], axis=0, return_counts=True)
        (member, number), most = faces[count.argmax()], count.max()
        if member < 0 or most < 0.7 * len(source):
            continue
        j = int(np.nonzero((source[:, :2] == (member, number)).all(1))[0][0])
        m = frame.members[member]
        chance.append(np.exp(guesses[0].log_p) if guesses else 0.0)
        off.append(
            guesses[0].first + sign * row.step[j] * np.eye(3)[row.axis] - turn @ m.hole_centre(source[j, 2])
            if guesses
            else np.full(3, np.inf)
        )
        face.append(
            bool(guesses) and np.abs(guesses[0].normal - turn @ face_normals(m)[2 + number]).max() < 0.1
        )
    off = [tuple(np.round(o, 2)) for o in off]
    common = max(set(off), key=off.count)
    return np.array(chance), np.array([o == common and f for o, f in zip(off, face)]), np.array(common)


@pytest.mark.parametrize("name", ["steep", "wide", "long", "exif"])
def test_camera_is_that_which_took_the_photo_up_to_a_turn_and_shift(name):
    _frame, shot, reading = read(name)
    camera = reading.lattice.camera
    turn, shift, degrees = lattice_change(camera, shot.camera)
    assert camera.f == pytest.approx(shot.camera.f, rel=0.02)
    assert camera.k1 == pytest.approx(shot.camera.k1, abs=0.02)
    assert degrees < 0.2
    assert np.abs(shift - np.rint(shift)).max() < 0.12  # pitches: whole steps of the lattice
    assert (turn @ [0, 0, 1] == [0, 0, 1]).all()  # z is up in both


@pytest.mark.parametrize("name", ["steep", "wide", "long", "exif"])
def test_rows_lie_on_the_lattice_lines_of_their_members(name):
    frame, shot, reading = read(name)
    chance, right, _ = right_rows(frame, shot, reading.lattice)
    assert len(chance) >= 8 and right.mean() > 0.95
    assert right[chance > 0.9].mean() > 0.95  # what it calls sure is right


def test_guesses_come_best_first_and_their_chances_sum_to_at_most_one():
    for name in ("steep", "wide"):
        for guesses in read(name)[2].lattice.guesses:
            p = np.exp([g.log_p for g in guesses])
            assert p.sum() <= 1 + 1e-9 and (np.diff(p) <= 1e-12).all()


@pytest.mark.parametrize("name", ["post", "half"])
def test_camera_where_members_are_wider_than_the_pitch(name):
    _frame, shot, reading = read(name)
    _, _, degrees = lattice_change(reading.lattice.camera, shot.camera)
    assert reading.lattice.camera.f == pytest.approx(shot.camera.f, rel=0.02) and degrees < 0.2


def test_members_whose_holes_are_half_a_pitch_along_lie_on_the_lattice_too():
    """Where the width is 1.5 pitches, laps round a corner shift a member's holes by half a pitch."""
    frame, shot, reading = read("half")
    assert any(m.first[np.abs(m.direction).argmax()] % 1 == 0.5 for m in frame.members)
    _chance, right, _ = right_rows(frame, shot, reading.lattice)
    assert right.mean() > 0.95


@pytest.mark.parametrize("name", ["steep", "exif", "post", "half"])
def test_width_comes_from_rows_on_neighbouring_faces(name):
    width = SCENES[name][1]
    mean, error = read(name)[2].width
    assert mean == pytest.approx(width, abs=0.06) and error < 0.1
    assert nearest_known_width((mean, error)) == width


def test_width_is_the_pitch_where_nothing_tells():
    assert nearest_known_width((1.0, np.inf)) == 1.0


@pytest.mark.parametrize("width", [1.0, 1.5, 1.75, 2.0, 2.25])
def test_classes_across_are_those_of_the_frames_lattice(width):
    assert lattice_classes([width], decimals=CLASS_DECIMALS) == pytest.approx(lattice_classes([width]))


@pytest.mark.parametrize("index", [3, 10, 17, 22])
def test_any_turn_of_the_lattice_gives_the_same_frame(index):
    """The same rows with the axes renamed: every member's place and the camera turn along, up to a shift."""
    _frame, shot, reading = read("steep")
    lattice, turn = reading.lattice, rotations()[index]
    camera = replace(lattice.camera, t=np.zeros(3))
    new_axis = np.abs(turn).argmax(0)
    renamed = [replace(r, axis=int(new_axis[r.axis])) for r in lattice.placed.rows]
    here = solve_lattice(focal_trials(camera), shot.openings, lattice.placed.rows, 1.0)[0]
    there = solve_lattice(focal_trials(camera.moved(turn, np.zeros(3))), shot.openings, renamed, 1.0)[0]
    assert there.camera.f == pytest.approx(here.camera.f, rel=1e-3)
    shifts = [b[0].first - turn @ a[0].first for a, b in zip(here.guesses, there.guesses)]
    assert np.abs(shifts - shifts[0]).max() < 1e-6
    assert np.abs(shifts[0] - np.rint(shifts[0])).max() < 1e-6
    assert all((b[0].normal == turn @ a[0].normal).all() for a, b in zip(here.guesses, there.guesses))


def test_a_photo_held_upright_gives_the_same_members():
    """The picture turned by a quarter, as by EXIF orientation or a phone expected upright."""
    frame, shot, reading = read("steep")
    o = shot.openings.copy()
    o["x"], o["y"], o["angle"] = (
        SIZE[1] - 1 - shot.openings["y"],
        shot.openings["x"],
        shot.openings["angle"] + np.pi / 2,
    )
    quarter = np.array([[0, -1.0, 0], [1, 0, 0], [0, 0, 1]])
    camera = replace(
        shot.camera,
        cx=(SIZE[1] - 1) / 2,
        cy=(SIZE[0] - 1) / 2,
        R=quarter @ shot.camera.R,
        t=quarter @ shot.camera.t,
    )
    turned = read_photo("turned", o, SIZE[::-1], None)
    chance, right, _ = right_rows(frame, replace(shot, openings=o, camera=camera), turned.lattice)
    assert len(chance) >= len(reading.lattice.guesses) - 2 and right.mean() > 0.95


@given(st.tuples(unit, unit, unit))
def test_upright_renames_the_axes_only(v):
    R = Rotation.from_rotvec(np.pi * np.array(v)).as_matrix()
    up = upright_axes(Camera(1000, 0, 0, R=R)).R
    assert np.linalg.det(up) == pytest.approx(1) and np.abs(up @ up.T - np.eye(3)).max() < 1e-9
    names = up.T @ R
    assert np.abs(np.abs(names) - np.rint(np.abs(names))).max() < 1e-9  # a signed permutation
    assert -up[1, 2] >= np.abs(R[1]).max() - 1e-9  # z points up in the picture, most of all


# What gives no lattice


def test_a_photo_without_a_frame_is_said_to_have_none():
    _frame, shot = grown_scene(1, clutter=300)
    clutter = shot.openings[shot.source[:, 0] < 0]
    reading = read_photo("field", clutter, SIZE, None)
    assert reading.lattice is None and reading.photo is None and reading.reason


@pytest.mark.parametrize("count", [0, 5, 11])
def test_hardly_any_openings_are_said_to_be_too_few(count):
    reading = read_photo("empty", np.zeros(count, OPENING), SIZE, None)
    assert reading.lattice is None and "hardly any openings" in reading.reason


def test_two_rows_make_no_lattice():
    _frame, shot, reading = read("steep")
    assert solve_lattice([reading.lattice.camera], shot.openings, reading.lattice.placed.rows[:2], 1.0) == []


# Resection


def cube(camera, seed, count=40, noise=0.3):
    rng = np.random.default_rng(seed)
    world = rng.integers(-6, 7, (count, 3)).astype(float)
    return world, camera.project(world) + rng.normal(0, noise, (count, 2))


@st.composite
def posed_cameras(draw):
    turn = Rotation.from_rotvec(2 * np.array([draw(unit), draw(unit), draw(unit)]))
    return Camera(
        draw(st.floats(900, 2500)),
        799.5,
        599.5,
        0.06 * draw(unit),
        0.0,
        turn.as_matrix(),
        np.array([2 * draw(unit), 2 * draw(unit), 25 + 5 * draw(unit)]),
    )


def started_off(camera, by=0.01):
    """Some 10 px off: what the rows leave before their lattice is known."""
    turn = Rotation.from_rotvec([by, -by, 0.5 * by]).as_matrix()
    return replace(
        camera, f=camera.f * (1 + by), k1=0.0, R=turn @ camera.R, t=camera.t + [10 * by, -10 * by, 20 * by]
    )


@settings(max_examples=12)
@given(posed_cameras())
def test_resection_of_exact_points_gives_the_camera_back(camera):
    world, image = cube(camera, 1, noise=0.0)
    found = resect(started_off(camera), world, image, np.full(len(world), 0.3))
    assert found.f == pytest.approx(camera.f, rel=2e-3) and found.k1 == pytest.approx(camera.k1, abs=2e-3)
    assert np.abs(found.centre - camera.centre).max() < 0.05
    assert np.abs(found.project(world) - image).max() < 0.1  # px; the prior on k1 pulls a little


@settings(max_examples=8)
@given(posed_cameras(), st.integers(0, 100))
def test_resection_is_the_minimum_that_scipy_finds_with_numeric_derivatives(camera, seed):
    """The same robust sum, written over rotation vectors, minimised without the analytic Jacobian."""
    world, image = cube(camera, seed)
    start, sigma = started_off(camera), 0.3
    found = resect(start, world, image, np.full(len(world), sigma), lens_terms=2)

    def residual(p):
        c = Camera(
            p[0] * 1000, camera.cx, camera.cy, p[1], p[2], Rotation.from_rotvec(p[3:6]).as_matrix(), p[6:9]
        )
        return np.r_[((c.project(world) - image) / sigma).ravel(), p[1:3] / K1_SPREAD]

    def value(c):
        r = np.r_[((c.project(world) - image) / sigma).ravel(), np.array([c.k1, c.k2]) / K1_SPREAD]
        return 2.0**2 * np.log1p((r / 2.0) ** 2).sum()

    p0 = np.r_[
        camera.f / 1000, camera.k1, 0, Rotation.from_matrix(camera.R).as_rotvec(), camera.t
    ]  # the truth
    theirs = least_squares(residual, p0, loss="cauchy", f_scale=2.0, x_scale="jac", max_nfev=200)
    assert value(found) == pytest.approx(2 * theirs.cost, rel=1e-3)
    assert found.f == pytest.approx(theirs.x[0] * 1000, rel=1e-3)
    assert np.abs(found.t - theirs.x[6:9]).max() < 0.03


def test_wrong_points_do_not_bend_the_camera():
    camera = Camera(
        1300,
        799.5,
        599.5,
        -0.03,
        0.0,
        Rotation.from_rotvec([0.4, -0.6, 0.1]).as_matrix(),
        np.array([0.5, -1, 26]),
    )
    world, image = cube(camera, 3, 60)
    image[::6] += np.random.default_rng(1).normal(
        0, 40, image[::6].shape
    )  # a sixth are wrong by a hole or so
    found = resect(started_off(camera, 0.01), world, image, np.full(60, 0.3))
    good = np.setdiff1d(np.arange(60), np.arange(0, 60, 6))
    assert (
        np.sqrt(np.mean(np.sum((found.project(world[good]) - camera.project(world[good])) ** 2, axis=1)))
        < 0.3
    )
    assert found.f == pytest.approx(1300, rel=0.01)


def test_a_focal_prior_holds_where_the_points_do_not_tell():
    """Six points of one far plane, head on: focal length and distance go together."""
    camera = Camera(1300, 799.5, 599.5, t=np.array([0, 0, 40.0]))
    world = np.array([[x, y, 0.0] for x in (-3, 0, 3) for y in (-2, 2)])
    image = camera.project(world) + np.random.default_rng(0).normal(0, 0.3, (6, 2))
    start = replace(camera, f=1430.0, t=np.array([0, 0, 44.0]))
    expected = resect(start, world, image, np.full(6, 0.3), focal_prior=1300.0, lens_terms=0)
    assert expected.f == pytest.approx(1300, rel=0.03)
    assert abs(expected.f - 1300) < abs(resect(start, world, image, np.full(6, 0.3), lens_terms=0).f - 1300)


def test_lens_terms_that_are_not_asked_for_stay():
    camera = Camera(1300, 799.5, 599.5, -0.03, 0.01, t=np.array([0, 0, 25.0]))
    world, image = cube(camera, 2)
    start = replace(camera, k1=0.0, k2=0.005)
    assert resect(start, world, image, np.full(40, 0.3), lens_terms=0).k1 == 0.0
    assert resect(start, world, image, np.full(40, 0.3), lens_terms=1).k2 == 0.005
