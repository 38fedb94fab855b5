"""Views: the right way round, every label and seen lap told, nothing written over anything, and SVG that is
SVG."""

from collections import Counter
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from recon.frame.joints import find_joints
from recon.frame.model import Frame, Member, rename
from recon.workshop.drawing.paper import ANGLES
from recon.workshop.drawing.projections import ViewBoard, six_views, views_needed
from recon.workshop.drawing.vector import (
    HIDDEN,
    OUTLINE,
    Area,
    Disc,
    Lines,
    Sheet,
    Text,
    extent,
    hatching,
    moved,
    sheet_svg,
)
from recon.workshop.drawing.view_drawing import draw_view
from recon.workshop.drawing.view_sheet import best_sheet, one_view_sheet, side_of
from tests.growing import grow_frame
from tests.workshop.trestles import scaffold, trestle

HOLE = 0.25
SVG = "{http://www.w3.org/2000/svg}"
VIEWS = ("Front", "Top", "Right", "Left", "Rear", "Bottom")


def texts(items):
    return [i for i in items if isinstance(i, Text)]


def titles(sheet):
    return {t.text.removesuffix(" view"): t for t in texts(sheet.items) if t.text.endswith(" view")}


# Which way round


def test_each_view_has_the_next_ones_where_they_belong():
    views = six_views(trestle().members)
    for view in views.values():
        assert np.allclose(np.cross(view.right, view.up), view.towards)
    assert np.allclose(views["Right"].towards, views["Front"].right)
    assert np.allclose(views["Left"].towards, -views["Front"].right)
    assert np.allclose(views["Rear"].towards, -views["Front"].towards)
    assert np.allclose(views["Top"].towards, [0, 0, 1]) and np.allclose(views["Bottom"].towards, [0, 0, -1])
    # From the right the front face is on the left; from above it is at the foot (from memory: ISO 128-3, ASME
    # Y14.3).
    assert np.allclose(views["Right"].right, -views["Front"].towards)
    assert np.allclose(views["Top"].up, -views["Front"].towards)


def test_the_front_is_the_longer_level_side():
    turned = trestle()
    turned = replace(
        turned,
        members=tuple(
            replace(
                m,
                first=(m.first[1], m.first[0], m.first[2]),
                direction=(m.direction[1], m.direction[0], m.direction[2]),
            )
            for m in turned.members
        ),
        joints=(),
    )
    assert six_views(trestle().members)["Front"].seen_from == "\u2212y"
    assert six_views(turned.members)["Front"].seen_from == "+x"


@pytest.mark.parametrize("angle", ANGLES)
def test_views_lie_as_their_projection_wants(angle):
    """First angle: the top view below the front, on its right what is seen from the left; third angle: the
    top view above, on the right what is seen from the right (ISO 128-3 and ISO 5456-2, from memory)."""
    sheet = best_sheet(ViewBoard(trestle(), HOLE), angle)
    at = {name: title.at for name, title in titles(sheet).items()}
    assert (at["Top"][1] < at["Front"][1]) == (angle == "first")
    assert at[{"first": "Left", "third": "Right"}[angle]][0] > at["Front"][0]
    assert f"{angle} angle" in [t.text for t in texts(sheet.items)]
    rings = max(d.at[0] for d in sheet.items if isinstance(d, Disc) and d.radius == 2.0 and not d.layer)
    cone = [a for a in sheet.items if isinstance(a, Area) and len(a.points) == 4 and not a.layer][-1]
    assert (rings > max(p[0] for p in cone.points)) == (
        angle == "first"
    )  # the symbol: circles right of the cone in first angle


def test_a_hole_is_drawn_where_it_is():
    frame = trestle()
    board = ViewBoard(frame, HOLE)
    items = draw_view(board, "Front", 10.0)
    rail = next(m for m in frame.members if m.direction[0] == 1 and m.first[1] == -1)
    view = board.views["Front"]
    centres = {tuple(np.round(d.at, 6)) for d in items if isinstance(d, Disc) and d.layer == rail.id}
    expected = {tuple(np.round(10.0 * view.flat(c), 6)) for c in rail.hole_centres()}
    assert expected == centres
    assert {d.radius for d in items if isinstance(d, Disc) and d.fill == "none"} == {HOLE / 2 * 10.0}


# What is said


@pytest.mark.parametrize("name", VIEWS)
def test_every_member_is_labelled_in_every_view(name):
    frame = trestle()
    words = Counter(
        w.strip("()")
        for t in texts(draw_view(ViewBoard(frame, HOLE), name, 8.0))
        for w in t.text.replace(",", " ").split()
    )
    assert all(words[m.id] == 1 for m in frame.members)


