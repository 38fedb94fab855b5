"""What the page shows of what goes on: while photos are read, when solving is done, where the user and the
photos differ, when the program was ended or started again, when the frame was turned."""

import signal
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from recon.corrections import merge
from recon.corrections.edits import edit
from recon.frame.files import frame_to_text
from tests.corrections.frames import gate
from tests.waiting import patience
from tests.webui.browsing import (
    ROOT,
    SAMPLE,
    SHAPES_IN,
    SHAPES_IN_ALL,
    build_of,
    load_frame_from,
    sample_build,
    shot,
    true_frame,
    until,
    until_said,
    wait_n,
)
from tests.webui.conftest import Shared
from tests.webui.in_page import in_page

FINDS_AND_WAITS = """import time
def read(photos, *, stocks, stock_id, length, progress, found):
    found(photos[0].name, [[300.0, 200.0, 9.0, 9.0, 0.0, 0.0]], [[[300.0, 200.0], [340.0, 200.0]]])
    time.sleep(600)
"""
INKED = in_page(
    """const v = views.photos.get(photo), side = 40;
  const want = [1, 3, 5].map(i => parseInt(OPENING.slice(i, i + 2), 16));
  const at = [x * v.scale + v.x, y * v.scale + v.y].map(p => Math.round(p * v.ratio - side / 2));
  const {data} = v.context.getImageData(...at, side, side);
  const isInk = i => want.every((c, k) => Math.abs(data[i + k] - c) < 24);
  for (let i = 0; i < data.length; i += 4) if (isInk(i)) return true;
  return false;""",
    "[photo, x, y]",
)


def test_openings_are_drawn_as_the_first_reading_finds_them(opened, serve, tmp_path, monkeypatch):
    (tmp_path / "waiting.py").write_text(FINDS_AND_WAITS)
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    folder = sample_build(tmp_path / "b")
    (folder / "frame.json").unlink()
    page = opened(serve(folder, solver="waiting").address)
    page.wait_for_selector("figure[data-photo='photo_1.jpg']")
    at = ["photo_1.jpg", 300, 200]
    page.wait_for_timeout(500)
    assert not page.evaluate(INKED, at)
    page.click("#read")
    page.click("dialog button.main")
    until(page, INKED, at)
    assert "are being read" in page.inner_text("#panel")
    shot(page, "stages")
    page.click("#job-cancel")
    page.wait_for_selector("#job", state="hidden")
    until(page, "() => document.querySelector('#panel').innerText.includes('press “Read photos”')")
    assert page.evaluate(INKED, at)  # what was found stays, to build on by hand


@pytest.fixture(scope="module")
def shared_differing(opened_once, serve_once, tmp_path_factory):
    folder = tmp_path_factory.mktemp("differing")
    (folder / "frame.json").write_text(frame_to_text(gate().frame))
    serving = serve_once(folder)
    build = build_of(serving)
    for ask in (
        {"op": "end", "member": "A", "end": 1, "by": 3},
        {"op": "delete", "members": ["D"]},
        {"op": "add", "first": [-1, 1, 5], "direction": [1, 0, 0], "holes": 13},
    ):
        build.change(lambda state: edit(state, ask))
    build.change(lambda state: (merge.merge_reading(state, gate().frame), "Solved again"), kind="reading")
    return Shared(opened_once, serving)


@pytest.fixture
def differing(shared_differing):
    """A page where the user said 15 holes of A, deleted D, drew another (which is D now), and the photos say
    otherwise of each."""
    return shared_differing.anew()


def test_each_difference_is_answered_where_it_stands(differing):
    page, build = differing
    page.wait_for_selector("[data-kind=conflict]")
    assert page.locator("[data-kind=conflict]").count() == 3
    shot(page, "differences")
    n = build.n
    for words, gone in (("As the photos show: You said 15", 2), ("It is there: ", 1), ("It stays: ", 0)):
        page.click(f"[aria-label^='{words}']")
        n += 1
        wait_n(page, n)
        until(page, f"() => document.querySelectorAll('[data-kind=conflict]').length === {gone}")
    assert {m.id: m.holes for m in build.state.frame.members} == {
        **{m.id: m.holes for m in gate().frame.members},
        "E": 13,
    }
    for _ in range(3):
        page.keyboard.press("Control+z")
        n += 1
        wait_n(page, n)
    until(page, "() => document.querySelectorAll('[data-kind=conflict]').length === 3")


