"""A hand on mouse and keyboard that works on a build's page and counts what it does.

The person's seconds are those of the keystroke-level model (S. K. Card, T. P. Moran, A. Newell, "The
keystroke-level model for user performance time with interactive systems", Communications of the ACM
23(7), 396-410, 1980; values from memory): K a key or mouse button, P pointing, H a hand between keyboard
and mouse, M deciding, R waiting for the page, as measured. Looking at a photo until one knows what is
right is more than an M; the model leaves it out.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from tests.waiting import patience
from tests.webui.benchmark import Serving
from tests.webui.browsing import until
from tests.webui.in_page import in_page

K, P, H, M = 0.28, 1.10, 0.40, 1.35  # seconds, from memory; K of an average typist who is no secretary
SCREEN = {"width": 1440, "height": 900}
SETTLED = in_page("if (build.n < n) return false; await settled(); return true;", "n")
ALL_SHAPES = in_page("return build.photos.every(p => build.shapes.get(p.name)?.size);")


@contextmanager
def at_work(browser, build: Path, on: str = "mouse") -> Iterator[Hand]:
    """A hand on a build's page, which is there and shows where all members lie; closed in the end.

    Parameters
    ----------
    browser : Browser
    build : Path
        The folder.
    on : "mouse" or "keyboard"
        Where the hand is.
    """
    serving = Serving(build)
    page = browser.new_page(viewport=SCREEN)
    page.set_default_timeout(1000 * patience())
    try:
        page.goto(serving.page.address)
        page.wait_for_selector("body[data-ready]")
        until(page, ALL_SHAPES)
        yield Hand(page, on)
    finally:
        page.close()
        serving.close()


class Hand:
    """A hand on mouse and keyboard that counts what it does."""

    def __init__(self, page, on="keyboard"):
        self.page, self.on, self.n = page, on, 1
        self.keys = self.clicks = self.drags = 0
        self.K = self.P = self.H = self.M = 0
        self.waited = 0.0

    def _take(self, which):
        self.H += self.on != which
        self.on = which

    def key(self, key):
        self._take("keyboard")
        self.keys, self.K = self.keys + 1, self.K + 1
        self.page.keyboard.press(key)

    def click(self, where):
        """where : a selector, or a place on the screen."""
        self._take("mouse")
        self.clicks, self.P, self.K = self.clicks + 1, self.P + 1, self.K + 1
        if isinstance(where, str):
            self.page.click(where)
        else:
            self.page.mouse.click(*where)

    def drag(self, start, end):
        self._take("mouse")
        self.drags, self.P, self.K = self.drags + 1, self.P + 2, self.K + 2
        self.page.mouse.move(*start)
        self.page.mouse.down()
        for share in np.linspace(0.25, 1, 4):
            self.page.mouse.move(*(np.array(start) + share * (np.array(end) - start)))
        self.page.mouse.up()

    def take_wheel(self):
        """Takes the wheel over a picture; counted as pointing there and one press."""
        self._take("mouse")
        self.clicks, self.P, self.K = self.clicks + 1, self.P + 1, self.K + 1

    def zoom_out(self, where):
        """The wheel over a picture until all of it is seen."""
        self.take_wheel()
        box = self.page.locator(where).bounding_box()
        self.page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        for _ in range(12):
            self.page.mouse.wheel(0, 400)
            self.page.wait_for_timeout(20)

    def decide(self):
        self.M += 1

    def wait(self, changes=0):
        """Until the page shows what so many changes made, doubts and all."""
        self.n += changes
        start = time.perf_counter()
        while not self.page.evaluate(SETTLED, self.n):
            if time.perf_counter() - start > patience():
                raise AssertionError(f"the page did not make the change: {self.page.inner_text('#messages')}")
            self.page.wait_for_timeout(5)
        self.page.evaluate(
            "() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))"
        )
        self.waited += time.perf_counter() - start

    def seconds(self) -> float:
        return self.K * K + self.P * P + self.H * H + self.M * M + self.waited
