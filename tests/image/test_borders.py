"""Borders of screenshots are found, plain backgrounds are not taken for them."""

import cv2
import numpy as np
import pytest

from recon.image.borders import content_box


def picture(width=400, height=300, seed=0):
    """A photo-like picture: blotches all over."""
    rng = np.random.default_rng(seed)
    blotches = cv2.GaussianBlur(rng.normal(0, 1, (height, width, 3)), (0, 0), 3)
    return np.clip(128 + 60 * blotches / blotches.std(), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("colour", [0, 24, 255])
@pytest.mark.parametrize("sides", [(30, 30, 0, 0), (0, 0, 50, 50), (12, 60, 20, 4), (0, 25, 0, 0)], ids=str)
def test_borders_are_cut_off_also_after_strong_jpeg(colour, sides):
    top, low, left, right = sides
    inside = picture()
    framed = cv2.copyMakeBorder(inside, top, low, left, right, cv2.BORDER_CONSTANT, value=(colour,) * 3)
    coded = cv2.imdecode(cv2.imencode(".jpg", framed, [cv2.IMWRITE_JPEG_QUALITY, 60])[1], cv2.IMREAD_COLOR)
    for shown, slack in ((framed, 1), (coded, 9)):  # JPEG blocks have 8 px
        box = content_box(shown)
        true = (left, top, left + 400, top + 300)
        least = 0.01 * max(framed.shape[:2])
        wanted = [t if abs(t - e) >= least else e for t, e in zip(true, (0, 0, *framed.shape[1::-1]))]
        assert np.abs(np.array(box) - wanted).max() <= slack


def test_a_picture_without_borders_is_whole():
    assert content_box(picture()) == (0, 0, 400, 300)
    assert content_box(np.full((200, 300, 3), 255, np.uint8)) == (0, 0, 300, 200)


def test_a_thing_before_a_plain_wall_has_no_border():
    wall = np.full((300, 400, 3), 250, np.uint8)
    wall[60:290, 150:220] = picture(70, 230)
    assert content_box(wall) == (0, 0, 400, 300)
