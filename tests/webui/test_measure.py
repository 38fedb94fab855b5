"""The size by one length measured on a photo: what a pick means, what the page says of it, and its change."""

import json
from dataclasses import asdict, replace

import numpy as np
import pytest

from recon.corrections.edits import edit
from recon.corrections.measuring import picked, told
from recon.corrections.state import State, difference, patched
from recon.errors import ReconError
from recon.frame.boxes import face_normals
from recon.frame.stock import load_stocks
from recon.frame.tape import Spot
from tests.webui.browsing import (
    AXE,
    FAULTS,
    SAMPLE,
    place,
    sample_build,
    shot,
    true_frame,
    until,
    wait_n,
)
from tests.webui.frames import gate

STOCKS = load_stocks()


def test_a_pick_on_an_opening_in_sight_means_that_opening():
    # Against the truth file: where another program projected every opening, and whether all of its rim was in
    # sight.
    frame, truth = true_frame(), json.loads((SAMPLE / "truth.json").read_text())
    right = count = 0
    for photo in truth["photos"]:
        for hole in photo["holes"]:
            if hole["seen"] < 8:
                continue
            spot = picked(frame, photo["file"], hole["xy"], 3)
            m = frame.members[hole["stick"]]
            right += (
                spot.member == m.id
                and spot.hole == hole["hole"]
                and np.allclose(face_normals(m)[2:][spot.face], hole["normal"])
            )
            count += 1
    assert count > 250 and right == count


def test_a_pick_beside_all_members_is_refused():
    with pytest.raises(ReconError, match="no opening of a member there"):
        picked(true_frame(), "photo_1.jpg", [5, 5], 10)
    with pytest.raises(ReconError, match="camera is not known"):
        picked(gate().frame, "photo_1.jpg", [5, 5], 10)


def points(*spots):
    return [asdict(Spot(*s)) for s in spots]


def measure(state, text, *spots):
    new, words = edit(state, {"op": "scale", "text": text, "points": points(*spots)}, STOCKS)
    assert patched(state, json.loads(json.dumps(difference(state, new)))) == new
    return new, words


def test_the_pitch_is_the_length_by_the_pitches_between_the_centres():
    state, words = measure(gate(), "22 1/2 in", ("C", 0, 0), ("C", 12, 0))
    assert (
        state.frame.pitch_mm == pytest.approx(22.5 * 25.4 / 12, abs=1e-4)
        and state.frame.stock.how == "length"
    )
    assert words == "Pitch 47.6 mm from 571.5 mm over 12 pitches (hole 1 to hole 13 of C, centre to centre)"


def test_a_length_within_what_measuring_explains_leaves_no_doubt_and_one_beyond_does():
    agreeing, _ = measure(gate(), "458 mm", ("C", 0, 0), ("C", 12, 0))  # 457.2 mm by the stock
    assert agreeing.frame.pitch_mm == pytest.approx(458 / 12, abs=1e-4) and agreeing.frame.doubts == ()
    against, _ = measure(agreeing, "480 mm", ("C", 0, 0), ("C", 12, 0))
    assert (
        against.frame.pitch_mm == 40
        and len(against.frame.doubts) == 1
        and "more than measuring explains" in against.frame.doubts[0]
    )
    again, _ = measure(against, "457 mm", ("C", 0, 0), ("C", 12, 0))
    assert again.frame.doubts == ()


def test_a_doubt_about_the_size_goes_with_another_stock_and_with_a_measure():
    unsure = State(
        replace(
            gate().frame,
            doubts=("The size in millimetres is not sure: a pitch of 38.1 mm or 40 mm.", "Something else."),
        ),
        {},
    )
    assert measure(unsure, "457 mm", ("C", 0, 0), ("C", 12, 0))[0].frame.doubts == ("Something else.",)
    other = next(s for s in STOCKS.values() if s.pitch_mm == 25.4)
    against, _ = measure(gate(), f"{12 * 25.4} mm", ("C", 0, 0), ("C", 12, 0))
    assert (
        against.frame.doubts
        and edit(against, {"op": "stock", "members": None, "stock": other.id}, STOCKS)[0].frame.doubts == ()
    )


def test_a_member_that_was_measured_and_is_lengthened_is_asked_about():
    state, words = edit(gate(), {"op": "scale", "text": "C = 495 mm"}, STOCKS)
    assert (
        words == "Pitch 38.1 mm from 495 mm over C with its 13 holes, end to end" and state.frame.doubts == ()
    )
    state, _ = edit(state, {"op": "end", "member": "C", "end": 1, "by": 1}, STOCKS)
    assert "C with 13 holes; it has 14 now" in state.frame.doubts[0]
    assert edit(state, {"op": "end", "member": "C", "end": 1, "by": -1}, STOCKS)[0].frame.doubts == ()


