"""Members found by typing, and told apart by colours."""

from tests.webui.browsing import CHOSEN, SHAPES_IN_ALL, sample_build, shot, true_frame, until
from tests.webui.in_page import in_page

COLOURS = in_page(
    """const m = await import('/static/core/groups.js');
    return [...build.members.values()].map(x => [x.id, x.holes, m.groupColour(x.id)]);"""
)


def test_members_are_found_by_typing_and_coloured_by_their_length(opened, serve, tmp_path):
    page = opened(serve(sample_build(tmp_path / "b")).address)
    until(page, SHAPES_IN_ALL)
    page.keyboard.press("Shift+D")
    assert page.evaluate(CHOSEN) == ["D"]
    page.keyboard.press("/")
    page.keyboard.type("f")
    assert page.locator("#panel .member >> visible=true").count() == 1
    page.keyboard.press("Enter")
    assert page.evaluate(CHOSEN) == ["F"]
    page.keyboard.press("Shift+D")  # keys are no longer typed into the search
    assert page.evaluate(CHOSEN) == ["D"] and page.input_value("#find-member") == ""
    page.fill("#find-member", "16")
    assert page.locator("#panel .member >> visible=true").count() == sum(
        m.holes == 16 for m in true_frame().members
    )
    page.fill("#find-member", "")

    assert all(colour is None for *_, colour in page.evaluate(COLOURS))
    page.select_option(".colours select", label="By length")
    found = page.evaluate(COLOURS)
    by_length = {holes: colour for _, holes, colour in found}
    assert all(by_length[holes] == colour for _, holes, colour in found)
    assert len(set(by_length.values())) == len(by_length)
    legend = page.inner_text(".legend")
    assert "16 holes, 609.6 mm: B, F" in legend
    shot(page, "colours")