@pytest.mark.parametrize("seed", range(6))
def test_every_lap_in_sight_has_one_tag_with_its_hole_numbers(seed):
    frame = grow_frame(seed, 10)
    board = ViewBoard(frame, HOLE)
    for name in VIEWS:
        tags = Counter(frozenset(through) for _, _, through in board.tags(name))
        drawn = Counter(t.text for t in texts(draw_view(board, name, 8.0)))
        for through, count in tags.items():
            told = [f"{a[0]}{a[1]} {b[0]}{b[1]}" for a in through for b in through if a != b]
            if len(through) == 2:
                assert count == sum(drawn[t] for t in told) == 1


def test_the_drawn_views_show_every_bolt_that_any_view_shows():
    for seed in range(6):
        board = ViewBoard(grow_frame(seed, 12), HOLE)
        shown = {bolt for name in views_needed(board, "Left") for bolt, _, _ in board.tags(name)}
        assert shown == {bolt for name in VIEWS for bolt, _, _ in board.tags(name)}


def test_the_nearer_member_comes_first_in_a_tag():
    a, b = (
        Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 8),
        Member("B", (-1.0, -1.0, 3.0), (1.0, 0.0, 0.0), 8),
    )
    board = ViewBoard(Frame((a, b), find_joints((a, b)), 38.1), HOLE)
    assert [through for _, _, through in board.tags("Front")] == [(("B", 2), ("A", 4))]
    assert [through for _, _, through in board.tags("Rear")] == [(("A", 4), ("B", 2))]
    assert board.tags("Top") == []


def test_bolts_seen_assumed_and_missing_look_different():
    frame = trestle()
    board = ViewBoard(frame, HOLE)
    for name in VIEWS:
        items = draw_view(board, name, 8.0)
        marks = Counter(
            (round(d.at[0], 3), round(d.at[1], 3)) for d in items if isinstance(d, Disc) and d.fill != "none"
        )
        kinds = Counter(
            "none" if bolt is None else "seen" if bolt.seen else "assumed" for bolt, _, _ in board.tags(name)
        )
        assert (kinds["seen"], kinds["assumed"]) == (
            sum(n == 1 for n in marks.values()),
            sum(n == 2 for n in marks.values()),
        )
    unseen = replace(frame, joints=tuple(replace(j, bolt="assumed") for j in frame.joints))
    discs = [d for d in draw_view(ViewBoard(unseen, HOLE), "Front", 8.0) if isinstance(d, Disc)]
    assert not [
        d for d in discs if d.fill == "white"
    ]  # where no bolt was seen there is nothing to tell apart


def test_both_ends_and_every_fifth_hole_are_numbered_on_the_face():
    member = Member("A", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 17)
    items = draw_view(ViewBoard(Frame((member,), (), 38.1), HOLE), "Front", 8.0)
    assert sorted(int(t.text) for t in texts(items) if t.text.isdigit()) == [1, 5, 10, 15, 17]


# How it is said


@pytest.mark.parametrize(
    "frame", [trestle(), grow_frame(1, 14), scaffold(2, 1, 2)], ids=["trestle", "grown", "scaffold"]
)
@pytest.mark.parametrize("name", VIEWS)
def test_no_text_is_written_over_another(frame, name):
    boxes = np.array([t.box for t in texts(draw_view(ViewBoard(frame, HOLE), name, 8.0))])
    low, high = boxes[:, None, :2], boxes[:, None, 2:]
    overlap = (np.minimum(high, boxes[None, :, 2:]) - np.maximum(low, boxes[None, :, :2]) > 0.45).all(axis=2)
    assert np.array_equal(overlap, np.eye(len(boxes), dtype=bool))


def test_dashes_lie_under_no_line_and_no_other_dashes():
    for frame in (trestle(), grow_frame(3, 14)):
        items = draw_view(ViewBoard(frame, HOLE), "Front", 8.0)
        lines = [np.array(p) for i in items if isinstance(i, Lines) and i.pen is OUTLINE for p in i.paths]
        dashes = [np.array(p) for i in items if isinstance(i, Lines) and i.pen is HIDDEN for p in i.paths]
        assert dashes
        for k, dash in enumerate(dashes):
            middle = dash.mean(axis=0)
            for other in lines + dashes[:k] + dashes[k + 1 :]:
                way = other[1] - other[0]
                share = (middle - other[0]) @ way / (way @ way)
                off = np.linalg.norm(other[0] + share * way - middle)
                parallel = abs(np.cross([*way, 0], [*(dash[1] - dash[0]), 0])[2]) < 1e-6
                assert not (parallel and off < 0.01 and 0.001 < share < 0.999)


