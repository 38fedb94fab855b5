"""Marks of holes on a photo, and the photo's tiles: what a click means, and that tiles meet."""

import numpy as np
import pytest
from PIL import Image

from tests.webui.browsing import PAINTED, until
from tests.webui.in_page import in_page

# Clicks at each of `places` in turn, as the page takes them; how many marks are left.
CLICKED = in_page(
    """const marks = {missed: [], false: []};
    for (const place of places) {
      const {mine, found} = markAt(place, scale, marks, openings) || {};
      if (mine) marks.missed = marks.missed.filter(p => p !== mine);
      else if (!found) marks.missed.push(place);
    }
    return marks.missed.length;""",
    "[places, scale, openings]",
)


@pytest.fixture(scope="module")
def page(opened_once, serve_once, tmp_path_factory):
    """A page with a plain photo of several tiles."""
    folder = tmp_path_factory.mktemp("marks")
    Image.new("RGB", (2600, 2000), (40, 60, 50)).save(folder / "plain.jpg", quality=95)
    return opened_once(serve_once(folder).address)


@pytest.mark.parametrize("pitch_px", [5, 9, 30])
@pytest.mark.parametrize("found", [False, True])
def test_a_click_on_each_hole_marks_each_at_any_zoom(page, pitch_px, found):
    scale = 0.22  # a whole photo on its tile
    rng = np.random.default_rng(pitch_px)
    grid = np.stack(np.meshgrid(np.arange(25), np.arange(5)), axis=-1).reshape(-1, 2) * pitch_px / scale
    clicks = grid + rng.uniform(-1, 1, grid.shape) / scale  # a hand is a px of the screen off
    others = [[*map(float, p + (0, 5 * pitch_px / scale)), 0.14 * pitch_px / scale] for p in grid[-25:]]
    args = [clicks.tolist(), scale, others if found else []]
    assert page.evaluate(CLICKED, args) == len(grid)


def test_a_second_click_on_a_mark_takes_it_back(page):
    places = [[100.0, 100.0], [140.0, 100.0], [140.0, 103.0]]  # the third is on the second
    assert page.evaluate(CLICKED, [places, 1.0, []]) == 1
    far = [[140.0, 100.0, 6.0]]  # a hole that was found is not marked as missed
    assert page.evaluate(CLICKED, [[[143.0, 100.0]], 1.0, far]) == 0


def test_tiles_of_a_zoomed_photo_meet_at_whole_px(page):
    # Where an edge lies between two px, a browser that smooths it lets what is behind shine through.
    until(page, PAINTED)
    drawn = in_page(
        """const v = views.photos.get('plain.jpg'), found = [], c = v.context, draw = c.drawImage;
        v.zoom(by, [v.width * 0.31, v.height * 0.43]);
        c.drawImage = (image, ...at) => {
          if (image instanceof ImageBitmap) found.push([...at, c.getTransform().a, c.getTransform().e]);
          draw.call(c, image, ...at); };
        v.paintNow();
        delete c.drawImage;
        return found;""",
        "by",
    )
    for by in (2.37, 1.13, 1.31):
        page.evaluate(drawn, by)
        until(page, PAINTED)
        tiles = page.evaluate(drawn, 1.001)
        assert len(tiles) > 4 and all(float(v).is_integer() for tile in tiles for v in tile)
        left, right = {x for x, *_ in tiles}, {x + w for x, _, w, *_ in tiles}
        top, bottom = {y for _, y, *_ in tiles}, {y + h for _, y, _, h, *_ in tiles}
        assert len(left & right) == len(left) - 1 and len(top & bottom) == len(top) - 1
