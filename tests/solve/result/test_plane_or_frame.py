"""Planes of openings are no frame; frames are."""

import numpy as np
import pytest

from recon.frame.confidence import SURE
from recon.frame.model import Frame, Joint, Member
from recon.image.openings import OPENING
from recon.solve.evidence.candidate import Candidate
from recon.solve.evidence.posed_photo import make_posed_photo
from recon.solve.evidence.scene import Scene
from recon.solve.result.plane_or_frame import (
    PlanesOrFrame,
    none_likely,
    planes_or_frame,
    untied_not_sure,
    without_plane_evidence,
)
from tests.solve.decoys import camera_at
from tests.solve.scenes import grown_scene, photo_of


def candidate_of(member) -> Candidate:
    axis = int(np.abs(member.direction).argmax())
    first = np.minimum(np.asarray(member.first, float), member.last)
    return Candidate(axis, first, member.holes, 80.0, np.ones(member.holes), np.ones(member.holes, int))


def plane_scene() -> Scene:
    """A plane of 12 by 9 openings at whole places of z = -0.5, and members along x and y laid on its rows."""
    camera = camera_at(35, 20, 0, 16).moved(np.eye(3), [6, 4, -0.5])
    place = np.stack(np.meshgrid(np.arange(12.0), np.arange(9.0)), 2).reshape(-1, 2)
    spots = np.zeros(len(place), OPENING)
    spots["x"], spots["y"] = camera.project(np.c_[place, np.full(len(place), -0.5)]).T
    spots["major"], spots["minor"], spots["score"] = 11.0, 9.0, 5.0
    photo = make_posed_photo("dots.png", camera, (1000, 750), spots, 0.25)
    rows = [Candidate(0, np.array([0, y, 0.0]), 12, 70.0, np.ones(12), np.ones(12, int)) for y in (1, 4, 7)]
    across = Candidate(1, np.array([5, 0, 1.0]), 9, 30.0, np.ones(9), np.ones(9, int))
    return Scene((photo,), {}, 1.0).with_candidates([*rows, across])


@pytest.mark.parametrize("seed", range(6))
def test_a_frame_of_members_that_lap_is_a_frame(seed):
    frame, shot = grown_scene(seed, members=6)
    scene = Scene((photo_of(shot),), {}, 1.0).with_candidates(candidate_of(m) for m in frame.members)
    test = planes_or_frame(scene)
    assert test.is_frame
    assert test.supported.sum() >= 3
    assert test.beyond.sum() > 2 * test.on_planes.sum()


def test_members_laid_on_a_plane_of_dots_are_no_frame():
    test = planes_or_frame(plane_scene())
    assert test.on_planes[:3].min() > 20
    assert not test.supported.any() and not test.is_frame


def test_a_member_on_a_plane_counts_by_what_is_beyond_it():
    scene = plane_scene()
    after = without_plane_evidence(scene, planes_or_frame(scene))
    assert max(c.evidence for c in after.candidates[:3]) < 14 < scene.candidates[0].evidence


def test_a_member_that_a_person_vouches_for_keeps_its_evidence():
    scene = plane_scene()
    held = Candidate(
        0, np.array([0, 1, 0.0]), 12, 70.0, np.ones(12), np.ones(12, int), fixed_ends=(True, True)
    )
    scene = scene.with_candidates([held, *scene.candidates[1:]])
    assert without_plane_evidence(scene, planes_or_frame(scene)).candidates[0].evidence == 70.0


def test_a_single_member_is_no_frame():
    frame, shot = grown_scene(1, members=6)
    rows = [candidate_of(m) for m in frame.members]
    alone = Scene((photo_of(shot),), {}, 1.0).with_candidates(rows[:1])
    test = planes_or_frame(alone)
    assert test.laps.tolist() == [0]
    assert not test.is_frame


def test_only_members_that_lap_another_may_be_sure():
    members = tuple(
        Member(name, first, way, 5, 1.0, confidence=0.97)
        for name, first, way in (
            ("A", (0, 0, 0), (1, 0, 0)),
            ("B", (2, 1, 0), (0, 0, 1)),
            ("C", (0, 9, 0), (1, 0, 0)),
        )
    )
    frame = untied_not_sure(Frame(members, (Joint(a="A", b="B", a_hole=2, b_hole=0, axis=(0, 1, 0)),)))
    assert [m.confidence >= SURE for m in frame.members] == [True, True, False]


