"""A photo that makes no frame by itself does not keep out those that do."""

from dataclasses import replace

import numpy as np
import pytest

from recon.image.openings import OPENING
from recon.solve import reading
from recon.solve.evidence.scene import Scene
from recon.solve.photo.read_photo import PhotoReading
from recon.workers import ALONE
from tests.solve.scenes import candidates_of, grown_scene, photo_of, scene_of


def read_as(name, photo):
    return PhotoReading(name, (1600, 1200), np.zeros(0, OPENING), photo, None, (1.0, np.inf), 9.0)


@pytest.fixture
def photos():
    """A photo of a frame and one of which a single row is believed; and the scene that each one makes."""
    frame, shot = grown_scene(2)
    good, bad = photo_of(shot, "good.jpg"), photo_of(shot, "bad.jpg")
    whole = scene_of([good], candidates_of(frame))
    return {"good.jpg": whole, "bad.jpg": scene_of([bad], whole.candidates[:1])}


def solved(photos, names, monkeypatch):
    """The outcome for these photos where the first one keeps the others out."""

    def solve(readings, *_):
        first, *others = [r.name for r in readings]
        aside = tuple((name, "another frame?") for name in others)
        scene = photos[first]
        assert [p.name for p in scene.photos] == [first]
        return Scene(scene.photos, {}, 1.0, scene.candidates, set_aside=aside), []

    monkeypatch.setattr(reading, "_solve", solve)
    readings = [read_as(name, photos[name].photos[0]) for name in names]
    scene, _, test = reading._solve_until_frame(readings, [], None, 1.0, reading.Watch(None, None), ALONE)
    return scene, test


def test_the_others_are_tried_without_a_photo_that_makes_no_frame(photos, monkeypatch):
    scene, test = solved(photos, ["bad.jpg", "good.jpg"], monkeypatch)
    assert test.is_frame and [p.name for p in scene.photos] == ["good.jpg"]
    assert dict(scene.set_aside) == {"bad.jpg": reading.NO_FRAME}


def test_where_no_photo_makes_a_frame_the_first_outcome_stands(photos, monkeypatch):
    bad = photos["bad.jpg"]
    photos["worse.jpg"] = bad.with_photos([replace(bad.photos[0], name="worse.jpg")])
    scene, test = solved(photos, ["bad.jpg", "worse.jpg"], monkeypatch)
    assert not test.is_frame and [p.name for p in scene.photos] == ["bad.jpg"]


def test_a_frame_at_once_is_kept(photos, monkeypatch):
    scene, test = solved(photos, ["good.jpg", "bad.jpg"], monkeypatch)
    assert test.is_frame and dict(scene.set_aside) == {"bad.jpg": "another frame?"}
