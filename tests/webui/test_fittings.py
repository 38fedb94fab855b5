"""Fittings and stretching on the page: a cart gets its castors and a board, and another length."""

from dataclasses import replace

import numpy as np
import pytest

from recon.frame.caution import CAUTION
from recon.frame.files import save_frame
from recon.frame.fitting_boxes import fitting_boxes
from tests.webui.browsing import AXE, FAULTS, load_frame_from, shot, until, wait_n
from tests.webui.in_page import in_page
from tests.webui.test_rulers import WRITTEN
from tests.workshop.carts import cart

FITTINGS = in_page("return build.fittings.map(f => ({id: f.id, holes: f.holes, box: f.box}));")
TRIAL = in_page("return Boolean(build.fitting?.box);")
# Where the opening of a hole on the face `way` of a member is in 3-D, on the screen.
OPENING = in_page(
    """const v = views.space, b = v.canvas.getBoundingClientRect(), m = build.members.get(id);
    v.paintNow();
    const at = m.first.map((x, i) => x + m.direction[i] * hole + way[i] * m.width / 2);
    const p = new Vector3(...at).project(v.camera);
    return [b.left + (p.x + 1) * v.width / 2, b.top + (1 - p.y) * v.deep / 2];""",
    "[id, hole, way]",
)


@pytest.fixture
def bare_cart(tmp_path):
    """A build of the cart without its fittings."""
    folder = tmp_path / "cart"
    folder.mkdir()
    save_frame(replace(cart(), fittings=()), folder / "frame.json")
    return folder


def test_a_cart_gets_its_castors_and_a_board_and_another_length(opened, serve, bare_cart):
    page = opened(serve(bare_cart).address, (1280, 800))
    page.click("#tab-members")
    page.click("#list-fittings")
    assert "Castors, feet, boards" in page.inner_text("#panel")
    page.click("text=Put on a fitting")
    page.fill("#fitting-name", "castor 80")
    page.fill("#fitting-holes", "c 3, 5")
    until(page, TRIAL)
    assert page.input_value("#fitting-kind") == "castor"
    assert page.eval_on_selector("#fitting-side", "e => e.selectedOptions[0].text") == "bottom"
    for field, value in (("along", "100"), ("across", "7 cm"), ("plate", "3"), ("mass", "420 g")):
        page.fill(f"#fitting-{field}", value)
    until(page, "() => document.querySelector('#fitting-state').textContent === 'It fits there.'")
    shot(page, "fitting-form")
    page.press("#fitting-mass", "Enter")
    page.wait_for_selector("#card >> text=castor, on holes 3 and 5 of C, bottom")
    for across in ("Front to back", "Left to right"):
        for id in ("F1", "F2")[: 1 if across == "Front to back" else 2]:
            page.click(f"[data-key=fitting{id}]")
            n = len(page.evaluate(FITTINGS))
            page.click(f"#card button:text-is('{across}')")
            until(page, "n => document.querySelectorAll('.item.fitting').length > n", n)
    ids = [f["id"] for f in page.evaluate(FITTINGS)]
    assert ids == ["F1", "F2", "F3", "F4"]
    assert CAUTION in page.inner_text("#panel")

    # a board, its holes clicked in 3-D on the side that is turned up
    page.click("text=Put on a fitting")
    page.select_option("#fitting-kind", "board")
    for k, (id, hole) in enumerate((("A", 4), ("A", 15), ("B", 15), ("B", 4))):
        page.mouse.click(*page.evaluate(OPENING, [id, hole, [0, 0, 1]]))
        until(page, in_page("return build.fitting.holes?.length > k;", "k"), k)
    until(page, TRIAL)
    assert page.eval_on_selector("#fitting-side", "e => e.selectedOptions[0].text") == "top"
    assert page.get_attribute("#fitting-along", "placeholder") == "457.2 mm"  # 11 pitches and one beyond
    assert {"F1", "F4", "A"} <= set(page.evaluate(WRITTEN, "3-D"))
    page.click("#card button:text-is('Put on')")
    page.wait_for_selector("#card >> text=On holes 5 and 16 of A and holes 5 and 16 of B, top")
    shot(page, "fittings-1280")

    frame = load_frame_from(page)
    wanted = {f.id: box for f, box in zip(cart().fittings, fitting_boxes(cart()).values())}
    for f, other in (("F1", "F1"), ("F2", "F2"), ("F3", "F3"), ("F4", "F4")):
        assert np.allclose(fitting_boxes(frame)[f].half, wanted[other].half)
    spots = {tuple(np.round(b.centre, 6)) for b in fitting_boxes(frame).values()}
    assert {tuple(np.round(b.centre, 6)) for id, b in wanted.items() if id != "F5"} <= spots

    page.click("#tab-parts")
    page.wait_for_selector("#panel caption:text-is('Fittings')")
    page.wait_for_selector("#panel >> text=castor 80")
    shot(page, "fittings-parts")

    # stretched: seen in words first, refused across the board, made beside it
    page.click("#tab-members")
    page.click("[data-key=A]")
    page.click("#card summary:has-text('stretch')")
    page.click("text=Stretch the frame…")
    page.wait_for_selector("#stretch-effect:has-text('Board F5 is bolted on both sides of the plane')")
    assert (
        page.eval_on_selector("#stretch-end", "e => e.selectedOptions[0].text")
        == "Right, the side of hole 20"
    )
    page.fill("#stretch-after", "17")
    page.fill("#stretch-by", "3")
    page.wait_for_selector("#stretch-effect:has-text('2 members 3 holes longer, 1 moved to the right')")
    shot(page, "stretch")
    n = page.evaluate(in_page("return build.n;"))
    page.click("#dialog button:text-is('Stretch')")
    wait_n(page, n + 1)
    longer = load_frame_from(page)
    assert longer.member("A").holes == 23 and longer.member("D").first[0] == 20
    at = {f.id: f.holes for f in longer.fittings}
    assert at == {f.id: f.holes for f in frame.fittings}
    page.click("#undo")
    wait_n(page, n + 2)
    assert load_frame_from(page).member("A").holes == 20

    # by keys and taken off
    page.click("#list-fittings")
    page.click("[data-key=fittingF5]")
    page.keyboard.press("Delete")
    until(page, "() => document.querySelectorAll('.item.fitting').length === 4")
    page.evaluate(AXE)
    page.click("[data-key=fittingF1]")
    page.click("text=Change…")
    until(page, TRIAL)
    assert page.evaluate(FAULTS) == []
    page.keyboard.press("Escape")
    page.set_viewport_size({"width": 360, "height": 740})
    shot(page, "fittings-360")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
