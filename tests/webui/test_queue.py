"""The queue of doubts: gone through by keys or clicks, each answered where it stands, none passed over."""

from dataclasses import replace

import numpy as np
import pytest

from recon.frame.files import frame_to_text
from recon.frame.model import End, EndChoice
from tests.corrections.frames import gate
from tests.webui.browsing import (
    ROOT,
    SAMPLE,
    SHAPES_IN_ALL,
    build_of,
    drag,
    face_openings,
    load_frame_from,
    place,
    same,
    sample_build,
    shot,
    true_frame,
    until,
    wait_n,
)
from tests.webui.conftest import Shared
from tests.webui.correcting import correct
from tests.webui.in_page import in_page
from tests.webui.wrong import wrong_frame

PRESENT = "() => document.querySelector('.doubts [aria-current=true]')?.innerText || ''"


@pytest.fixture(scope="module")
def shared_queue(opened_once, serve_once, tmp_path_factory):
    state = gate()
    sure = {"A": 0.6, "B": 0.7, "C": 0.8, "D": 1.0}
    members = tuple(
        replace(
            m, confidence=sure[m.id], ends=(End("seen"), End("hidden", 3) if m.id == "D" else End("seen"))
        )
        for m in state.frame.members
    )
    folder = tmp_path_factory.mktemp("queue")
    (folder / "frame.json").write_text(frame_to_text(replace(state.frame, members=members)))
    return Shared(opened_once, serve_once(folder))


@pytest.fixture
def queue(shared_queue):
    """A page with four doubts: A 60 % sure, B 70, C 80, and D with an end out of sight."""
    return shared_queue.anew()


def at(page, words):
    until(page, f"() => ({PRESENT})().includes({words!r})")


def test_what_was_answered_leads_on_to_the_next(queue):
    page, build = queue
    n = build.n
    page.keyboard.press("j")
    at(page, "A, 12 holes")
    for key, following in (("y", "B, 12 holes"), ("Delete", "C, 13 holes"), ("y", "D: its end at hole 13")):
        page.keyboard.press(key)
        at(page, following)
    page.keyboard.press("y")
    page.wait_for_selector("text=Nothing is left to confirm. >> visible=true")
    assert {m.id for m in build.state.frame.members} == {"A", "C", "D"} and build.n == n + 4


def test_a_doubt_that_a_correction_settles_is_followed_by_the_next_and_none_is_passed_over(queue):
    page, build = queue
    n = build.n
    for key in "jjjj":
        page.keyboard.press(key)
    at(page, "D: its end at hole 13")
    page.keyboard.press(".")  # its end is said: that doubt is gone
    wait_n(page, n + 1)
    page.keyboard.press("k")
    at(page, "C, 13 holes")
    page.keyboard.press("k")
    at(page, "B, 12 holes")
    page.keyboard.press(",")  # how sure it was held for 12 holes: with an end said it is no doubt any more
    wait_n(page, n + 2)
    until(page, in_page("await settled(); return !build.doubts.some(d => d.text.startsWith('B, 1'));"))
    page.keyboard.press(">")  # shifted as it is: told in full, so it is no doubt any more
    wait_n(page, n + 3)
    assert build.state.frame.member("B").first == (10.0, 0.0, 1.0)
    page.keyboard.press("j")
    at(page, "C, 13 holes")


def test_the_queue_is_answered_by_clicks_alone(queue):
    page, build = queue
    n = build.n
    page.click(".doubts .item >> nth=0")
    at(page, "A, 12 holes")
    page.click(".doubts li:nth-child(1) >> text=Correct")
    at(page, "B, 12 holes")
    page.click(".doubts li:nth-child(1) >> text=Not there")
    at(page, "C, 13 holes")
    page.click(".doubts li:has-text('D: its end') >> text='+2'")  # the end is two holes farther than was seen
    wait_n(page, n + 3)
    assert build.state.frame.member("D").holes == 15 and {m.id for m in build.state.frame.members} == {
        "A",
        "C",
        "D",
    }
    shot(page, "queue")


@pytest.fixture(scope="module")
def shared_asking(opened_once, serve_once, tmp_path_factory):
    frame = gate().frame
    end = End("hidden", 2, (EndChoice(13, 0.6), EndChoice(15, 0.35, "B")))
    members = tuple(replace(m, ends=(m.ends[0], end)) if m.id == "D" else m for m in frame.members)
    joints = (replace(frame.joints[0], bolt="assumed"), *frame.joints[1:])
    folder = tmp_path_factory.mktemp("asking")
    (folder / "frame.json").write_text(frame_to_text(replace(frame, members=members, joints=joints)))
    return Shared(opened_once, serve_once(folder))


@pytest.fixture
def asking(shared_asking):
    """A page that asks after a bolt in no photo, and after the end of D, which may reach B."""
    return shared_asking.back()


def test_a_yes_to_a_bolt_that_nobody_saw_is_kept_as_a_persons_word(asking):
    page, build = asking
    n = build.n
    page.click("text=Is there a bolt")
    page.click(".doubts >> text=Bolt there")
    wait_n(page, n + 1)
    joint = build.state.frame.joints[0]
    assert (joint.bolt, joint.bolt_by) == ("said", "person")
    assert all(j.bolt == "seen" and not j.bolt_by for j in build.state.frame.joints[1:])


