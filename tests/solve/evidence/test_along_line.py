"""Evidence along a line: alike on the lattice and off it, one line alone or several together."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from recon.solve.evidence.along_line import (
    LineOpenings,
    along_line,
    lattice_openings,
    match_members,
    side_by_side,
)
from recon.solve.evidence.occluders import NOTHING, occluders_of
from tests.solve.scenes import camera_round, candidates_of, grown_scene, photo_of, scene_of, shoot


@cache
def scene():
    frame, shot = grown_scene(2)
    other = shoot(frame, camera_round(frame, 110, 20), 5)
    return scene_of([photo_of(shot, "one"), photo_of(other, "two")], candidates_of(frame))


def openings_of(candidate):
    return lattice_openings(candidate.axis, candidate.first, candidate.holes, 1.0)


def test_one_photo_of_all_says_what_it_says_alone():
    s = scene()
    matches = [match_members(s, photo) for photo in s.photos]
    for k, c in enumerate(s.candidates):
        found = along_line(s.photos, openings_of(c), s.occluders)
        for i in range(len(s.photos)):
            X, seen = matches[i][k]
            assert pytest.approx(openings_of(c).centre.reshape(-1, 3), abs=0) == X
            assert (found.llr[i].ravel() == seen.llr).all() and (found.hit[i].ravel() == seen.hit).all()
            assert (found.visible[i].ravel() == seen.visible).all()


def test_a_member_looked_at_alone_is_hidden_by_none():
    s = scene()
    fewer = 0
    for photo in s.photos:
        for (_, among), (_, alone) in zip(match_members(s, photo), match_members(s, photo, alone=True)):
            assert not (among.visible & ~alone.visible).any()
            fewer += int((alone.visible & ~among.visible).sum())
    assert fewer > 0


def test_lines_together_say_what_each_says_alone():
    s = scene()
    whole = along_line(s.photos, side_by_side(map(openings_of, s.candidates)), s.occluders)
    at = 0
    for c in s.candidates:
        part, alone = whole.part(at, at + c.holes), along_line(s.photos, openings_of(c), s.occluders)
        assert (part.llr == alone.llr).all() and (part.hit == alone.hit).all()
        assert (part.profile == alone.profile).all()
        at += c.holes


@pytest.mark.parametrize("only_free", [False, True])
def test_a_line_looked_at_from_its_own_world_says_the_same(only_free):
    """Turned so that the line runs along axis 0: nothing of what the photos show depends on it."""
    s = scene()
    for c in s.candidates:
        plain = openings_of(c)
        u, n = np.eye(3)[c.axis], np.eye(3)[(c.axis + 1) % 3]
        turned = replace(plain, turn=np.array([u, np.cross(n, u), n]))
        a = along_line(s.photos, plain, s.occluders, only_free=only_free)
        b = along_line(s.photos, turned, s.occluders, only_free=only_free)
        assert a.llr == pytest.approx(b.llr, abs=1e-6)
        assert (a.visible == b.visible).all() and (a.hit == b.hit).all()


def test_a_miss_on_a_bolted_face_is_no_miss():
    s = scene()
    there = openings_of(s.candidates[0])
    empty = replace(there, centre=there.centre + [0.4, 0.4, 0.4])
    bolted = np.zeros(empty.centre.shape[:2], bool)
    bolted[:, ::2] = True
    plain = along_line(s.photos, empty)
    kept = along_line(s.photos, empty, bolted=bolted)
    assert (plain.llr < 0).any() and (kept.llr[:, bolted] >= 0).all()
    assert (kept.llr[:, ~bolted] == plain.llr[:, ~bolted]).all()


def test_what_stands_in_front_hides_an_opening():
    s = scene()
    c = max(s.candidates, key=lambda c: along_line(s.photos, openings_of(c), s.occluders).llr.sum())
    eye = s.photos[0].camera.centre
    way = (c.first - eye) / np.linalg.norm(c.first - eye)
    wall = replace(NOTHING, lo=(eye + 3 * way - 2.5)[None], hi=(eye + 3 * way + 2.5)[None])
    assert along_line(s.photos[:1], openings_of(c)).visible.any()
    assert not along_line(s.photos[:1], openings_of(c), wall).visible.any()


def test_no_photos_say_nothing():
    found = along_line([], LineOpenings(np.zeros((4, 5, 3)), np.zeros((4, 5, 3))), occluders_of([], 1.0))
    assert found.llr.shape == (0, 4, 5) and (found.profile == 0).all()
