"""The photos under fingers, on a phone of 360 px: real touch events in Chromium."""

import numpy as np
import pytest

from tests.webui.browsing import (
    CHOSEN,
    SHAPES_IN,
    TRACKED,
    face_openings,
    load_frame_from,
    place,
    sample_build,
    shot,
    true_frame,
    until,
    wait_n,
)
from tests.webui.conftest import Shared
from tests.webui.in_page import in_page

PHOTO = "photo_1.jpg"
VIEW = in_page("const {scale, x, y, least} = views.photos.get(photo); return {scale, x, y, least};", "photo")

AS_AT_FIRST = in_page("choose([]); scrollTo(0, 0); views.photos.get(photo).fit();", "photo")

# Keeps where the fingers are that the page was told of; moves come to it with its next picture.
LISTEN = """() => {
  const known = new Map(), keep = e => known.set(e.pointerId, [e.clientX, e.clientY]);
  const drop = e => known.delete(e.pointerId);
  for (const type of ['pointerdown', 'pointermove']) window.addEventListener(type, keep, true);
  for (const type of ['pointerup', 'pointercancel']) window.addEventListener(type, drop, true);
  window.fingers = known;
}"""
CAME = """async wanted => window.fingers.size === wanted.length
  && wanted.every(([x, y]) => [...window.fingers.values()]
    .some(([p, q]) => Math.abs(p - x) < 1.5 && Math.abs(q - y) < 1.5))"""


class Fingers:
    """Touch points, moved as a hand moves them: in small steps, all that are down at once.  What is done has
    come to the page."""

    def __init__(self, page):
        self.page, self.cdp, self.down = page, page.context.new_cdp_session(page), {}
        page.evaluate(LISTEN)

    def _came(self):
        until(self.page, CAME, [list(map(float, at)) for at in self.down.values()])

    def _send(self, kind, ids=None):
        points = [
            {"id": int(id), "x": float(x), "y": float(y), "radiusX": 8, "radiusY": 8, "force": 1}
            for id, (x, y) in self.down.items()
            if ids is None or id in ids
        ]
        self.cdp.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    def put(self, id, at):
        self.down[id] = np.array(at, float)
        self._send("touchStart", (id,))
        self._came()

    def move(self, steps=8, **to):
        start = {id: self.down[id] for id in to}
        for share in np.linspace(1 / steps, 1, steps):
            for id, end in to.items():
                self.down[id] = start[id] + share * (np.array(end, float) - start[id])
            self._send("touchMove")
            self.page.wait_for_timeout(16)
        self._came()

    def lift(self, *ids):
        self._send("touchEnd", ids)  # names the points that are lifted
        for id in ids:
            del self.down[id]
        self._came()

    def tap(self, at):
        self.put("1", at)
        self.page.wait_for_timeout(40)
        self.lift("1")


@pytest.fixture(scope="module")
def shared(opened_once, serve_once, tmp_path_factory):
    serving = serve_once(sample_build(tmp_path_factory.mktemp("touch") / "b"))
    device = {"has_touch": True, "is_mobile": True, "device_scale_factor": 2}
    return Shared(opened_once, serving, (360, 740), **device)


def in_hand(page, build):
    """(page, fingers, build) of the sample's build on a phone, its first photo in view."""
    page.evaluate(AS_AT_FIRST, PHOTO)
    until(page, SHAPES_IN, PHOTO)
    return page, Fingers(page), build


@pytest.fixture
def phone(shared):
    return in_hand(*shared.back())


@pytest.fixture
def fresh_phone(shared):
    """As `phone`, where another tool or view may have been left open."""
    return in_hand(*shared.anew())


def box(page):
    return page.evaluate(
        "(() => { const b = document.querySelector('.tile.large canvas').getBoundingClientRect(); "
        "return [b.left, b.top, b.width, b.height]; })()"
    )


