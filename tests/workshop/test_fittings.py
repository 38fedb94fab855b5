"""Fittings in what the workshop makes: bolts, parts and prices, checks, steps, drawings, exports, papers."""

import csv
import io
import json
from dataclasses import replace

import ezdxf
import numpy as np
import openpyxl
import pytest
import trimesh

from recon.frame.files import frame_from_dict, frame_to_dict
from recon.frame.fitting import Fitting
from recon.frame.fitting_boxes import fitting_boxes
from recon.frame.stock import load_stocks
from recon.show.picture import draw_frame
from recon.workshop.assembly.steps import build_steps
from recon.workshop.cutting.drilling import drill_list
from recon.workshop.drawing.member_sheet import unrolled
from recon.workshop.drawing.projections import ViewBoard
from recon.workshop.drawing.vector import Lines, Text
from recon.workshop.drawing.view_drawing import draw_view
from recon.workshop.export.dxf import frame_dxf
from recon.workshop.export.gltf import frame_glb
from recon.workshop.hardware.bolts import find_bolts
from recon.workshop.hardware.fitting_bolts import all_bolts, fitting_bolts
from recon.workshop.papers.compose import compose_papers
from recon.workshop.papers.html import papers_html
from recon.workshop.parts.oversize import OversizeFit
from recon.workshop.parts.parts_formats import parts_csv, parts_dict, parts_html, parts_text
from recon.workshop.parts.parts_list import parts_list
from recon.workshop.parts.prices import load_prices
from recon.workshop.parts.rack import RackUse, as_built, load_rack
from recon.workshop.parts.rack_from_builds import rack_of_frame
from recon.workshop.parts.shopping import shopping_for
from recon.workshop.parts.workbook import parts_workbook
from recon.workshop.rigidity.frame_check import check_frame
from recon.workshop.sides import Sides
from tests.workshop.carts import UP, cart, castor

STOCKS = load_stocks()


BEYOND = (
    "Castor F1 is bolted to 1 hole beyond the end of C, which has 12 holes; choose other holes, or make C "
    "longer."
)
BOTH = (
    "Castor F2 and castor F1 are both bolted to hole 7 of C; move one of them by a hole, or take one longer "
    "bolt for both."
)
LAP = (
    "Castor F1 is bolted to hole 2 of C, where the bolt through hole 3 of A on hole 2 of C is; one longer "
    "bolt through all is in the parts list; else move the fitting by a hole."
)


def texts(frame):
    return [f.text for f in check_frame(frame).findings if f.kind == "fitting"]


def with_fittings(*fittings):
    return replace(cart(), fittings=fittings)


# Bolts


def test_a_bolt_of_a_fitting_clamps_the_member_and_the_plate():
    frame = cart()
    bolts = fitting_bolts(frame)
    assert len(bolts) == 4 * 2 + 4
    assert bolts[0].grip == pytest.approx(1 + 3 / 38.1)
    assert np.allclose(bolts[0].start, [2, 1, -0.5 - 3 / 38.1]) and np.allclose(bolts[0].end, [2, 1, 0.5])
    lines = {(h.name, h.grip_mm): h.count for h in parts_list(frame, STOCKS).hardware if h.kind == "bolt"}
    # softwood-38 is 38.1 mm wide: through it and a 3 mm plate 41.1 mm, through an 18 mm board 56.1 mm
    assert {grip: n for (_, grip), n in lines.items()} == {41.1: 8, 56.1: 4, 76.2: 4}


def test_the_head_lies_on_a_plain_washer_on_a_plate_and_on_a_wide_one_on_a_board():
    fastenings = {b.fitting.id: f for b, f in parts_list(cart(), STOCKS).bolts if b.fitting}
    assert fastenings["F1"].series == ("plain", "wide") and fastenings["F5"].series == ("wide", "wide")


def test_holes_of_fittings_are_drilled_where_only_used_ones_are():
    drilled = {m.member: m for m in drill_list(cart(), STOCKS, only_used=True).members}
    assert {2, 4, 7, 9} <= set(drilled["C"].first_faces) | set(drilled["C"].other_faces)


