"""Makes the README's pictures again: an overlay, the frame in space, the page, a sheet of the papers.

    python -m tests.pictures FOLDER [--sample sample_images/trestle]

The photos of the sample are read as `recon read` reads them, and the page is opened on that reading. Needs a
checkout with its tests, Chromium, and what the `test` and `dev` extras install.
"""

from __future__ import annotations

import argparse
import io
import shutil
import sys
import tempfile
import threading
from pathlib import Path

from PIL import Image

from recon import cli
from recon.errors import ReconError
from recon.files import write_bytes_atomic
from tests.webui.browsing import ARGUMENTS, CHROMIUM
from webui.serve import open_page

ROOT = Path(__file__).resolve().parents[1]
STOCK = "softwood-38"  # of the sample; without it the reading would ask for a measured length
NAMES = ("overlay.jpg", "frame.png", "page.png", "papers.png")
SIDE_PX = 1280  # of the longest side; a README is shown about 900 px wide
OVERLAY_SIDE_PX = 1100
SETTLE_MS = 8000  # photos in all their sizes, doubts and parts come after the page
SHEET_DPI = 96  # of the page of the papers
SHEET_WORDS = "Front view"  # what the page of the papers that is shown has in its text
COLOURS = 128  # of pictures without photos in them
TOGETHER = 1_500_000  # bytes, at most


def main(argv: list[str]) -> int:
    """Write the pictures into a folder; returns the exit code."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.pictures", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("--sample", type=Path, default=ROOT / "sample_images" / "trestle")
    options = parser.parse_args(argv)
    options.folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as name:
        pictures = make_pictures(options.sample, Path(name))
    for name, data in pictures.items():
        write_bytes_atomic(options.folder / name, data)
        print(f"{options.folder / name}: {len(data) / 1000:.0f} kB")
    total = sum(map(len, pictures.values()))
    print(f"together {total / 1000:.0f} kB")
    return 0 if total <= TOGETHER else 1


def make_pictures(sample: Path, work: Path) -> dict[str, bytes]:
    """All pictures by name; `work` is an empty folder for what they are made from."""
    run("read", sample, "-o", work / "read", "--stock", STOCK)
    run("papers", work / "read" / "frame.json", "-o", work / "papers")
    build = work / "build"
    build.mkdir()
    for path in sorted(sample.glob("photo_*.jpg")):
        shutil.copy(path, build)
    shutil.copy(work / "read" / "frame.json", build)
    made = (
        _overlay(sorted((work / "read" / "overlays").glob("*.jpg"))[0]),
        _few_colours(Image.open(work / "read" / "frame.png")),
        screenshot(build),
        _few_colours(sheet(work / "papers" / "papers.pdf", SHEET_WORDS)),
    )
    return dict(zip(NAMES, made))


def run(*args: object) -> None:
    """Run a command of recon; raises ReconError where it did not do all of it."""
    if code := cli.main(list(map(str, args))):
        raise ReconError(f"recon {' '.join(map(str, args))} ended with {code}.")


def screenshot(build: Path, scheme: str = "light", size: tuple[int, int] = (1280, 800)) -> bytes:
    """The page with a build open, in Chromium: the PNG file."""
    from playwright.sync_api import sync_playwright

    if CHROMIUM is None:
        raise ReconError("There is no Chromium on this machine (Debian: apt-get install chromium).")
    page = open_page(build, say=lambda text: None)
    thread = threading.Thread(target=page.serve, daemon=True)
    thread.start()
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
            tab = browser.new_page(viewport={"width": size[0], "height": size[1]}, color_scheme=scheme)
            tab.goto(page.address)
            tab.wait_for_selector("body[data-ready]")
            tab.get_by_role("tab", name="Members").click()
            tab.wait_for_timeout(SETTLE_MS)
            picture = tab.screenshot()
            browser.close()
    finally:
        page.stop()
        page.close()
    return _few_colours(Image.open(io.BytesIO(picture)), 256)


def sheet(pdf: Path, words: str) -> Image.Image:
    """The first page of a PDF file that has these words in it, as a picture."""
    import pypdfium2

    with pypdfium2.PdfDocument(pdf) as document:
        for page in document:
            if words in page.get_textpage().get_text_bounded():
                return page.render(scale=SHEET_DPI / 72).to_pil()
    raise ReconError(f"{pdf}: no page has the words '{words}'.")


def _overlay(path: Path) -> bytes:
    """A JPEG file of at most OVERLAY_SIDE_PX."""
    with Image.open(path) as image:
        image.thumbnail((OVERLAY_SIDE_PX, OVERLAY_SIDE_PX), Image.Resampling.LANCZOS)
        out = io.BytesIO()
        image.save(out, "JPEG", quality=82, optimize=True, progressive=True)
    return out.getvalue()


def _few_colours(image: Image.Image, colours: int = COLOURS) -> bytes:
    """A PNG file with a palette, of at most SIDE_PX."""
    image = image.convert("RGB")
    image.thumbnail((SIDE_PX, SIDE_PX), Image.Resampling.LANCZOS)
    out = io.BytesIO()
    image.quantize(colours, Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE).save(
        out, "PNG", optimize=True
    )
    return out.getvalue()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