def on_photo(page, screen):
    view, (left, top, *_) = page.evaluate(VIEW, PHOTO), box(page)
    return (np.array(screen) - (left, top) - (view["x"], view["y"])) / view["scale"]


def test_two_fingers_zoom_about_what_is_between_them_and_keep_it_there(phone):
    page, fingers, _ = phone
    left, top, w, h = box(page)
    middle = np.array([left + 0.6 * w, top + 0.4 * h])
    before, under = page.evaluate(VIEW, PHOTO), on_photo(page, middle)
    fingers.put("1", middle - (30, 20))
    fingers.put("2", middle + (30, 20))
    fingers.move(**{"1": middle - (90, 60), "2": middle + (90, 60)})
    after = page.evaluate(VIEW, PHOTO)
    assert after["scale"] / before["scale"] == pytest.approx(3, rel=0.03)
    assert np.allclose(on_photo(page, middle), under, atol=4 / after["scale"])
    fingers.lift("1", "2")
    assert (
        page.evaluate(CHOSEN) == []
        and page.evaluate("scrollY") == 0
        and page.evaluate("visualViewport.scale") == 1
    )
    shot(page, "touch-zoomed")


@pytest.mark.parametrize("steps", [8, 1])
def test_two_fingers_move_the_photo_with_them(phone, steps):
    # In one step: a page that is busy is told of both fingers' whole way at once, one after the other.
    page, fingers, _ = phone
    left, top, w, h = box(page)
    middle = np.array([left + w / 2, top + h / 2])
    before = page.evaluate(VIEW, PHOTO)
    fingers.put("1", middle - (30, 0))
    fingers.put("2", middle + (30, 0))
    fingers.move(steps, **{"1": middle + (10, 35), "2": middle + (70, 35)})
    after = page.evaluate(VIEW, PHOTO)
    assert after["scale"] == pytest.approx(before["scale"], rel=0.02)
    assert (after["x"] - before["x"], after["y"] - before["y"]) == (
        pytest.approx(40, abs=2),
        pytest.approx(35, abs=2),
    )
    fingers.lift("2")  # the finger that stays goes on moving it, without a jump
    fingers.move(**{"1": middle + (10, 5)})
    later = page.evaluate(VIEW, PHOTO)
    assert (later["x"] - after["x"], later["y"] - after["y"]) == (
        pytest.approx(0, abs=2),
        pytest.approx(-30, abs=2),
    )
    fingers.lift("1")
    assert page.evaluate(CHOSEN) == []


def free_hole(frame, camera, id):
    """A place on a member where no other member's line is near, px."""
    m = frame.member(id)
    others = np.vstack([camera.project(o.hole_centres()) for o in frame.members if o.id != id])
    px = camera.project(m.hole_centres())
    return px[np.linalg.norm(px[:, None] - others[None], axis=2).min(axis=1).argmax()]


def test_a_tap_chooses_and_two_fingers_that_tap_choose_nothing(phone):
    page, fingers, _ = phone
    frame = load_frame_from(page)
    camera = frame.photos[0].camera
    at = np.array(place(page, PHOTO, free_hole(frame, camera, "F")))
    fingers.put("1", at)
    fingers.put("2", at + (60, 40))
    fingers.lift("1", "2")
    assert page.evaluate(CHOSEN) == []
    fingers.put("1", at)
    fingers.move(steps=2, **{"1": at + (5, 5)})  # a finger is never quite still
    fingers.lift("1")
    until(page, f"async () => String(await ({CHOSEN})()) === 'F'")
    view = page.evaluate(VIEW, PHOTO)
    left, top, _, h = box(page)
    fingers.put("1", (left + 20, top + h - 20))  # moved for good it moves the photo, and F stays chosen
    fingers.move(**{"1": (left + 20, top + h - 80)})
    fingers.lift("1")
    assert page.evaluate(VIEW, PHOTO)["y"] == pytest.approx(view["y"] - 60, abs=3) and page.evaluate(
        CHOSEN
    ) == ["F"]


