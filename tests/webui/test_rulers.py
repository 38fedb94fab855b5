"""Hole numbers on the chosen member in photos and 3-D, and measuring between holes."""

from tests.webui.browsing import SHAPES_IN_ALL, sample_build, shot, until
from tests.webui.in_page import in_page

# The texts that are written on a canvas while it is painted once more: of a photo, or of 3-D.
WRITTEN = in_page(
    """const space = what === '3-D', v = space ? views.space : views.photos.get(what);
    const c = space ? v.labels.getContext('2d') : v.context, found = [], write = c.fillText;
    c.fillText = (text, ...at) => { found.push(text); write.call(c, text, ...at); };
    v.paintNow();
    delete c.fillText;
    return found;""",
    "what",
)
# Where a hole of a member is in 3-D, on the screen.
HOLE = in_page(
    """const v = views.space, b = v.canvas.getBoundingClientRect(), m = build.members.get(id);
    v.paintNow();
    const p = new Vector3(...m.first.map((x, i) => x + m.direction[i] * hole)).project(v.camera);
    return [b.left + (p.x + 1) * v.width / 2, b.top + (1 - p.y) * v.deep / 2];""",
    "[id, hole]",
)


def test_the_chosen_member_has_its_hole_numbers_and_distances_are_measured_in_3d(opened, serve, tmp_path):
    page = opened(serve(sample_build(tmp_path / "b")).address, (1920, 1080))
    until(page, SHAPES_IN_ALL)
    page.click("#tab-members")
    page.click("[data-key=B]")  # 16 holes, joints at holes 2, 7 and 15
    for what in ("photo_2.jpg", "3-D"):
        numbers = page.evaluate(WRITTEN, what)
        assert {"1", "5", "7", "10", "15"} <= set(numbers) and not {"3", "8"} & set(numbers), what
    page.click("summary:has-text('Show')")
    page.uncheck("#layers label:has-text('Hole numbers') input")
    assert "10" not in page.evaluate(WRITTEN, "3-D")
    page.click("summary:has-text('From joint to joint')")
    assert "hole 7 (E) to hole 15 (D): 8 holes, 304.8 mm" in page.inner_text("#card")
    page.click("[data-key=E]", modifiers=["Shift"])
    page.click("[data-key=B]", modifiers=["Shift"])
    page.click("[data-key=D]", modifiers=["Shift"])
    page.wait_for_selector("#card >> text=/Centre to centre: .* pitches, .* mm/")

    page.click("[data-mode=measure]")
    page.click("#picker button:has-text('3-D')")
    for k, hole in enumerate((5, 13)):
        page.mouse.click(*page.evaluate(HOLE, ["F", hole]))
        until(page, "k => document.querySelectorAll('#card .row').length > k", k)
    page.wait_for_selector("text=Hole 6 to hole 14 of F: 8 pitches")
    assert "8 pitches, 304.8 mm (12 in)" in page.inner_text("#card")
    shot(page, "measured-in-3d")
