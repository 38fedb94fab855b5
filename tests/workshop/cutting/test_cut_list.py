"""The cut list: cuts midway between holes, nothing too short, every member once."""

import csv
import io
import json
import re
import xml.etree.ElementTree as ElementTree
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recon.errors import ReconError
from recon.frame.caution import CAUTION
from recon.frame.files import load_frame
from recon.frame.stock import load_stocks
from recon.workshop.cutting.cut_formats import DRAWING_MM, cut_csv, cut_dict, cut_html, cut_svg, cut_text
from recon.workshop.cutting.cut_list import cut_list
from recon.workshop.cutting.lay_out import usable_holes
from recon.workshop.cutting.sticks_drawing import MARGIN
from recon.workshop.parts.prices import PriceList
from recon.workshop.parts.rack import OwnedStick, Rack, use_rack
from tests.growing import grow_frame
from tests.workshop.frames import X, framed, gate, member

STOCKS = load_stocks()
CASES = Path(__file__).parents[2] / "data" / "workshop"
P = 38.1


def sticks_of(cuts):
    return [stick for plan in cuts.plans for stick in plan.sticks]


def check(cuts, frame, kerf=3.2, tol=0.5):
    """Every member is cut once, from pieces that lie in their sticks apart, with cuts where the holes allow
    them."""
    pieces = [(p.member, p.holes) for stick in sticks_of(cuts) for p in stick.pieces]
    assert sorted(pieces) == sorted((m.id, m.holes) for m in frame.members)
    for stick in sticks_of(cuts):
        ends = [0.0] + [e for p in stick.pieces for e in (p.start_mm, p.end_mm)] + [stick.length_mm]
        assert ends == sorted(ends)
        for piece in stick.pieces:
            length = piece.end_mm - piece.start_mm
            assert (
                piece.holes * cuts.pitch_mm - 2 * (kerf / 2 + tol) - 1e-6
                <= length
                <= piece.holes * cuts.pitch_mm + 1e-6
            )
        for left, right in zip(stick.pieces, stick.pieces[1:]):
            assert right.start_mm - left.end_mm == pytest.approx(kerf)
        for cut, hole in zip(stick.cuts_mm, stick.after_hole):
            before, after = (
                stick.holes_mm[hole - 1] if hole else None,
                stick.holes_mm[hole] if hole < len(stick.holes_mm) else None,
            )
            if before is not None and after is not None:
                assert cut == pytest.approx((before + after) / 2)
        if stick.holes_mm:
            for piece in stick.pieces:
                inside = [h for h in stick.holes_mm if piece.start_mm < h < piece.end_mm]
                assert len(inside) == piece.holes
                # half a pitch past the first and the last hole, less half a kerf where it is sawn
                assert P / 2 - kerf / 2 - tol <= inside[0] - piece.start_mm <= P / 2 + 1e-6
                assert P / 2 - kerf / 2 - tol <= piece.end_mm - inside[-1] <= P / 2 + 1e-6


def test_a_small_frame_is_cut_midway_between_holes():
    cuts = cut_list(gate(), STOCKS)
    check(cuts, gate())
    (plan,) = cuts.plans
    assert plan.buy == ((2438.0, 1),) and plan.optimal and plan.amount == plan.bound == 2438
    assert plan.waste_mm == pytest.approx(2438 - 52 * P)
    assert any("1.6 mm short" in note for note in cuts.notes)


@settings(max_examples=10)
@given(
    st.integers(0, 10_000), st.booleans(), st.sampled_from([0.0, 15.0]), st.sampled_from([None, 12.7, 30.0])
)
def test_grown_frames_are_cut_right(seed, drilled, trim, first):
    frame = grow_frame(seed, 12)
    cuts = cut_list(frame, STOCKS, drilled=drilled, trim_mm=trim, first_hole_mm=first if drilled else None)
    check(cuts, frame)
    if not drilled:
        assert not any(stick.holes_mm or stick.after_hole for stick in sticks_of(cuts))


def test_kerf_takes_no_room_in_drilled_sticks_and_does_in_others():
    frame = framed(*(member("ABCDE"[k], (0, 4 * k, 0), X, 8) for k in range(4)))
    assert cut_list(frame, STOCKS, lengths_mm=[32 * P]).plans[0].buy == ((32 * P, 1),)
    assert cut_list(frame, STOCKS, lengths_mm=[32 * P], drilled=False).plans[0].buy == ((32 * P, 2),)
    assert cut_list(frame, STOCKS, lengths_mm=[32 * P + 3 * 3.2], drilled=False).plans[0].buy == (
        (32 * P + 9.6, 1),
    )


@pytest.mark.parametrize(
    "stick, first, count",
    [
        (OwnedStick("softwood-38", 64 * P), 0, 64),
        (OwnedStick("softwood-38", 2438), 0, 64),
        (OwnedStick("softwood-38", 64 * P - 5), 0, 63),
        (OwnedStick("softwood-38", 64 * P, 1, P), 0, 63),
        (OwnedStick("softwood-38", 64 * P, 1, 10), 1, 63),
        (OwnedStick("softwood-38", 64 * P, 1, P / 2, True, 20), 1, 62),
        (OwnedStick("softwood-38", 20), 0, 0),
    ],
)
def test_a_stick_gives_the_holes_with_half_a_pitch_on_both_sides(stick, first, count):
    assert usable_holes(stick, P, 3.2) == (first, count)