def test_differences_are_answered_by_keys_also_of_a_member_that_is_not_there(differing):
    page, build = differing
    page.wait_for_selector("[data-kind=conflict]")
    n = build.n
    page.keyboard.press("j")
    for _ in range(3):
        page.keyboard.press("y")
        n += 1
        wait_n(page, n)
    until(page, "() => !document.querySelector('[data-kind=conflict]')")
    assert {m.id for m in build.state.frame.members} == {"A", "B", "C", "D"} and build.state.frame.member(
        "A"
    ).holes == 15


def test_when_solving_is_done_the_page_says_what_changed_and_the_queue_begins_anew(
    opened, serve, tmp_path, monkeypatch
):
    monkeypatch.setenv("KNOWN_FRAME", str(SAMPLE))
    truth = true_frame()
    doubtful = replace(truth, members=tuple(replace(m, confidence=0.6) for m in truth.members))
    serving = serve(sample_build(tmp_path / "b", doubtful), solver="tests.webui.known_reader")
    page, build = opened(serving.address), build_of(serving)
    build.change(lambda state: edit(state, {"op": "end", "member": "A", "end": 1, "by": 2}))
    wait_n(page, 2)
    page.wait_for_selector(".doubts li")
    for _ in range(4):
        page.keyboard.press("j")
    page.click("#read")
    assert page.locator("dialog select, dialog input").count() == 0  # what was said of stock and size holds
    page.click("dialog button.main")
    wait_n(page, 3)
    until_said(page, "Solved again: ")
    said = page.inner_text("#messages p:has-text('Solved again: ')")
    assert "differ" in said and "first in To confirm" in said
    page.keyboard.press("j")
    until(
        page, "() => document.querySelector('.doubts [aria-current=true] .kind')?.dataset.kind === 'conflict'"
    )


def test_the_page_says_that_the_program_was_ended_and_takes_up_its_work_when_it_is_there_again(
    browser, tmp_path
):
    folder, context = sample_build(tmp_path / "b"), browser.new_context()
    program = (
        "import sys\nfrom webui.serve import open_page\n"
        "page = open_page(sys.argv[1], port=int(sys.argv[2]))\n"
        "print(page.address, flush=True)\npage.serve()"
    )

    def start(port):
        process = subprocess.Popen(
            [sys.executable, "-c", program, str(folder), port], cwd=ROOT, stdout=subprocess.PIPE, text=True
        )
        return process, process.stdout.readline().strip()

    process, address = start("0")
    try:
        page = context.new_page()
        page.set_default_timeout(1000 * patience())
        page.goto(address)
        page.wait_for_selector("body[data-ready]")
        page.click("#tab-members")
        page.click("[data-key=A]")
        holes = in_page("return build.members.get('A').holes;")
        was = page.evaluate(holes)
        page.keyboard.press(".")
        wait_n(page, 2)
        process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()
        page.keyboard.press(".")
        until_said(page, "Your change was not confirmed")
        with page.expect_navigation():
            process, again_at = start(address.rstrip("/").rpartition(":")[2])
        assert again_at == address
        page.wait_for_selector("body[data-ready]")
        assert page.evaluate(holes) == was + 1  # what was confirmed, and no more
        page.click("#tab-members")
        page.click("[data-key=A]")
        page.keyboard.press(".")
        wait_n(page, 3)
        assert page.evaluate(holes) == was + 2
    finally:
        context.close()
        process.kill()
        process.wait()
        process.stdout.close()


def test_a_turned_frame_stays_in_sight_and_nothing_of_it_stands_out_as_changed(shared_sample):
    page, build = shared_sample.back()
    seen = in_page("""const v = views.space; v.paintNow();
      const onCanvas = m => new Vector3(...boxOf(m).middle).project(v.camera).toArray().slice(0, 2);
      return [...build.members.values()].every(m => onCanvas(m).every(c => Math.abs(c) < 1));""")
    lately = in_page("return changed.size;")
    until(page, seen)
    page.click("#set-up")
    n = build.n
    page.click("text=Tip forwards")
    wait_n(page, n + 1)
    until(page, seen)
    assert page.evaluate(lately) == 0
    page.click("#tab-members")
    page.click("[data-key=A]")
    page.keyboard.press(".")
    wait_n(page, n + 2)
    assert page.evaluate(lately) == 1


