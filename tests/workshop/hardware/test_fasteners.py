"""Bolts for holes and grips. The standards were not at hand: values beside each check are from memory."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recon.errors import ReconError
from recon.frame.stock import load_stocks
from recon.workshop.hardware.fasteners import (
    INCH_LENGTHS_MM,
    METRIC_LENGTHS_MM,
    bolt_length,
    bolt_mass_kg,
    bolt_name,
    bolt_system,
    least_length_mm,
    nut_mass_kg,
    parse_bolt,
    thread_for,
    thread_length_mm,
    washer_mass_kg,
)
from recon.workshop.hardware.threads import INCH, METRIC, THREADS, find_thread
from recon.workshop.hardware.woods import WOODS, with_wood
from recon.workshop.hardware.wrenches import fits, head_wrench, nut_wrench

STOCKS = load_stocks()
M8, M10 = find_thread("M8"), find_thread("M10")


def test_clearance_holes_are_those_of_iso_273():
    # ISO 273:1979, fine, medium, coarse; from memory.
    assert {t.name: t.clearance_mm for t in METRIC if t.name in ("M6", "M8", "M10", "M12")} == {
        "M6": (6.4, 6.6, 7.0),
        "M8": (8.4, 9.0, 10.0),
        "M10": (10.5, 11.0, 12.0),
        "M12": (13.0, 13.5, 14.5),
    }


def test_inch_clearance_holes_are_those_of_asme_b18_2_8():
    # ASME B18.2.8, normal fit, in inches: 1/4 0.281, 5/16 0.344, 3/8 0.406, 1/2 0.562; from memory.
    normal = {t.name: round(t.clearance_mm[1] / 25.4, 3) for t in INCH}
    assert [normal[n] for n in ("1/4-20", "5/16-18", "3/8-16", "1/2-13")] == [0.281, 0.344, 0.406, 0.562]


@pytest.mark.parametrize(
    "hole, metric, inch",
    [
        (9.5, "M8", "5/16-18"),
        (11.1, "M10", "3/8-16"),
        (11.11, "M10", "3/8-16"),
        (9.0, "M8", "5/16-18"),
        (13.5, "M12", "7/16-14"),
        (8.0, "M6", "1/4-20"),
    ],
)
def test_the_thread_is_the_largest_that_passes_the_hole(hole, metric, inch):
    assert (thread_for(hole, "metric").name, thread_for(hole, "inch").name) == (metric, inch)


@given(st.floats(4.6, 60), st.sampled_from(["metric", "inch"]))
def test_a_bolt_always_clears_its_hole(hole, system):
    try:
        thread = thread_for(hole, system)
    except ReconError as error:
        assert system == "inch" and hole < 7.2 and "1/4-20" in str(error)
    else:
        assert thread.d_mm < thread.clearance_mm[0] < thread.clearance_mm[1] <= hole + 0.05


def test_the_punched_posts_and_metric_stock_take_the_bolts_they_are_named_after():
    assert all(thread_for(s.hole_mm, "metric").name in s.name for s in STOCKS.values() if "(M" in s.name)


def test_lengths_are_those_that_are_sold():
    # ISO 888 / ISO 4014 around a lap of two 38.1 mm and two 50 mm members; from memory.
    assert [x for x in METRIC_LENGTHS_MM if 60 <= x <= 130] == [60, 65, 70, 80, 90, 100, 110, 120, 130]
    # ASME B18.2.1 hex bolts as stocked: quarters to 4 in, halves to 8 in; from memory.
    assert [round(x / 25.4, 6) for x in INCH_LENGTHS_MM if 76 < x < 127.1] == [3, 3.25, 3.5, 3.75, 4, 4.5, 5]


def test_the_usual_lap_takes_the_usual_bolt():
    # Two 1.5 in members: 3 1/2 in of 5/16 in, or M8 x 90. Common practice, no source.
    assert bolt_name(find_thread("5/16"), bolt_length(76.2, find_thread("5/16"))) == "5/16-18 x 3 1/2 in"
    assert bolt_name(M8, bolt_length(76.2, M8)) == "M8 x 90"


@given(st.floats(5, 700), st.sampled_from(THREADS))
def test_a_bolt_reaches_through_and_is_the_next_that_is_sold(grip, thread):
    lengths = METRIC_LENGTHS_MM if thread.system == "metric" else INCH_LENGTHS_MM
    length = bolt_length(grip, thread)
    rod = length > thread.longest_mm + 1e-6
    # grip, two washers and the nut at their thickest, and a thread past it (ISO 4032, ISO 7089); a rod has
    # two nuts
    left = length - grip - 2 * thread.plain.thickest_mm - (2 if rod else 1) * thread.nut_mm
    assert left >= (2 if rod else 1) * thread.pitch_mm - 1e-6
    assert rod == bolt_name(thread, length).startswith("threaded rod")
    shorter = [x for x in lengths if x < min(length, thread.longest_mm + 1) - 1e-6]
    assert not shorter or shorter[-1] < least_length_mm(grip, thread)


def test_nuts_are_no_higher_than_their_standards_say():
    # ISO 4032 m max: M8 6.8, M10 8.4, M12 10.8; ASME B18.2.2 H max: 5/16 0.273 in, 3/8 0.337 in; from memory.
    assert [find_thread(n).nut_mm for n in ("M8", "M10", "M12")] == [6.8, 8.4, 10.8]
    assert [find_thread(n).nut_mm / 25.4 for n in ("5/16", "3/8")] == pytest.approx([0.273, 0.337])


def test_threads_are_as_long_as_iso_4014_says():
    # ISO 4014, b for M8: 22 to 125 mm, 28 to 200 mm; M10: 26, 32; from memory.
    assert [
        thread_length_mm(M8, 90),
        thread_length_mm(M8, 150),
        thread_length_mm(M10, 100),
        thread_length_mm(M10, 150),
    ] == [
        22,
        28,
        26,
        32,
    ]


@pytest.mark.parametrize(
    "mass, grams, within",
    [
        # Per thousand, ISO 4032 and ISO 7089 in suppliers' tables; from memory.
        (nut_mass_kg(M8), 5.2, 0.1),
        (nut_mass_kg(M10), 11.6, 0.15),
        (washer_mass_kg(M8.plain), 1.83, 0.02),
        (washer_mass_kg(M10.plain), 3.57, 0.02),
    ],
)
def test_nuts_and_washers_weigh_what_tables_say(mass, grams, within):
    assert 1000 * mass == pytest.approx(grams, rel=within)


def test_a_bolt_weighs_its_shank_and_head():
    # plain shapes: a cylinder and a hexagonal prism, of area (3 / 2) s^2 tan 30 across flats s
    volume = math.pi * 16 * 90 + 1.5 * 13**2 * math.tan(math.pi / 6) * 5.3
    assert bolt_mass_kg(M8, 90) == pytest.approx(volume * 7850e-9)


@pytest.mark.parametrize(
    "text, name, mm",
    [
        ("M8x90", "M8 x 90", 90),
        (" m8 X 90 mm", "M8 x 90", 90),
        ("M10×100", "M10 x 100", 100),
        ("3/8 x 3 3/4", "3/8-16 x 3 3/4 in", 95.25),
        ('5/16-18 x 3-1/2"', "5/16-18 x 3 1/2 in", 88.9),
        ("1/4 in x 2 in", "1/4-20 x 2 in", 50.8),
        ("1 x 6", "1-8 x 6 in", 152.4),
        ("threaded rod M8 x 520", "threaded rod M8 x 520", 520),
        ("M8x520", "threaded rod M8 x 520", 520),
    ],
)
def test_a_bolt_is_read_as_people_write_it(text, name, mm):
    thread, length = parse_bolt(text)
    assert length == pytest.approx(mm) and bolt_name(thread, length) == name


@pytest.mark.parametrize(
    "text", ["", "M8", "90", "M9x20", "8x90", "M8x", "M8 x 3/0 in", "M8 x 0", "bolt", "5/16"]
)
def test_what_is_no_bolt_is_refused(text):
    with pytest.raises(ReconError):
        parse_bolt(text)


@given(st.text(max_size=20))
def test_any_text_is_a_bolt_or_a_sentence(text):
    try:
        assert parse_bolt(text)[1] > 0
    except ReconError as error:
        assert str(error)


def test_inch_stock_takes_inch_bolts_and_metric_stock_metric_ones():
    assert [
        bolt_system(STOCKS[id]) for id in ("softwood-38", "post-2-083", "softwood-40", "aluminium-25")
    ] == ["inch", "inch", "metric", "metric"]


# Against published tables


def test_hex_cap_screws_have_the_heads_of_asme_b18_2_1():
    # Width across flats and greatest head height, in: usefastener.com, "Dimensions of Hex Cap Screws".
    table = {"1/4": (0.438, 0.163), "5/16": (0.5, 0.211), "3/8": (0.562, 0.243), "7/16": (0.625, 0.291)}
    table |= {"1/2": (0.75, 0.323), "5/8": (0.938, 0.403), "3/4": (1.125, 0.483), "1": (1.5, 0.627)}
    for name, (flats, height) in table.items():
        thread = find_thread(name)
        assert thread.head_flats_mm / 25.4 == pytest.approx(flats, abs=6e-4)
        assert thread.head_mm / 25.4 == pytest.approx(height)
    assert find_thread("7/16").nut_flats_mm / 25.4 == 11 / 16  # ASME B18.2.2 at fastenrsc.com


def test_nuts_have_the_sizes_of_iso_4032():
    # m max and s max of the table at engineersedge.com, BS EN ISO 4032:2001.
    table = {"M4": (3.2, 7), "M5": (4.7, 8), "M6": (5.2, 10), "M8": (6.8, 13), "M10": (8.4, 16)}
    table |= {"M12": (10.8, 18), "M16": (14.8, 24), "M20": (18, 30), "M24": (21.5, 36)}
    assert {t.name: (t.nut_mm, t.nut_flats_mm) for t in METRIC} == table


def test_wide_washers_are_those_of_asme_b18_21_1():
    # Outside diameter and thickness, in, series W: Dimensions of Type A Plain Washers at portlandbolt.com.
    table = {"1/4": (0.734, 0.065), "3/8": (1.0, 0.083), "1/2": (1.375, 0.109), "3/4": (2.0, 0.148)}
    for name, (outside, thick) in table.items():
        washer = find_thread(name).wide
        assert (washer.outside_mm / 25.4, washer.thick_mm / 25.4) == pytest.approx((outside, thick))


def test_wide_washers_reach_further_than_plain_ones_and_stay_on_the_member():
    for thread in THREADS:
        assert thread.wide.outside_mm > thread.plain.outside_mm and thread.wide.inside_mm > thread.d_mm
    for stock in STOCKS.values():
        if stock.wood:
            thread = thread_for(stock.hole_mm, bolt_system(stock))
            assert thread.wide.outside_mm < stock.width_mm


@pytest.mark.parametrize(
    "bolt, words",
    [
        ("M8 x 90", "spanner 13 mm"),  # 1/2 in, 12.70 mm, does not go on: least width 12.73, ISO 4032
        ("M6 x 60", "spanner 10 mm"),  # nor 3/8 in, 9.53 mm, on 9.78
        ("M10 x 90", "spanner 16 mm (17 mm on older ones, DIN 931 and 934)"),
        ("M12 x 90", "spanner 18 mm (19 mm on older ones, DIN 931 and 934)"),
        ("5/16 x 3 1/2", "wrench 1/2 in"),
        ("7/16 x 4", "wrench 5/8 in (16 mm fits, too)"),
        ("3/4 x 4", "wrench 1 1/8 in"),
    ],
)
def test_a_wrench_of_the_other_system_is_named_only_where_it_fits(bolt, words):
    assert head_wrench(*parse_bolt(bolt)) == words


def test_nuts_of_7_16_take_another_wrench_than_heads():
    assert nut_wrench("7/16-14") == "wrench 11/16 in" and nut_wrench("7/16-14 lock").startswith(
        "wrench 5/8 in"
    )
    assert not fits(12.7, 13) and not fits(9.525, 10) and fits(19.05, 19)


def test_bolts_longer_than_are_sold_are_threaded_rod():
    assert bolt_name(find_thread("M6"), bolt_length(200, find_thread("M6"))).startswith("threaded rod M6 x ")
    assert bolt_name(find_thread("3/8"), bolt_length(310, find_thread("3/8"))).startswith(
        "threaded rod 3/8-16 x "
    )


def test_species_weigh_what_their_sources_say():
    # owic.oregonstate.edu, metric table: Douglas-fir 545, western larch 577, Engelmann spruce 432 air dry;
    # europeanwood.org: spruce 441, Scots pine 520 at 12 %.
    names = ("douglas-fir", "western-larch", "engelmann-spruce", "norway-spruce", "scots-pine")
    assert [WOODS[n].density_kg_m3 for n in names] == [545, 577, 432, 441, 520]
    assert all(wood.source for wood in WOODS.values())
    with pytest.raises(ReconError, match="no density of 'balsa'"):
        with_wood(STOCKS, "balsa")
    assert with_wood(STOCKS, "Scots pine")["steel-38"] == STOCKS["steel-38"]