@pytest.mark.parametrize("by", [-2, 1])
def test_one_finger_drags_an_end_along_its_holes(phone, by):
    page, fingers, build = phone
    n = build.n
    frame = load_frame_from(page)
    camera, m = frame.photos[0].camera, frame.member("F")
    fingers.tap(place(page, PHOTO, free_hole(frame, camera, "F")))
    until(page, f"async () => String(await ({CHOSEN})()) === 'F'")
    left, top, w, h = box(page)
    middle = np.array([left + w / 2, top + h / 2])
    fingers.put("1", middle - (20, 10))  # zoomed first, as anyone would
    fingers.put("2", middle + (20, 10))
    fingers.move(**{"1": middle - (60, 30), "2": middle + (60, 30)})
    fingers.lift("1", "2")
    ends = [
        place(page, PHOTO, camera.project(m.hole_centre(np.array([m.holes - 0.5 + k])))[0]) for k in (0, by)
    ]
    shift = middle - ends[0]  # the end is brought to the middle by one finger on the ground
    while np.abs(shift).max() > 20:
        step = np.clip(shift, -60, 60)
        start = np.where(step < 0, [left + w - 25, top + h - 25], [left + 25, top + 25])
        fingers.put("1", start)
        fingers.move(**{"1": start + step})
        fingers.lift("1")
        ends = [
            place(page, PHOTO, camera.project(m.hole_centre(np.array([m.holes - 0.5 + k])))[0])
            for k in (0, by)
        ]
        shift = middle - ends[0]
    assert page.evaluate(CHOSEN) == ["F"]
    fingers.put("1", np.array(ends[0]) + (6, -6))  # beside the handle: a finger is broad
    until(page, TRACKED)
    fingers.move(**{"1": np.array(ends[1]) + (6, -6)})
    shot(page, f"touch-drag{by}")
    fingers.lift("1")
    wait_n(page, n + 1)
    assert build.state.frame.member("F").holes == m.holes + by
    assert page.evaluate("scrollY") == 0


def test_a_second_finger_takes_a_drag_back(phone):
    page, fingers, build = phone
    n = build.n
    frame = load_frame_from(page)
    camera, m = frame.photos[0].camera, frame.member("F")
    fingers.tap(place(page, PHOTO, free_hole(frame, camera, "F")))
    until(page, f"async () => String(await ({CHOSEN})()) === 'F'")
    end, other = (
        np.array(place(page, PHOTO, camera.project(m.hole_centre(np.array([k])))[0]))
        for k in (m.holes - 0.5, m.holes - 5.5)
    )
    asked = []
    page.on("request", lambda r: asked.append(r.url) if r.method == "POST" else None)
    fingers.put("1", end)
    until(page, TRACKED)
    fingers.move(**{"1": other})
    fingers.put("2", other + (40, 40))
    fingers.lift("1", "2")
    page.evaluate("1")  # what was asked until now is told before this is answered
    assert asked == [] and build.n == n and build.state.frame.member("F").holes == m.holes


def test_a_member_is_drawn_and_openings_are_measured_by_finger(fresh_phone):
    page, fingers, build = fresh_phone
    n = build.n
    page.tap("[data-mode=measure] >> visible=true")
    last = true_frame().member("B")
    ends = face_openings(build.state.frame.photos[0], last)
    for k, px in enumerate(ends):
        fingers.tap(place(page, PHOTO, px))
        until(page, "k => document.querySelectorAll('#card .row').length > k", k)
    page.wait_for_selector("text=Hole 1 to hole 16 of B: 15 pitches")
    page.tap("[aria-label='Stop measuring']")
    page.tap("button[data-mode=draw]")
    start, end = (np.array(place(page, PHOTO, px)) for px in ends)
    fingers.put("1", start)
    fingers.move(**{"1": end})
    fingers.lift("1")
    page.wait_for_selector("text=New member")
    assert build.n == n