@pytest.mark.parametrize("name", VIEWS)
def test_a_sheet_states_the_scale_that_it_is_drawn_in(name):
    frame = trestle()
    board = ViewBoard(frame, HOLE)
    sheet = one_view_sheet(board, name)
    ratio = next(
        float(t.text.split("1:")[1].split()[0]) for t in texts(sheet.items) if t.text.startswith("Scale")
    )
    outline = [i for i in sheet.items if isinstance(i, Lines) and i.pen is OUTLINE and i.layer]
    left, bottom, right, top = extent(outline)
    assert (right - left, top - bottom) == pytest.approx(board.span(name) * 38.1 / ratio, abs=0.01)
    assert extent(sheet.items)[0] >= 0 and extent(sheet.items)[2] <= sheet.width
    assert extent(sheet.items)[1] >= 0 and extent(sheet.items)[3] <= sheet.height


def test_sizes_are_told_in_mm_and_inches():
    words = [t.text for t in texts(one_view_sheet(ViewBoard(trestle(), HOLE), "Front").items)]
    assert (
        "876.3 mm (34 1/2 in)" in words and "609.6 mm" in words and "(24 in)" in words
    )  # 23 and 16 pitches of 38.1 mm


def test_a_frame_without_a_pitch_is_drawn_in_pitches():
    words = [t.text for t in texts(one_view_sheet(ViewBoard(trestle(pitch_mm=None), HOLE), "Front").items)]
    assert "23 pitches" in words and "Pitch not known: no scale." in words


def test_the_overview_of_a_large_frame_leaves_words_to_the_single_views():
    frame = scaffold(4, 3, 6)
    board = ViewBoard(frame, HOLE)
    assert not [t for t in texts(best_sheet(board, "first").items) if t.layer]
    assert [t for t in texts(one_view_sheet(board, "Front").items) if t.layer]
    assert side_of("first") == "Left" and side_of("third") == "Right"


# SVG


def test_svg_is_well_formed_and_holds_all_text_whatever_it_is():
    names = ["<script>", "Ä&b", "梁", "\u202e]]>", "\"'", "-->", "G\u0007", "H", "I", "J", "K", "L"]
    frame = trestle(name='<b>&amp;\u0001 "x"')
    frame = rename(frame, {m.id: n for m, n in zip(frame.members, names)})
    tree = ElementTree.fromstring(sheet_svg(best_sheet(ViewBoard(frame, HOLE), "first")))
    told = {t.text for t in tree.iter(f"{SVG}text")}
    assert {"<script>", "Ä&b", "梁", "-->"} <= {w.strip("()") for t in told for w in t.split()}
    assert not list(tree.iter(f"{SVG}script"))
    layers = {g.get("data-layer") for g in tree.iter(f"{SVG}g")}
    assert {"<script>", "梁"} <= layers


def test_svg_is_in_mm():
    tree = ElementTree.fromstring(sheet_svg(Sheet(120, 80, (Disc((30.0, 20.0), 2.0),))))
    assert (tree.get("width"), tree.get("height"), tree.get("viewBox")) == ("120mm", "80mm", "0 0 120 80")
    circle = tree.find(f"{SVG}circle")
    assert (circle.get("cx"), circle.get("cy")) == ("30", "60")  # SVG's y runs downwards


def test_hatching_stays_within_its_polygon():
    square = ((0.0, 0.0), (10.0, 0.0), (10.0, 4.0), (0.0, 4.0))
    lines = hatching(square, 1.0)
    assert len(lines) == pytest.approx(14 / np.sqrt(2), abs=1)  # 14 mm across at 45 degrees, one a mm
    for x, y in np.array(lines).reshape(-1, 2):
        assert -1e-9 <= x <= 10 + 1e-9 and -1e-9 <= y <= 4 + 1e-9


def test_moving_moves_everything():
    items = (
        Disc((1.0, 2.0), 1.0),
        Lines((((0.0, 0.0), (1.0, 1.0)),)),
        Area(((0.0, 0.0), (1.0, 0.0), (0.0, 1.0))),
        Text((2.0, 2.0), "A", 1.0),
    )
    before, after = extent(items), extent(moved(items, 3, 4))
    assert np.allclose(np.subtract(after, before), [3, 4, 3, 4])
