"""What the page keeps while a frame is worked on: rows, paintings and boxes; and how it shows a reading."""

import threading

import pytest

from recon.corrections.edits import edit
from recon.corrections.state import State, difference
from tests.corrections.frames import gate
from tests.waiting import patience
from tests.webui.browsing import PAINTED, STORE, sample_build, shot, until, wait_n
from tests.webui.conftest import Shared
from tests.webui.in_page import in_page
from webui.storage import build as build_module
from webui.storage.build import Build

PIXELS = in_page("""changed.clear();
  return [...views.photos.values()].map(v => { v.paint(); return v.canvas.toDataURL(); });""")
ANEW = in_page("backdrop.version++;")
NOTHING_CHOSEN = in_page("choose([]);")
ALL_HERE = in_page(
    """return build.shapes.size === 3
  && [...build.shapes.values()].every(s => s.size === build.members.size);"""
)
# The first member on a line of sight, found by small steps along it.
ON_RAY = in_page(
    """
  const s = views.space, from = s.camera.position.clone();
  const spot = new Vector3(x / s.width * 2 - 1, 1 - y / s.deep * 2, 0.5);
  const way = spot.unproject(s.camera).sub(from).normalize();
  for (let far = 0; far < 4 * s.far; far += 0.02) {
    const p = from.clone().addScaledVector(way, far);
    for (const m of build.members.values()) {
      const axis = m.direction.findIndex(v => Math.abs(v) > 0.9);
      const off = m.first.map((v, i) => p.getComponent(i) - v);
      const along = off.reduce((sum, v, i) => sum + v * m.direction[i], 0);
      const inside = off.every((v, i) => i === axis || Math.abs(v) <= m.width / 2);
      if (along >= -0.5 && along <= m.holes - 0.5 && inside) return m.id;
    }
  }
  return null;""",
    "[x, y]",
)


@pytest.fixture(scope="module")
def shared(opened_once, serve_once, tmp_path_factory):
    serving = serve_once(sample_build(tmp_path_factory.mktemp("live") / "b"))
    return Shared(opened_once, serving, (1440, 900))


@pytest.fixture
def page(shared):
    page, _ = shared.back()
    page.evaluate(NOTHING_CHOSEN)
    until(page, ALL_HERE)
    until(page, PAINTED)
    return page


def test_what_is_kept_painted_is_what_would_be_painted_anew(page):
    n = page.evaluate(STORE, "n")
    page.click("#tab-members")
    page.click("[data-key=A]")
    before = page.evaluate(PIXELS)
    page.click("[aria-label^='One hole more at hole 1']")  # of what is chosen
    wait_n(page, n + 1)
    kept = page.evaluate(PIXELS)
    page.evaluate(ANEW)
    assert kept == page.evaluate(PIXELS)
    assert all(a != b for a, b in zip(kept, before))


def test_a_change_of_what_is_not_chosen_is_painted(page):
    n = page.evaluate(STORE, "n")
    page.click("#tab-members")
    page.click("[data-key=A]")
    page.click("[aria-label^='One hole more at hole 1']")
    wait_n(page, n + 1)
    page.click("[data-key=B]")
    longer = page.evaluate(PIXELS)
    page.click("#undo")
    wait_n(page, n + 2)
    shorter = page.evaluate(PIXELS)
    page.evaluate(ANEW)
    assert shorter == page.evaluate(PIXELS)
    assert all(a != b for a, b in zip(longer, shorter))
    page.click("#redo")
    wait_n(page, n + 3)
    assert page.evaluate(PIXELS) == longer


def test_an_edit_makes_the_rows_of_its_own_members_anew_and_no_others(page):
    n = page.evaluate(STORE, "n")
    page.click("#tab-members")
    page.click("[data-key=A]")
    page.evaluate("document.querySelectorAll('#panel li').forEach(li => { li.mine = true; })")
    laps = page.evaluate(STORE, "joints")
    page.click("[aria-label^='One hole more at hole 1']")
    wait_n(page, n + 1)
    anew = set(
        page.evaluate(
            "[...document.querySelectorAll('#panel li')].filter(li => !li.mine)"
            ".map(li => li.firstChild.dataset.key)"
        )
    )
    holes = {m["id"]: m["holes"] for m in page.evaluate(STORE, "members")}
    assert "A" in anew and len(anew) < len(holes)
    assert anew - {"A"} <= {j[end] for j in (*laps, *page.evaluate(STORE, "joints")) for end in "ab"}
    assert int(page.inner_text("[data-key=A] .count")) == holes["A"]
    assert page.evaluate(
        "[...document.querySelectorAll('#panel li [data-key]')].map(b => b.dataset.key)"
    ) == list(holes)
    page.click("text=Delete")
    wait_n(page, n + 2)
    keys = "[...document.querySelectorAll('#panel li [data-key]')].map(b => b.dataset.key)"
    assert page.evaluate(keys) == [id for id in holes if id != "A"]
    page.click("#undo")
    wait_n(page, n + 3)
    assert set(
        page.evaluate("[...document.querySelectorAll('#panel li [data-key]')].map(b => b.dataset.key)")
    ) == set(holes)


