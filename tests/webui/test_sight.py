"""Where members lie in photos, and which member a stroke means."""

import json
from dataclasses import replace

import numpy as np
import pytest

from recon.corrections import on_photos
from recon.errors import ReconError
from tests.truth import frame_from_truth
from tests.webui.conftest import SAMPLE


@pytest.fixture(scope="module")
def truth():
    return json.loads((SAMPLE / "truth.json").read_text())


@pytest.fixture(scope="module")
def frame(truth):
    return frame_from_truth(truth)


def test_openings_lie_where_the_truth_file_has_them(truth, frame):
    # Truth: the openings' centres in px as the sample's maker projected them (truth.json, `holes`).
    shapes = on_photos.shapes(frame)
    for photo in truth["photos"]:
        for hole in photo["holes"]:
            member = frame.members[hole["stick"]]
            drawn = np.array(shapes[photo["file"]][member.id]["holes"]).reshape(-1, 2)
            assert np.abs(drawn - hole["xy"]).max(axis=1).min() < 0.2


def test_handles_lie_half_a_pitch_past_the_last_holes(frame):
    photo = frame.photos[0]
    for m in frame.members:
        ends = np.array(on_photos.shapes(frame)[photo.file][m.id]["ends"])
        assert (
            np.abs(ends - photo.camera.project(m.hole_centre(np.array([-0.5, m.holes - 0.5])))).max() < 0.06
        )


def test_a_track_counts_the_boundaries_between_holes(frame):
    m = frame.members[0]
    for name, there in on_photos.track(frame, m.id).items():
        photo = next(p for p in frame.photos if p.file == name)
        xy = np.array(there["xy"]).reshape(-1, 2)
        at = photo.camera.project(m.hole_centre(np.array([m.holes - 0.5])))[0]
        assert np.abs(xy[m.holes - there["from"]] - at).max() < 0.06


def test_a_stroke_from_first_to_last_opening_means_the_member_that_is_there(frame):
    from recon.frame.boxes import face_normals, openings

    found = tried = 0
    for m in frame.members:
        rest = replace(frame, members=tuple(x for x in frame.members if x.id != m.id), joints=())
        for photo in frame.photos:
            camera = photo.camera
            towards = (face_normals(m)[2:] * (camera.centre - m.hole_centre(m.holes // 2))).sum(axis=1)
            ends = camera.project(openings(m)[int(towards.argmax())][[0, -1]])
            strokes = on_photos.strokes(
                rest, photo.file, ends[0] + [0.6, -0.6], ends[1]
            )  # as near as a hand comes
            here = [k for k, s in enumerate(strokes) if s.holes == m.holes and np.allclose(s.first, m.first)]
            tried += 1
            assert here, (m.id, photo.file)
            found += here[0] == 0
    assert (
        found >= 0.6 * tried
    )  # the first proposal is mostly the one; one photo alone cannot always tell the depth


def test_a_stroke_on_nothing_is_refused_in_words(frame):
    with pytest.raises(ReconError, match="begin and end on openings"):
        on_photos.strokes(frame, frame.photos[0].file, (3, 3), (5, 4))
    with pytest.raises(ReconError, match="camera is not known"):
        on_photos.strokes(frame, "elsewhere.jpg", (3, 3), (5, 4))