def test_the_end_of_a_member_is_chosen_among_its_alternatives(asking):
    page, build = asking
    n = build.n
    page.click(".doubts .item >> text=D: its end at hole 13")
    page.click(".doubts >> text='15, at B'")
    wait_n(page, n + 1)
    d = build.state.frame.member("D")
    assert d.holes == 15 and d.ends[1] == End("seen", 0)


def test_enter_takes_the_member_that_was_just_drawn_even_beside_the_end_of_a_chosen_one(
    opened, serve, tmp_path
):
    whole = wrong_frame(SAMPLE, 0).truth
    build = sample_build(tmp_path / "b", replace(whole, members=whole.members[:-1], joints=()))
    page = opened(serve(build).address)
    until(
        page,
        SHAPES_IN_ALL,
    )
    frame, last = load_frame_from(page), whole.members[-1]
    photo = frame.photos[0]
    ends = face_openings(photo, last)
    page.click("#tab-members")
    page.click("[data-key=A]")
    page.keyboard.press("d")
    start = await_handle(page, photo.file)
    drag(page, place(page, photo.file, ends[0]), place(page, photo.file, ends[1]))
    page.wait_for_selector("text=New member")
    page.keyboard.press("Enter")
    wait_n(page, 2)
    page.keyboard.press("Escape")
    page.click("[data-key=A]")
    page.keyboard.press("d")
    with page.expect_response("**/api/stroke"):
        drag(page, start, np.array(start) + (60, 40))  # in the drawing mode an end is not dragged
    assert load_frame_from(page).member("A").holes == whole.member("A").holes


KEEP_AND_GO_ELSEWHERE = in_page("""
  const n = build.n + 1, frame = () => new Promise(requestAnimationFrame);
  const every = what => [...document.querySelectorAll(what)];
  const labelled = (what, text) => every(what).find(e => e.textContent.includes(text));
  labelled(".doubts button", "Keep it").click();
  while (build.n < n) await frame();
  labelled(".doubts .item", "held at one end").click();
  await settled();
  await frame();""")


def test_notes_are_put_aside_until_no_doubt_is_left_and_come_back_by_undo(opened, serve, tmp_path):
    notes = ("The size in millimetres is not sure: 38.1 mm or 40 mm.", "Photo photo_2.jpg adds little.")
    serving = serve(sample_build(tmp_path / "b", replace(true_frame(), doubts=notes)))
    build = build_of(serving)
    page = opened(serving.address)
    page.wait_for_selector("text=adds little")
    page.click(".doubts .item:has-text('adds little')")
    page.keyboard.press("y")  # by its key
    wait_n(page, 2)
    # And by its button.  Whoever goes to another one before all is computed anew stays there.
    page.evaluate(KEEP_AND_GO_ELSEWHERE)
    wait_n(page, 3)
    assert page.get_attribute(".doubts .item:has-text('held at one end') >> nth=0", "aria-current") == "true"
    # Ends that the frame's structure makes unlikely, all as they are by one change.
    page.click(".doubts summary")
    # Doubts that are computed meanwhile draw the list anew: what was opened stays open.
    page.evaluate(
        in_page(
            "const old = document.querySelector('.bulk'); build.doubts = [...build.doubts];"
            " emit('derived'); while (old.isConnected) await new Promise(requestAnimationFrame);"
        )
    )
    assert page.locator(".doubts .bulk[open]").count() == 1
    page.select_option(".doubts .bulk select", label="All of this kind (5)")
    page.click("text=All right as they are")
    wait_n(page, 4)
    page.wait_for_selector("#panel >> text=Nothing is left to confirm")
    assert (
        sorted(build.state.corrections.notes_seen) == sorted(notes) and build.state.frame.doubts == notes
    )  # papers still tell them
    for n in (5, 6, 7):
        page.click("#undo")
        wait_n(page, n)
    page.wait_for_selector("#panel button:has-text('Seen')")


def await_handle(page, photo):
    """Where the handle of the chosen member's last end is on the screen."""
    return page.evaluate(
        in_page(
            """const v = views.photos.get(photo), b = v.canvas.getBoundingClientRect();
      const [x, y] = build.shapes.get(photo).get(chosen.members[0]).ends[1];
      return [b.left + v.x + x * v.scale, b.top + v.y + y * v.scale];""",
            "photo",
        ),
        photo,
    )


@pytest.mark.parametrize("hand, seed", [("keys", 0), ("mouse", 1)])
def test_three_wrong_members_are_put_right_by_the_queue(browser, forking, hand, seed):
    counted, told, exact = correct(browser, ROOT / "sample_images" / "oddment", seed, hand)
    assert len(told) == 3 and exact
    assert (counted.clicks if hand == "keys" else counted.keys) == 0
    assert counted.clicks + counted.keys <= 20


@pytest.mark.parametrize("seed", range(6))
def test_a_wrong_frame_is_wrong_in_three_members(seed):
    wrong = wrong_frame(SAMPLE, seed)
    right = {(m.first, m.direction, m.holes) for m in wrong.truth.members}
    there = {(m.first, m.direction, m.holes) for m in wrong.frame.members}
    assert not same(wrong.frame, wrong.truth)
    assert len(there - right) == (3 if seed % 2 else 2) and len(right - there) == 2
