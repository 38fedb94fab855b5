"""Camera and members from strokes along rows, against made-up photos with known truth."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from recon.errors import ReconError
from recon.frame.boxes import face_normals, faces_seen, openings
from recon.frame.joints import find_joints
from recon.frame.model import Frame, Member
from recon.geometry.camera import Camera
from recon.image.openings import OPENING
from recon.solve.by_hand.neighbours import neighbours
from recon.solve.by_hand.row_strokes import RowStroke, count_holes
from recon.solve.by_hand.stroke_camera import cameras_of_strokes
from recon.solve.by_hand.stroke_members import members_of_strokes
from tests.solve.chessboard import LEFT, ROWS, as_openings, corners
from tests.solve.chessboard import SIZE as BOARD_SIZE
from tests.solve.scenes import SIZE, axes_of, camera_round, grown_scene, lattice_change, true_rows

NOTHING = np.zeros(0, OPENING)  # what is detected on a blurred photo
FOCAL = 1300.0
PUBLISHED_F = 535.916  # tests/data/chessboard/left_intrinsics.yml


def scene(seed):
    return grown_scene(seed, 20 + 7.3 * seed % 60, 15 + seed % 25)


def longest_rows(frame, shot, per_axis, least=5):
    """The longest rows on the photo along each axis: (row, number of its member)."""
    rows, members = true_rows(shot, least)
    px, axes = np.c_[shot.openings["x"], shot.openings["y"]], axes_of(frame, members)
    out = []
    for axis in range(3):
        mine = [(row, m) for row, m, a in zip(rows, members, axes) if a == axis]
        mine.sort(key=lambda pair: -float(np.linalg.norm(np.diff(px[pair[0].index[[0, -1]]], axis=0))))
        out += mine[:per_axis]
    return out


def stroke_along(shot, row, rng, typed, noise_px=1.0):
    ends = np.c_[shot.openings["x"], shot.openings["y"]][row.index[[0, -1]]] + rng.normal(0, noise_px, (2, 2))
    return RowStroke(*map(tuple, ends), holes=int(row.step[-1]) + 1 if typed else None)


def lines_off(answer, frame, camera, members):
    """For each stroke how far its member's line is off the true one, pitches, up to one common shift."""
    turn = lattice_change(answer.camera, camera)[0]
    off = np.full((len(members), 3), np.nan)
    for i, m in enumerate(members):
        true = frame.members[m]
        got = answer.members[answer.member_of[i]]
        sides = np.array(got.direction) == 0
        off[i, sides] = (np.array(got.first) - np.minimum(turn @ np.array(true.first), turn @ true.last))[
            sides
        ]
    return np.nanmax(np.abs(off - np.nanmedian(off, axis=0)), axis=1)


@cache
def whole_rows(seed, typed, per_axis):
    """Strokes along the longest rows of a scene whose holes can be counted, and which members they are on."""
    frame, shot = scene(seed)
    rng = np.random.default_rng(seed)
    strokes, members = [], []
    for row, member in longest_rows(frame, shot, per_axis):
        stroke = stroke_along(shot, row, rng, typed)
        try:
            strokes.append(count_holes(stroke, NOTHING if typed else shot.openings))
            members.append(member)
        except ReconError:
            assert not typed  # a count that is typed is taken
    return frame, shot, strokes, members


def test_holes_under_a_stroke_are_counted_or_their_count_is_asked_for():
    right = asked = wrong = 0
    for seed in range(0, 16, 3):
        _, shot = scene(seed)
        rng = np.random.default_rng(seed)
        for row in true_rows(shot, 5)[0]:
            try:
                counted = count_holes(stroke_along(shot, row, rng, typed=False), shot.openings)
            except ReconError as error:
                assert "type how many" in str(error)
                asked += 1
                continue
            right += counted.holes == row.step[-1] + 1
            wrong += counted.holes != row.step[-1] + 1
    assert right > 40 and asked < 0.15 * right and wrong < 0.03 * right


def test_openings_that_are_taken_are_the_rows_own():
    _, shot = scene(2)
    row = max(true_rows(shot)[0], key=lambda r: len(r.index))
    counted = count_holes(stroke_along(shot, row, np.random.default_rng(0), typed=False), shot.openings)
    assert np.isin(counted.index, row.index).mean() > 0.8
    step = dict(zip(row.index.tolist(), row.step.tolist()))
    assert all(step[i] == k for i, k in zip(counted.index.tolist(), counted.step) if i in step)


