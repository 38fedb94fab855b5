"""Members as boxes, and what hides what."""

import numpy as np
import pytest

from recon.frame import boxes
from recon.frame.model import Member, box_half_sizes
from tests.growing import grow_frame


def brace(angle=0.6435):
    return Member("A", (1.0, 2.0, 3.0), (float(np.cos(angle)), 0.0, float(np.sin(angle))), 9, 1.5)


@pytest.mark.parametrize("member", [brace(), *grow_frame(3).members])
def test_a_box_has_its_members_sizes(member):
    points = boxes.corners(member)
    lengths = np.linalg.norm(points[boxes.EDGES[:, 1]] - points[boxes.EDGES[:, 0]], axis=1)
    assert sorted(lengths.round(9)) == sorted([member.width] * 8 + [member.holes] * 4)
    assert points.mean(axis=0) == pytest.approx(boxes.centre(member))


@pytest.mark.parametrize("member", [brace(), *grow_frame(4).members])
def test_the_two_faces_of_an_edge_both_hold_its_ends(member):
    points, centres, normals = boxes.corners(member), boxes.face_centres(member), boxes.face_normals(member)
    for edge, faces in zip(boxes.EDGES, boxes.EDGE_FACES):
        for face in faces:
            assert (points[edge] - centres[face]) @ normals[face] == pytest.approx(0)
    assert np.cross(normals[1], normals[3]) == pytest.approx(normals[5])  # right-handed


def test_openings_lie_on_the_faces_above_their_holes():
    member = brace()
    spots = boxes.openings(member)
    assert spots.shape == (4, 9, 3)
    for face in range(4):
        off = spots[face] - member.hole_centres()
        assert np.linalg.norm(off, axis=1) == pytest.approx(0.75)
        assert off[0] / 0.75 == pytest.approx(boxes.face_normals(member)[2 + face])


def test_a_viewer_sees_one_to_three_faces():
    member = brace()
    rng = np.random.default_rng(5)
    for eye in boxes.centre(member) + rng.normal(size=(50, 3)) * 40:
        assert 1 <= boxes.faces_seen(member, eye).sum() <= 3
    straight = boxes.centre(member) + 30 * boxes.face_normals(member)[3]
    assert boxes.faces_seen(member, straight).tolist() == [False, False, False, True, False, False]


def test_hidden_points_are_those_with_a_member_on_the_way():
    members = (*grow_frame(7, members=14).members, brace())
    rng = np.random.default_rng(8)
    points, eye = rng.uniform(-6, 6, (300, 3)), np.array([25.0, -31.0, 18.0])
    spots = eye + np.linspace(0, 1, 4000)[:, None, None] * (
        points - eye
    )  # each line of sight in steps of a hundredth
    surely, possibly = np.zeros(len(points), bool), np.zeros(len(points), bool)
    for member in members:
        local = np.abs((spots - boxes.centre(member)) @ boxes.box_axes(member).T)
        surely |= (local <= box_half_sizes(member) - 0.04).all(axis=2).any(axis=0)
        possibly |= (local <= box_half_sizes(member)).all(axis=2).any(axis=0)
    got = boxes.hidden(points, eye, members, slack=0.02)
    assert 20 < surely.sum() < possibly.sum() < 250  # enough of both kinds
    assert got[surely].all() and not got[~possibly].any()


def test_a_face_is_not_hidden_by_its_own_member():
    member = brace()
    eye = np.array([40.0, 30.0, 50.0])
    for face in np.nonzero(boxes.faces_seen(member, eye)[2:])[0]:
        assert not boxes.hidden(boxes.openings(member)[face], eye, [member]).any()