def test_bolts_of_laps_are_what_they_were_and_none_goes_where_no_hole_is():
    frame = cart()
    assert find_bolts(frame) == find_bolts(replace(frame, fittings=()))
    beyond = with_fittings(castor("F1", "C", (2, 14)))
    assert len(fitting_bolts(beyond)) == 1 and len(all_bolts(beyond)) == 5


# Parts and prices


def test_fittings_that_are_alike_are_one_line_with_what_they_weigh():
    parts = parts_list(cart(), STOCKS)
    castors, board = parts.fittings
    assert (castors.name, castors.count, castors.detail) == ("castor 80", 4, "castor, 100 x 70 x 105 mm")
    assert castors.where[0] == "F1: holes 3 and 5 of C"
    assert (board.name, board.count, board.mass_kg) == ("board 520 x 400 x 18 mm", 1, None)
    bare = parts_list(replace(cart(), fittings=()), STOCKS)
    bolts = sum(h.count * h.mass_kg for h in parts.hardware if h.kind != "fitting")
    assert parts.mass_kg == pytest.approx(parts.members_mass_kg + bolts + 4 * 0.42)
    assert bare.members_mass_kg == parts.members_mass_kg
    assert "F5 has no weight given, and is not counted." in parts.notes


def test_fittings_stand_in_every_form_of_the_parts_list():
    parts = parts_list(cart(), STOCKS)
    text, html = parts_text(parts, cart()), parts_html(parts, cart())
    for form in (text, html):
        assert "Fittings" in form and "castor 80" in form and "F2: holes" in form
        assert "8 for fittings" in form and "No load rating" in form
    rows = {(r["item"], r["id"]): r for r in csv.DictReader(io.StringIO(parts_csv(parts)))}
    assert rows["fitting", "castor 80"]["count"] == "4"
    data = json.loads(json.dumps(parts_dict(parts)))
    assert [b["fitting"] for b in data["bolts"]][-5:] == ["F4", "F5", "F5", "F5", "F5"]


def test_fittings_have_prices_and_are_taken_from_the_rack(tmp_path):
    prices, rack = tmp_path / "prices.csv", tmp_path / "rack.csv"
    prices.write_text("item,id,price,pack,currency\nfitting,castor  80,18,4,EUR\nmetre,softwood-38,4,,EUR\n")
    rack.write_text("item,id,count\nfitting,castor 80,1\n")
    listed = load_prices(prices, STOCKS)
    parts = parts_list(cart(), STOCKS, listed, load_rack(rack, STOCKS))
    castors = parts.fittings[0]
    assert (castors.owned, castors.to_get, castors.cost) == (1, 3, 4.5)
    lines = {line.id: line for line in shopping_for(cart(), STOCKS, parts, listed).lines}
    assert (lines["castor 80"].name, lines["castor 80"].buy, lines["castor 80"].cost) == ("castor 80", 1, 18)


def test_a_build_taken_apart_gives_its_fittings():
    assert rack_of_frame(cart(), STOCKS).hardware["fitting", "castor 80"] == 4


def test_fittings_keep_their_place_on_a_longer_member_from_the_rack():
    frame = cart()
    longer = as_built(frame, RackUse({"C": OversizeFit("C", 14, 2, 0, ())}, (), {}))
    assert longer.fittings[0].holes == (("C", 4), ("C", 6))
    for id, box in fitting_boxes(frame).items():
        assert np.allclose(fitting_boxes(longer)[id].centre, box.centre)


# Checks


def test_a_cart_has_nothing_wrong_with_its_fittings():
    assert texts(cart()) == []


def test_a_hole_that_is_not_there_is_named():
    assert texts(with_fittings(castor("F1", "C", (2, 14)))) == [
        "Castor F1 is bolted to hole 15 of C, which has 12 holes; choose other holes, or make C longer."
    ]
    assert texts(with_fittings(castor("F1", "C", (-5, 2))))[0] == BEYOND