def test_owned_sticks_and_members_are_cut_before_any_is_bought():
    rack = Rack({("softwood-38", 25): 1}, (OwnedStick("softwood-38", 1000),))
    used = use_rack(gate(), rack, STOCKS)
    assert not used.used and used.left == {("softwood-38", 25): 1}
    cuts = cut_list(gate(), STOCKS, rack=rack, used=used, lengths_mm=[457.2])
    check(cuts, gate())
    assert [s.owned for s in sticks_of(cuts)] == [True, True, False] and cuts.plans[0].buy == ((457.2, 1),)


def test_members_that_come_whole_are_not_cut():
    rack = Rack({("softwood-38", 12): 2})
    used = use_rack(gate(), rack, STOCKS)
    cuts = cut_list(gate(), STOCKS, rack=rack, used=used)
    assert {p.member for s in sticks_of(cuts) for p in s.pieces} == {"C", "D", "E"}
    assert any("A and B" in note for note in cuts.notes)


def test_prices_of_sticks_decide_what_is_bought():
    dear = PriceList(
        "EUR", stick={("softwood-38", 2438): 20.0, ("softwood-38", 28 * P): 3.0, ("softwood-38", 3048): 30.0}
    )
    plan = cut_list(gate(), STOCKS, prices=dear).plans[0]
    assert (
        plan.by_price
        and plan.buy == ((28 * P, 2),)
        and plan.cost == plan.amount == plan.bound == 6.0
        and plan.optimal
    )
    by_metre = cut_list(gate(), STOCKS, prices=PriceList("EUR", {"softwood-38": 5.0})).plans[0]
    assert not by_metre.by_price and by_metre.cost == pytest.approx(2.438 * 5)
    assert cut_list(gate(), STOCKS).cost is None


def test_lengths_without_a_price_are_left_out_and_told():
    prices = PriceList("EUR", stick={("softwood-38", 2438): 20.0})
    cuts = cut_list(gate(), STOCKS, prices=prices, lengths_mm=[2438, 3000])
    assert cuts.plans[0].buy == ((2438.0, 1),) and any("3000 mm: left out" in note for note in cuts.notes)


def test_each_stock_has_a_plan_of_its_own():
    frame = gate()
    frame = replace(
        frame, members=tuple(replace(m, stock="aluminium-38") if m.id in "CD" else m for m in frame.members)
    )
    cuts = cut_list(frame, STOCKS)
    assert [plan.stock for plan in cuts.plans] == ["aluminium-38", "softwood-38"]
    check(cuts, frame)


@pytest.mark.parametrize(
    "change, options, words",
    [
        ({}, {"kerf_mm": 30.0}, ["kerf of 30 mm reaches the holes", "28.6 mm", "thinner"]),
        (
            {},
            {"lengths_mm": [400.0]},
            ["Members A and B have 12 holes", "457.2 mm (18 in)", "400 mm", "longer ones"],
        ),
        ({"pitch_mm": None}, {}, ["pitch is not known"]),
        (
            {"members": (member("A", (0, 0, 0), X, 5, stock=None),), "joints": (), "stock": None},
            {},
            ["member A is not known"],
        ),
    ],
)
def test_what_cannot_be_cut_is_told(change, options, words):
    with pytest.raises(ReconError) as error:
        cut_list(replace(gate(), **change), STOCKS, **options)
    assert all(word in str(error.value) for word in words)


def test_too_few_owned_sticks_and_no_length_to_buy_is_told():
    stocks = STOCKS | {"softwood-38": replace(STOCKS["softwood-38"], lengths_mm=())}
    rack = Rack(sticks=(OwnedStick("softwood-38", 1000),))
    with pytest.raises(ReconError, match="give lengths to buy"):
        cut_list(gate(), stocks, rack=rack)
    with pytest.raises(ReconError, match="No length of softwood-38 is known"):
        cut_list(gate(), stocks)
    assert (
        cut_list(gate(), stocks, rack=Rack(sticks=(OwnedStick("softwood-38", 1000, 3),))).plans[0].buy == ()
    )


# Papers


def test_the_picture_shows_every_piece_cut_and_hole_to_scale():
    cuts = cut_list(gate(), STOCKS)
    sticks = sticks_of(cuts)
    root = ElementTree.fromstring(cut_svg(cuts))
    space = "{http://www.w3.org/2000/svg}"
    texts = [t.text for t in root.iter(space + "text")]
    for piece in sticks[0].pieces:
        assert any(t.startswith(f"{piece.member}:") and str(piece.holes) in t for t in texts)
    holes = sorted(float(c.get("cx")) for c in root.iter(space + "circle"))
    assert len(holes) == len(sticks[0].holes_mm) == 64
    # the first and the last hole are 63 pitches apart
    assert holes[-1] - holes[0] == pytest.approx(63 * P * (DRAWING_MM - 2 * MARGIN) / 2438, abs=0.02)
    for cut, hole in zip(sticks[0].cuts_mm, sticks[0].after_hole):
        assert f"{cut:.1f}".removesuffix(".0") + f" | {hole}" in texts


