"""Which member a stroke on a photo means."""

from dataclasses import replace

import numpy as np
import pytest

from recon.corrections.strokes import strokes
from recon.errors import ReconError
from recon.frame.boxes import face_normals, openings
from tests.corrections.frames import true_frame


@pytest.fixture(scope="module")
def frame():
    return true_frame()


def test_a_stroke_from_first_to_last_opening_means_the_member_that_is_there(frame):
    found = tried = 0
    for m in frame.members:
        rest = replace(frame, members=tuple(x for x in frame.members if x.id != m.id), joints=())
        for photo in frame.photos:
            camera = photo.camera
            towards = (face_normals(m)[2:] * (camera.centre - m.hole_centre(m.holes // 2))).sum(axis=1)
            ends = camera.project(openings(m)[int(towards.argmax())][[0, -1]])
            proposed = strokes(rest, photo.file, ends[0] + [0.6, -0.6], ends[1])  # as near as a hand comes
            here = [k for k, s in enumerate(proposed) if s.holes == m.holes and np.allclose(s.first, m.first)]
            tried += 1
            assert here, (m.id, photo.file)
            found += here[0] == 0
    assert (
        found >= 0.6 * tried
    )  # the first proposal is mostly the one; one photo alone cannot always tell the depth


def test_a_stroke_on_nothing_is_refused_in_words(frame):
    with pytest.raises(ReconError, match="begin and end on holes"):
        strokes(frame, frame.photos[0].file, (3, 3), (5, 4))
    with pytest.raises(ReconError, match="camera is not known"):
        strokes(frame, "elsewhere.jpg", (3, 3), (5, 4))