def test_a_click_in_space_chooses_the_first_member_on_the_line_of_sight(page):
    n = page.evaluate(STORE, "n")
    page.click("#tab-members")
    page.click("[data-key=A]")
    page.click(
        "[aria-label^='One hole more at hole 1']"
    )  # boxes that were written over count as they are now
    wait_n(page, n + 1)
    page.evaluate(in_page("layers.bolts = false;"))  # a click on a bolt selects the lap
    page.evaluate(in_page("emit('draw');"))
    box = page.locator(".space canvas >> nth=0").bounding_box()
    hits = set()
    for x in range(3, 18, 2):
        for y in range(4, 17, 2):
            at = [box["width"] * x / 20, box["height"] * y / 20]
            page.mouse.click(box["x"] + at[0], box["y"] + at[1])
            found = page.evaluate(in_page("return chosen.members[0] ?? null;"))
            assert found == page.evaluate(ON_RAY, at), at
            hits.add(found)
    assert len(hits) > 3  # nothing, and three or more members


JOB = {
    "running": True,
    "stage": "starting",
    "share": 0.0,
    "problem": None,
    "left_out": [],
    "found": {},
    "done": [],
    "expected_s": None,
    "cancelled": False,
}


@pytest.fixture
def reading(page):
    """Tells the page of a reading, from now on: reading(**job)."""
    told = {}

    def tell(**job):
        told.update({**JOB, **job})

    def answer(route):
        real = route.fetch()
        route.fulfill(response=real, json={**real.json(), "job": told or {**JOB, "running": False}})

    page.route("**/api/pulse", answer)
    yield tell
    page.unroute_all(behavior="ignoreErrors")  # an answer may be on its way as the test ends


def test_a_reading_tells_its_stage_the_photos_that_are_done_and_the_time(page, reading):
    reading(found={"photo_2.jpg": 2})  # from an earlier reading
    page.wait_for_selector("#job:not([hidden])")
    assert "0 of 3 photos done" in page.inner_text("#job-count")
    reading(
        stage="reading photo_1.jpg",
        share=0.28,
        done=["photo_1.jpg"],
        found={"photo_1.jpg": 1, "photo_2.jpg": 2},
    )
    page.wait_for_selector("#job-photos [data-done=true]")
    assert "1 of 3 photos done" in page.inner_text("#job-count")
    assert page.inner_text("#job-photos [data-done=true]").startswith("✓ photo_1.jpg")
    assert page.inner_text("#job-words") == "Looking for holes and rows in each photo"
    assert page.evaluate("document.getElementById('job-bar').value") == 0.28
    until(page, "async () => /^(?!0:00$)\\d+:\\d\\d$/.test(document.getElementById('job-time').textContent)")
    shot(page, "reading")
    all_found = {"photo_1.jpg": 1, "photo_2.jpg": 3, "photo_3.jpg": 1}
    reading(stage="looking again", share=0.7, done=list(all_found), found=all_found)
    until(page, "async () => document.getElementById('job-words').textContent === 'Looking again'")
    assert "3 of 3" in page.inner_text("#job-count")
    page.reload()  # goes on counting
    page.wait_for_selector("#job:not([hidden])")
    assert "3 of 3" in page.inner_text("#job-count") and "more" not in page.inner_text("#job-time")
    reading(running=False)
    page.wait_for_selector("#job", state="hidden")


def test_something_moves_while_photos_are_read_unless_less_motion_is_wanted(page, reading):
    reading(stage="looking for openings and rows", share=0.1)
    page.wait_for_selector("#job:not([hidden])")
    moving = """(() => { const bar = document.querySelector('.going');
      return getComputedStyle(bar).display !== 'none' && bar.getAnimations().length > 0; })()"""
    assert not page.evaluate(moving)
    page.emulate_media(reduced_motion="no-preference")
    assert page.evaluate(moving)
    page.emulate_media(reduced_motion="reduce")


def test_a_change_waits_for_no_frame_file(tmp_path, monkeypatch):
    build, writing, go_on = Build(tmp_path / "b"), threading.Event(), threading.Event()
    build.change(lambda _: (gate(), "gate"))

    def slowly(path, data):
        writing.set()
        assert go_on.wait(patience())

    monkeypatch.setattr(build_module, "write_bytes_atomic", slowly)
    saving = threading.Thread(target=build.save_frame_file, daemon=True)
    saving.start()
    assert writing.wait(patience())
    changing = threading.Thread(
        target=build.change, args=(lambda s: edit(s, {"op": "name", "name": "Other"}),), daemon=True
    )
    changing.start()
    changing.join(patience())
    assert not changing.is_alive() and build.state.frame.name == "Other" and saving.is_alive()
    go_on.set()
    saving.join()
    build.close()


def test_the_difference_that_a_page_gets_is_that_of_the_two_states(tmp_path):
    build = Build(tmp_path / "b")
    build.change(lambda _: (gate(), "gate"))
    old, new, _ = build.change(lambda s: edit(s, {"op": "end", "member": "A", "end": 0, "by": 1}))
    assert build.delta(old, new) == difference(old, new)
    old, new, _ = build.undo()
    assert build.delta(old, new) == difference(old, new) != {}
    assert build.delta(State(), new) == difference(State(), new)
    build.close()
