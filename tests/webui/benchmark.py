"""The page: from an edit to the screen at 12 and 300 members, the first picture of ten 12-MP photos, and edits lost to kill -9.

    python -m tests.webui.benchmark [--edits N] [--kill N] [--work FOLDER]

Needs a checkout with its tests (the frames and the kill test are theirs), Chromium and Playwright.
"""
from __future__ import annotations

import argparse
import shutil
import tempfile
import threading
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from recon.errors import ReconError

ARGUMENTS = ["--headless", "--no-sandbox", "--disable-gpu", "--enable-unsafe-swiftshader"]
PHOTO_PX = (4000, 3000)      # 12 MP

# Presses the button and resolves when the change that it makes has been drawn: the canvases paint in an animation frame, so after
# the one that follows the page's own.
EDIT_TO_SCREEN = """async label => {
  const {build, on} = await import('/static/store.js');
  window.edited ||= (() => { const waiting = []; on('changed', () => waiting.splice(0).forEach(f => f())); return waiting; })();
  const button = document.querySelector(`[aria-label='${label}']`), start = performance.now();
  const drawn = new Promise(done => window.edited.push(() => requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now() - start)))));
  button.click();
  return drawn;
}"""


def run(args) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.webui.benchmark")
    parser.add_argument("--edits", type=int, default=100, help="edits timed at each size")
    parser.add_argument("--kill", type=int, default=1000, help="edits of the kill test")
    options = parser.parse_args(args)
    try:
        from playwright.sync_api import sync_playwright

        from tests.webui import frames, test_journal
    except ImportError as error:
        raise ReconError(f"{error.name} is missing; this measurement runs in a checkout with its tests and Playwright.") from error
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        raise ReconError("Chromium is missing; on Debian: apt-get install chromium.")
    with tempfile.TemporaryDirectory() as work, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=ARGUMENTS)
        for count, state in ((12, frames.scaffold(20)), (300, frames.scaffold(300))):
            frame = replace(state.frame, members=state.frame.members[-count:] if count < 20 else state.frame.members, joints=())
            times = edit_times(browser, Path(work) / f"frame-{count}", with_photos(frame), options.edits)
            told(f"edit to screen, {count} members, three photos", times)
        first, page, every = first_picture(browser, Path(work) / "photos")
        print(f"build of ten 12-MP photos, opened for the first time: page answers {page:.2f} s, first picture {first:.2f} s, all ten {every:.2f} s")
        browser.close()
        start = time.perf_counter()
        kills, lost = test_journal.kill_run(Path(work) / "kill", options.kill, seed=1)
        print(f"kill -9: {options.kill} edits, {kills} kills at random moments, {lost} acknowledged edits lost ({time.perf_counter() - start:.0f} s)")
    return 0


def told(what: str, seconds) -> None:
    p50, p95 = np.percentile(seconds, [50, 95])
    print(f"{what}: p50 {p50:.0f} ms, p95 {p95:.0f} ms ({len(seconds)} edits)", flush=True)


def with_photos(frame):
    """The frame with its laps and three photos of it, whose cameras see all of it."""
    from recon.frame.joints import find_joints
    from recon.frame.model import Photo

    points = np.vstack([m.hole_centres() for m in frame.members])
    middle, size = (points.min(axis=0) + points.max(axis=0)) / 2, float(np.ptp(points, axis=0).max())
    photos = []
    for k, way in enumerate(np.array([(1.5, -2.0, 0.8), (-2.0, -1.5, 0.5), (0.3, -2.4, 1.2)])):
        eye = middle + way * size
        ahead = (middle - eye) / np.linalg.norm(middle - eye)
        right = np.cross(ahead, [0, 0, 1.0])
        right /= np.linalg.norm(right)
        R = np.array([right, np.cross(ahead, right), ahead])
        photos.append(Photo(f"photo_{k + 1}.jpg", (2000, 1500), camera={"f": 2600.0, "cx": 1000.0, "cy": 750.0, "k1": 0.0, "k2": 0.0,
                                                                      "R": R.tolist(), "t": (-R @ eye).tolist()}))
    return replace(frame, joints=find_joints(frame.members), photos=tuple(photos))


def save_photos(folder: Path, count: int, size) -> None:
    """Photos with as much detail as one from a phone (noise over large shapes), a little different each."""
    from PIL import Image

    folder.mkdir(parents=True, exist_ok=True)
    noise = np.asarray(Image.effect_noise(size, 24), np.int16) - 128
    for k in range(count):
        coarse = Image.fromarray(np.random.default_rng(k).integers(40, 215, (9, 12, 3), dtype=np.uint8)).resize(size, Image.BICUBIC)
        pixels = np.clip(np.asarray(coarse, np.int16) + np.roll(noise, 97 * k, axis=1)[..., None], 0, 255).astype(np.uint8)
        Image.fromarray(pixels).save(folder / f"photo_{k + 1}.jpg", quality=88)


class Serving:
    """A page that answers on a free port of loopback."""

    def __init__(self, folder):
        from webui.serve import open_page

        self.page = open_page(folder, say=lambda text: None)
        threading.Thread(target=self.page.serve, daemon=True).start()

    def close(self):
        self.page.stop()
        self.page.close()


def edit_times(browser, folder: Path, frame, edits: int):
    """Milliseconds from pressing a button to the drawn change."""
    from recon.frame.files import frame_to_text

    save_photos(folder, 3, (2000, 1500))
    (folder / "frame.json").write_text(frame_to_text(frame), encoding="utf-8")
    serving = Serving(folder)
    page = browser.new_page(viewport={"width": 1440, "height": 900})
    try:
        page.goto(serving.page.address)
        page.wait_for_selector("body[data-ready]")
        page.wait_for_timeout(4000)                       # tiles are made meanwhile
        page.click("#tab-members")
        page.click(f"[data-key='{frame.members[-1].id}']")
        times = []
        for k in range(edits):
            hole = "One hole more at hole 1" if k % 2 == 0 else "One hole less at hole 1"
            times.append(page.evaluate(EDIT_TO_SCREEN, hole))
            page.wait_for_timeout(120)
        return times
    finally:
        page.close()
        serving.close()


def first_picture(browser, folder: Path):
    """Seconds from opening a build that was never opened until the first picture is decoded on the page, until the page answers,
    and until all pictures are."""
    save_photos(folder, 10, PHOTO_PX)
    start = time.perf_counter()
    serving = Serving(folder)
    page = browser.new_page(viewport={"width": 1440, "height": 900})
    try:
        page.goto(serving.page.address)
        page.wait_for_selector("body[data-ready]")
        ready = time.perf_counter() - start
        loaded = "async () => [...(await import('/static/views.js')).views.photos.values()].filter(v => v.whole.complete && v.whole.naturalWidth).length"
        first = every = None
        while every is None:
            count = page.evaluate(loaded)
            if count and first is None:
                first = time.perf_counter() - start
            if count == 10:
                every = time.perf_counter() - start
            page.wait_for_timeout(20)
        return first, ready, every
    finally:
        page.close()
        serving.close()


if __name__ == "__main__":
    import sys

    sys.exit(run(sys.argv[1:]))