def test_a_member_in_the_room_of_a_fitting_is_named():
    frame = with_fittings(castor("F1", "A", (2, 4)))  # below rail A, where cross rail C runs
    assert "Castor F1 and C take the same room; move the fitting, or correct its size." in texts(frame)


def test_two_fittings_in_one_room_or_one_hole_are_named():
    frame = with_fittings(castor("F1", "C", (4, 6)), castor("F2", "C", (5, 6)))
    assert set(texts(frame)) == {
        BOTH,
        "Castor F1 and castor F2 take the same room; move one of them.",
    }


def test_a_hole_with_the_bolt_of_a_lap_is_named():
    frame = with_fittings(castor("F1", "C", (1, 3)))
    assert texts(frame) == [LAP]
    finding = next(f for f in check_frame(frame).findings if f.kind == "fitting")
    assert finding.members == ("C", "A") and len(finding.joints) == 1


def test_a_board_over_the_end_of_a_bolt_can_have_a_recess():
    board = Fitting("F5", "board", (("A", 4), ("A", 15)), UP, (760, 30, 18), 18.0)
    assert texts(with_fittings(board))[0].endswith("; move it by a hole, or cut a recess into it.")


def test_one_longer_bolt_holds_a_lap_and_the_fitting_where_it_comes_out():
    frame = with_fittings(castor("F1", "C", (1, 3)))
    parts = parts_list(frame, STOCKS)
    grips = sorted(f.grip_mm for _, f in parts.bolts)
    # 38.1 mm of wood twice and 3 mm of plate in the corner, once and the plate in the hole beside it
    assert grips == [41.1, 76.2, 76.2, 76.2, 79.2]
    note = "The bolt through hole 3 of A on hole 2 of C holds castor F1, too: it is longer by 3 mm."
    assert note in parts.notes
    steps = {step.kind: step.text for step in build_steps(frame).steps if step.kind != "turn"}
    assert steps["join"].endswith(
        "The bolt through hole 3 of A on hole 2 of C is the longer one: from step 3 on it holds castor F1, "
        "too."
    )
    assert steps["fit"].startswith(
        "Put on castor F1 (castor 80) at holes 2 and 4 of C, on the bottom side, with 1 bolt, head on top. "
        "In hole 2 of C the joint's longer bolt goes through F1, too: take it out and put it in again."
    )
    # above C, where rail A lies, nothing comes out; and a bolt across the hole is no bolt for it
    above = with_fittings(replace(castor("F1", "C", (1, 3)), face=UP))
    assert len(parts_list(above, STOCKS).bolts) == 6
    side = with_fittings(replace(castor("F1", "C", (1, 3)), face=(-1.0, 0.0, 0.0)))
    assert len(parts_list(side, STOCKS).bolts) == 6
    assert texts(side)[0].endswith("; move the fitting by a hole.")


def test_a_plate_over_the_end_of_a_bolt_is_named():
    frame = with_fittings(castor("F1", "C", (2, 3)))
    assert texts(frame) == [
        "Castor F1 lies on an end of the bolt through hole 3 of A on hole 2 of C; move it by a hole."
    ]


def test_a_fitting_that_does_not_lie_flat_is_named():
    shelf = Fitting("F1", "shelf", (("A", 8), ("C", 5)), UP, (50, 50, 18), 18.0)
    (text,) = texts(with_fittings(shelf))
    assert text.startswith("Shelf F1 does not lie flat: at hole 6 of C the face is up to 38.1 mm")


def test_a_side_without_holes_is_named():
    foot = Fitting("F1", "foot", (("A", 0),), (-1.0, 0.0, 0.0), (50, 50, 18), 5.0)
    (text,) = texts(with_fittings(foot))
    assert text == "Foot F1 lies on a side of A on which no holes open; put it on another side."


