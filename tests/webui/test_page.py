"""The page in a real browser: from photos to papers, by mouse and keys, in both themes, small and large."""

import json
import shutil
import signal
from pathlib import Path

import numpy as np
import pytest

from recon.corrections.state import State
from recon.frame.files import frame_to_text, load_frame
from recon.frame.model import Photo
from tests.corrections.frames import gate, scaffold
from tests.webui import known_reader
from tests.webui.browsing import (
    AXE,
    CHOSEN,
    DERIVED,
    FAULTS,
    SAMPLE,
    SHAPES_IN,
    SHAPES_IN_ALL,
    STORE,
    build_of,
    drag,
    face_openings,
    load_frame_from,
    place,
    same,
    sample_build,
    served,
    shot,
    until,
    until_said,
    wait_n,
)
from tests.webui.in_page import in_page


def test_the_whole_way_from_photos_to_papers(opened, tmp_path, monkeypatch):
    monkeypatch.setenv("KNOWN_FRAME", str(SAMPLE))
    truth = known_reader.true_frame()
    process, address = served(tmp_path / "build", slow="0.4")
    try:
        page = opened(address)
        shot(page, "empty")
        page.set_input_files("#files", sorted(map(str, SAMPLE.glob("photo_*.jpg"))))
        page.wait_for_selector("figure[data-photo='photo_3.jpg']")

        page.click("#read")  # begun, cancelled, begun again
        page.click("dialog button.main")
        page.wait_for_selector("#job:not([hidden])")
        page.click("#job-cancel")
        page.wait_for_selector("#job", state="hidden")
        assert page.evaluate(STORE, "n") == 0
        page.click("#read")
        page.click("dialog button.main")
        wait_n(page, 1)
        page.wait_for_selector("#job", state="hidden")
        assert not same(load_frame_from(page), truth)

        frame = load_frame_from(page)  # the first correction: an end dragged back by a hole
        photo = next(p for p in frame.photos if p.camera)
        camera, a = photo.camera, frame.member("A")
        page.click(f"#picker button:has-text('{Path(photo.file).stem}')")
        page.click("#tab-members")
        page.click("[data-key=A]")
        until(page, SHAPES_IN, photo.file)
        drag(
            page,
            place(page, photo.file, camera.project(a.hole_centre(np.array([a.holes - 0.5])))[0]),
            place(page, photo.file, camera.project(a.hole_centre(np.array([a.holes - 1.5])))[0]),
        )
        wait_n(page, 2)

        page.click("[data-key=B]")  # the second: a member shifted along itself
        page.click(".more summary")
        page.click("[aria-label='Shift on by a hole']")
        wait_n(page, 3)
        assert page.locator("#card .more[open]").count() == 1  # for the next hole

        last = truth.members[-1]  # the third: a member drawn from opening to opening
        page.click("[data-mode=draw]")
        ends = face_openings(photo, last)
        drag(page, place(page, photo.file, ends[0]), place(page, photo.file, ends[1]))
        page.wait_for_selector("text=New member")
        shot(page, "drawn")
        for _ in range(8):  # one photo fits several depths: until the right one is shown
            shown = page.evaluate(STORE, "proposal")
            if np.allclose(shown["first"], last.first) and shown["holes"] == last.holes:
                break
            page.click("text=Another place")
        page.click("text=Add it")
        wait_n(page, 4)
        assert same(load_frame_from(page), truth)

        page.click("#read")  # solved again: the same mistakes are read, and nothing is undone
        page.click("dialog button.main")
        wait_n(page, 5)
        page.wait_for_selector("#job", state="hidden")
        assert same(load_frame_from(page), truth)
        page.click("#tab-doubts")
        page.wait_for_selector("[data-kind=conflict]")
        shot(page, "conflicts")

        page.keyboard.press("Control+z")
        wait_n(page, 6)
        page.keyboard.press("Control+z")
        wait_n(page, 7)
        assert len(page.evaluate(STORE, "members")) == len(truth.members) - 1
        page.keyboard.press("Control+y")
        wait_n(page, 8)

        page.context.close()
        process.send_signal(signal.SIGKILL)  # restarted: all is there, undo too
        process.wait()
        process.stdout.close()
        process, address = served(tmp_path / "build")
        page = opened(address)
        assert same(load_frame_from(page), truth)
        assert page.evaluate(STORE, "n") == 8 and not page.is_disabled("#redo")
        page.click("#undo")
        wait_n(page, 9)
        page.click("#redo")
        wait_n(page, 10)

        page.click("#away")  # and taken away
        for name, ending in (
            ("Frame file", ".frame.json"),
            ("All papers, A4", ".pdf"),
            ("The whole build", ".zip"),
        ):
            with page.expect_download() as download:
                page.click(f"#panel .item:has(.strong:text-is('{name}'))")
            path = tmp_path / f"taken{ending}"
            download.value.save_as(path)
            assert download.value.suggested_filename.endswith(ending) and path.stat().st_size > 1000
        assert same(load_frame(tmp_path / "taken.frame.json"), truth)
        assert (tmp_path / "taken.pdf").read_bytes().startswith(b"%PDF")
        shot(page, "away")
    finally:
        page.context.close()
        process.kill()
        process.wait()
        process.stdout.close()

    shutil.unpack_archive(tmp_path / "taken.zip", tmp_path / "elsewhere")
    (folder,) = (tmp_path / "elsewhere").iterdir()
    from webui.storage.build import Build

    elsewhere = Build(folder)
    assert same(elsewhere.state.frame, truth) and len(elsewhere.photo_files()) == 3
    elsewhere.close()


