"""What the checks say moves, shown moving in 3-D; and bolts there, whose shape says what is known of them."""

from dataclasses import replace

import pytest

from recon.frame.files import frame_to_text
from recon.frame.joints import find_joints
from recon.frame.model import Frame, Member
from tests.webui.browsing import CHOSEN, shot, until, wait_n
from tests.webui.in_page import in_page

X, Z = (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)
# How many bolts of each kind are drawn, two heads to a lap; the points of each shape.
HEADS = in_page("""const count = {};
  for (const {joint} of views.space.bolts.heads) count[joint.bolt] = (count[joint.bolt] || 0) + 1;
  const drawn = [...views.space.bolts.meshes].filter(([, m]) => m.count && m.visible).map(([kind]) => kind);
  return [count, drawn.sort()];""")
SHAPES = in_page(
    """const points = mesh => String(mesh.geometry.attributes.position.array);
  return [...views.space.bolts.meshes.values()].map(points);"""
)
# Where the nearer head of the first bolt of a kind is on the screen.
HEAD = in_page(
    """const v = views.space, b = v.canvas.getBoundingClientRect();
  const far = head => head.at.distanceTo(v.camera.position);
  const [head] = v.bolts.heads.filter(h => h.joint.bolt === kind).sort((p, q) => far(p) - far(q));
  const {x, y} = head.at.clone().project(v.camera);
  return [b.left + (x + 1) * v.width / 2, b.top + (1 - y) * v.deep / 2];""",
    "kind",
)
MOVED = in_page("return views.space.pose ? [...views.space.pose.keys()].sort() : [];")
# How far the holes of each lap are apart, where the members are shown; pitches.
GAPS = in_page("""const pose = views.space.pose, at = (id, k) => {
    const m = build.members.get(id), p = new Vector3(...m.first.map((v, i) => v + k * m.direction[i]));
    return pose.has(id) ? p.applyMatrix4(pose.get(id)) : p; };
  return build.joints.map(j => at(j.a, j.a_hole).distanceTo(at(j.b, j.b_hole)));""")
TURNED = in_page("return new Vector3(0, 0, 1).transformDirection(views.space.pose.get('A')).x;")


@pytest.fixture
def panel(opened, serve, tmp_path):
    """Two posts and two rails, one bolt in each lap, each known in another way."""
    members = [Member("AB"[k], (8.0 * k, 0.0, 0.0), Z, 12) for k in (0, 1)]
    members += [Member("CD"[k], (-1.0, -1.0, 9.0 * k + 1), X, 11) for k in (0, 1)]
    bolts = ("seen", "said", "assumed", "seen")
    joints = [replace(j, bolt=bolt) for j, bolt in zip(find_joints(members), bolts)]
    (tmp_path / "b").mkdir()
    frame = Frame(tuple(members), tuple(joints), 38.1)
    (tmp_path / "b" / "frame.json").write_text(frame_to_text(frame))
    return opened(serve(tmp_path / "b").address)


def test_bolts_and_the_motion_of_a_panel_are_shown_in_3d(panel):
    page = panel
    assert page.evaluate(HEADS) == [{"seen": 4, "said": 2, "assumed": 2}, ["assumed", "said", "seen"]]
    page.mouse.click(*page.evaluate(HEAD, "assumed"))
    until(page, in_page("return Boolean(chosen.lap);"))
    page.click("#card >> text=No bolt")  # edited from 3-D
    wait_n(page, 2)
    assert page.evaluate(HEADS) == [{"seen": 4, "said": 2, "none": 2}, ["none", "said", "seen"]]
    assert len(set(page.evaluate(SHAPES))) == 4  # four shapes, whatever the colours
    page.click("#card >> text=Bolt assumed")
    wait_n(page, 3)

    page.click("#tab-checks")
    page.click("text=Show it move")  # this browser asks for less motion: it stands at its end
    words = page.inner_text(".motionbar p")
    assert words == "Shown to either side: 6.0 degrees, 42 mm at the top."
    assert page.evaluate(CHOSEN) == []
    until(page, in_page("return Boolean(views.space.pose);"))
    assert not page.evaluate(in_page("return views.space.motion.playing;"))
    assert abs(page.evaluate(TURNED)) == pytest.approx(0.1045, abs=1e-3)  # sin 6 degrees
    assert page.evaluate(MOVED) == ["A", "B", "D"]  # C, the lowest, rests
    page.keyboard.press("Escape")
    until(page, in_page("return !views.space.pose;"))

    page.emulate_media(reduced_motion="no-preference")
    page.click("text=Show it move")
    until(page, in_page("return views.space.motion.phase > 0.3;"))
    first = page.evaluate(TURNED)
    until(page, in_page("return views.space.motion.phase > 1;"))
    assert page.evaluate(TURNED) != first
    assert page.evaluate(GAPS) == pytest.approx([1.0] * 4, abs=2e-3)
    shot(page, "motion")
    page.click(".motionbar >> text=Stop")
    assert not page.evaluate(in_page("return views.space.motion.playing;"))
    page.fill(".motionbar input", "-100")  # by hand to the end of its way back
    assert abs(page.evaluate(TURNED)) == pytest.approx(0.1045, abs=1e-3)
    page.click("#undo")  # another frame: its motion is another
    until(page, in_page("return !views.space.pose && build.motion === null;"))


# Where the plate of the ghost with a text is on the screen: over its end.
PLATE = in_page(
    """const v = views.space, b = v.canvas.getBoundingClientRect();
  const {member: m, end} = build.ghosts.find(g => g.label?.startsWith(text));
  const {x, y} = new Vector3(...m.first.map((c, i) => c + m.direction[i] * (end ? m.holes - 1 : 0)))
    .project(v.camera);
  return [b.left + (x + 1) * v.width / 2, b.top + (1 - y) * v.deep / 2 - 22];""",
    "text",
)


def test_what_else_an_end_could_be_is_chosen_in_3d(opened, serve, tmp_path):
    posts = [Member("AB"[k], (8.0 * k, 0.0, 0.0), Z, 12) for k in (0, 1)]
    rails = [Member("CDE"[k], (0.0, -1.0, 2.0 + 4 * k), X, 7 if k == 1 else 9) for k in range(3)]
    members = (*posts, *rails)
    (tmp_path / "b").mkdir()
    frame = Frame(members, find_joints(members), 38.1)
    (tmp_path / "b" / "frame.json").write_text(frame_to_text(frame))
    serving = serve(tmp_path / "b")
    page, build = opened(serving.address), serving.server.app.extensions["app_context"].build
    until(page, in_page("return build.doubts.some(d => d.kind === 'unlikely');"))
    page.click("#panel .item:has-text('Unlikely end')")
    until(page, in_page("return build.ghosts.length > 0;"))
    shot(page, "alternatives")
    page.mouse.click(*page.evaluate(PLATE, "9"))
    wait_n(page, 2)
    assert build.state.frame.member("D").holes == 9