def test_nothing_out_of_sight_makes_the_page_scroll(shared_sample):
    page, _ = shared_sample.back()
    page.click("#away")
    page.wait_for_selector("text=The whole build")
    assert page.evaluate("document.documentElement.scrollHeight") <= 800


def test_doubts_of_an_older_frame_are_asked_for_again(opened, serve, tmp_path):
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / "frame.json").write_text(frame_to_text(gate().frame))
    page = opened(serve(tmp_path / "b").address)
    page.wait_for_selector("#panel .list li")
    assert "B, 12 holes" in page.inner_text("#panel")
    page.evaluate(
        in_page("""const real = window.fetch; let first = true;
      window.fetch = async (...request) => { const answer = await real(...request);
        // the answer of the older frame comes after the next edit
        if (first && String(request[0]).endsWith('what=doubts')) {
          first = false;
          await edit({op: 'delete', members: ['B']});
          await new Promise(done => setTimeout(done, 700));
          window.late = true;
        }
        return answer; };""")
    )
    page.evaluate(in_page("return edit({op: 'delete', members: ['A']});"))
    wait_n(page, 3)
    until(page, "() => window.late && !document.querySelector('#panel').innerText.includes('B, ')")


def test_a_doubtful_bolt_is_shown_near_and_not_painted_over(shared_sample):
    page, _ = shared_sample.anew()
    page.click("#picker button:has-text('photo_1')")
    until(page, SHAPES_IN, "photo_1.jpg")
    until(page, in_page("return live.doubts >= 0;"))  # its own doubts, so that they do not come later
    page.evaluate(
        in_page("""const j = build.joints[0], lap = [j.a, j.a_hole, j.b, j.b_hole], members = [j.a, j.b];
      build.doubts = [{kind: 'bolt', members, text: 'Is there a bolt?', sure: 0.95, lap, end: null}];
      emit('derived');""")
    )
    looked = in_page("""const v = views.photos.get('photo_1.jpg'); v.paint();
      const [, x, y] = v.laps().find(([j]) => j === build.joints[0]), side = Math.round(10 * v.ratio);
      const corner = [x, y].map(at => Math.round(at * v.ratio) - side / 2), colours = new Set();
      const {data} = v.context.getImageData(...corner, side, side);
      for (let i = 0; i < data.length; i += 4) colours.add(data.slice(i, i + 3).join());
      const inside = x > 0 && y > 0 && x < v.width && y < v.height;
      return {scale: v.scale, least: v.least, colours: colours.size, inside};""")
    page.click(".doubts .item")
    near = f"""async () => {{ const s = await ({looked})();
      return s.inside && s.scale > 3 * s.least && s.colours > 20; }}"""  # the photo, not one flat mark
    until(page, near)
    shot(page, "bolt")


def test_laps_are_marked_where_their_bolts_come_out_on_the_photo(shared_sample):
    page, _ = shared_sample.back()
    frame = load_frame_from(page)
    until(
        page,
        SHAPES_IN_ALL,
    )
    marked = in_page(
        """const v = views.photos.get(photo); choose([...build.members.keys()]);
      return v.laps().map(([j, x, y]) => [j.a, j.a_hole, j.b, j.b_hole, ...v.toPhoto([x, y])]);""",
        "photo",
    )
    for photo in frame.photos:
        camera, found = photo.camera, page.evaluate(marked, photo.file)
        assert len(found) == len(frame.joints)
        for a, i, b, k, *xy in found:
            j = next(j for j in frame.joints if (j.a, j.a_hole, j.b, j.b_hole) == (a, i, b, k))
            one, two, axis = frame.member(a).hole_centre(i), frame.member(b).hole_centre(k), np.array(j.axis)
            ends = [one - axis * frame.member(a).width / 2, two + axis * frame.member(b).width / 2]
            towards = int(
                axis @ (camera.centre - ends[1]) > 0
            )  # the face of the two that is turned to the camera
            pitch = np.hypot(
                *np.diff(camera.project(np.array([one, one + np.array(frame.member(a).direction)])), axis=0)[
                    0
                ]
            )
            assert np.hypot(*(camera.project(ends[towards][None])[0] - xy)) < max(0.25 * pitch, 3)
