"""What a photo says of openings that a member would show: found, missed, hidden or out of sight."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recon.frame.boxes import face_normals, hidden, openings
from recon.frame.model import Member
from recon.geometry.boxes import lifted, occluded
from recon.geometry.camera import Camera
from recon.image.openings import local_density
from recon.solve.evidence.candidate import boxes
from recon.solve.evidence.posed_photo import make_posed_photo, with_camera
from recon.solve.evidence.predictions import match_predictions, member_openings
from tests.solve.scenes import candidates_of, grown_scene, photo_of

# Hidden by boxes

coordinate = st.integers(-8, 8).map(lambda v: v / 2)


@st.composite
def boxes_and_points(draw):
    count = draw(st.integers(1, 4))
    lo = np.array([[draw(coordinate) for _ in range(3)] for _ in range(count)])
    size = np.array([[draw(st.integers(1, 8)) / 2 for _ in range(3)] for _ in range(count)])
    rng = np.random.default_rng(draw(st.integers(0, 10**6)))
    eye = rng.uniform(5, 12, 3) * rng.choice((-1, 1), 3)
    points = np.where(
        rng.random((12, 3)) < 0.3, np.rint(rng.uniform(-6, 6, (12, 3))), rng.uniform(-6, 6, (12, 3))
    )
    points[0] = [eye[0], eye[1], points[0, 2]]  # straight down an axis: two of three slabs never crossed
    return eye, points, lo, lo + size


def blocked_by_sampling(eye, points, lo, hi, grow):
    """Does any of 1500 places on the way lie in a box grown by `grow`?  The last 0.05 pitch is left out."""
    out = []
    for p in points:
        length = np.linalg.norm(p - eye)
        t = np.linspace(0, max(1 - 0.05 / length, 0), 1500)[:, None, None]
        way = eye + t * (p - eye)
        out.append(bool(((way > lo - grow) & (way < hi + grow)).all(2).any()))
    return np.array(out)


@given(boxes_and_points())
def test_hidden_points_are_those_that_sampling_the_way_finds(scene):
    eye, points, lo, hi = scene
    told = occluded(eye, points, lo, hi)
    assert (told | ~blocked_by_sampling(eye, points, lo, hi, -0.02)).all()  # surely blocked: told
    assert (~told | blocked_by_sampling(eye, points, lo, hi, 0.02)).all()  # told: blocked, or grazed


@pytest.mark.parametrize("seed", range(5))
def test_hidden_openings_of_a_frame_are_those_of_the_frames_own_boxes(seed):
    frame, shot = grown_scene(seed, azimuth=70 * seed)
    lo, hi = boxes(candidates_of(frame), 1.0)
    for member in frame.members:
        for normal, centres in zip(face_normals(member)[2:], openings(member)):
            p = centres + 0.06 * normal
            eye = shot.camera.centre
            facing = (eye - p) @ normal > 1.0
            assert (occluded(eye, p, lo, hi) == hidden(p, eye, frame.members, 0.0))[facing].all()


def test_a_box_behind_the_viewer_hides_nothing():
    eye, points = np.zeros(3), np.array([[10.0, 0.5, 0.5], [5, 1, 1]])
    assert not occluded(eye, points, np.array([[-6.0, -2, -2]]), np.array([[-4.0, 2, 2]])).any()
    assert occluded(eye, points, np.array([[2.0, -2, -2]]), np.array([[4.0, 2, 2]])).all()


def test_nothing_hides_where_there_are_no_boxes():
    assert not occluded(np.zeros(3), np.ones((4, 3)), np.zeros((0, 3)), np.zeros((0, 3))).any()


@pytest.mark.parametrize("axis", [0, 1, 2])
@pytest.mark.parametrize("width", [1.0, 1.5])
def test_openings_of_a_member_are_those_of_the_frames_boxes(axis, width):
    first, way = np.array([3.0, -2, 5]), np.eye(3)[axis]
    X, normals = member_openings(axis, first, 6, width)
    member = Member("A", tuple(first), tuple(way), 6, width, None)
    theirs = {
        (tuple(n), tuple(map(tuple, p)))
        for n, p in zip(face_normals(member)[2:].round(6) + 0.0, openings(member).round(6) + 0.0)
    }
    assert {(tuple(n), tuple(map(tuple, p))) for n, p in zip(normals + 0.0, X.round(6) + 0.0)} == theirs


# Looking


def looked_at(frame, photo, member, shift=(0, 0, 0)):
    """Matches of all openings of one member of the frame (moved by `shift`), and (face, hole) of each."""
    others = candidates_of(frame)
    m = frame.members[member]
    X = (openings(m) + np.asarray(shift, float)).reshape(-1, 3)
    n = np.repeat(face_normals(m)[2:], m.holes, 0)
    behind = occluded(photo.camera.centre, lifted(X, n), *boxes(others, 1.0))
    return match_predictions(photo, X, n, behind), np.array(
        [(f, k) for f in range(4) for k in range(m.holes)]
    )


def test_true_openings_are_found_and_speak_for_the_member():
    frame, shot = grown_scene(2)
    photo = photo_of(shot)
    right = wrong = seen = 0
    for i in range(len(frame.members)):
        s, which = looked_at(frame, photo, i)
        for (face, hole), hit, llr, visible in zip(which, s.hit, s.llr, s.visible):
            here = np.nonzero((shot.source == (i, face, hole)).all(1))[0]
            if len(here) and visible:
                seen += 1
                right += hit == here[0] and llr > 0
                wrong += hit >= 0 and hit != here[0]
    assert seen > 60 and right > 0.93 * seen and wrong <= 0.03 * seen


def test_a_member_is_better_explained_where_it_is_than_anywhere_near():
    frame, shot = grown_scene(2)
    photo = photo_of(shot)
    for i in range(len(frame.members)):
        here = looked_at(frame, photo, i)[0].llr.sum()
        if here < 15:  # hardly in sight
            continue
        for shift in np.vstack([np.eye(3), -np.eye(3)]):
            if abs(shift @ frame.members[i].direction) < 0.5:
                assert looked_at(frame, photo, i, shift)[0].llr.sum() < 0.3 * here


def test_missing_openings_in_plain_sight_speak_against_it():
    frame, shot = grown_scene(2)
    photo = photo_of(shot)
    o = shot.openings[:1].copy()
    o["x"], o["y"] = 2, 2  # one spot in a corner
    bare = make_posed_photo("bare", photo.camera, photo.size, o, photo.hole)
    for i in range(len(frame.members)):
        s, _ = looked_at(frame, bare, i)
        assert (s.hit == -1).all() and (s.llr[s.visible] < 0).all() and (s.llr[~s.visible] == 0).all()
        assert (s.llr > -2.5).all()  # one miss is no proof: one true opening in eight is not detected


def test_openings_that_cannot_be_seen_say_nothing():
    frame, shot = grown_scene(2)
    photo = photo_of(shot)
    eye = photo.camera.centre
    middle = np.mean([m.hole_centre(0) for m in frame.members], axis=0)
    ahead = (middle - eye) / np.linalg.norm(middle - eye)
    behind, off = eye - 5 * ahead, middle + 200 * np.linalg.svd(ahead[None])[2][1]
    point = np.array([behind, off, middle, middle, middle])
    normal = np.array(
        [-ahead, -ahead, ahead, np.linalg.svd(ahead[None])[2][1], -ahead]
    )  # 3: from the back, 4: edge on
    s = match_predictions(photo, point, normal, np.array([False] * 4 + [True]))
    assert (s.llr == 0).all() and (s.hit == -1).all() and not s.visible.any()


def test_openings_seen_edge_on_are_not_expected_even_close_by():
    """Below 1 : 6 an opening is a line, however large."""
    _, shot = grown_scene(2)
    camera = Camera(1300, 799.5, 599.5)
    photo = make_posed_photo("close", camera, (1600, 1200), shot.openings, 0.29)
    point = np.array([[0, 0, 4.0]])

    def tilted(cosine):
        return np.array([[np.sqrt(1 - cosine**2), 0, -cosine]])

    assert (
        not match_predictions(photo, point, tilted(0.12)).visible[0]
        and match_predictions(photo, point, tilted(0.22)).visible[0]
    )


def test_openings_taken_by_another_member_are_no_hits_and_no_misses():
    frame, shot = grown_scene(2)
    photo = photo_of(shot)
    best = max(range(len(frame.members)), key=lambda i: looked_at(frame, photo, i)[0].llr.sum())
    before, _ = looked_at(frame, photo, best)
    m = frame.members[best]
    X, n = openings(m).reshape(-1, 3), np.repeat(face_normals(m)[2:], m.holes, 0)
    taken = replace(photo, free=~np.isin(np.arange(len(photo.openings)), before.hit))
    after = match_predictions(taken, X, n, ~before.visible, only_free=True)
    found = before.hit >= 0
    assert (after.hit[found] != before.hit[found]).all()
    assert (after.llr[found & (after.hit == -1)] == 0).all()
    assert (
        match_predictions(taken, X, n, ~before.visible).hit == before.hit
    ).all()  # counted again unless only free ones are asked for


def test_faces_that_the_ellipses_do_not_fit_say_less():
    """Openings on a face look as that face turns them: taken for a neighbouring face they are worth less."""
    frame, shot = grown_scene(2)
    photo = photo_of(shot)
    true = shot.source[:, 0] >= 0
    normal = np.array(
        [np.abs(face_normals(frame.members[i])[2 + f]).argmax() if i >= 0 else 0 for i, f, _ in shot.source]
    )
    rows = np.arange(len(photo.shape))
    for other in (1, 2):
        assert (photo.shape[rows, normal] - photo.shape[rows, (normal + other) % 3])[true].mean() > 1.0


def test_shapes_are_judged_anew_with_another_camera():
    _, shot = grown_scene(2)
    photo = photo_of(shot)
    turned = with_camera(photo, replace(photo.camera, R=photo.camera.R[:, [1, 2, 0]]))
    assert turned.shape == pytest.approx(photo.shape[:, [1, 2, 0]])


def test_density_of_even_clutter_is_its_number_over_the_area():
    _, shot = grown_scene(2, clutter=3000)
    spots = shot.openings[shot.source[:, 0] < 0]
    inner = (np.abs(spots["x"] - 800) < 600) & (np.abs(spots["y"] - 600) < 400)
    assert np.median(local_density(spots)[inner]) == pytest.approx(3000 / (1600 * 1200), rel=0.2)
