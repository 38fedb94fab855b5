"""Pictures of steps and sticks: what is new stands out, bolts have hole numbers, all is on the sheet."""

from collections import Counter

import numpy as np
import pytest

from recon.frame.model import Frame, Member, label
from recon.frame.stock import load_stocks
from recon.workshop.assembly.picture import SIZE, step_sheet
from recon.workshop.assembly.picture_items import NEW, OLD
from recon.workshop.assembly.shots import CornerScenes
from recon.workshop.assembly.stage import Stage
from recon.workshop.assembly.steps import build_steps
from recon.workshop.cutting.cut_list import cut_list
from recon.workshop.cutting.lay_out import CutStick
from recon.workshop.cutting.sticks_drawing import MARGIN, sticks_sheet
from recon.workshop.drawing.vector import Area, Disc, Lines, Text, extent
from tests.growing import grow_frame
from tests.workshop.trestles import scaffold, trestle

HOLE = 0.25


def shaded(sheet):
    return [i for i in sheet.items if isinstance(i, Lines) and i.layer == "shade"]


def tags(sheet):
    return Counter(i.text for i in sheet.items if isinstance(i, Text) and " " in i.text)


@pytest.mark.parametrize("frame", [trestle(), grow_frame(5, 9)], ids=["trestle", "grown"])
def test_every_step_shows_its_bolts_with_their_hole_numbers_the_new_member_first(frame):
    stage = Stage(frame, HOLE)
    steps = build_steps(frame, HOLE).steps
    assert steps
    for step in steps:
        tagged = tags(stage.picture(step))
        for bolt in step.bolts:
            names = [f"{id}{hole + 1}" for id, hole in bolt.through]
            if bolt.through[0][0] not in step.new:
                names.reverse()
            assert tagged.pop(" ".join(names)) == 1
        assert not tagged


def test_what_is_new_is_shaded_and_thick_and_the_rest_is_not():
    frame = trestle()
    scenes = CornerScenes(frame, HOLE)
    new = frame.members[4]
    there = [m.id for m in frame.members if m.id != new.id]
    sheet = step_sheet(scenes, there, [new.id], [])
    assert shaded(sheet)
    box = extent(shaded(sheet))
    thick = [i for i in sheet.items if isinstance(i, Lines) and i.pen is NEW]
    assert np.allclose(extent(thick), box, atol=0.5)  # nothing but the new member is drawn thick
    assert [i for i in sheet.items if isinstance(i, Lines) and i.pen is OLD]
    bold = [i.text for i in sheet.items if isinstance(i, Text) and i.bold]
    assert bold == [new.id]


def test_members_of_later_steps_are_not_drawn():
    frame = trestle()
    labels = {
        i.text for i in step_sheet(CornerScenes(frame, HOLE), ["A"], ["E"], []).items if isinstance(i, Text)
    }
    assert labels - {"x", "y", "z"} == {"A", "E", "1"}


def test_the_arrow_points_the_way_that_the_member_goes():
    frame = trestle()
    scenes = CornerScenes(frame, HOLE)
    for way in np.vstack([np.eye(3), -np.eye(3)]):
        sheet = step_sheet(scenes, ["A", "B"], ["C"], [], way)
        arrow = next(i for i in sheet.items if isinstance(i, Area) and len(i.points) == 7)
        tip, tail = np.array(arrow.points[3]), (np.array(arrow.points[0]) + arrow.points[6]) / 2
        flat = scenes.scenes[0].view.flat(way)
        assert (tip - tail) @ flat > 0.9 * np.linalg.norm(tip - tail) * np.linalg.norm(flat)
    assert not [
        i
        for i in step_sheet(scenes, [], ["C"], [], np.eye(3)[0]).items
        if isinstance(i, Area) and len(i.points) == 7
    ]


def test_steps_of_a_large_frame_show_the_neighbourhood_and_where_it_is():
    frame = scaffold(4, 2, 4)
    scenes = CornerScenes(frame, HOLE)
    rail = next(m for m in frame.members if m.direction[0] == 1)
    sheet = step_sheet(scenes, [m.id for m in frame.members if m.id != rail.id], [rail.id], [])
    for item in sheet.items:
        if isinstance(item, (Lines, Disc, Text)) and item.layer != "shade":
            left, bottom, right, top = extent([item])
            assert left >= 0 and bottom >= 0 and right <= SIZE[0] and top <= SIZE[1]
    inset = [i for i in sheet.items if isinstance(i, Lines) and i.pen.width == 0.9]
    assert len(inset) == 1 and len(inset[0].paths) == 1  # in the little picture the new member, thick
    drawn = {i.text for i in sheet.items if isinstance(i, Text)}
    assert rail.id in drawn and len(drawn) < len(frame.members) / 2
    assert {"x", "y", "z"} < drawn  # which way the sides look is shown here, too


