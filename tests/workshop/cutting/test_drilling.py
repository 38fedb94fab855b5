"""Marking out: holes where the frame has them, through the faces that bolts go through, and a true jig."""

import csv
import io
from dataclasses import replace

import numpy as np
import pypdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recon.frame.model import section_axes
from recon.frame.stock import load_stocks
from recon.workshop.cutting.cut_list import cut_list
from recon.workshop.cutting.drilling import (
    bit_words,
    drill_csv,
    drill_list,
    drill_rows,
    how_to_drill,
    place_rows,
    undrilled,
)
from recon.workshop.cutting.jig_sheet import RULER_MM, jig_sheet
from recon.workshop.drawing.paper import PAPERS
from recon.workshop.drawing.vector import Disc, Lines, Text, extent
from recon.workshop.hardware.bolts import find_bolts
from recon.workshop.papers.blocks import Document, Drawing, Section
from recon.workshop.papers.choices import PapersChoices
from recon.workshop.papers.compose import compose_papers
from recon.workshop.papers.drill_blocks import drill_blocks
from recon.workshop.papers.pdf import papers_pdf, print_area
from recon.workshop.parts.rack import OwnedStick, Rack
from tests.growing import grow_frame
from tests.workshop.frames import gate

STOCKS = load_stocks()


def test_places_count_from_the_end_and_the_first_is_half_a_pitch_in():
    drills = drill_list(gate(), STOCKS)
    # 38.1 mm is 1 1/2 in: 3/4 in, 2 1/4 in, 3 3/4 in
    assert place_rows(drills)[:3] == [
        ("1", "19.1", "3/4 in"),
        ("2", "57.2", "2 1/4 in"),
        ("3", "95.3", "3 3/4 in"),
    ]
    assert [drills.place_mm(k) for k in (0, 11)] == [19.05, 438.15]
    assert len(place_rows(drills)) == 12


@settings(max_examples=15)
@given(st.integers(0, 10_000))
def test_used_holes_are_those_of_the_bolts_through_the_faces_that_they_cross(seed):
    frame = grow_frame(seed, 9)
    drills = drill_list(frame, STOCKS, only_used=True)
    wanted = {}
    for bolt in find_bolts(frame):
        for id, hole in bolt.through:
            u, _ = section_axes(frame.member(id))
            pair = "u" if abs(np.dot(u, bolt.axis)) > 0.9 else "v"
            wanted.setdefault(id, {}).setdefault(pair, set()).add(hole)
    for m in drills.members:
        pairs = [set(m.first_faces), set(m.other_faces)]
        assert sorted(map(sorted, (p for p in pairs if p))) == sorted(
            map(sorted, wanted.get(m.member, {}).values())
        )
        assert len(m.first_faces) >= len(m.other_faces)


def test_all_holes_go_through_both_pairs_and_members_alike_share_a_row():
    rows = drill_rows(drill_list(gate(), STOCKS))
    assert [row[:4] for row in rows] == [
        ("A B", "12", "all, 1 to 12", "all, 1 to 12"),
        ("C D", "11", "all, 1 to 11", "all, 1 to 11"),
        ("E", "6", "all, 1 to 6", "all, 1 to 6"),
    ]
    used = drill_rows(drill_list(gate(), STOCKS, only_used=True))
    assert ("A", "12", "3, 6, 10", "none", "9.5 mm (3/8 in)", "front") in used


def test_the_bit_has_an_inch_size_only_where_there_is_one():
    assert [bit_words(mm) for mm in (9.5, 11.1, 9.0, 6.6)] == [
        "9.5 mm (3/8 in)",
        "11.1 mm (7/16 in)",
        "9 mm",
        "6.6 mm",
    ]
    assert "both faces, drill from each to the middle" in " ".join(how_to_drill(drill_list(gate(), STOCKS)))


def test_the_csv_has_a_row_for_each_hole():
    rows = list(csv.DictReader(io.StringIO(drill_csv(drill_list(gate(), STOCKS, only_used=True)))))
    laps = {(id, hole + 1) for bolt in find_bolts(gate()) for id, hole in bolt.through}
    assert {(r["member"], int(r["hole"])) for r in rows} == laps
    assert all(float(r["from_end_mm"]) == pytest.approx((int(r["hole"]) - 0.5) * 38.1) for r in rows)


@pytest.mark.parametrize("paper", PAPERS)
def test_the_jig_is_at_full_size_on_paper(paper):
    sheet = jig_sheet(38.1, 38.1, 9.5, print_area(paper))
    holes = sorted((i.at[1] for i in sheet.items if isinstance(i, Disc)), reverse=True)
    assert len(holes) >= 4 and np.allclose(np.diff(holes), -38.1)
    assert all(i.radius == 4.75 for i in sheet.items if isinstance(i, Disc))
    low, high = extent(sheet.items)[:2], extent(sheet.items)[2:]
    assert min(low) >= 0 and high[0] <= sheet.width and high[1] <= sheet.height
    # In the PDF, read back, hole numbers that are 38.1 mm apart are 108 points apart.
    data = papers_pdf(Document("Jig", paper, (Section("Jig", ()), Section("Jig", (Drawing(sheet, True),)))))
    places = {}

    def visit(text, cm, tm, font, size):
        if text.strip() in ("1", "2", "3", "4"):
            places.setdefault(int(text), np.dot(tm[4:6], [cm[1], cm[3]]) + cm[5])

    pypdf.PdfReader(io.BytesIO(data)).pages[-1].extract_text(visitor_text=visit)
    assert np.diff([places[n] for n in (1, 2, 3, 4)]) == pytest.approx([-108.0] * 3, abs=0.01)
    ruler = [i for i in sheet.items if isinstance(i, Lines)][-1]
    assert extent([ruler])[2] - extent([ruler])[0] == pytest.approx(RULER_MM)
    assert any("100 %" in i.text for i in sheet.items if isinstance(i, Text))


def test_papers_of_stock_that_comes_undrilled_say_how_to_drill_it():
    plain = compose_papers(gate(), STOCKS)
    assert "Marking out and drilling" not in [s.title for s in plain.document.sections]
    blank = compose_papers(gate(), STOCKS, PapersChoices(cutting={"drilled": False}))
    (section,) = (s for s in blank.document.sections if s.title == "Marking out and drilling")
    assert any(isinstance(b, Drawing) and b.sheet.title == "Drilling jig" for b in section.blocks)


def test_stocks_of_one_section_share_a_jig():
    frame = gate()
    mixed = replace(frame, members=(replace(frame.members[0], stock="hardwood-38"), *frame.members[1:]))
    for made in (frame, mixed):
        blocks = list(drill_blocks(made, STOCKS, False, print_area("a4")))
        assert sum(isinstance(b, Drawing) for b in blocks) == 1


def test_only_members_from_sticks_that_are_not_drilled_are_drilled():
    drilled, blank = (
        OwnedStick("softwood-38", mm, drilled=state) for mm, state in ((914.4, True), (1200.0, False))
    )
    cuts = cut_list(gate(), STOCKS, rack=Rack(sticks=(drilled, blank)))
    own = {p.member for plan in cuts.plans for s in plan.sticks if s.holes_mm for p in s.pieces}
    only = undrilled(cuts)
    assert own and only == {m.id for m in gate().members} - own
    assert {m.member for m in drill_list(gate(), STOCKS, only=only).members} == only
    assert undrilled(cut_list(gate(), STOCKS)) is None
