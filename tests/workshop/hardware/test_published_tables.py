"""Sizes of bolts, nuts and washers, line by line, against tables that quote the standards.

Each names the table that was read.  "Open library" is FreeCAD_FastenersWB, a library of fasteners whose
tables lie beside its code, in FsData.
"""

import pytest

from recon.workshop.hardware.fasteners import (
    INCH_LENGTHS_MM,
    METRIC_LENGTHS_MM,
    thread_length_mm,
    washer_mass_kg,
)
from recon.workshop.hardware.threads import INCH, METRIC, find_thread

SIZES = ("M4", "M5", "M6", "M8", "M10", "M12", "M16", "M20", "M24")
INCHES = ("1/4", "5/16", "3/8", "7/16", "1/2", "5/8", "3/4", "7/8", "1")


def by_size(values):
    return dict(zip(SIZES, values, strict=True))


def by_inch(values):
    return dict(zip(INCHES, values, strict=True))


def inches(mm):
    return pytest.approx(mm / 25.4, abs=6e-4)  # tables are rounded to 0.001 in, and 11/32 is 0.34375


def name(thread):
    return thread.name.rsplit("-", 1)[0]


def test_the_tables_have_these_sizes():
    assert tuple(t.name for t in METRIC) == SIZES and tuple(map(name, INCH)) == INCHES


def test_bolts_have_pitch_head_and_flats_of_iso_4014_and_iso_4017():
    # engineeringhardware.com, "ISO 4014 Hex Bolts" and "ISO 4017 Hex Bolts": pitch, s, k nom.
    table = ((0.7, 7, 2.8), (0.8, 8, 3.5), (1, 10, 4), (1.25, 13, 5.3), (1.5, 16, 6.4), (1.75, 18, 7.5))
    table += ((2, 24, 10), (2.5, 30, 12.5), (3, 36, 15))
    assert {t.name: (t.pitch_mm, t.head_flats_mm, t.head_mm) for t in METRIC} == by_size(table)


def test_threads_are_as_long_as_iso_4014_says():
    # studbolts.com, AS 1110.1 (the same table): b to 125 mm, to 200 mm and above. M12 to M24: fabory.com.cn,
    # product 223, to 125 and to 200 mm.
    table = {
        "M4": (14, 20, 33),
        "M5": (16, 22, 35),
        "M6": (18, 24, 37),
        "M8": (22, 28, 41),
        "M10": (26, 32, 45),
    }
    table |= {"M12": (30, 36), "M16": (38, 44), "M20": (46, 52), "M24": (54, 60)}
    for size, lengths in table.items():
        thread = find_thread(size)
        for under_head, b in zip((125, 200, 220), lengths):
            assert under_head > thread.longest_mm or thread_length_mm(thread, under_head) == b


def test_metric_lengths_are_those_of_iso_4014():
    # Open library, iso4014length.csv, which leaves out 90.
    listed = (
        12,
        16,
        20,
        25,
        30,
        35,
        40,
        45,
        50,
        55,
        60,
        65,
        70,
        80,
        100,
        110,
        120,
        130,
        140,
        150,
        160,
        180,
        200,
    )
    listed += (220, 240, 260, 280, 300, 320, 340, 360, 380, 400, 420, 440, 460, 480, 500)
    assert set(METRIC_LENGTHS_MM) - {90} == set(listed)


def test_nuts_have_the_sizes_of_iso_4032():
    # m max and s max of the table at engineersedge.com, BS EN ISO 4032:2001.
    table = (
        (3.2, 7),
        (4.7, 8),
        (5.2, 10),
        (6.8, 13),
        (8.4, 16),
        (10.8, 18),
        (14.8, 24),
        (18, 30),
        (21.5, 36),
    )
    assert {t.name: (t.nut_mm, t.nut_flats_mm) for t in METRIC} == by_size(table)


