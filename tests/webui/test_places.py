"""What a list, a check or a difference from the plan names comes into view, with what mends it."""

from dataclasses import replace

import pytest

from recon.frame.files import frame_to_text
from recon.frame.joints import find_joints
from tests.webui.browsing import CHOSEN, SHAPES_IN_ALL, shot, true_frame, until, wait_n
from tests.webui.in_page import in_page

# Which photos show a member as a whole, in 3-D too.
IN_VIEW = in_page(
    """const inside = ([x, y], w, h) => x > 0 && y > 0 && x < w && y < h;
    const photos = [...views.photos.values()].map(v => {
      const {ends} = build.shapes.get(v.name).get(id);
      return ends.every(([x, y]) => inside([x * v.scale + v.x, y * v.scale + v.y], v.width, v.height)); });
    const s = views.space; s.paintNow();
    const p = new Vector3(...boxOf(build.members.get(id)).middle).project(s.camera);
    return [...photos, Math.abs(p.x) < 1 && Math.abs(p.y) < 1];""",
    "id",
)
AWAY = in_page(
    """for (const v of views.photos.values()) { v.zoom(9, [2, 2]); v.paintNow(); }
    views.space.zoom(0.1); views.space.slide(900, 900); views.space.paintNow();"""
)


@pytest.fixture
def build_with_plan(shared_sample, tmp_path):
    """(page, build) of the sample, and a plan in which A is longer and F is not there."""
    frame = true_frame()
    members = tuple(replace(m, holes=m.holes + 3) if m.id == "A" else m for m in frame.members if m.id != "F")
    plan = replace(frame, members=members, joints=find_joints(members), photos=(), name="Plan of the loft")
    (tmp_path / "plan.json").write_text(frame_to_text(plan))
    page, build = shared_sample.anew()
    until(page, SHAPES_IN_ALL)
    return page, build


def test_a_member_chosen_in_a_list_is_brought_into_view_and_stays_where_it_is_in_view(build_with_plan):
    page, _ = build_with_plan
    page.click("#tab-members")
    where = in_page("const {x, y, scale} = views.photos.get('photo_1.jpg'); return [x, y, scale];")
    fitted = page.evaluate(where)
    page.click("[data-key=A]")
    assert page.evaluate(where) == fitted
    page.evaluate(AWAY)
    assert not any(page.evaluate(IN_VIEW, "F"))
    page.click("[data-key=F]")
    until(page, f"async () => (await ({IN_VIEW})('F')).every(Boolean)")


def test_a_check_goes_to_its_place_and_offers_the_bolt(build_with_plan):
    page, build = build_with_plan
    lap = page.evaluate(in_page("return lapKey(build.joints[0]);"))
    page.evaluate(in_page("return edit({op: 'lap', lap, word: 'none'});", "lap"), lap)
    page.click("#tab-checks")
    page.evaluate(AWAY)
    page.click("#panel .item:has([data-kind='no bolt'])")
    assert page.inner_text("#card h2") == "Joint" and sorted(page.evaluate(CHOSEN)) == sorted(
        {lap[0], lap[2]}
    )
    near = in_page(
        """const v = views.photos.get('photo_1.jpg');
        return v.laps().some(([, x, y]) => x > 0 && y > 0 && x < v.width && y < v.height);"""
    )
    until(page, near)
    shot(page, "check")
    n = build.n
    page.click("#panel li:has([data-kind='no bolt']) >> text=Bolt there")
    wait_n(page, n + 1)
    assert next(j for j in build.state.frame.joints if {j.a, j.b} == {lap[0], lap[2]}).bolt == "said"
    page.click("#card .tag >> nth=0")  # from the joint to its member, to move an end
    assert page.evaluate(CHOSEN) == [lap[0]]


def test_a_difference_from_the_plan_goes_to_its_place_and_is_mended_there(build_with_plan, tmp_path):
    page, build = build_with_plan
    n, was = build.n, build.state.frame.member("A").holes
    page.click("#plan")
    page.set_input_files("[aria-label=Plan]", str(tmp_path / "plan.json"))
    page.wait_for_selector("#panel >> text=Differs from the plan")
    assert "Plan of the loft" in page.inner_text("#panel h3")
    count = int(page.inner_text("#plan .badge"))
    page.evaluate(AWAY)
    page.click("#panel .item >> nth=0")
    until(page, f"async () => (await ({IN_VIEW})('A')).every(Boolean)")
    page.click("#panel li:nth-child(1) >> text=As planned")
    wait_n(page, n + 1)
    assert build.state.frame.member("A").holes == was + 3
    until(page, f"Number(document.querySelector('#plan .badge')?.textContent || 99) < {count}")
    page.click("#panel li:has-text('F') >> text=Not there")
    wait_n(page, n + 2)
    assert [m.id for m in build.state.frame.members if m.id == "F"] == []
    page.wait_for_selector("#plan:not(:has(.badge))")


def test_a_plan_can_be_loaded_before_the_first_photo_and_papers_wait_for_a_frame(opened, serve, tmp_path):
    (tmp_path / "plan.json").write_text(frame_to_text(replace(true_frame(), photos=(), name="Loft")))
    page = opened(serve(tmp_path / "b").address)
    page.click("#plan")
    page.set_input_files("[aria-label=Plan]", str(tmp_path / "plan.json"))
    page.wait_for_selector("#panel h3:has-text('Plan: Loft')")
    page.click("#away")
    assert page.locator("#panel .item").count() == 1 and "Once there is a frame" in page.inner_text("#panel")
