"""Serious faults of accessibility on every panel and card of the page, at four widths, light and dark.

    python -m tests.webui.accessibility [--widths 360 768 1280 1920] [--schemes light dark] [--shots FOLDER]

axe-core (tests/webui/vendor) looks at the page in Chromium wherever a person can go: each panel, each card,
dialogs, notices, a motion that is shown, copies that are placed, the page for putting the frame together,
the phone's own page and the one that asks for a build.  Faults that it calls serious or critical are listed;
so is what sticks out to the side.  The exit code is 0 where there is none.
"""

from __future__ import annotations

import argparse
import json
import os
import tempfile
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from tests.waiting import patience
from tests.webui.benchmark import Serving
from tests.webui.browsing import ARGUMENTS, AXE, CHROMIUM, DERIVED, FAULTS, sample_build, until
from tests.webui.in_page import in_page

HEIGHTS = {360: 740, 768: 1024, 1280: 800, 1920: 1080}
SCHEMES = ("light", "dark")
READY = "async () => !document.getElementById('panel').innerText.startsWith('Being')"
WIDER = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


def doubtful_build(folder: Path) -> Path:
    """A build with doubts, bolts of every kind, something that moves, and a plan that it differs from."""
    from recon.frame.files import frame_to_text
    from recon.frame.fitting import Fitting
    from recon.frame.model import End
    from tests.corrections.frames import true_frame

    frame = true_frame()
    kinds = ("seen", "said", "assumed", "none")
    members = [
        replace(m, confidence=0.6, ends=(End("hidden", 2), End("seen"))) if k == 1 else m
        for k, m in enumerate(frame.members)
    ]
    joints = [replace(j, bolt=kinds[k % 4]) for k, j in enumerate(frame.joints)]
    castor = Fitting("F1", "castor", free_holes(frame), (0.0, 0.0, -1.0), (60, 60, 80), 3.0, "castor 60", 0.4)
    fitted = replace(frame, members=tuple(members), joints=tuple(joints), fittings=(castor,))
    build = sample_build(folder, fitted)
    planned = tuple(replace(m, holes=m.holes + k % 2) for k, m in enumerate(frame.members))
    plan = replace(frame, members=planned, photos=(), name="Plan")
    (build / "plan.json").write_text(frame_to_text(plan), encoding="utf-8")
    return build


def free_holes(frame) -> tuple[tuple[str, int], ...]:
    """A hole that no bolt takes and that opens below."""
    from recon.frame.fitting_boxes import opens_on
    from recon.workshop.hardware.bolts import find_bolts

    taken = {hole for bolt in find_bolts(frame) for hole in bolt.through}
    holes = ((m.id, k) for m in frame.members if opens_on(m, (0, 0, -1)) for k in range(m.holes))
    return (next(hole for hole in holes if hole not in taken),)


def places(page) -> Iterator[str]:
    """Goes everywhere; the name of each place once it is there."""
    until(page, DERIVED)
    for panel in ("doubts", "members", "laps", "parts", "checks"):
        page.click(f"#tab-{panel}")
        until(page, READY)
        yield f"panel {panel}"
        if panel == "checks":
            page.click("text=Show it move >> nth=0")
            yield "a motion"
            page.click("[aria-label='Show no motion']")
    for button in ("plan", "versions", "set-up", "away"):
        page.click(f"#{button}")
        until(page, READY)
        yield f"panel {button}"
    yield from cards(page)
    yield from fittings(page)
    page.click("#units")
    yield "inches"
    page.click("#read")
    page.wait_for_selector("dialog[open]")
    yield "a dialog"
    page.keyboard.press("Escape")
    page.keyboard.press("?")
    page.wait_for_selector("dialog[open]")
    yield "keys and help"
    page.keyboard.press("Escape")
    page.evaluate(in_page("notice('One of two notices.', 'warn', true); notice('The other one.', '', true);"))
    yield "two notices"


def fittings(page) -> Iterator[str]:
    """The list of fittings, the card of one, and the form in which one is put on."""
    page.click("#tab-members")
    page.click("#list-fittings")
    yield "panel fittings"
    page.click("[data-key=fittingF1]")
    yield "card of a fitting"
    page.click("text=Put on a fitting")
    yield "form of a fitting"
    page.keyboard.press("Escape")
    page.click("#list-members")


def benches(page) -> Iterator[str]:
    """A step that brings members in, one with fittings, and the end, on the page for putting together."""
    page.wait_for_selector("body.assemble[data-ready]")
    page.click("#overview summary")
    yield "all steps"
    page.click("#overview summary")
    yield "a step"
    steps = len(page.query_selector_all("#all li")) - 1
    for place, name in ((steps - 1, "step of a fitting"), (steps, "the end of the steps")):
        page.evaluate(f"location.hash = '#{place + 1}'")
        page.reload()
        page.wait_for_selector("body.assemble[data-ready]")
        page.add_script_tag(content=AXE)
        yield name