def test_lock_nuts_are_as_high_as_iso_7040_says():
    # h max; open library, iso7040def.csv. M4 to M10 are also at engineersedge.com, ANSI/ASME B18.16.3M.
    table = (6, 6.8, 8, 9.5, 11.9, 14.9, 19.1, 22.8, 27.1)
    assert {t.name: t.lock_nut_mm for t in METRIC} == by_size(table)


def washer(w):
    return w.inside_mm, w.outside_mm, w.thick_mm, w.thickest_mm


def test_plain_washers_are_those_of_iso_7089():
    # d1, d2 and h at engineeringhardware.com, "ISO 7089"; h max: open library, iso7089def.csv.
    table = (
        (4.3, 9, 0.8, 0.9),
        (5.3, 10, 1, 1.1),
        (6.4, 12, 1.6, 1.8),
        (8.4, 16, 1.6, 1.8),
        (10.5, 20, 2, 2.2),
    )
    table += ((13, 24, 2.5, 2.7), (17, 30, 3, 3.3), (21, 37, 3, 3.3), (25, 44, 4, 4.3))
    assert {t.name: washer(t.plain) for t in METRIC} == by_size(table)


def test_large_washers_are_those_of_iso_7093_1():
    # Open library, iso7093def.csv, headed ISO 7093-1: d1 min, d2 max, h, h max.
    table = (
        (4.3, 12, 1, 1.1),
        (5.3, 15, 1, 1.1),
        (6.4, 18, 1.6, 1.8),
        (8.4, 24, 2, 2.2),
        (10.5, 30, 2.5, 2.7),
    )
    table += ((13, 37, 3, 3.3), (17, 50, 3, 3.3), (21, 60, 4, 4.3), (25, 72, 5, 5.6))
    assert {t.name: washer(t.wide) for t in METRIC} == by_size(table)


def test_washers_weigh_what_a_dealer_lists():
    # Grams, DIN 125: ajaxboltco.com, "Standard Washer Weight and Dimensions".
    table = {"M6": 1.02, "M8": 1.83, "M10": 3.57, "M12": 6.27, "M16": 11.3, "M20": 17.2, "M24": 32.3}
    for size, grams in table.items():
        assert 1000 * washer_mass_kg(find_thread(size).plain) == pytest.approx(grams, rel=0.02)


def test_clearance_holes_are_those_of_iso_273():
    # Fine, medium, coarse: engineeringhardware.com, "Clearance Hole Sizes", to M16; M20 and M24 from the open
    # library bd_warehouse, clearance_hole_sizes.csv.
    table = ((4.3, 4.5, 4.8), (5.3, 5.5, 5.8), (6.4, 6.6, 7), (8.4, 9, 10), (10.5, 11, 12), (13, 13.5, 14.5))
    table += ((17, 17.5, 18.5), (21, 22, 24), (25, 26, 28))
    assert {t.name: t.clearance_mm for t in METRIC} == by_size(table)


def test_inch_clearance_holes_are_those_of_asme_b18_2_8():
    # Close, normal, loose: jandesupply.com, "Bolt Clearance Hole Chart". The loose ones, and the normal ones
    # to 7/16, are also in Machinery's Handbook, 31st edition, p. 1741.
    table = ((0.266, 0.281, 0.297), (0.328, 0.344, 0.359), (0.391, 0.406, 0.422), (0.453, 0.469, 0.484))
    table += ((0.531, 0.562, 0.609), (0.656, 0.688, 0.734), (0.781, 0.812, 0.906), (0.906, 0.938, 1.031))
    table += ((1.031, 1.094, 1.156),)
    for thread, holes in zip(INCH, table, strict=True):
        assert holes == tuple(inches(mm) for mm in thread.clearance_mm)