def test_another_corner_is_taken_where_what_is_new_would_be_hidden():
    wall = tuple(Member(label(k), (0.0, -1.0, float(k)), (1.0, 0.0, 0.0), 9) for k in range(10))
    rear = Member("new", (0.0, 0.0, 5.0), (1.0, 0.0, 0.0), 9)
    scenes = CornerScenes(Frame((*wall, rear), (), 38.1), HOLE)

    def area(there):
        lines = [np.array(p) for i in shaded(step_sheet(scenes, there, ["new"], [])) for p in i.paths]
        return sum(np.linalg.norm(a - b) for a, b in lines)

    assert area([m.id for m in wall]) > 0.5 * area([])
    assert (
        scenes.scenes[0].covered(rear.hole_centres(), [10] * 9).any(axis=1).all()
    )  # from the front corner it cannot be seen


def test_what_is_built_lying_is_drawn_lying_and_before_and_after_a_turn():
    frame = trestle()
    stage = Stage(frame, HOLE)
    steps = build_steps(frame, HOLE).steps
    lying = next(s for s in steps if s.group)
    ids = [*lying.there, *lying.new]
    flat = extent(shaded(stage.picture(lying)))
    standing = extent(shaded(step_sheet(CornerScenes(frame, HOLE), [], ids, [])))
    assert (flat[3] - flat[1]) / (flat[2] - flat[0]) < 0.8 * (standing[3] - standing[1]) / (
        standing[2] - standing[0]
    )
    turn = stage.picture(next(s for s in steps if s.kind == "turn"))
    words = [i.text for i in turn.items if isinstance(i, Text)]
    assert all(words.count(id) == 2 for id in next(s for s in steps if s.kind == "turn").there)
    for item in turn.items:
        if not isinstance(item, Text):
            left, bottom, right, top = extent([item])
            assert left >= -1 and bottom >= -1 and right <= SIZE[0] + 1 and top <= SIZE[1] + 1


# Sticks


def test_a_stick_picture_is_to_scale_with_every_piece_and_cut():
    stocks = load_stocks()
    frame = trestle()
    plan = cut_list(frame, stocks).plans[0]
    sheet = sticks_sheet(plan.sticks, 180.0)
    scale = (180.0 - 2 * MARGIN) / max(s.length_mm for s in plan.sticks)
    boxes = [extent([i]) for i in sheet.items if isinstance(i, Area) and i.fill == 1.0]
    pieces = [p for s in plan.sticks for p in s.pieces]
    assert [(b[0], b[2]) for b in boxes] == [
        pytest.approx((MARGIN + p.start_mm * scale, MARGIN + p.end_mm * scale)) for p in pieces
    ]
    words = Counter(i.text.split(":")[0] for i in sheet.items if isinstance(i, Text) and i.mark)
    assert words == Counter(m.id for m in frame.members)
    cuts = [cut for s in plan.sticks for cut in s.cuts_mm]
    cut_texts = [i.text for i in sheet.items if isinstance(i, Text) and " | " in i.text]
    assert [float(t.split(" | ")[0]) for t in cut_texts] == pytest.approx([round(c, 1) for c in cuts])
    assert [int(t.split(" | ")[1]) for t in cut_texts] == [k for s in plan.sticks for k in s.after_hole]
    low, high = extent(sheet.items)[:2], extent(sheet.items)[2:]
    assert min(low) >= 0 and high[0] <= sheet.width and high[1] <= sheet.height


def test_numbers_of_cuts_close_together_do_not_touch():
    after = tuple(range(2, 64, 2))
    stick = CutStick("softwood-38", 2438.0, False, (), (), tuple(38.1 * k for k in after), after, 0.0, 0)
    boxes = [i.box for i in sticks_sheet([stick], 180.0).items if isinstance(i, Text) and "|" in i.text]
    assert len(boxes) == len(after)
    for k, a in enumerate(boxes):
        assert not any(a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3] for b in boxes[:k])


def test_a_label_gets_smaller_before_it_leaves_a_short_piece():
    frame = scaffold(1, 1, 1, 3, 3, 4)
    plan = cut_list(frame, load_stocks(), lengths_mm=[6000]).plans[0]
    sheet = sticks_sheet(plan.sticks, 180.0)
    assert {i.text.split(":")[0] for i in sheet.items if isinstance(i, Text) and i.mark} == {
        m.id for m in frame.members
    }
