"""A build in one HTML file: it opens from the disk without a network, its 3-D turns, and it holds it all."""

import pytest

from recon.cli import main
from recon.frame.caution import CAUTION
from recon.frame.files import save_frame
from tests.waiting import patience
from tests.webui.browsing import AXE, FAULTS, SAMPLE, shot, true_frame

DRAWN = """() => { const c = document.getElementById('space');
  const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data; let n = 0, sum = 0;
  for (let k = 0; k < d.length; k += 4) if (d[k] < 255) { n++; sum += k * d[k] % 9973; } return [n, sum]; }"""


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    folder = tmp_path_factory.mktemp("page")
    save_frame(true_frame(SAMPLE), folder / "frame.json")
    assert main(["export", str(folder / "frame.json"), "-o", str(folder / "oddment.html")]) == 0
    return folder / "oddment.html"


def test_the_file_asks_no_network_and_its_frame_turns(browser, file):
    context = browser.new_context(viewport={"width": 1280, "height": 800}, offline=True)
    page = context.new_page()
    page.set_default_timeout(1000 * patience())
    asked, faults = [], []
    page.on("request", lambda r: asked.append(r.url))
    page.on("console", lambda m: faults.append(m.text) if m.type == "error" else None)
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.goto(file.as_uri())
    page.wait_for_function(f"() => ({DRAWN})()[0] > 5000")
    before = page.evaluate(DRAWN)
    box = page.locator("#space").bounding_box()
    middle = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(*middle)
    page.mouse.down()
    page.mouse.move(middle[0] + 80, middle[1] + 10, steps=4)
    page.mouse.up()
    page.wait_for_function(f"([n, sum]) => ({DRAWN})()[1] !== sum", arg=before)
    turned = page.evaluate(DRAWN)
    page.locator("#space").press("+")  # larger
    page.wait_for_function(f"([n, sum]) => ({DRAWN})()[0] > n", arg=turned)
    shot(page, "build-page")
    whole = page.evaluate(DRAWN)
    page.locator("#space-step").press("Home")
    assert page.inner_text("#space-words") == "Up to step 1 of 9"
    assert page.evaluate(DRAWN)[0] < whole[0]
    text = page.inner_text("body")
    titles = ("Parts list", "Cut list", "Build steps", "Drawings", "Step 9", CAUTION)
    assert all(title in text for title in titles)
    page.evaluate(AXE)  # the page lets in no script but its own: axe comes by the debugger
    assert page.evaluate(FAULTS) == []
    page.set_viewport_size({"width": 360, "height": 740})
    page.wait_for_function("() => document.getElementById('space').clientWidth < 360")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert faults == [] and [url for url in asked if not url.startswith(("file:", "data:"))] == []
    context.close()
