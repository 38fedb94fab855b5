"""Part of a frame copied on the page: dragged in 3-D, by holes, mirrored; with what is known of its laps."""

import pytest

from recon.frame.files import frame_to_text
from tests.corrections.frames import side_and_rest
from tests.webui.browsing import CHOSEN, drag, shot, until, wait_n
from tests.webui.in_page import in_page

# Where a place in space is on the screen.
AT = in_page(
    """const v = views.space, b = v.canvas.getBoundingClientRect();
  const {x, y} = new Vector3(...place).project(v.camera);
  return [b.left + (x + 1) * v.width / 2, b.top + (1 - y) * v.deep / 2];""",
    "place",
)
PLACED = in_page("const {place} = build.copying; return place && String(place.by) === String(by);", "by")
GHOSTS = in_page("return build.ghosts.map(({member}) => member.first);")
SIDE = list("ABCDE")


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / "frame.json").write_text(frame_to_text(side_and_rest().frame))
    return tmp_path / "b"


def test_a_side_is_copied_by_dragging_by_holes_and_mirrored(opened, serve, folder):
    serving = serve(folder)
    page, build = opened(serving.address), serving.server.app.extensions["app_context"].build
    page.click("#tab-members")
    for k, id in enumerate(SIDE):
        page.click(f"#panel [data-key={id}]", modifiers=["Shift"] if k else [])
    page.click("#card >> text=Copy…")
    until(page, in_page("return build.copying?.place;"))
    x = page.evaluate(in_page("return build.copying.by[0];"))
    first = page.evaluate(GHOSTS)
    assert len(first) == 5 and page.input_value("#copy-right") == str(int(x))
    shot(page, "copying")

    # its post, dragged by four pitches to the right; then by holes
    middle = [first[0][0], 0.0, 4.5]
    drag(page, *(page.evaluate(AT, [middle[0] + on, *middle[1:]]) for on in (0, 4)))
    until(page, PLACED, [x + 4, 0, 0])
    page.click("[aria-label='Right: one hole more']")
    until(page, PLACED, [x + 5, 0, 0])
    page.fill("#copy-right", "9")
    page.press("#copy-right", "Tab")
    until(page, PLACED, [9, 0, 0])
    assert "with F, G" in page.inner_text("#card") and "In the room of" not in page.inner_text("#card")
    assert build.n == 1  # nothing is there before it is placed
    page.click("#card >> text=Place the copy")
    wait_n(page, 2)
    frame = build.state.frame
    assert len(frame.members) == 12 and frame.member("H").first == (9.0, 0.0, 0.0)
    assert page.evaluate(CHOSEN) == list("HIJKL") and page.evaluate(GHOSTS) == []
    bolts = {frozenset((j.a, j.b)): j.bolt for j in frame.joints}
    assert bolts[frozenset("HJ")] == "none" and bolts[frozenset("IK")] == "assumed"

    page.click("#card >> text=Copy…")
    until(page, in_page("return build.copying?.place;"))
    page.select_option("[aria-label=Mirrored]", "x")
    until(page, in_page("return build.copying.mirror === 'x' && build.copying.place;"))
    page.keyboard.press("Escape")
    until(page, in_page("return !build.copying;"))
    assert page.evaluate(GHOSTS) == [] and build.n == 2
