"""A picture within borders is read as it is without them."""

import numpy as np

from recon.solve.photo.bordered import read_within
from recon.solve.photo.read_photo import read_photo
from tests.solve.scenes import SIZE, grown_scene


def test_a_screenshot_is_read_as_the_photo_in_it():
    _, shot = grown_scene(1, f=1500.0)
    plain = read_photo("a.jpg", shot.openings, SIZE, None, 1.0)
    corner, whole = np.array([120, 60]), (SIZE[0] + 120, SIZE[1] + 400)
    openings = shot.openings.copy()
    openings["x"] += corner[0]
    openings["y"] += corner[1]
    box = (120, 60, 120 + SIZE[0], 60 + SIZE[1])
    found = read_within(box, "a.jpg", openings, whole, None, 1.0)
    assert found.size == found.photo.size == whole
    assert len(found.solutions) == len(plain.solutions)
    for (photo, lattice), (other, bare) in zip(found.solutions, plain.solutions):
        for camera, alone in ((photo.camera, other.camera), (lattice.camera, bare.camera)):
            assert np.allclose([camera.cx, camera.cy], np.array([alone.cx, alone.cy]) + corner, atol=0.1)
            assert np.allclose(camera.R, alone.R, atol=1e-5) and np.isclose(camera.f, alone.f, rtol=1e-5)
        assert np.allclose(photo.openings["x"], other.openings["x"] + 120)
        assert np.allclose(photo.shape, other.shape, atol=1e-2)


def test_a_whole_picture_is_read_as_before():
    _, shot = grown_scene(1)
    found = read_within((0, 0, *SIZE), "a.jpg", shot.openings[:40], SIZE, 1300.0, 1.0)
    assert found.reason == read_photo("a.jpg", shot.openings[:40], SIZE, 1300.0, 1.0).reason
