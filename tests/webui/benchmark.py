"""The page: from an edit to the screen at 12 and 300 members, frames of a drag, a pan and a zoom, the first
picture of ten 12-MP photos, bytes at the first load, a long journal opened again, and edits lost to kill -9.

    python -m tests.webui.benchmark [--edits N] [--frames N] [--kill N] [--entries N] [--journal]

`--journal` measures the long journal alone, without a browser.  Needs a checkout with its tests (the frames
and the kill test are theirs), Chromium and Playwright.

An edit is timed from the press of a button until all of this is on the screen: the answer of the server,
which has the change in its journal and on the disk; the marks in all three photos; the frame in space
(painted to the last pixel: one is read back); the member's row in the list; its card; and two more
animation frames, within which the browser has put the canvases on the screen. "Live" is later: the doubts
and the parts list have been computed again and are on the page.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import tempfile
import threading
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from recon.errors import ReconError
from tests.webui.in_page import in_page

ARGUMENTS = ["--headless", "--no-sandbox", "--disable-gpu", "--enable-unsafe-swiftshader"]
PHOTO_PX = (4000, 3000)  # 12 MP
PAUSES_MS = (80, 900)  # between edits: some come while doubts or parts of the one before are being computed
SEED = 4

# Drawing in space waits until it is done, as it does not by itself: three.js hands it to another process.
WAIT_FOR_SPACE = in_page("""
  const renderer = views.space.renderer, gl = renderer.getContext(), render = renderer.render.bind(renderer);
  const readOne = () => gl.readPixels(0, 0, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, new Uint8Array(4));
  renderer.render = (...what) => { render(...what); readOne(); };""")

# Presses a button of the chosen member's card; resolves to [ms until the change is drawn, ms until what
# follows from it is].
EDIT_TO_SCREEN = in_page(
    """
  const frame = () => new Promise(requestAnimationFrame), n = build.n + 1, start = performance.now();
  const text = selector => document.querySelector(selector).textContent;
  document.querySelector(`[aria-label='${label}']`).click();
  const shown = () => build.n >= n && [...views.photos.values(), views.space].every(view => view.shown >= n)
    && text(`#panel [data-key='${id}'] .count`) === `${build.members.get(id).holes}`
    && text('#card h2').startsWith(`${id} ${build.members.get(id).holes} hole`);
  while (!shown()) { await frame(); await new Promise(done => setTimeout(done)); }
  await frame(); await frame();
  const drawn = performance.now() - start;
  while (live.doubts < n || live.parts < n) await frame();
  return [drawn, performance.now() - start];""",
    "[label, id]",
)

# One move of a hand in every animation frame; resolves to the ms from each frame to the next. `kind`: an end
# dragged along its member, the photo moved, or zoomed in and out; `name`: the photo.
FRAMES = in_page(
    """
  const view = views.photos.get(name), canvas = view.canvas, box = canvas.getBoundingClientRect();
  const frame = () => new Promise(requestAnimationFrame);
  const middle = [box.left + box.width / 2, box.top + box.height / 2];
  const at = ([x, y]) => ({clientX: x, clientY: y, bubbles: true, cancelable: true});
  const send = (type, xy) => canvas.dispatchEvent(new PointerEvent(type, {pointerId: 7, ...at(xy)}));
  let from = middle, way = [0, 0], track = null;
  if (kind === 'drag') {
    const shape = build.shapes.get(name).get(chosen.members[0]);
    const onScreen = ([x, y]) => [box.left + x * view.scale + view.x, box.top + y * view.scale + view.y];
    const ends = shape.ends.map(onScreen);
    from = ends[1]; way = [(ends[0][0] - from[0]) * 0.8, (ends[0][1] - from[1]) * 0.8];
  } else way = [box.width * 0.4, box.height * 0.3];
  if (kind !== 'zoom') send('pointerdown', from);
  for (let wait = 0; kind === 'drag' && !view.hand?.track && wait < 100; wait++) await frame();
  const times = [];
  let last = await frame();
  for (let k = 1; k <= count; k++) {
    const share = (1 - Math.cos(k / 40 * 2 * Math.PI)) / 2;
    const deltaY = Math.floor(k / 25) % 2 ? 100 : -100;
    if (kind === 'zoom') canvas.dispatchEvent(new WheelEvent('wheel', {deltaY, ...at(middle)}));
    else send('pointermove', [from[0] + way[0] * share, from[1] + way[1] * share]);
    const next = await frame();
    times.push(next - last);
    last = next;
  }
  if (kind !== 'zoom') { send('pointermove', from); send('pointercancel', from); }
  return times;""",
    "[kind, name, count]",
)


def run(args) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.webui.benchmark")
    parser.add_argument("--edits", type=int, default=100, help="edits timed at each size")
    parser.add_argument(
        "--frames", type=int, default=200, help="animation frames timed of each drag, pan and zoom"
    )
    parser.add_argument("--kill", type=int, default=1000, help="edits of the kill test")
    parser.add_argument(
        "--entries", type=int, default=1500, help="entries of the journal that is opened again"
    )
    parser.add_argument("--journal", action="store_true", help="measure that journal alone")
    options = parser.parse_args(args)
    if options.journal:
        report_reopened(options.entries)
        return 0
    try:
        from playwright.sync_api import sync_playwright

        from tests.corrections import frames
        from tests.webui import test_journal, test_work
    except ImportError as error:
        raise ReconError(
            f"{error.name} is missing; this measurement runs in a checkout with its tests and Playwright."
        ) from error
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        raise ReconError("Chromium is missing; on Debian: apt-get install chromium.")
    with tempfile.TemporaryDirectory() as work, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=ARGUMENTS)
        for count, state in ((12, frames.scaffold(20)), (300, frames.scaffold(300))):
            frame = replace(
                state.frame,
                members=state.frame.members[-count:] if count < 20 else state.frame.members,
                joints=(),
            )
            drawn, live = edit_times(
                browser, Path(work) / f"frame-{count}", with_photos(frame, (2000, 1500)), options.edits
            )
            report(f"edit to screen, {count} members, three photos", drawn)
            report(f"edit to live doubts and parts, {count} members", live)
        for what, times in frame_times(
            browser, Path(work) / "hand", with_photos(frame, PHOTO_PX), options.frames
        ):
            report(f"from one frame to the next, {count} members, 12-MP photos, {what}", times, "frames")
        first, page, every = first_picture(browser, Path(work) / "photos")
        print(
            f"build of ten 12-MP photos, opened for the first time: page answers {page:.2f} s, "
            f"first picture {first:.2f} s, all ten {every:.2f} s"
        )
        page_bytes, whole_bytes = first_load(browser, Path(work) / "photos")
        print(
            f"bytes at the first load of that build: {page_bytes / 1000:.0f} kB for the page and its "
            f"scripts, {whole_bytes / 1000:.0f} kB with data and photos"
        )
        browser.close()
        report_reopened(options.entries)
        start = time.perf_counter()
        kills, lost, _ = test_journal.kill_run(Path(work) / "kill", options.kill, seed=1)
        print(
            f"kill -9: {options.kill} edits, {kills} kills at random moments, {lost} acknowledged edits lost "
            f"({time.perf_counter() - start:.0f} s)"
        )
        start = time.perf_counter()
        kills, lost = test_work.kill_run(Path(work) / "kill-work", options.kill, seed=1)
        print(
            f"kill -9: {options.kill} ticks, notes, step photos and versions, {kills} kills at random "
            f"moments, {lost} acknowledged ones lost ({time.perf_counter() - start:.0f} s)"
        )
    return 0


def report(what: str, times_ms, of: str = "edits") -> None:
    p50, p95 = np.percentile(times_ms, [50, 95])
    print(
        f"{what}: p50 {p50:.0f} ms, p95 {p95:.0f} ms ({len(times_ms)} {of}; load {os.getloadavg()[0]:.1f})",
        flush=True,
    )


def report_reopened(entries: int) -> None:
    """How long a build with a journal of so many entries takes to open, and the first undo in it."""
    from recon.corrections.edits import edit
    from tests.corrections.frames import scaffold
    from webui.storage.build import Build

    first, chance, longer = scaffold(300), random.Random(SEED), set()
    with tempfile.TemporaryDirectory() as work:
        build = Build(work)
        build.change(lambda _: (first, "Read"), kind="reading")
        for _ in range(entries - 1):
            id = chance.choice(first.frame.members).id
            ask = {"op": "end", "member": id, "end": 1, "by": -1 if id in longer else 1}
            build.change(lambda state, ask=ask: edit(state, ask))
            longer ^= {id}
        state, size = build.state, (Path(work) / "build.journal").stat().st_size
        build.close()
        start, cpu = time.perf_counter(), time.process_time()
        build = Build(work)
        opened = time.perf_counter() - start, time.process_time() - cpu
        assert build.n == entries and build.state == state
        start = time.perf_counter()
        build.undo()
        undone = time.perf_counter() - start
        build.close()
    print(
        f"journal of {entries} entries ({size / 1e6:.1f} MB, {len(first.frame.members)} members) opened "
        f"again: {opened[0]:.2f} s, {opened[1]:.2f} s of processor; the first undo {undone:.2f} s"
    )


def with_photos(frame, size_px):
    """The frame with its laps and three photos of it (size_px: width, height), whose cameras see all of
    it."""
    from recon.frame.joints import find_joints
    from recon.frame.model import Photo
    from recon.geometry.camera import Camera

    points = np.vstack([m.hole_centres() for m in frame.members])
    middle, size = (points.min(axis=0) + points.max(axis=0)) / 2, float(np.ptp(points, axis=0).max())
    photos = []
    for k, way in enumerate(np.array([(1.5, -2.0, 0.8), (-2.0, -1.5, 0.5), (0.3, -2.4, 1.2)])):
        eye = middle + way * size
        ahead = (middle - eye) / np.linalg.norm(middle - eye)
        right = np.cross(ahead, [0, 0, 1.0])
        right /= np.linalg.norm(right)
        R = np.array([right, np.cross(ahead, right), ahead])
        photos.append(
            Photo(
                f"photo_{k + 1}.jpg",
                size_px,
                camera=Camera(1.3 * size_px[0], size_px[0] / 2, size_px[1] / 2, R=R, t=-R @ eye),
            )
        )
    return replace(frame, joints=find_joints(frame.members), photos=tuple(photos))


def save_photos(folder: Path, count: int, size) -> None:
    """Photos with as much detail as one from a phone (noise over large shapes), a little different each."""
    from PIL import Image

    folder.mkdir(parents=True, exist_ok=True)
    noise = np.asarray(Image.effect_noise(size, 24), np.int16) - 128
    for k in range(count):
        coarse = Image.fromarray(
            np.random.default_rng(k).integers(40, 215, (9, 12, 3), dtype=np.uint8)
        ).resize(size, Image.BICUBIC)
        pixels = np.clip(
            np.asarray(coarse, np.int16) + np.roll(noise, 97 * k, axis=1)[..., None], 0, 255
        ).astype(np.uint8)
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


class Opened:
    """A build of three photos and a frame, on a page in a browser, with its members listed."""

    def __init__(self, browser, folder: Path, frame):
        from recon.frame.files import frame_to_text

        save_photos(folder, 3, frame.photos[0].size)
        (folder / "frame.json").write_text(frame_to_text(frame), encoding="utf-8")
        self.serving = Serving(folder)
        self.page = browser.new_page(viewport={"width": 1440, "height": 900})
        self.page.goto(self.serving.page.address)
        self.page.wait_for_selector("body[data-ready]")
        self.page.wait_for_timeout(4000)  # levels and tiles are made meanwhile
        self.page.click("#tab-members")

    def __enter__(self):
        return self.page

    def __exit__(self, *_):
        self.page.close()
        self.serving.close()


def edit_times(browser, folder: Path, frame, edits: int):
    """Milliseconds from pressing a button to the drawn change, and to what follows from it; members and
    ends at random."""
    chance = random.Random(SEED)
    with Opened(browser, folder, frame) as page:
        page.evaluate(WAIT_FOR_SPACE)
        drawn, live, longer = [], [], set()
        for k in range(edits):
            if k % 4 == 0:
                id = chance.choice(frame.members).id
                page.click(f"[data-key='{id}']")
                page.wait_for_timeout(300)
            what = "less" if id in longer else "more"
            longer ^= {id}
            times = page.evaluate(EDIT_TO_SCREEN, [f"One hole {what} at hole 1", id])
            drawn.append(times[0])
            live.append(times[1])
            page.wait_for_timeout(chance.uniform(*PAUSES_MS))
        return drawn, live


def frame_times(browser, folder: Path, frame, count: int):
    """[(what the hand does, milliseconds from each animation frame to the next)]."""
    with Opened(browser, folder, frame) as page:
        page.click(f"[data-key='{frame.members[0].id}']")
        found = [
            ("end dragged, all photos side by side", page.evaluate(FRAMES, ["drag", "photo_1.jpg", count]))
        ]
        page.click("#picker button:has-text('photo_1')")
        page.wait_for_timeout(500)
        found.append(("end dragged, one photo", page.evaluate(FRAMES, ["drag", "photo_1.jpg", count])))
        page.evaluate(in_page("views.photos.get('photo_1.jpg').zoom(5);"))
        page.wait_for_timeout(1500)
        found.append(("photo moved", page.evaluate(FRAMES, ["pan", "photo_1.jpg", count])))
        found.append(("photo zoomed", page.evaluate(FRAMES, ["zoom", "photo_1.jpg", count])))
        return found


def first_picture(browser, folder: Path):
    """Seconds from opening a build that was never opened until the first picture is decoded on the page,
    until the page answers, and until all pictures are."""
    save_photos(folder, 10, PHOTO_PX)
    start = time.perf_counter()
    serving = Serving(folder)
    page = browser.new_page(viewport={"width": 1440, "height": 900})
    try:
        page.goto(serving.page.address)
        page.wait_for_selector("body[data-ready]")
        ready = time.perf_counter() - start
        loaded = in_page("""return [...views.photos.values()]
            .filter(v => v.whole.complete && v.whole.naturalWidth).length;""")
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


def first_load(browser, folder: Path):
    """Bytes that come over the network when a browser without a cache opens a build: the page with its
    scripts and style sheets, and all of it until every picture is there.  Bodies and headers, as they
    travel."""
    serving = Serving(folder)
    context = browser.new_context(viewport={"width": 1440, "height": 900})
    page = context.new_page()
    session = context.new_cdp_session(page)
    session.send("Network.enable")
    sizes: dict[str, int] = {}
    paths: dict[str, str] = {}
    session.on("Network.responseReceived", lambda e: paths.update({e["requestId"]: e["response"]["url"]}))
    session.on(
        "Network.loadingFinished", lambda e: sizes.update({e["requestId"]: int(e["encodedDataLength"])})
    )
    try:
        page.goto(serving.page.address)
        page.wait_for_selector("body[data-ready]")
        page.wait_for_function("() => document.getElementById('tiles').children.length > 0")
        page.wait_for_load_state("networkidle")
        of_page = sum(n for id, n in sizes.items() if "/api/" not in paths.get(id, ""))
        return of_page, sum(sizes.values())
    finally:
        context.close()
        serving.close()


if __name__ == "__main__":
    import sys

    sys.exit(run(sys.argv[1:]))
