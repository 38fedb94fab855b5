"""The picture of the frame.

What is in front covers what is behind, every hole is there, and it is legible in grey.
"""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image

from recon.errors import ReconError
from recon.frame.boxes import face_normals, hidden, openings
from recon.frame.model import Frame, Joint, Member
from recon.show import colours, picture
from recon.show.picture_camera import best_camera, camera_from, face_map
from tests.growing import grow_frame
from tests.show.scenes import stand

SIZE = (900, 700)


def test_the_nearest_member_is_the_one_that_is_seen():
    members = grow_frame(11, members=12).members
    camera = camera_from(members, -40, 27, SIZE, 30)
    faces = face_map(members, camera, SIZE)
    eye = 1e5 * camera.towards  # as good as a parallel projection
    checked = 0
    for k, member in enumerate(members):
        for face in np.nonzero(face_normals(member) @ camera.towards > 0.05)[0]:
            if face < 2:
                continue
            spots = openings(member)[face - 2]
            away = hidden(spots, eye, [m for m in members if m is not member], slack=0.0)
            sure = away == hidden(spots, eye, [m for m in members if m is not member], slack=0.1)
            x, y = np.floor(camera.project(spots)).astype(int).T
            at = faces[y, x]
            assert np.array_equal(at[sure] == 6 * k + face, ~away[sure])
            checked += sure.sum()
    assert checked > 100


@pytest.mark.parametrize(
    "member",
    [
        Member("A", (0, 0, 0), (0, 0, 1), 9),
        Member("A", (0, 0, 0), (1, 0, 0), 14, 1.5),
        Member("A", (1, 2, 3), (0.6, 0.0, 0.8), 11, on_lattice=False),
    ],
)
def test_every_hole_of_the_faces_turned_here_is_drawn_once(member):
    frame = Frame((member,))
    camera = camera_from(frame.members, -30, 25, SIZE, 30)
    image = picture.paint_faces(frame, face_map(frame.members, camera, SIZE), camera, hole=0.4)
    dark = (np.abs(image.astype(int) - colours.HOLE).max(axis=2) == 0).astype(np.uint8)
    long_faces = (face_normals(member)[2:] @ camera.towards > 1e-6).sum()
    assert cv2.connectedComponents(dark)[0] - 1 == member.holes * long_faces


def test_a_hole_has_the_stocks_diameter():
    frame = Frame((Member("A", (0, 0, 0), (1, 0, 0), 6),))
    camera = camera_from(frame.members, -90, 0, SIZE, 30)  # straight at one face
    for hole in (0.2, 0.45):
        image = picture.paint_faces(frame, face_map(frame.members, camera, SIZE), camera, hole)
        area = (np.abs(image.astype(int) - colours.HOLE).max(axis=2) == 0).sum() / camera.scale**2 / 6
        assert area == pytest.approx(np.pi * hole**2 / 4, rel=0.03)


def test_a_bolt_shows_on_the_far_side_of_each_member_of_its_lap():
    a, b = Member("A", (0, 0, 0), (0, 0, 1), 5), Member("B", (-2, -1, 2), (1, 0, 0), 5)
    lap = Joint("A", 2, "B", 2, (0.0, -1.0, 0.0), "seen")
    for azimuth, seen_on in ((-60, 1), (60, 0)):  # from the front the head is on B, from the back on A
        frame = Frame((a, b), (lap,))
        camera = camera_from(frame.members, azimuth, 20, SIZE, 30)
        faces = face_map(frame.members, camera, SIZE)
        image = picture.paint_faces(frame, faces, camera, 0.3)
        disc = np.abs(image.astype(int) - colours.BOLT).max(axis=2) == 0
        assert set(faces[disc] // 6) == {seen_on}
        assumed = picture.paint_faces(
            replace(frame, joints=(replace(lap, bolt="assumed"),)), faces, camera, 0.3
        )
        none = picture.paint_faces(replace(frame, joints=(replace(lap, bolt="none"),)), faces, camera, 0.3)
        assert not np.array_equal(assumed, image) and not np.array_equal(none, assumed)


def test_a_member_that_is_not_sure_is_hatched_in_grey_too():
    sure = Frame((Member("A", (0, 0, 0), (0, 0, 1), 8),))
    unsure = Frame((replace(sure.members[0], confidence=0.4),))
    camera = camera_from(sure.members, -30, 25, SIZE, 30)
    faces = face_map(sure.members, camera, SIZE)
    a, b = (
        cv2.cvtColor(picture.paint_faces(f, faces, camera, 0.3), cv2.COLOR_RGB2GRAY).astype(int)
        for f in (sure, unsure)
    )
    differs = np.abs(a - b) > 30
    assert 0.1 < differs[faces >= 0].mean() < 0.5 and not differs[faces < 0].any()


def test_the_chosen_view_shows_more_members_than_the_worst():
    members = grow_frame(21, members=14).members

    def seen_well(camera):
        faces = face_map(members, camera, SIZE)
        areas = np.bincount(faces[faces >= 0] // 6, minlength=len(members))
        return np.minimum(areas / camera.scale**2, 2.0).sum()

    chosen = seen_well(best_camera(members, SIZE, 30))
    others = [seen_well(camera_from(members, azimuth, 24, SIZE, 30)) for azimuth in range(0, 360, 45)]
    assert chosen > min(others)


def test_the_members_fill_the_picture_and_stay_in_it():
    members = stand().members
    camera = best_camera(members, SIZE, 40)
    y, x = np.nonzero(face_map(members, camera, SIZE) >= 0)
    spare = [x.min(), SIZE[0] - x.max(), y.min(), SIZE[1] - y.max()]
    assert min(spare) >= 38 and (min(spare[:2]) <= 42 or min(spare[2:]) <= 42)


def test_the_picture_is_a_png_of_the_asked_size(tmp_path):
    path = tmp_path / "frame.png"
    picture.draw_frame_picture(stand(), path, size=SIZE)
    with Image.open(path) as image:
        assert image.format == "PNG" and image.size == SIZE
    assert list(tmp_path.iterdir()) == [path]


def test_two_pictures_of_one_frame_are_the_same():
    assert np.array_equal(picture.draw_frame(stand(), SIZE), picture.draw_frame(stand(), SIZE))


def test_a_frame_without_members_cannot_be_drawn():
    with pytest.raises(ReconError, match="no members"):
        picture.draw_frame(Frame(()))