@pytest.mark.parametrize("seed", [1, 2, 6, 8, 11])
def test_three_strokes_give_the_camera_and_their_members(seed):
    frame, shot, strokes, members = whole_rows(seed, False, 1)
    answer = members_of_strokes(strokes, SIZE)[0]
    assert abs(answer.camera.f / FOCAL - 1) < 0.05
    assert lattice_change(answer.camera, shot.camera)[2] < 2.0
    assert lines_off(answer, frame, shot.camera, members).max() < 1e-6


@pytest.mark.parametrize("seed", [4, 6, 18])
def test_on_a_blurred_photo_typed_counts_alone_give_them(seed):
    frame, shot, strokes, members = whole_rows(seed, True, 2)
    assert all(len(s.index) == 0 for s in strokes)
    answer = members_of_strokes(strokes, SIZE)[0]
    assert abs(answer.camera.f / FOCAL - 1) < 0.05
    assert lines_off(answer, frame, shot.camera, members).max() < 1e-6


def test_the_cameras_standard_errors_hold():
    off = []
    for seed in range(1, 16, 2):
        _, shot, strokes, _ = whole_rows(seed, True, 1)
        if len(strokes) == 3:
            found = cameras_of_strokes(strokes, SIZE, FOCAL)
            turns = [lattice_change(c.camera, shot.camera)[2] / np.degrees(c.turn_sigma) for c in found]
            off.append(min(turns))
            assert sum(c.chance for c in found) == pytest.approx(1, abs=0.1)
    assert len(off) >= 5 and np.median(off) < 1.5 and max(off) < 4


def test_two_strokes_give_a_camera_that_says_how_little_is_known():
    _, _, strokes, _ = whole_rows(6, True, 1)
    two, three = (cameras_of_strokes(s, SIZE)[0] for s in (strokes[1:], strokes))
    assert two.turn_sigma > 2 * three.turn_sigma and two.focal_sigma > 0.2
    assert abs(np.log(two.camera.f / FOCAL)) < 3 * two.focal_sigma


def test_what_is_missing_is_said():
    _, _, strokes, _ = whole_rows(6, True, 1)
    for few, words in ((strokes[:0], "draw two"), (strokes[:1], "draw one more")):
        with pytest.raises(ReconError, match=words):
            cameras_of_strokes(few, SIZE)
    same = [count_holes(RowStroke((100, y), (900, y + 3), holes=9, axis=0), NOTHING) for y in (100, 300)]
    with pytest.raises(ReconError, match="another direction"):
        cameras_of_strokes(same, SIZE)
    for stroke, words in (
        (RowStroke((5, 5), (6, 6), 3), "too short"),
        (RowStroke((5, 5), (90, 6), 1), "2 holes"),
    ):
        with pytest.raises(ReconError, match=words):
            count_holes(stroke, NOTHING)
    with pytest.raises(ReconError, match="type how many"):
        count_holes(RowStroke((5, 5), (400, 6)), NOTHING)


def cube(side=10.0):
    """Twelve members of equal length, lapped in threes round each corner."""
    members = []
    for u in (0, 1):
        for v in (0, 1):
            outer = [side * u, side * v]
            inner = [1 + (side - 2) * u, 1 + (side - 2) * v]
            places = [(-1, *outer), (outer[0], -1, inner[1]), (*inner, -1)]
            for axis, place in enumerate(places):
                first, way = tuple(map(float, place)), tuple(np.eye(3)[axis])
                members.append(Member(f"M{len(members)}", first, way, round(side) + 3))
    return Frame(tuple(members))


