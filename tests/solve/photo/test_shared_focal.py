"""Pictures of one video share their focal length; photos that only lie beside them keep their own."""

from pathlib import Path
from types import SimpleNamespace

import numpy as np

from recon.geometry.camera import Camera
from recon.image.openings import OPENING
from recon.image.photos import PhotoImage
from recon.image.timecode import Timecode
from recon.solve import reading
from recon.solve.each_photo import WorkingCopy
from recon.solve.photo.photo_reading import PhotoReading
from recon.workers import ALONE

SIZE = (1280, 720)


def read_with(name, focal):
    """A reading of a picture by itself, with a camera of this focal length; None for none."""
    nothing = np.zeros(0, OPENING)
    posed = SimpleNamespace(camera=Camera(focal, 640, 360)) if focal else None
    return PhotoReading(name, SIZE, nothing, posed, None, (1.0, np.inf), 1.0)


def picture(name, video, f35=None):
    timecode = Timecode(video, 1, 0.1) if video else None
    blank = np.zeros((2, 2, 3), np.uint8)
    return PhotoImage(Path(name), name, blank, SIZE, f35, f35 and 900.0, name, timecode)


def test_pictures_with_another_focal_length_are_read_again_with_that_of_most(monkeypatch):
    photos = [picture(f"{k}.jpg", "a.mp4") for k in range(5)]
    photos += [picture("b.jpg", "b.mp4"), picture("photo.jpg", ""), picture("exif.jpg", "a.mp4", 26.0)]
    focals = [1000, 1008, 1600, 995, None, 1600, 1600, 1600]
    readings = [read_with(p.name, f) for p, f in zip(photos, focals)]
    copies = [WorkingCopy(p.name, p.colour, p.focal_prior_px, 1.0) for p in photos]
    again = []

    def read_again(asked, workers):
        again.extend((copy.name, copy.focal_px, width) for copy, _, width in asked)
        return [read_with(copy.name, copy.focal_px if copy.name != "4.jpg" else None) for copy, *_ in asked]

    monkeypatch.setattr(reading, "read_again", read_again)
    out = reading._with_shared_focals(readings, copies, photos, 1.5, ALONE)
    assert again == [("2.jpg", 1000.0, 1.5), ("4.jpg", 1000.0, 1.5)]
    assert [r.photo and r.photo.camera.f for r in out] == [1000, 1008, 1000, 995, None, 1600, 1600, 1600]
    assert out[4] is readings[4]  # what gives no camera with it either stays as it was


def test_where_pictures_do_not_agree_all_stay_as_they_are():
    photos = [picture(f"{k}.jpg", "a.mp4") for k in range(6)]
    readings = [read_with(p.name, f) for p, f in zip(photos, [1000, 1005, 1002, 1600, 1610, 1590])]
    assert reading._with_shared_focals(readings, [None] * 6, photos, None, ALONE) == readings
