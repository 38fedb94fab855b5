"""Bolts for holes and grips: which one, how long, how named and read, how heavy. The standards' tables are
checked in test_published_tables; values beside checks here are from memory."""

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
    washer_mass_kg,
)
from recon.workshop.hardware.threads import THREADS, find_thread
from recon.workshop.hardware.woods import WOODS, with_wood
from recon.workshop.hardware.wrenches import fits, head_wrench, nut_wrench

STOCKS = load_stocks()
M8, M10 = find_thread("M8"), find_thread("M10")


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
