"""The size by one length measured on a photo: what a pick means, what the page says of it, and its change."""

import json
from dataclasses import asdict

import numpy as np
import pytest

from recon.frame.tape import Spot
from tests.corrections.frames import gate
from tests.webui.browsing import (
    AXE,
    FAULTS,
    SAMPLE,
    place,
    sample_build,
    shot,
    until,
    until_said,
    wait_n,
)
from tests.webui.conftest import Shared


def points(*spots):
    return [asdict(Spot(*s)) for s in spots]


def test_a_request_without_sense_is_answered_in_words(asked):
    asked.build.change(lambda _: (gate(), "made"))
    for ask in (
        {},
        {"points": 3},
        {"points": [7]},
        {"points": [{"photo": "x.jpg"}]},
        {"points": [{"photo": "x.jpg", "xy": [1, 2], "within": 10}]},
        {"points": [{"member": "A", "hole": 0, "face": 9}]},
        {"points": points(("A", 0, 0)) * 3},
    ):
        answer = asked.post("/api/measure", json=ask)
        assert answer.status_code == 422 and answer.get_json()["problem"]


# In the browser

CARD = "() => document.querySelector('#card').innerText"


def opening_px(photo, stick, hole):
    truth = json.loads((SAMPLE / "truth.json").read_text())
    found = [
        h["xy"]
        for p in truth["photos"]
        if p["file"] == photo
        for h in p["holes"]
        if (h["stick"], h["hole"], h["seen"]) == (stick, hole, 8) and h["normal"] == [0, 0, 1]
    ]
    return found[0]


@pytest.fixture(scope="module")
def shared(opened_once, serve_once, tmp_path_factory):
    serving = serve_once(sample_build(tmp_path_factory.mktemp("measure") / "b"))
    return Shared(opened_once, serving, bypass_csp=True)


@pytest.mark.parametrize("size", [(360, 740), (1440, 900)])
def test_two_openings_are_picked_and_measured_on_a_photo(shared, size):
    page, build = shared.anew(size)
    n = build.n
    page.click("[data-mode=measure]")
    page.wait_for_selector("text=Pick the first hole")
    for hole in (0, 15):
        page.mouse.click(*place(page, "photo_1.jpg", opening_px("photo_1.jpg", 1, hole)))
        page.wait_for_selector(f"#card >> text=hole {hole + 1} of ")
    page.wait_for_selector("text=Hole 1 to hole 16 of B: 15 pitches, centre of hole to centre of hole.")
    assert page.evaluate("document.activeElement.id") == "measured"
    page.keyboard.type("nonsense")
    page.wait_for_selector("text='nonsense' is not a length")
    assert page.is_disabled("#card >> text=Use")
    page.fill("#measured", "22 1/2 in")
    page.wait_for_selector("text=Pitch 38.1 mm from 571.5 mm over 15 pitches")
    page.add_script_tag(content=AXE)
    for scheme in ("dark", "light"):
        page.emulate_media(color_scheme=scheme)
        shot(page, f"measure-{size[0]}-{scheme}")
        assert page.evaluate(FAULTS) == [], scheme
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    page.keyboard.press("Enter")
    wait_n(page, n + 1)
    assert build.state.frame.pitch_mm == 38.1 and build.state.corrections.measured.pitches == 15
    until_said(page, "Pitch 38.1 mm from 571.5 mm")
    assert page.get_attribute("button[data-mode=choose]", "aria-checked") == "true"
    page.click("#undo")
    wait_n(page, n + 2)
    assert build.state.corrections.measured is None and build.state.frame.stock.how == "given"


def test_measuring_goes_by_keys_alone_and_a_disagreement_comes_first_among_the_doubts(shared):
    page, build = shared.anew((1280, 800))
    n = build.n
    page.keyboard.press("l")
    until(page, "() => document.activeElement.tagName === 'CANVAS'")
    photo = page.evaluate("document.activeElement.closest('figure').dataset.photo")
    for _ in range(7):
        page.keyboard.press("+")
    for number, hole in enumerate(
        (2, 12)
    ):  # each is brought to the cross by arrows; a step is 50 px on the screen
        px = opening_px(photo, 1, hole)
        for _ in range(200):
            box = page.evaluate(
                "(() => { const b = document.activeElement.getBoundingClientRect(); "
                "return [b.left + b.width / 2, b.top + b.height / 2]; })()"
            )
            dx, dy = np.array(place(page, photo, px)) - box
            if abs(dx) <= 26 and abs(dy) <= 26:
                break
            page.keyboard.press(
                ("ArrowRight" if dx > 0 else "ArrowLeft")
                if abs(dx) > 26
                else ("ArrowDown" if dy > 0 else "ArrowUp")
            )
        page.keyboard.press("Enter")
        until(page, "n => document.querySelectorAll('#card .row').length > n", number)
    for row, wanted in enumerate((3, 13)):  # where the neighbour was nearer to the cross: one on or back
        while (at := int(page.inner_text(f"#card .row >> nth={row}").split("hole ")[1].split()[0])) != wanted:
            page.focus(f"#card .row >> nth={row} >> button >> nth={int(at < wanted)}")
            page.keyboard.press("Space")
            until(
                page,
                "([row, at]) => "
                "!document.querySelectorAll('#card .row')[row].innerText.includes(`hole ${at} `)",
                [row, at],
            )
    page.keyboard.press("Shift+Tab")
    page.wait_for_selector("text=Hole 3 to hole 13 of B: 10 pitches")
    page.focus("#measured")
    page.keyboard.type("420")  # a number alone is in the unit that the page shows
    page.wait_for_selector("text=Pitch 42 mm from 420 mm")
    page.keyboard.press("Enter")
    wait_n(page, n + 1)
    assert build.state.frame.pitch_mm == 42
    page.wait_for_selector("[data-kind=size]")
    first = page.inner_text(".doubts li >> nth=0")
    assert "The measured length gives a pitch of 42.00 mm" in first and "38.1 mm" in first
    page.click("text=Measure between two holes")
    page.wait_for_selector("text=Pick the first hole")
    page.keyboard.press("Escape")
    until(
        page,
        "() => document.querySelector('button[data-mode=choose]').getAttribute('aria-checked') === 'true'",
    )