def cards(page) -> Iterator[str]:
    """Every card of what is chosen."""
    page.click("#tab-doubts")
    page.click("#panel .item >> nth=0")
    yield "a doubt"
    page.click("#tab-members")
    page.click("#panel [data-key=B]")
    page.click(".more summary")
    yield "card of a member"
    page.click("#panel [data-key=C]", modifiers=["Shift"])
    yield "card of two members"
    page.click("#card >> text=Copy…")
    until(page, in_page("return build.copying?.place || build.copying?.problem;"))
    yield "card of a copy"
    page.click("#card >> text=Cancel")
    page.click("#tab-laps")
    page.click("#panel .item >> nth=0")
    yield "card of a joint"
    page.click("button[data-mode=measure]")
    yield "card of a length"
    page.click("button[data-mode=choose]")
    page.click(".layers summary")
    yield "what is shown"
    page.click(".layers summary")


def look(page, where: str, found: list[str]) -> None:
    """Adds the faults of the page as it stands."""
    found += [f"{where}: {fault}" for fault in page.evaluate(FAULTS)]
    wider = page.evaluate(WIDER)
    if wider > 0:
        found.append(f"{where}: {wider} px stick out to the side")


class Looking:
    """A browser that looks, and what it found."""

    def __init__(self, browser, shots: Path | None) -> None:
        self.browser, self.shots = browser, shots
        self.looked, self.found = 0, list[str]()

    def opened(self, address: str, width: int, scheme: str):
        """A page of this width in this scheme, with axe-core in it."""
        size = {"width": width, "height": HEIGHTS.get(width, 900)}
        context = self.browser.new_context(
            viewport=size, color_scheme=scheme, reduced_motion="reduce", bypass_csp=True
        )
        page = context.new_page()
        page.set_default_timeout(1000 * patience())
        page.goto(address)
        page.wait_for_load_state("load")
        page.add_script_tag(content=AXE)
        return page

    def at(self, page, where: str) -> None:
        """Looks at the page as it stands."""
        self.looked += 1
        look(page, where, self.found)
        if self.shots:
            page.screenshot(path=self.shots / f"{where.replace(' ', '-').replace(',', '')}.png")

    def asked(self, address: str, width: int, scheme: str) -> None:
        """Looks at the page that asks for a build."""
        page = self.opened(address, width, scheme)
        self.at(page, f"{width} {scheme}, which build")
        page.context.close()

    def build(self, address: str, width: int, scheme: str) -> None:
        """Looks everywhere in a build, and at the phone's page."""
        page = self.opened(address, width, scheme)
        page.wait_for_selector("body[data-ready]")
        for place in places(page):
            self.at(page, f"{width} {scheme}, {place}")
        page.context.close()
        bench = self.opened(f"{address}assemble", width, scheme)
        for place in benches(bench):
            self.at(bench, f"{width} {scheme}, {place}")
        bench.context.close()
        phone = self.opened(f"{address}phone", width, scheme)
        phone.wait_for_selector("body[data-ready]")
        self.at(phone, f"{width} {scheme}, the phone's page")
        phone.context.close()


class Asking:
    """The page that asks for a build, on a port of loopback."""

    host, port, keys = "127.0.0.1", 0, None

    def __init__(self, folder: Path) -> None:
        from werkzeug.serving import make_server

        from webui.start import create_start

        self.server = make_server(self.host, 0, lambda *request: self.app(*request), threaded=True)
        self.port = self.server.server_port
        self.app = create_start(self, folder, lambda build: None)
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def next_address(self) -> None:
        """No keys are used."""

    wrong_keys = next_address


def run(args) -> int:
    """Looks everywhere; 0 where nothing was found."""
    from playwright.sync_api import sync_playwright

    parser = argparse.ArgumentParser(prog="python -m tests.webui.accessibility")
    parser.add_argument("--widths", nargs="*", type=int, default=list(HEIGHTS))
    parser.add_argument("--schemes", nargs="*", choices=SCHEMES, default=list(SCHEMES))
    parser.add_argument("--shots", type=Path, help="folder for a picture of every place")
    options = parser.parse_args(args)
    if options.shots:
        options.shots.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as work, sync_playwright() as playwright:
        os.environ["XDG_CONFIG_HOME"] = work  # the builds that were opened last are those of here
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        looking = Looking(browser, options.shots)
        serving = Serving(doubtful_build(Path(work) / "build"))
        asking = Asking(Path(work))
        try:
            for width in options.widths:
                for scheme in options.schemes:
                    before = len(looking.found)
                    looking.build(serving.page.address, width, scheme)
                    looking.asked(f"http://{asking.host}:{asking.port}/", width, scheme)
                    faults = len(looking.found) - before
                    print(f"{width} px, {scheme}: {faults} serious faults", flush=True)
        finally:
            serving.close()
            asking.server.shutdown()
            browser.close()
    print(f"{looking.looked} looks, {len(looking.found)} serious faults")
    for fault in looking.found:
        print(f"  {fault}")
    print(json.dumps({"looks": looking.looked, "serious": len(looking.found)}))
    return 1 if looking.found else 0


if __name__ == "__main__":
    import sys

    if CHROMIUM is None:
        sys.exit("Chromium is missing; on Debian: apt-get install chromium.")
    sys.exit(run(sys.argv[1:]))