def test_choosing_anywhere_chooses_everywhere(shared_sample):
    page, _ = shared_sample.anew()
    frame = load_frame_from(page)
    page.click("#tab-members")
    until(
        page,
        SHAPES_IN_ALL,
    )
    photo = frame.photos[0]
    for id in ("A", "C"):
        m = frame.member(id)
        for k in range(m.holes):  # a hole that no other member is drawn over
            page.mouse.click(*place(page, photo.file, photo.camera.project(m.hole_centre(np.array([k])))[0]))
            if page.get_attribute(f"[data-key={id}]", "aria-pressed") == "true":
                break
        assert page.get_attribute(f"[data-key={id}]", "aria-pressed") == "true"
        assert page.inner_text("#card .tag") == id
    page.click("#tab-laps")
    page.click("#panel .item >> nth=0")
    assert page.inner_text("#card h2") == "Joint"
    pressed = page.evaluate(CHOSEN)
    page.click("#tab-members")
    assert page.locator("#panel [aria-pressed=true]").count() == len(pressed) == 2


def test_everything_goes_by_keyboard(opened, serve, tmp_path):
    from dataclasses import replace

    from recon.frame.model import End

    state = gate()
    doubtful = tuple(
        replace(m, ends=(End("seen"), End("hidden", 2))) if m.id == "A" else m for m in state.frame.members
    )
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / "frame.json").write_text(frame_to_text(replace(state.frame, members=doubtful)))
    serving = serve(tmp_path / "b")
    page, build = opened(serving.address), build_of(serving)
    holes = lambda id: build.state.frame.member(id).holes  # noqa: E731

    shown = "id => document.querySelector('#card .tag')?.textContent === id"
    page.keyboard.press("j")  # the least sure first: B, 80 %
    until(page, shown, "B")
    page.keyboard.press("y")
    wait_n(page, 2)
    assert build.state.frame.member("B").confidence == 1
    until(page, shown, "A")  # and on to A, one of whose ends was out of sight
    page.keyboard.press(".")
    wait_n(page, 3)
    assert holes("A") == 13
    page.keyboard.press("e")
    page.keyboard.press(",")
    wait_n(page, 4)
    assert holes("A") == 12 and build.state.frame.member("A").first[2] == 1
    for _ in range(2):
        page.keyboard.press("Control+z")
    wait_n(page, 6)
    assert holes("A") == 12 and build.state.frame.member("A").first[2] == 0

    page.focus("#undo")  # every control can be reached, and shows that it is
    reached = set()
    for _ in range(40):
        page.keyboard.press("Tab")
        reached.add(page.evaluate("(e => e.id || e.dataset.mode || e.tagName)(document.activeElement)"))
        assert page.evaluate(
            "getComputedStyle(document.activeElement).outlineStyle"
        ) != "none" or page.evaluate("document.activeElement === document.body")
    assert {"read", "away", "units", "theme", "help", "choose", "panel", "tab-doubts"} <= reached
    page.keyboard.press("?")
    page.wait_for_selector("dialog[open]")
    page.uncheck("dialog input[type=checkbox]")
    page.keyboard.press("Escape")
    page.keyboard.press("j")
    page.keyboard.press("Delete")
    page.wait_for_timeout(200)
    assert build.n in (6, 7)  # single keys are off; Delete is not a single character


