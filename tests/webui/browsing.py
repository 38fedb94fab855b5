"""Chromium for the page's tests and measurements, and what a hand does in it."""

import os
import shutil
import subprocess
import sys
import tempfile
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

from recon.frame.boxes import face_normals, openings
from recon.frame.files import frame_from_dict, save_frame
from recon.frame.lattice import canonical
from recon.frame.model import End
from tests import waiting
from tests.corrections.frames import ROOT, SAMPLE, true_frame
from tests.webui import known_reader
from tests.webui.in_page import in_page
from webui.context import context_of
from webui.processes import decode
from webui.storage.build import LEVELS

# The first is Chromium without what shows a window, which takes a third less of the processor for a page (1.2
# and 1.7 s, Chromium 156).
_NAMES = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")
CHROMIUM = next((p for p in map(shutil.which, _NAMES) if p), None)
ARGUMENTS = ["--headless", "--no-sandbox", "--disable-gpu", "--enable-unsafe-swiftshader"]
AXE = (Path(__file__).parent / "vendor" / "axe.min.js").read_text(encoding="utf-8")
SHOTS = os.environ.get("PAGE_SHOTS")  # a folder: pictures of the page are put there, to be looked at


def shot(page, name):
    if SHOTS:
        page.wait_for_timeout(400)
        page.screenshot(path=f"{SHOTS}/{name}.png")


@cache
def _levels(sample):
    """A sample's photos in levels and tiles, made once for all tests of this process."""
    made = tempfile.TemporaryDirectory(prefix="levels-")
    for path in sample.glob("photo_*.jpg"):
        decode.full(path, Path(made.name) / path.name)
    return made  # the folder goes with the process


def sample_build(folder, frame=None, sample=SAMPLE, *, looked_at=True):
    """A build of the sample's photos with the true frame, or another one.

    looked_at : whether it was open before, so that its photos are in levels and tiles.
    """
    folder.mkdir(exist_ok=True)
    for path in sample.glob("photo_*.jpg"):
        shutil.copy(path, folder)
    if looked_at:
        shutil.copytree(_levels(sample).name, folder / LEVELS)
    save_frame(frame or true_frame(sample), folder / "frame.json")
    return folder


def build_of(serving):
    """The build of a page that is served from this process."""
    return context_of(serving.app).build


PLACE = in_page(
    """const v = views.photos.get(photo), b = v.canvas.getBoundingClientRect();
  return [b.left + v.x + x * v.scale, b.top + v.y + y * v.scale];""",
    "[photo, x, y]",
)
STORE = in_page("return what === 'members' ? [...build.members.values()] : build[what];", "what")
# Whether it is known where members lie in a photo, or in every one that is shown.
SHAPES_IN = in_page("return build.shapes.get(photo)?.size > 3;", "photo")
SHAPES_IN_ALL = in_page("return [...build.shapes.values()].every(shapes => shapes.size > 3);")
CHOSEN = in_page("return chosen.members;")


def place(page, photo, xy):
    """Where a place of a photo (px) is on the screen."""
    return page.evaluate(PLACE, [photo, *map(float, xy)])


def until(page, what, arg=None):
    """Waits until an async function in the page says so (a browser's own waiting takes a promise for yes)."""
    waiting.until(lambda: page.evaluate(what, arg), what, lambda s: page.wait_for_timeout(1000 * s))


def until_said(page, words):
    """Waits until a notice has said these words, whether or not it is still shown."""
    page.wait_for_selector(f"#messages p:has-text('{words}')", state="attached")


def wait_n(page, n):
    until(page, in_page("return build.n >= n;", "n"), n)


# The faults of accessibility that matter, after AXE was put in.
FAULTS = """async () => { const {violations} = await axe.run(document, {resultTypes: ['violations']});
  return violations.filter(v => ['serious', 'critical'].includes(v.impact))
    .map(v => `${v.id}: ${v.nodes.map(n => n.target).join(' ')}`); }"""
# Whether an end that is held knows the places that it can be dragged to; a hand takes longer than that.
TRACKED = in_page("return [...views.photos.values()].every(v => v.hand?.kind !== 'end' || v.hand.track);")
# Whether all pictures and their tiles have come and are painted.
PAINTED = in_page("""return [...views.photos.values()].every(v => v.photo.levels !== null && v.whole.complete
    && v.whole.naturalWidth && !v.frameRequest && [...v.tiles.kept.values()].every(t => t.pixels));""")
# Whether doubts and parts are those of the frame as it stands.
DERIVED = in_page("return live.doubts === build.n && live.parts === build.n;")


def drag(page, start, end):
    page.mouse.move(*start)
    page.mouse.down()
    until(page, TRACKED)
    for share in np.linspace(0.2, 1, 5):
        page.mouse.move(*(np.array(start) + share * (np.array(end) - start)))
    page.mouse.up()


def served(folder, *, slow="0", solver="tests.webui.known_reader"):
    """A page in a process of its own, with the known reader or another; (process, address)."""
    program = (
        "import sys\nfrom webui.serve import open_page\n"
        f"page = open_page(sys.argv[1], solver={solver!r})\nprint(page.address, flush=True)\npage.serve()"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", program, str(folder)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "KNOWN_FRAME": str(SAMPLE), known_reader.SLOW: slow},
    )
    return process, process.stdout.readline().strip()


def same(frame, truth) -> bool:
    def bare(f):
        plain = tuple(replace(m, confidence=1.0, seen=0, ends=(End(), End()), stock=None) for m in f.members)
        return [
            (m.first, m.direction, m.holes)
            for m in canonical(replace(f, members=plain, joints=(), photos=())).members
        ]

    return bare(frame) == bare(truth)


def load_frame_from(page):
    """The frame as the server has it."""
    return frame_from_dict(page.evaluate("async () => (await fetch('/api/papers/frame')).json()"))


def face_openings(photo, member):
    """The first and the last opening of a member on the face that is turned most to the camera, px."""
    camera = photo.camera
    towards = (face_normals(member)[2:] * (camera.centre - member.hole_centre(member.holes // 2))).sum(axis=1)
    row = openings(member)[int(towards.argmax())]
    return camera.project(row[[0, -1]])
