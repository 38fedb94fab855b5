"""Heads of bolts at predicted openings: marks of a member, told from open holes and from clutter."""

import numpy as np
import pytest

from recon.geometry.camera import Camera
from recon.image.openings import OPENING
from recon.solve.evidence.along_line import along_line, lattice_openings
from recon.solve.evidence.posed_photo import make_posed_photo

HOLES, HOLE_PX = 6, 15.0
CAMERA = Camera(1000.0, 400.0, 300.0, t=np.array([0, 0, 20.0]))


def evidence(head_size, raised=0.09, beside=0.0, bolted=False):
    """Evidence for a member along x whose hole 2 has a mark of so many hole diameters, off its place."""
    openings = lattice_openings(0, np.array([-2.0, 1.5, 0]), HOLES, 1.0)
    places = openings.centre[3].copy()
    places[2] += raised * openings.normal[3, 2] + np.array([0, beside, 0])
    spots = np.zeros(HOLES, OPENING)
    spots["x"], spots["y"] = CAMERA.project(places).T
    spots["major"] = spots["minor"] = HOLE_PX
    spots["major"][2] = spots["minor"][2] = head_size * HOLE_PX
    spots["score"] = 5
    photo = make_posed_photo("made.jpg", CAMERA, (800, 600), spots, 0.29)
    laps = np.zeros((4, HOLES), bool)
    laps[3, 2] = bolted
    return along_line([photo], openings, bolted=laps)


@pytest.mark.parametrize("size", [1.4, 1.6, 1.9])
@pytest.mark.parametrize("raised", [0.03, 0.1, 0.2])
def test_a_head_off_the_face_speaks_for_the_member(size, raised):
    found = evidence(size, raised, bolted=True)
    assert found.head[0, 3].tolist() == [-1, -1, 2, -1, -1, -1] and found.hit[0, 3, 2] == -1
    assert found.profile[2] > 2 and found.marks.tolist() == [1] * HOLES


def test_an_open_hole_is_no_head():
    found = evidence(1.0, raised=0.0, bolted=True)
    assert (found.head == -1).all() and found.hit[0, 3].tolist() == list(range(HOLES))


@pytest.mark.parametrize("size, beside", [(4.0, 0.0), (1.6, 0.4)])
def test_what_is_too_large_or_beside_the_hole_is_no_head(size, beside):
    found = evidence(size, beside=beside)
    assert (found.head == -1).all() and found.profile[2] < 0


def test_a_head_is_likelier_where_a_lap_puts_one():
    assert evidence(1.35, bolted=True).head[0, 3, 2] == 2 and evidence(1.35).hit[0, 3, 2] == 2
