"""Bolts for holes and grips. The standards were not at hand: values beside each check are from memory."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recon.errors import ReconError
from recon.frame.stock import load_stocks
from recon.workshop.hardware.fasteners import (
    INCH,
    INCH_LENGTHS_MM,
    METRIC,
    METRIC_LENGTHS_MM,
    THREADS,
    bolt_length,
    bolt_mass_kg,
    bolt_name,
    bolt_system,
    find_thread,
    least_length_mm,
    nut_mass_kg,
    parse_bolt,
    thread_for,
    thread_length_mm,
    washer_mass_kg,
)

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
    rod = length > lengths[-1] + 1e-6
    # grip, two washers and the nut at their thickest, and a thread past it (ISO 4032, ISO 7089); a rod has
    # two nuts
    left = length - grip - 2 * thread.washer_max_mm - (2 if rod else 1) * thread.nut_mm
    assert left >= (2 if rod else 1) * thread.pitch_mm - 1e-6
    assert rod == bolt_name(thread, length).startswith("threaded rod")
    shorter = [x for x in lengths if x < length - 1e-6]
    assert not shorter or shorter[-1] < least_length_mm(grip, thread)


def test_nuts_are_no_higher_than_their_standards_say():
    # ISO 4032 m max: M8 6.8, M10 8.4, M12 10.8; ASME B18.2.2 H max: 5/16 0.273 in, 3/8 0.337 in; from memory.
    assert [find_thread(n).nut_mm for n in ("M8", "M10", "M12")] == [6.8, 8.4, 10.8]
    assert [find_thread(n).nut_mm / 25.4 for n in ("5/16", "3/8")] == pytest.approx([0.273, 0.337])


def test_threads_are_as_long_as_iso_4014_says():
    # ISO 4014, b for M8: 22 to 125 mm, 28 to 200 mm; M10: 26, 32; from memory.
    assert [
        thread_length_mm(M8, 90),
        thread_length_mm(M8, 160),
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
        (washer_mass_kg(M8), 1.83, 0.02),
        (washer_mass_kg(M10), 3.57, 0.02),
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
        ("1 x 10", "1-8 x 10 in", 254),
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
