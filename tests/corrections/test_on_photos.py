"""Where members lie in photos."""

import json

import numpy as np
import pytest

from recon.corrections import on_photos
from tests.corrections.frames import SAMPLE
from tests.truth import frame_from_truth


@pytest.fixture(scope="module")
def truth():
    return json.loads((SAMPLE / "truth.json").read_text())


@pytest.fixture(scope="module")
def frame(truth):
    return frame_from_truth(truth)


def test_openings_lie_where_the_truth_file_has_them(truth, frame):
    # Truth: the openings' centres in px as the sample's maker projected them (truth.json, `holes`).
    outlines = on_photos.outlines(frame)
    for photo in truth["photos"]:
        for hole in photo["holes"]:
            member = frame.members[hole["stick"]]
            drawn = np.array(outlines[photo["file"]][member.id]["holes"]).reshape(-1, 2)
            assert np.abs(drawn - hole["xy"]).max(axis=1).min() < 0.2


def test_handles_lie_half_a_pitch_past_the_last_holes(frame):
    photo = frame.photos[0]
    for m in frame.members:
        ends = np.array(on_photos.outlines(frame)[photo.file][m.id]["ends"])
        assert (
            np.abs(
                ends - on_photos.camera_of(photo).project(m.hole_centre(np.array([-0.5, m.holes - 0.5])))
            ).max()
            < 0.06
        )


def test_a_track_counts_the_boundaries_between_holes(frame):
    m = frame.members[0]
    for name, there in on_photos.track(frame, m.id).items():
        photo = next(p for p in frame.photos if p.file == name)
        xy = np.array(there["xy"]).reshape(-1, 2)
        at = on_photos.camera_of(photo).project(m.hole_centre(np.array([m.holes - 0.5])))[0]
        assert np.abs(xy[m.holes - there["from"]] - at).max() < 0.06
