"""Large pictures are looked at as coarsely as their holes allow."""

import cv2
import numpy as np
import pytest
from scipy.spatial import cKDTree

import recon.image.scales as scales
from recon.image.scales import find_openings, glance
from recon.image.working_copy import first_look_halvings


def plate(hole_px):
    """A picture with four rows of dark holes, and their places, px."""
    step = 4 * hole_px
    places = [(step * (k + 1.5), 60.0 + 60 * row) for row in range(4) for k in range(int(560 / step))]
    picture = np.full((300, 640, 3), 180, np.uint8)
    for x, y in places:
        cv2.circle(picture, (round(x * 16), round(y * 16)), hole_px * 8, (45, 50, 55), -1, cv2.LINE_AA, 4)
    noise = np.random.default_rng(0).normal(0, 3, picture.shape)
    return np.clip(cv2.GaussianBlur(picture, (0, 0), 0.7) + noise, 0, 255).astype(np.uint8), np.array(places)


@pytest.fixture
def looks(monkeypatch):
    """Pictures of over 0.1 MP count as large; the sizes that are looked at."""
    monkeypatch.setattr("recon.image.working_copy.FIRST_LOOK_PIXELS", 1e5)
    widths, detect = [], scales.detect_openings

    def watched(lab, **options):
        widths.append(lab.shape[1])
        return detect(lab, **options)

    monkeypatch.setattr(scales, "detect_openings", watched)
    return widths


@pytest.mark.parametrize("hole_px, widths", [(16, [320]), (6, [320, 640])])
def test_a_large_picture_is_looked_at_finely_only_for_small_holes(looks, hole_px, widths):
    picture, places = plate(hole_px)
    found = find_openings(picture)
    assert looks == widths
    off, which = cKDTree(np.c_[found["x"], found["y"]]).query(places)
    assert off.max() < 0.06 * hole_px
    assert np.median(found["major"][which]) == pytest.approx(hole_px, rel=0.12, abs=1)


def test_what_is_seen_on_the_way_is_in_px_of_the_picture(looks):
    picture, places = plate(16)
    early = []
    find_openings(picture, seen=early.append)
    off = cKDTree(np.c_[early[0]["x"], early[0]["y"]]).query(places)[0]
    assert off.max() < 2


def test_a_glance_shows_large_holes_at_their_places_in_the_picture(monkeypatch):
    monkeypatch.setattr(scales, "GLANCE_PIXELS", 1e5)
    picture, places = plate(16)
    found = glance(picture)
    assert cKDTree(np.c_[found["x"], found["y"]]).query(places)[0].max() < 2


def test_small_photos_that_were_doubled_are_looked_at_as_they_are():
    assert first_look_halvings(4 * 1.7e6) == 0
