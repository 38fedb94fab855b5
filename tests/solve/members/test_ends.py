"""Ends of members: from openings that stop and from the edge of the face, in drawn pictures."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from recon.bench.made_photos import draw
from recon.frame.model import Frame, Member
from recon.solve.evidence.candidate import EndGuess, grown
from recon.solve.evidence.occluders import Occluders, occluders_of
from recon.solve.evidence.posed_photo import make_posed_photo
from recon.solve.members.edges import ColourSteps, colour_steps, step_llr
from recon.solve.members.ends import end_guesses, find_ends
from tests.solve.scenes import HOLE, camera_round, candidates_of, scene_of, shoot

SIZE = (800, 600)


def member(id, first, axis, holes):
    return Member(id, tuple(map(float, first)), tuple(np.eye(3)[axis]), holes, 1.0)


# A post, two rails on it at different heights, one lapped near its end; all ends in sight from some side.
STAND = Frame(
    (
        member("A", (0, 0, 0), 2, 11),
        member("B", (-3, -1, 2), 0, 12),
        member("C", (1, -4, 8), 1, 9),
        member("D", (-6, 1, 5), 0, 9),
    ),
    (),
    38.1,
)


@cache
def scene(azimuths=(-60, -20), fill=0.75, frame=STAND):
    """Photos with true cameras, and their pictures."""
    cameras = [camera_round(frame, a, 22, f=700, fill=fill, size=SIZE) for a in azimuths]
    shots = [shoot(frame, c, i, clutter=30, size=SIZE, least_px=1.8) for i, c in enumerate(cameras)]
    photos = [make_posed_photo(f"photo_{i}", s.camera, SIZE, s.openings, HOLE) for i, s in enumerate(shots)]
    return photos, [draw(frame, c, SIZE, i) for i, c in enumerate(cameras)]


def ends_of(index, low=0, high=0, photos=None, pictures=None, frame=STAND):
    """Guesses for a member known so far with `low` and `high` holes more (less if negative) than it has."""
    if photos is None:
        photos, pictures = scene()
    candidates = candidates_of(frame)
    candidates[index] = grown(candidates[index], low, high)
    return find_ends(scene_of(photos, candidates, 1.0, pictures), index)


@pytest.mark.parametrize("index", range(4))
@pytest.mark.parametrize("low, high", [(0, 0), (-2, -1), (1, 2)])
def test_ends_are_found_from_too_short_and_too_long_a_start(index, low, high):
    first, last = ends_of(index, low, high)
    assert first.best == low and last.best == STAND.members[index].holes - 1 + low
    assert first.sure > 0.7 and last.sure > 0.7


def test_chances_of_an_end_sum_to_one():
    for guess in ends_of(1, -1, -1):
        assert np.exp(guess.log_p).sum() == pytest.approx(1)
        assert guess.sure == pytest.approx(np.exp(guess.log_p).max()) and guess.best in guess.hole


def without_end_openings(photos, index, holes):
    """The same photos, with the openings near the last holes of a member not detected."""
    out = []
    for v in photos:
        m = STAND.members[index]
        px = v.camera.project(np.array([m.hole_centre(k) for k in range(m.holes - holes, m.holes)]))
        o = v.openings
        scale = v.camera.f / np.median((m.hole_centres() @ v.camera.R.T + v.camera.t)[:, 2])
        near = (np.hypot(o["x"][:, None] - px[:, 0], o["y"][:, None] - px[:, 1]) < 0.8 * scale).any(1)
        out.append(make_posed_photo(v.name, v.camera, v.size, o[~near], v.hole))
    return out


def test_the_edge_of_the_face_tells_the_end_where_an_opening_was_missed():
    """The last hole was detected in neither photo: the openings alone would end the member one hole early."""
    photos, pictures = scene()
    blind = without_end_openings(photos, 1, 1)
    _, last = ends_of(1, 0, -1, blind, pictures)
    _, without_edges = ends_of(1, 0, -1, blind, [np.full_like(p, 128) for p in pictures])
    true = STAND.members[1].holes - 1

    def chance(g):
        return float(np.exp(g.log_p[g.hole == true].sum()))

    assert chance(last) > 3 * chance(without_edges)


def test_openings_alone_tell_most_ends():
    """In pictures without any edge the openings that stop are all there is."""
    photos, pictures = scene()
    bare = [np.full_like(p, 128) for p in pictures]
    right = [
        end.best == true
        for i, m in enumerate(STAND.members)
        for low, high in ((0, 0), (-1, -2))
        for end, true in zip(ends_of(i, low, high, photos, bare), (low, m.holes - 1 + low))
    ]
    assert np.mean(right) >= 0.75


def test_the_end_is_surer_with_its_edge_than_without():
    photos, pictures = scene()
    bare = [np.full_like(p, 128) for p in pictures]
    with_edges = np.mean([g.sure for i in range(4) for g in ends_of(i)])
    without = np.mean([g.sure for i in range(4) for g in ends_of(i, photos=photos, pictures=bare)])
    assert with_edges > without


def test_an_end_behind_another_member_is_left_open():
    """A rail that ends behind a wide wall of posts: several lengths stay possible, the true one too."""
    wall = [member("W" + str(i), (4 + i, -3, -2), 2, 9) for i in range(4)]
    rail = member("R", (-6, 0, 2), 0, 12)  # its last hole is at x = 5, behind the wall
    frame = Frame((rail, *wall), (), 38.1)
    photos, pictures = scene((-90,), frame=frame)
    first, last = ends_of(0, photos=photos, pictures=pictures, frame=frame)
    assert first.sure > 0.75
    assert last.sure < 0.8
    assert np.exp(last.log_p[last.hole == rail.holes - 1]) > 0.02


def test_a_member_that_runs_out_of_the_photo_is_cut_there():
    photos, pictures = scene()
    (photo, *_), (picture, *_) = photos, pictures
    m = STAND.members[1]
    px = photo.camera.project(m.hole_centres())
    x = int(px[4:6, 0].mean())  # the photo's right border, between holes 4 and 5
    size = (x, SIZE[1])
    o = photo.openings[photo.openings["x"] < x - 3]
    cropped = make_posed_photo("cropped", photo.camera, size, o, HOLE)
    candidates = candidates_of(STAND)
    short = grown(candidates[1], 0, -(m.holes - 5))
    candidates[1] = short
    first, last = find_ends(scene_of([cropped], candidates, 1.0, [picture[:, :x]]), 1)
    assert last.cut and not first.cut
    assert not any(g.cut for g in ends_of(1))


def test_a_member_does_not_grow_into_the_next_one_in_line():
    two = Frame(
        (member("A", (0, 0, 0), 0, 6), member("B", (6, 0, 0), 0, 6), member("C", (2, 1, -3), 2, 6)), (), 38.1
    )
    photos, pictures = scene((-60, -25), frame=two)
    _, last = ends_of(0, photos=photos, pictures=pictures, frame=two)
    assert last.hole.max() == 5 and last.best == 5


# ColourSteps of colour


def test_the_face_changes_colour_at_its_ends_and_not_between_its_holes():
    photos, pictures = scene()
    candidates = candidates_of(STAND)
    s = candidates[1]
    boundaries = np.arange(-3, s.holes + 4) - 0.5
    others = occluders_of(candidates[:1] + candidates[2:], 1.0)
    steps = colour_steps(photos[0], pictures[0], s, boundaries, 1.0, others)
    assert steps.strength.shape == (2, len(boundaries)) and np.abs(steps.normal[:, s.axis]).max() == 0
    ends = steps.strength[:, [3, 3 + s.holes]]
    between = steps.strength[:, 4 : 3 + s.holes]
    assert np.nanmin(ends) > 4 * np.nanmedian(between)


def test_places_behind_another_member_or_out_of_the_photo_are_not_judged():
    photos, pictures = scene()
    candidates = candidates_of(STAND)
    s = candidates[0]
    boundaries = np.array([-30.5, 0.5, 1.5, 2.5, 40.5])
    others = occluders_of(candidates[1:], 1.0)
    steps = colour_steps(photos[0], pictures[0], s, boundaries, 1.0, others)
    assert np.isnan(steps.strength[:, [0, 4]]).all()
    wall = Occluders(
        np.array([[-50.0, -50, -50]]), np.array([[50.0, -2, 50]])
    )  # between the camera and all of it
    hidden = colour_steps(photos[0], pictures[0], s, boundaries, 1.0, wall)
    assert np.isnan(hidden.strength).all()


def test_a_strong_step_speaks_for_an_end_and_a_weak_one_for_the_member_going_on():
    between = np.array([True] * 6 + [False] * 4)
    strength = np.array([[0.01] * 6 + [0.002, 0.02, 0.08, 0.3]])
    end, inner = step_llr(ColourSteps(strength, np.eye(3)[:1]), between)
    assert (np.diff(end[6:]) > 0).all() and (np.diff(inner[6:]) < 0).all()
    assert end[9] > 1.5 and inner[9] < -1 and end[6] < -1 and inner[6] > 0


def test_faces_that_are_not_seen_say_nothing():
    strength = np.full((2, 5), np.nan)
    end, inner = step_llr(ColourSteps(strength, np.eye(3)[:2]), np.ones(5, bool))
    assert (end == 0).all() and (inner == 0).all()


def guesses(profile, edge=None, reach=3):
    """Ends of a member of 6 known holes from nats of each photo (V, 12) and an edge for an end (V, 13)."""
    profile = np.array(profile, float)
    edge = np.zeros((len(profile), 13)) if edge is None else np.array(edge, float)
    laps, flat = np.zeros((4, 12), bool), np.zeros_like(edge)
    return end_guesses(profile, laps, edge, flat, np.ones(12, bool), reach, (reach, reach))


HELD, MISSED = [-2] * 3 + [5] * 6 + [-2] * 3, [-2] * 3 + [5] * 4 + [-2] * 5


def test_one_photo_s_hits_beat_the_misses_of_another():
    """Something hides the last two holes from one of two photos."""
    _, last = guesses([HELD, MISSED])
    assert last.best == 5 and last.sure > 0.8


def test_an_edge_in_one_photo_may_be_that_of_something_in_front():
    at_the_edge = [0] * 7 + [4] + [-4] * 5
    _, last = guesses([MISSED], [at_the_edge])
    assert last.best == 3 and 0.8 < last.sure < 0.95
    assert guesses([MISSED] * 2, [at_the_edge] * 2)[1].sure > last.sure


def test_a_guess_recounted_names_the_same_holes():
    g = EndGuess(np.arange(7, 13), np.log([0.01, 0.04, 0.5, 0.3, 0.1, 0.05]), False)
    moved = replace(g, cut=True).recounted(-2)
    assert moved.best == g.best + 2 and moved.cut and moved.sure == g.sure
