"""A photo laid on known members by its rows, and groups of photos grown from each photo."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from recon.solve.multiview.groups import as_registered, grown_group, grown_groups
from recon.solve.multiview.laying import lay_on_members
from recon.solve.photo.photo_lattice import LatticeGuess
from recon.solve.photo.read_photo import read_photo
from tests.growing import grow_frame
from tests.solve.scenes import SIZE, camera_round, candidates_of, grown_scene, lattice_change, scene_of, shoot

AZIMUTHS = (35, 95, 160)


@cache
def photos_of_one_frame(seed=3):
    """A frame, the cameras it was taken with, and each photo read by itself."""
    frame = grow_frame(seed, 8, holes=(6, 13))
    cameras = [camera_round(frame, a, 22 + 3 * i, roll=1 - i) for i, a in enumerate(AZIMUTHS)]
    shots = [shoot(frame, c, 10 * seed + i) for i, c in enumerate(cameras)]
    return (
        frame,
        cameras,
        [read_photo(f"photo_{i}", s.openings, SIZE, None, 1.0) for i, s in enumerate(shots)],
    )


def with_wrong_lines(reading):
    """A reading whose rows are sure of a lattice line one pitch further off: two of three of them."""
    lattice = reading.lattice

    def moved(i, guesses):
        if i % 3 == 0 or not guesses:
            return guesses
        g = guesses[0]
        return [LatticeGuess(g.first - np.round(1.4 * g.normal), g.normal, 0.0)]

    wrong = replace(lattice, guesses=[moved(i, g) for i, g in enumerate(lattice.guesses)])
    return replace(reading, lattice=wrong, others=())


@pytest.mark.parametrize("number", range(3))
def test_a_photo_is_laid_on_the_members_that_it_shows(number):
    frame, cameras, readings = photos_of_one_frame()
    r = readings[number]
    laid = lay_on_members(r.photo, r.lattice, scene_of(candidates=candidates_of(frame)))[0]
    turn, shift, degrees = lattice_change(laid.posed[0].camera, cameras[number])
    assert (turn == np.eye(3)).all() and np.abs(shift).max() < 0.2 and degrees < 0.3
    assert laid.nats > 0.5 * r.worth


def test_its_own_lattice_need_not_be_right_for_that():
    frame, cameras, readings = photos_of_one_frame()
    wrong = with_wrong_lines(readings[1])
    laid = lay_on_members(wrong.photo, wrong.lattice, scene_of(candidates=candidates_of(frame)))[0]
    turn, shift, _ = lattice_change(laid.posed[0].camera, cameras[1])
    assert (turn == np.eye(3)).all() and np.abs(shift).max() < 0.2
    # Its rows lie on the frame's lines afterwards: as many as of the reading that was right.
    chances = [np.exp(g[0].log_p) for g in laid.posed[1].guesses if g]
    assert np.mean(chances) > 0.7


def test_a_photo_of_another_frame_tells_far_less_of_the_members():
    frame, _, readings = photos_of_one_frame()
    _, shot = grown_scene(6, 60)
    another = read_photo("another", shot.openings, SIZE, None, 1.0)
    scene = scene_of(candidates=candidates_of(frame))
    laid = lay_on_members(another.photo, another.lattice, scene)
    own = min(lay_on_members(r.photo, r.lattice, scene)[0].nats for r in readings)
    assert not laid or laid[0].nats < 0.3 * own


def test_nothing_is_laid_on_no_members():
    _, _, readings = photos_of_one_frame()
    assert lay_on_members(readings[0].photo, readings[0].lattice, scene_of()) == []


def test_a_group_grown_from_any_photo_has_all_photos_of_the_frame_in_one_world():
    _, cameras, readings = photos_of_one_frame()
    for base in readings:
        group = grown_group(base, readings, 1.0, {})
        assert set(group.names) == {"photo_0", "photo_1", "photo_2"}
        changes = [lattice_change(p.camera, cameras[int(p.name[-1])]) for p, _ in group.posed]
        assert all((turn == changes[0][0]).all() for turn, _, _ in changes)
        assert all(np.abs(shift - changes[0][1]).max() < 0.2 for _, shift, _ in changes)


def test_the_best_group_leaves_out_a_photo_of_another_frame():
    _, _, readings = photos_of_one_frame()
    _, shot = grown_scene(6, 60)
    another = read_photo("another", shot.openings, SIZE, None, 1.0)
    blind = replace(readings[2], photo=None, lattice=None, reason="no rows of openings can be seen")
    group = grown_groups([another, readings[0], readings[1], blind], 1.0, {})[0]
    assert set(group.names) == {"photo_0", "photo_1"}
    registered = as_registered(group, [another, readings[0], readings[1], blind])
    assert dict(registered.set_aside).keys() == {"another", "photo_2"}
    assert ("photo_2", "no rows of openings can be seen") in registered.set_aside


def test_without_a_photo_that_was_read_there_is_no_group():
    assert grown_groups([], 1.0, {}) == []