def test_what_was_asked_for_comes_in_under_the_photos_on_a_phone(opened, serve, tmp_path):
    page = opened(serve(sample_build(tmp_path / "b")).address, (360, 740))
    under = """what => { const top = document.querySelector(what).getBoundingClientRect().top;
      const sight = document.querySelector('.sight').getBoundingClientRect();
      return top >= sight.bottom - 1 && top < innerHeight - 60; }"""
    page.wait_for_selector("#tab-doubts .badge")
    wide = """() => { const tabs = document.getElementById('tabs');
      tabs.querySelector('.badge').textContent = '2 + 22';
      return [tabs.scrollWidth, tabs.clientWidth]; }"""
    assert page.evaluate(wide) == [360, 360]  # all five tabs, whatever the count
    page.click("#tab-members")
    page.wait_for_selector("[data-key=A]")
    page.evaluate("scrollTo(0, 99999)")
    page.click("[data-mode=measure]")
    until(page, under, "#card")
    page.click("[data-mode=choose]")
    page.evaluate("scrollTo(0, 99999)")
    page.click("#panel .member >> nth=-1")  # from the far end of the list
    until(page, under, "#card")
    page.evaluate("scrollTo(0, 0)")
    page.click("#away")
    until(page, under, "#panel h3")


IN_SPACE = in_page(
    """const v = views.space, b = v.canvas.getBoundingClientRect(), m = build.members.get(id);
  v.paintNow();
  const p = new Vector3(...m.first.map((x, k) => x + m.direction[k] * along)).project(v.camera);
  return [b.left + (p.x + 1) / 2 * v.width, b.top + (1 - p.y) / 2 * v.deep];""",
    "[id, along]",
)
# The member at a place of the canvas, where no bolt is near.
AT_IN_SPACE = in_page(
    """const v = views.space;
  return !v.bolts.pointedAt(v, at, build.members.values()) && v.memberAt(at);""",
    "at",
)


def test_in_3d_a_tap_chooses_two_fingers_zoom_and_one_drags_an_end(fresh_phone):
    page, fingers, build = fresh_phone
    n = build.n
    page.tap("#picker >> text=3-D")
    until(page, in_page("return views.space.shown >= 0 && views.space.width > 0;"))
    m = build.state.frame.member("F")
    spots = [np.array(page.evaluate(IN_SPACE, ["F", k + 0.5])) for k in range(m.holes - 2, 0, -1)]
    corner = box(page)[:2]
    at = next(s for s in spots if page.evaluate(AT_IN_SPACE, (s - corner).tolist()) == "F")
    far = page.evaluate(in_page("return views.space.far;"))
    fingers.put("1", at)
    fingers.put("2", at + (60, 40))
    fingers.lift("1", "2")
    assert page.evaluate(CHOSEN) == []  # two fingers that tap choose nothing
    fingers.put("1", at + (6, 4))
    fingers.move(steps=1, **{"1": at})  # a finger is never quite still
    fingers.lift("1")
    until(page, f"async () => String(await ({CHOSEN})()) === 'F'")
    fingers.put("1", at - (30, 0))
    fingers.put("2", at + (30, 0))
    fingers.move(**{"1": at - (60, 0), "2": at + (60, 0)})
    fingers.lift("1", "2")
    assert page.evaluate(in_page("return views.space.far;")) == pytest.approx(far / 2, rel=0.1)
    page.evaluate(in_page("views.space.fit(); views.space.zoom(1.2);"))
    end, longer = (np.array(page.evaluate(IN_SPACE, ["F", m.holes - 0.5 + by])) for by in (0, 6))
    fingers.put("1", end + (6, -6))  # beside the handle: a finger is broad
    fingers.move(**{"1": longer})
    fingers.lift("1")
    wait_n(page, n + 1)
    assert build.state.frame.member("F").holes == m.holes + 6