def test_hex_cap_screws_have_heads_and_threads_of_asme_b18_2_1():
    # usefastener.com, "Dimensions of Hex Cap Screws": F max, H max, and LT to 6 in and over 6 in.
    table = ((0.438, 0.163, 0.75, 1), (0.5, 0.211, 0.875, 1.125), (0.562, 0.243, 1, 1.25))
    table += ((0.625, 0.291, 1.125, 1.375), (0.75, 0.323, 1.25, 1.5), (0.938, 0.403, 1.5, 1.75))
    table += ((1.125, 0.483, 1.75, 2), (1.312, 0.563, 2, 2.25), (1.5, 0.627, 2.25, 2.5))
    for thread, (flats, head, short, _) in zip(INCH, table, strict=True):
        assert (flats, head) == (inches(thread.head_flats_mm), inches(thread.head_mm))
        assert short == inches(thread_length_mm(thread, 6 * 25.4))  # longer ones are rods here


def test_inch_lengths_are_listed():
    # Open library, asmeb18.2.1.6length.csv, from 1 in on; it has more between.
    listed = (
        1,
        1.25,
        1.375,
        1.5,
        1.625,
        1.75,
        2,
        2.25,
        2.5,
        2.75,
        3,
        3.25,
        3.5,
        3.75,
        4,
        4.25,
        4.5,
        4.75,
        5,
        5.25,
    )
    listed += (5.5, 6, 6.5, 7, 7.5, 8, 9, 10)
    ours = [mm / 25.4 for mm in INCH_LENGTHS_MM if 25 < mm < 255]
    assert all(any(abs(x - y) < 1e-9 for y in listed) for x in ours)


def test_inch_nuts_have_the_sizes_of_asme_b18_2_2():
    # fastenrsc.com, "Hex & Jam Nut Dimensions": F max and H max.
    table = ((0.438, 0.226), (0.5, 0.273), (0.563, 0.337), (0.688, 0.385), (0.75, 0.448), (0.938, 0.559))
    table += ((1.125, 0.665), (1.312, 0.776), (1.5, 0.887))
    for thread, (flats, high) in zip(INCH, table, strict=True):
        assert (flats, high) == (inches(thread.nut_flats_mm), inches(thread.nut_mm))


def test_inch_lock_nuts_are_as_high_as_asme_b18_16_6_says():
    # fastenrsc.com and boltport.com, style NE: C max.
    table = (0.328, 0.359, 0.468, 0.468, 0.609, 0.765, 0.89, 0.999, 1.078)
    assert {name(t): pytest.approx(t.lock_nut_mm / 25.4) for t in INCH} == by_inch(table)


@pytest.mark.parametrize(
    "series, table",
    [
        # Machinery's Handbook, 31st edition, p. 1694 and 1695, type A, series N and W: inside, outside, basic
        # thickness, greatest. 1/4 and 3/8 to 7/8 are also at portlandbolt.com.
        (
            "plain",
            (
                (0.281, 0.625, 0.065, 0.080),
                (0.344, 0.688, 0.065, 0.080),
                (0.406, 0.812, 0.065, 0.080),
                (0.469, 0.922, 0.065, 0.080),
                (0.531, 1.062, 0.095, 0.121),
                (0.656, 1.312, 0.095, 0.121),
                (0.812, 1.469, 0.134, 0.160),
                (0.938, 1.750, 0.134, 0.160),
                (1.062, 2.000, 0.134, 0.160),
            ),
        ),
        (
            "wide",
            (
                (0.312, 0.734, 0.065, 0.080),
                (0.375, 0.875, 0.083, 0.104),
                (0.438, 1.000, 0.083, 0.104),
                (0.500, 1.250, 0.083, 0.104),
                (0.562, 1.375, 0.109, 0.132),
                (0.688, 1.750, 0.134, 0.160),
                (0.812, 2.000, 0.148, 0.177),
                (0.938, 2.250, 0.165, 0.192),
                (1.062, 2.500, 0.165, 0.192),
            ),
        ),
    ],
)
def test_inch_washers_are_those_of_asme_b18_21_1(series, table):
    for thread, row in zip(INCH, table, strict=True):
        assert tuple(mm / 25.4 for mm in washer(thread.washer(series))) == pytest.approx(row)
