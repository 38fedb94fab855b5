"""Members off their lattice place as rigid bodies: the shift and turn that their openings tell."""

from dataclasses import replace

import numpy as np
import pytest

from recon.frame.joints import find_joints
from recon.frame.model import Frame, Member
from recon.solve.evidence.along_line import along_line, lattice_openings, own_place, with_wide_play
from recon.solve.evidence.own_place import SHIFT_SPREAD, TURN_SPREAD, Sightings, fit_own_place
from recon.solve.evidence.posed_photo import with_camera
from tests.solve.scenes import camera_round, photo_of, shoot

HOLES = 14
OFF = np.array([0.02, 0.11, -0.08])


def member(first):
    return Member("A", tuple(map(float, first)), (1.0, 0.0, 0.0), HOLES, 1.0)


def photos(first, turn=0.0):
    """Two photos of one member that begins at `first`; their cameras are those of a member at the origin."""
    ideal, real = member((0, 0, 0)), member(first)
    if turn:
        way = np.array([1.0, 0.0, turn]) / np.hypot(1, turn)
        real = replace(real, direction=tuple(way))
    frames = [Frame((m,), find_joints((m,))) for m in (ideal, real)]
    out = []
    for k, azimuth in enumerate((50, 120)):
        camera = camera_round(frames[0], azimuth, 25)
        photo = photo_of(shoot(frames[1], camera, k, clutter=0), f"photo_{k}")
        out.append(replace(with_camera(photo, camera), play=0.05))
    return out


def found(taken, own=None):
    line = lattice_openings(0, np.zeros(3), HOLES, 1.0, own)
    return along_line(taken, line if own else with_wide_play(line, taken))


def test_the_shift_of_a_member_is_told_by_its_openings():
    taken = photos(OFF)
    own = own_place(taken, 0, lattice_openings(0, np.zeros(3), HOLES, 1.0), found(taken))
    assert own.shift == pytest.approx(OFF, abs=0.02) and np.abs(own.turn).max() < 0.002


def test_its_turn_is_told_too():
    taken = photos((0, 0, -0.05), turn=0.01)
    own = own_place(taken, 0, lattice_openings(0, np.zeros(3), HOLES, 1.0), found(taken))
    assert own.turn == pytest.approx([0, 0, 0.01], abs=0.002)
    assert own.at(np.array([0.0]))[0] == pytest.approx([0, 0, -0.05], abs=0.03)


def test_at_its_own_place_a_shifted_member_explains_what_it_hardly_does_on_the_lattice():
    taken = photos((0.02, 0.16, -0.12))
    on_lattice = along_line(taken, lattice_openings(0, np.zeros(3), HOLES, 1.0)).profile.sum()
    own = own_place(taken, 0, lattice_openings(0, np.zeros(3), HOLES, 1.0), found(taken))
    assert found(taken, own).profile.sum() - own.cost > on_lattice + 20


def test_a_member_on_its_place_gains_little_by_looking_for_another():
    taken = photos((0, 0, 0))
    own = own_place(taken, 0, lattice_openings(0, np.zeros(3), HOLES, 1.0), found(taken))
    assert np.abs(own.shift).max() < 0.02 and own.cost > 0


def test_where_nothing_has_play_and_in_one_photo_alone_there_is_no_own_place():
    """In one photo a shift along the line of sight cannot be told from another lattice."""
    taken = photos(OFF)
    line, seen = lattice_openings(0, np.zeros(3), HOLES, 1.0), found(taken)
    assert own_place(taken[:1], 0, line, seen) is None
    rigid = [replace(p, play=0.0) for p in taken]
    assert own_place(rigid, 0, line, seen) is None
    assert with_wide_play(line, rigid) is line


def test_the_fit_is_the_mean_of_data_and_prior_weighed_by_their_variances():
    """The posterior of a normal mean with known variances (textbook: Gelman and others 2013, section 2.5)."""
    taken = photos((0, 0, 0))
    line = lattice_openings(0, np.zeros(3), HOLES, 1.0)
    X = line.centre.reshape(-1, 3)
    full = fit_own_place(0, [Sightings(p, X, p.camera.project(X + OFF)) for p in taken])
    some = fit_own_place(0, [Sightings(p, X[:4], p.camera.project(X[:4] + OFF)) for p in taken[:1]])
    assert full.shift == pytest.approx(OFF, abs=0.005)
    assert np.linalg.norm(some.shift) < np.linalg.norm(full.shift)  # few data: nearer to none
    prior = 0.5 * ((full.shift**2).sum() / SHIFT_SPREAD**2 + (full.turn**2).sum() / TURN_SPREAD**2)
    assert full.cost > prior  # and half the logarithm of how much narrower the data make it


def test_three_openings_tell_no_place():
    taken = photos((0, 0, 0))
    X = lattice_openings(0, np.zeros(3), HOLES, 1.0).centre.reshape(-1, 3)[:3]
    assert fit_own_place(0, [Sightings(taken[0], X, taken[0].camera.project(X))]) is None