@pytest.mark.parametrize(
    "text, spots, why",
    [
        ("600", [("C", 0, 0), ("C", 12, 0)], "no unit"),
        ("-3 mm", [("C", 0, 0), ("C", 12, 0)], "not a length"),
        ("3/0 in", [("C", 0, 0), ("C", 12, 0)], "divides by 0"),
        ("600 mm", [("C", 0, 0), ("C", 0, 0)], "same opening"),
        ("600 mm", [("C", 0, 0), ("C", 12, 2)], "different faces"),
        ("600 mm", [("C", 0, 0), ("C", 13, 0)], "whole number from 0 to 12"),
        ("600 mm", [("Q", 0, 0), ("C", 1, 0)], "no member 'Q'"),
        ("600 mm", [("C", 0, 0)], "Pick two openings"),
        ("5 mm", [("C", 0, 0), ("C", 12, 0)], "must be 1 to 1000 mm"),
        ("40 m", [("C", 0, 0), ("C", 12, 0)], "must be 1 to 1000 mm"),
    ],
)
def test_nonsense_is_refused_in_a_sentence(text, spots, why):
    with pytest.raises(ReconError, match=why):
        edit(gate(), {"op": "scale", "text": text, "points": points(*spots)}, STOCKS)


def test_the_page_is_told_what_a_measure_comes_to_before_it_is_taken():
    frame = true_frame()
    found = told(frame, {"points": points(("B", 0, 0), ("B", 15, 0)), "text": "571.5 mm"})
    assert found["where"] == "Hole 1 to hole 16 of B: 15 pitches, centre of hole to centre of hole."
    assert found["words"].startswith("Pitch 38.1 mm from 571.5 mm over 15 pitches") and found[
        "how_sure"
    ].startswith("A tape tells it to ±0.25 mm")
    assert set(found["places"]) == {"photo_1.jpg", "photo_2.jpg", "photo_3.jpg"}
    assert "no unit" in told(frame, {"points": points(("B", 0, 0), ("B", 15, 0)), "text": "571.5"})["problem"]
    one = told(frame, {"points": points(("B", 0, 0))})
    assert "where" not in one and one["points"] == [{"member": "B", "hole": 0, "face": 0, "holes": 16}]


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


@pytest.mark.parametrize(
    "size, scheme",
    [((360, 740), "light"), ((360, 740), "dark"), ((1440, 900), "light"), ((1440, 900), "dark")],
)
def test_two_openings_are_picked_and_measured_on_a_photo(opened, serve, tmp_path, size, scheme):
    serving = serve(sample_build(tmp_path / "b"))
    page, build = (
        opened(serving.address, size, scheme, bypass_csp=True),
        serving.server.app.extensions["bench"].build,
    )
    page.click("[data-mode=measure]")
    page.wait_for_selector("text=Pick the first opening")
    for hole in (0, 15):
        page.mouse.click(*place(page, "photo_1.jpg", opening_px("photo_1.jpg", 1, hole)))
        page.wait_for_selector(f"#card >> text=hole {hole + 1} of ")
    page.wait_for_selector("text=Hole 1 to hole 16 of B: 15 pitches, centre of hole to centre of hole.")
    assert page.evaluate("document.activeElement.id") == "measured"
    page.keyboard.type("nonsense")
    page.wait_for_selector("text='nonsense' is not a length")
    assert page.is_disabled("#card >> text=Take it")
    page.fill("#measured", "22 1/2 in")
    page.wait_for_selector("text=Pitch 38.1 mm from 571.5 mm over 15 pitches")
    shot(page, f"measure-{size[0]}-{scheme}")
    page.add_script_tag(content=AXE)
    assert page.evaluate(FAULTS) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    page.keyboard.press("Enter")
    wait_n(page, 2)
    assert build.state.frame.pitch_mm == 38.1 and build.state.said["scale"]["pitches"] == 15
    assert "Pitch 38.1 mm from 571.5 mm" in page.inner_text("#notice")
    assert page.get_attribute("button[data-mode=choose]", "aria-checked") == "true"
    page.click("#undo")
    wait_n(page, 3)
    assert "scale" not in build.state.said and build.state.frame.stock.how == "given"


def test_measuring_goes_by_keys_alone_and_a_disagreement_comes_first_among_the_doubts(
    opened, serve, tmp_path
):
    serving = serve(sample_build(tmp_path / "b"))
    page, build = opened(serving.address), serving.server.app.extensions["bench"].build
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
    wait_n(page, 2)
    assert build.state.frame.pitch_mm == 42
    page.wait_for_selector("[data-kind=size]")
    first = page.inner_text(".doubts li >> nth=0")
    assert "The measured length gives a pitch of 42.00 mm" in first and "38.1 mm" in first
    page.click("text=Measure between two openings")
    page.wait_for_selector("text=Pick the first opening")
    page.keyboard.press("Escape")
    until(
        page,
        "() => document.querySelector('button[data-mode=choose]').getAttribute('aria-checked') === 'true'",
    )