def test_a_brace_is_sure_only_where_two_bolts_of_it_are_seen():
    members = (
        Member("A", (0, 0, 0), (1, 0, 0), 9, 1.0, confidence=0.97),
        Member("B", (0, 1, 0), (0.6, 0, 0.8), 9, 1.0, on_lattice=False, confidence=0.97),
    )

    def with_bolts(*states):
        laps = (Joint("A", 3 * k, "B", 3 * k, (0, 1, 0), bolt) for k, bolt in enumerate(states))
        return [m.confidence >= SURE for m in untied_not_sure(Frame(members, tuple(laps))).members]

    assert with_bolts("seen", "seen") == [True, True]
    assert with_bolts("seen", "assumed") == with_bolts("seen", "none") == [True, False]


def test_members_without_lap_or_second_face_are_a_frame_only_where_one_is_likelier_right_than_wrong():
    def claimed(confidence, laps=0, faces=2):
        two = (
            Member(n, (0, y, 0), (1, 0, 0), 9, 1.0, confidence=confidence) for n, y in (("A", 0), ("B", 5))
        )
        test = PlanesOrFrame(
            {}, np.zeros(2), np.full(2, 36.0), np.full(2, faces), np.full(2, laps), repeated=np.zeros(2)
        )
        return test.is_frame and not none_likely(Frame(tuple(two)), test)

    assert not claimed(0.3) and claimed(0.6) and claimed(0.3, laps=1)
    assert not claimed(0.3, laps=1, faces=1) and claimed(0.6, laps=1, faces=1)


def woven_scene() -> Scene:
    """Openings at every whole place of a sheet that bends, and members along its rows and across."""
    camera = camera_at(20, 10, 0, 26).moved(np.eye(3), [10, 9, -0.5])
    x, y = np.meshgrid(np.arange(21.0), np.arange(19.0))
    place = np.stack([x, y, -0.5 + 0.6 * np.sin(x / 3) * np.cos(y / 4)], 2).reshape(-1, 3)
    spots = np.zeros(len(place), OPENING)
    spots["x"], spots["y"] = camera.project(place).T + np.random.default_rng(3).normal(
        0, 0.8, (2, len(place))
    )
    spots["major"], spots["minor"], spots["score"] = 8.0, 7.0, 5.0
    photo = make_posed_photo("cloth.png", camera, (1000, 750), spots, 0.25)
    rows = [Candidate(0, np.array([0, y, 0.0]), 20, 70.0, np.ones(20), np.ones(20, int)) for y in (2, 7, 12)]
    across = [Candidate(1, np.array([x, 0, 1.0]), 18, 60.0, np.ones(18), np.ones(18, int)) for x in (4, 9)]
    return Scene((photo,), {}, 1.0).with_candidates([*rows, *across])


def test_rows_of_a_woven_sheet_that_no_plane_explains_are_no_frame():
    test = planes_or_frame(woven_scene())
    assert np.median(test.repeated) > 0.7
    assert not test.supported.any() and not test.is_frame


def test_hardly_an_opening_of_a_frame_repeats_in_three_directions():
    for seed in range(4):
        frame, shot = grown_scene(seed, members=8, clutter=400)
        scene = Scene((photo_of(shot),), {}, 1.0).with_candidates(candidate_of(m) for m in frame.members)
        assert planes_or_frame(scene).repeated.max() < 0.5


def weighed(laps, faces, beyond, repeated=0.0):
    """A test of members of which this was found."""
    n = len(laps)
    values = (np.zeros(n), np.array(beyond, float), np.array(faces), np.array(laps), np.full(n, repeated))
    return PlanesOrFrame({}, *values)


def test_a_lap_that_two_weak_rows_of_many_chance_upon_makes_no_frame():
    assert weighed([1, 1], [1, 1], [25, 25]).is_frame
    assert not weighed([1, 1, 0, 0, 0], [1, 1, 1, 1, 1], [25, 25, 40, 60, 30]).is_frame
    assert weighed([1, 1, 0, 0, 0], [1, 1, 2, 2, 1], [25, 25, 40, 60, 30]).is_frame
    assert not weighed([0], [2], [40]).is_frame
    assert weighed([0, 0], [2, 2], [40, 30]).is_frame
    assert not weighed([2, 2], [1, 1], [80, 80], repeated=0.9).is_frame