def test_a_conflict_shows_both_changes_and_lets_the_user_choose(shared_sample):
    from recon.corrections.edits import edit

    page, build = shared_sample.anew()
    n = build.n
    page.click("#tab-members")
    page.click("[data-key=C]")
    was = build.state.frame.member("C").holes
    page.route("**/api/pulse", lambda route: None)  # no answer: this tab has not heard of the other yet
    build.change(lambda s: edit(s, {"op": "end", "member": "A", "end": 1, "by": 2}))
    page.click("[aria-label='One hole more at hole 1']")
    page.wait_for_selector("dialog[open]")
    words = page.inner_text("dialog")
    assert "Changed somewhere else" in words and f"C: {was} holes → {was + 1}" in words and "A: " in words
    assert build.state.frame.member("C").holes == was
    shot(page, "conflict")
    page.click("text=Do mine on top of theirs")
    wait_n(page, n + 2)
    assert build.state.frame.member("C").holes == was + 1
    page.unroute_all(behavior="ignoreErrors")


def test_another_tab_is_followed(shared_sample, opened):
    one, build = shared_sample.anew()
    two, n = opened(shared_sample.address), build.n
    two.click("#tab-members")
    one.click("#tab-members")
    one.click("[data-key=A]")
    one.click("[aria-label^='One hole more at hole 1']")
    wait_n(one, n + 1)
    wait_n(two, n + 1)
    until_said(two, "Changed in another tab")


def test_script_in_names_and_labels_is_text(opened, serve, tmp_path):
    from dataclasses import replace

    evil = "<img src=x>"
    state = gate()
    members = tuple(replace(m, id=evil[:11] if m.id == "A" else m.id) for m in state.frame.members)
    photo = Photo("<img src=x onerror=alert(1)>.jpg", (800, 600), used=False, reason="<i>why</i>")
    frame = replace(
        state.frame,
        members=members,
        joints=(),
        name="<script>document.title='owned'</script>",
        doubts=("<b>bold</b>",),
        photos=(photo,),
    )
    serving = serve(tmp_path / "b")
    build_of(serving).change(lambda _: (State(frame), "<u>words</u>"), kind="reading")
    page = opened(serving.address)
    for tab in ("members", "laps", "parts", "checks", "doubts"):
        page.click(f"#tab-{tab}")
        until(page, "async () => !document.getElementById('panel').innerText.startsWith('Being')")
    assert page.locator("body img, body b, body i, body u, body script").count() == 0
    assert "<script>" in page.title() and "<b>bold</b>" in page.inner_text("#panel")


# Targets smaller than 44 px (WCAG 2.2, 2.5.5); a tick is as large as its label.
SMALL = """[...document.querySelectorAll(
  'button, select, input:not(.tick input), summary, label.tick')].filter(e => {
  const b = e.getBoundingClientRect();
  return b.width && b.height && Math.min(b.width, b.height) < 43.9; }).map(e => e.outerHTML.slice(0, 60))"""