def test_without_a_size_the_checks_say_that_nothing_is_known_of_the_room():
    frame = replace(cart(), pitch_mm=None)
    assert texts(frame)[0].startswith("The frame's size is not known")
    assert frame_from_dict(frame_to_dict(frame) | {"stock": None}).fittings == frame.fittings


# Steps, drawings, exports, papers


def test_drawings_show_the_outlines_and_labels_of_fittings():
    board = ViewBoard(cart(), 0.25)
    assert board.span("Front")[1] == pytest.approx(2 + (105 + 18) / 38.1)
    items = draw_view(board, "Front", 10.0)
    layers = {item.layer for item in items if isinstance(item, Lines)}
    assert {"F1", "F3", "F5", "A"} <= layers
    assert {"F1", "F3", "F5"} <= {item.text for item in items if isinstance(item, Text)}
    below = {item.text for item in draw_view(board, "Bottom", 10.0) if isinstance(item, Text)}
    assert {"F1", "F2", "F3", "F4"} <= below


def test_a_board_hides_what_lies_below_it():
    board = ViewBoard(cart(), 0.25)
    bare = ViewBoard(replace(cart(), fittings=()), 0.25)
    assert len(board.scene("Top").open_holes) < len(bare.scene("Top").open_holes)


def test_the_faces_of_a_member_name_the_fittings_on_them():
    frame = cart()
    sides = Sides(frame.members)
    faces = unrolled(frame.member("C"), frame, all_bolts(frame), sides)
    bottom = faces.bolts[faces.names.index("bottom")]
    assert {hole: lap.tag for hole, lap in bottom.items() if lap} == {2: "F1", 4: "F1", 7: "F2", 9: "F2"}


def test_the_dxf_has_a_layer_for_each_fitting():
    document = ezdxf.read(io.StringIO(frame_dxf(cart(), STOCKS).decode()))
    assert "FITTING F5" in document.layers
    lines = [e for block in document.blocks for e in block if e.dxf.layer == "FITTING F1"]
    assert lines


def test_the_glb_has_fittings_as_boxes_of_their_size():
    scene = trimesh.load(io.BytesIO(frame_glb(cart(), STOCKS, drilled=False)), file_type="glb")
    corners = {
        name: scene.geometry[mesh].vertices @ matrix[:3, :3].T + matrix[:3, 3]
        for name, (matrix, mesh) in ((n, scene.graph[n]) for n in scene.graph.nodes_geometry)
    }
    size = np.ptp(corners["F5"], axis=0)  # y is up
    assert np.allclose(size, [0.52, 0.018, 0.4], atol=1e-6)
    assert corners["F1"][:, 1].min() == pytest.approx((-0.5 * 38.1 - 105) / 1000)


def test_the_papers_say_what_is_bolted_where():
    html = papers_html(compose_papers(cart(), STOCKS).document)
    for words in (
        "4 x castor 80 and 1 x board 520 x 400 x 18 mm",
        "castor F1 on hole 3 of C",
        "Put on castors F1, F2, F3 and F4 (castor 80)",
        "No load rating",
    ):
        assert words in html, words


def test_the_picture_shows_fittings():
    with_them, without = draw_frame(cart(), (500, 400)), draw_frame(replace(cart(), fittings=()), (500, 400))
    grey = np.ptp(with_them.astype(int), axis=2) < 8
    pale = (with_them.mean(axis=2) > 90) & (with_them.mean(axis=2) < 225)
    old = (
        (np.ptp(without.astype(int), axis=2) < 8) & (without.mean(axis=2) > 90) & (without.mean(axis=2) < 225)
    )
    assert (grey & pale).sum() > 3 * old.sum()


def test_the_workbook_lists_fittings():
    parts = parts_list(cart(), STOCKS)
    book = openpyxl.load_workbook(io.BytesIO(parts_workbook(parts, shopping_for(cart(), STOCKS, parts))))
    rows = {row[0]: row for row in book["Parts"].iter_rows(values_only=True)}
    assert rows["castor 80"][4] == 4 and "F1: holes 3 and 5 of C" in rows["castor 80"][9]