def test_a_picture_of_sticks_not_drilled_tells_lines_in_mm_and_fractions():
    cuts = cut_list(gate(), STOCKS, drilled=False)
    lines = [line for stick in sticks_of(cuts) for line in stick.lines_mm]
    assert len(lines) > 2
    texts = [t.text for t in ElementTree.fromstring(cut_svg(cuts)).iter("{http://www.w3.org/2000/svg}text")]
    assert all(any(t.startswith(f"{line:.1f}".removesuffix(".0")) for t in texts) for line in lines)
    assert any(re.search(r"\(\d+ \d+/\d+ in\)", text) for text in texts)
    assert not any("|" in text for text in texts)


@pytest.mark.parametrize("trim", [0.0, 20.0])
def test_sawing_beside_the_line_as_the_list_says_gives_every_piece_its_length(trim):
    # A saw of 3.2 mm, along the sides that the list names: what is left between the kerfs are the pieces.
    cuts = cut_list(gate(), STOCKS, drilled=False, kerf_mm=3.2, trim_mm=trim)
    for stick in sticks_of(cuts):
        kerfs = [(mm + (s - 1) * 1.6, mm + (s + 1) * 1.6) for mm, s in zip(stick.lines_mm, stick.sides)]
        edges = [0.0, *(edge for kerf in kerfs for edge in kerf), stick.length_mm]
        wood = list(zip(edges[::2], edges[1::2]))
        for piece in stick.pieces:
            assert any(
                a == pytest.approx(piece.start_mm) and b == pytest.approx(piece.end_mm) for a, b in wood
            ) and piece.end_mm - piece.start_mm == pytest.approx(piece.holes * P)
    text = " ".join(cut_text(cuts).split())
    assert "kerf of 3.2 mm on the right of each line" in text
    assert ("there the kerf lies on the left" in text) == bool(trim)


def test_shears_take_nothing_and_a_thick_blade_is_named():
    cuts = cut_list(gate(), STOCKS, drilled=False, kerf_mm=0.0)
    assert all(stick.lines_mm == stick.cuts_mm for stick in sticks_of(cuts))
    assert not any("thinner" in note for note in cut_list(gate(), STOCKS).notes)
    (note,) = (n for n in cut_list(gate(), STOCKS, kerf_mm=28.5).notes if "thinner" in n)
    assert "leaves 0.1 mm at the end holes of softwood-38, of 14.3 mm" in note  # (38.1 - 9.5 - 28.5) / 2


def test_no_waste_is_less_than_nothing():
    # Four members of 16 holes, 2438.4 mm together, from sticks that are listed as 2438 mm.
    cuts = cut_list(load_frame(CASES / "four16.json", STOCKS), STOCKS)
    assert cuts.plans[0].waste_mm == 0 and cuts.plans[0].waste_share == 0
    text = " ".join(cut_text(cuts).split())
    assert "Nothing is wasted." in text and "-0" not in text


def test_the_picture_has_no_colour():
    svg = cut_svg(cut_list(gate(), STOCKS))
    root = ElementTree.fromstring(svg)
    colours = {e.get(key) for e in root.iter() for key in ("fill", "stroke") if e.get(key)} - {
        "black",
        "white",
        "none",
    }
    assert colours and all(re.fullmatch(r"#(..)\1\1", colour) for colour in colours)


def test_the_csv_reads_back_as_the_plan():
    cuts = cut_list(gate(), STOCKS)
    rows = list(csv.DictReader(io.StringIO(cut_csv(cuts))))
    assert Counter(int(r["holes"]) for r in rows) == Counter(m.holes for m in gate().members)
    assert [float(r["cut_mm"]) for r in rows] == list(cuts.plans[0].sticks[0].cuts_mm)
    assert {r["kerf_side"] for r in rows} == {"both"} and rows[0]["line_in"] == "18 in"
    assert [int(r["cut_after_hole"]) for r in rows] == list(cuts.plans[0].sticks[0].after_hole)


@pytest.mark.parametrize("sheet", [cut_text, cut_html])
def test_every_sheet_says_the_caution_once_and_whether_it_is_the_best(sheet):
    text = " ".join(sheet(cut_list(gate(), STOCKS), "Brackwater gate").replace("\u00a0", " ").split())
    assert text.count(CAUTION) == 1 and "Brackwater gate" in text
    assert "No way of cutting has a lower length to buy" in text and "A 12, B 12, C 11, D 11, E 6" in text


def test_the_json_holds_the_same():
    data = json.loads(json.dumps(cut_dict(cut_list(gate(), STOCKS))))
    assert (
        data["plans"][0]["buy"] == [{"length_mm": 2438.0, "count": 1}] and data["plans"][0]["optimal"] is True
    )
    assert [p["member"] for p in data["plans"][0]["sticks"][0]["pieces"]] == ["A", "B", "C", "D", "E"]