def test_a_cube_of_twelve_members_comes_from_strokes_alone():
    frame = cube()
    camera = camera_round(frame, 33.0, 28.0, FOCAL)
    rng = np.random.default_rng(1)
    strokes = []
    for m in frame.members:
        seen = faces_seen(m, camera.centre)[2:]
        face = max(
            np.nonzero(seen)[0], key=lambda k: float(face_normals(m)[2 + k] @ (camera.centre - m.first))
        )
        ends = camera.project(openings(m)[face][[0, -1]]) + rng.normal(0, 1.0, (2, 2))
        strokes.append(count_holes(RowStroke(*map(tuple, ends), holes=m.holes), NOTHING))
    answer = members_of_strokes(strokes, SIZE)[0]
    assert len(answer.members) == 12 and {m.holes for m in answer.members} == {13}
    assert lines_off(answer, frame, camera, range(12)).max() < 1e-6
    assert len(find_joints(answer.members)) == len(find_joints(frame.members)) >= 24
    assert abs(answer.camera.f / FOCAL - 1) < 0.05


@pytest.mark.parametrize("seed", [4, 6])
def test_a_stroke_beside_a_known_member_means_the_one_lapped_on_it(seed):
    frame, shot = scene(seed)
    rng = np.random.default_rng(seed)
    tried = right = 0
    for joint in frame.joints or find_joints(frame.members):
        known, new = (next(m for m in frame.members if m.id == id) for id in (joint.a, joint.b))
        if np.abs(np.dot(known.direction, new.direction)) > 0.5:
            continue
        seen = np.nonzero(faces_seen(new, shot.camera.centre)[2:])[0]
        ends = shot.camera.project(openings(new)[seen[0]][[0, -1]]) + rng.normal(0, 1.0, (2, 2))
        stroke = count_holes(RowStroke(*map(tuple, ends), holes=new.holes), NOTHING)
        found = neighbours(shot.camera, [known], stroke)
        tried += 1
        right += (
            np.allclose(found[0].member.first, np.minimum(new.first, new.last)) and found[0].on == known.id
        )
        assert sum(n.member.confidence for n in found) <= 1 + 1e-9
    assert tried >= 4 and right >= 0.8 * tried


def test_a_stroke_where_no_member_is_lapped_is_refused():
    frame, shot = scene(6)
    stroke = count_holes(RowStroke((20, 20), (60, 30), holes=3), NOTHING)
    with pytest.raises(ReconError, match="check its count"):
        neighbours(shot.camera, frame.members[:1], stroke)


def test_the_published_chessboards_rows_as_strokes_give_its_focal_length():
    sure = 0
    for number in LEFT[::2]:
        xy = corners("left", number)
        strokes = [
            count_holes(
                RowStroke(*(tuple(xy[k]) for k in row.index[[0, -1]]), holes=len(row.index)), as_openings(xy)
            )
            for row in ROWS
        ]
        found = cameras_of_strokes(strokes, BOARD_SIZE)[0]
        off = abs(np.log(found.camera.f / PUBLISHED_F))
        # Two of the thirteen views are nearly straight on, which hardly tells a focal length.
        assert off < 0.1 or off < 3 * found.focal_sigma
        sure += found.focal_sigma < 0.05
        assert off < 0.1 or found.focal_sigma > 0.05
    assert sure >= 5


def test_a_stroke_whose_count_is_wrong_is_left_out_and_does_not_spoil_the_others():
    frame, shot, strokes, members = whole_rows(6, True, 2)
    k = int(np.argmax([s.holes for s in strokes]))
    spoilt = strokes[:k] + strokes[k + 1 :]
    ends = strokes[k].stroke
    spoilt.append(count_holes(RowStroke(ends.start, ends.end, holes=strokes[k].holes * 2), NOTHING))
    left = members[:k] + members[k + 1 :]
    answer = members_of_strokes(spoilt, SIZE, FOCAL)[0]
    assert (answer.member_of[:-1] >= 0).all()
    assert lines_off(replace(answer, member_of=answer.member_of[:-1]), frame, shot.camera, left).max() < 1e-6


def test_a_camera_of_strokes_projects_its_members_onto_them():
    _, _, strokes, _ = whole_rows(6, True, 2)
    answer = members_of_strokes(strokes, SIZE)[0]
    for i, stroke in enumerate(strokes):
        m = answer.members[answer.member_of[i]]
        row = m.hole_centres() + 0.5 * m.width * answer.normals[i]
        px = answer.camera.project(row)
        for end in stroke.px[[0, -1]]:
            assert np.linalg.norm(px - end, axis=1).min() < 6.0
    assert isinstance(answer.camera, Camera)