# The screens on which one page is looked at in turn, and where at each: a phone in both themes, and a usual
# and a large screen.
PHONE = {
    ((360, 740), "light"): "member parts away dialog",
    ((360, 740), "dark"): "doubts member parts away dialog",
}
DESK = {
    ((1280, 800), "light"): "doubts member parts checks dialog",
    ((1920, 1080), "dark"): "member parts checks dialog",
}


@pytest.mark.parametrize("screens", [PHONE, DESK], ids=["phone", "desk"])
def test_no_accessibility_fault_and_nothing_sticks_out(opened, serve, tmp_path, screens):
    from dataclasses import replace

    from recon.frame.model import End
    from tests.truth import frame_from_truth

    frame = frame_from_truth(json.loads((SAMPLE / "truth.json").read_text()))
    members = tuple(
        replace(m, confidence=0.6, ends=(End("hidden", 2), End("seen"))) if k == 1 else m
        for k, m in enumerate(frame.members)
    )
    serving = serve(sample_build(tmp_path / "b", replace(frame, members=members)))
    page = opened(serving.address, next(iter(screens))[0], bypass_csp=True)
    page.add_script_tag(content=AXE)

    def look(what):
        for (size, scheme), where in screens.items():
            page.set_viewport_size({"width": size[0], "height": size[1]})
            page.emulate_media(color_scheme=scheme)
            shot(page, f"{size[0]}-{scheme}-{what}")
            if what == "doubts":
                _modes_and_targets_fit(page, size)
            if what in where.split():
                assert page.evaluate(FAULTS) == [], (size, scheme, what)
                assert page.evaluate("document.documentElement.scrollWidth") <= size[0], (size, scheme, what)

    until(page, DERIVED)
    look("doubts")
    page.click("#tab-members")
    page.click("[data-key=B]")
    page.click(".more summary")
    assert "[object" not in page.inner_text("body")
    look("member")
    page.click("#units")
    page.click("#tab-parts")
    page.wait_for_selector("caption")
    assert " in" in page.inner_text("#panel table")
    look("parts")
    page.click("#tab-checks")
    page.wait_for_selector(".caution")
    look("checks")
    page.click("#away")
    look("away")
    page.click("#read")
    page.wait_for_selector("dialog[open]")
    look("dialog")


def _modes_and_targets_fit(page, size):
    assert page.evaluate(
        "(() => { const m = document.getElementById('modes'); return m.scrollWidth <= m.clientWidth; })()"
    )  # none is out of sight
    if size[0] >= 1280:
        tops = page.evaluate(
            "[...document.querySelectorAll('.sightbar > *')]"
            ".map(e => Math.round(e.getBoundingClientRect().top))"
        )
        assert len(set(tops)) == 1  # one row
    assert page.evaluate(SMALL) == []


def test_a_plan_is_drawn_where_the_build_differs(shared_sample, tmp_path):
    from dataclasses import replace

    from tests.truth import frame_from_truth

    frame = frame_from_truth(json.loads((SAMPLE / "truth.json").read_text()))
    plan = replace(
        frame,
        members=tuple(replace(m, holes=m.holes + 3) if m.id == "A" else m for m in frame.members),
        joints=(),
        photos=(),
        name="Plan",
    )
    (tmp_path / "plan.json").write_text(frame_to_text(plan))
    page, _ = shared_sample.anew()
    page.click("#plan")
    page.set_input_files("[aria-label=Plan]", str(tmp_path / "plan.json"))
    page.wait_for_selector("text=Differs from the plan")
    until(page, in_page("return Object.keys(build.planShapes).length;"))
    shot(page, "plan")


def test_a_large_frame_is_worked_on(opened, serve, tmp_path):
    (tmp_path / "b").mkdir()
    state = scaffold(300)
    (tmp_path / "b" / "frame.json").write_text(frame_to_text(state.frame))
    page = opened(serve(tmp_path / "b").address)
    page.click("#tab-members")
    page.click("[data-key=P0]")
    page.click("[aria-label^='One hole more at hole 1']")
    wait_n(page, 2)
    assert len(page.evaluate(STORE, "members")) == 300
    shot(page, "large")
