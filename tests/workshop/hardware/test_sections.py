"""Sections, holes and weights, against handbooks and against counting points."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recon.frame.stock import load_stocks
from recon.workshop.hardware.sections import hole_volume_mm3, member_mass_kg, section_area_mm2

STOCKS = load_stocks()
WOOD, STEEL, ALUMINIUM = STOCKS["softwood-38"], STOCKS["steel-38"], STOCKS["aluminium-38"]


def tube(width, wall, material="steel", hole=1.0):
    return replace(STEEL, width_mm=width, wall_mm=wall, material=material, hole_mm=hole, pitch_mm=width)


@pytest.mark.parametrize(
    "width, wall, kg_per_m", [(40, 3, 3.30), (50, 3, 4.25), (50, 5, 6.56), (100, 5, 14.4)]
)
def test_steel_tube_weighs_what_the_tables_of_en_10219_say(width, wall, kg_per_m):
    # EN 10219-2, cold-formed square hollow sections, mass per metre: from memory.
    assert section_area_mm2(tube(width, wall)) * 7850e-6 == pytest.approx(kg_per_m, rel=0.004)


@pytest.mark.parametrize(
    "id, lb_per_ft",
    [("post-2-083", 1.98), ("post-2-105", 2.42), ("post-2.25-105", 2.77), ("post-2.5-105", 3.14)],
)
def test_punched_posts_weigh_what_their_trade_lists(id, lb_per_ft):
    # Weight per foot of punched square steel post, 14 and 12 gauge, holes on four sides: from memory. Lists
    # differ by 2 %.
    per_foot = member_mass_kg(STOCKS[id], 12) / 0.45359237
    assert per_foot == pytest.approx(lb_per_ft, rel=0.03)


def test_a_nominal_two_by_two_is_dressed_to_an_inch_and_a_half():
    # American Softwood Lumber Standard PS 20: nominal 2 in dry is dressed to 1 1/2 in. From memory.
    assert WOOD.width_mm == pytest.approx(1.5 * 25.4)


@pytest.mark.parametrize(
    "id, low, high",
    [
        # Wood Handbook FPL-GTR-190, specific gravity at 12 % moisture: softwoods 0.31 to 0.59, beech 0.64,
        # times 1000 and 1.12 for the water that it holds. From memory.
        ("softwood-38", 310 * 1.12, 590 * 1.12),
        ("hardwood-38", 600 * 1.12, 680 * 1.12),
        # Aluminium 6063 2690 to 2700 (Aluminum Association), carbon steel 7850 (EN 1991-1-1). From memory.
        ("aluminium-38", 2690, 2700),
        ("steel-38", 7850, 7850),
    ],
)
def test_densities_are_those_of_the_handbooks(id, low, high):
    assert low <= STOCKS[id].density_kg_m3 <= high


def test_two_bores_in_solid_stock_share_the_steinmetz_solid():
    # Bicylinder of radius r: 16 r^3 / 3, from Archimedes; E. Weisstein, "Steinmetz Solid", MathWorld.
    r, w = WOOD.hole_mm / 2, WOOD.width_mm
    assert hole_volume_mm3(WOOD) == pytest.approx(2 * math.pi * r**2 * w - 16 * r**3 / 3)


def test_a_bore_narrower_than_the_cavity_leaves_four_wall_holes():
    assert hole_volume_mm3(ALUMINIUM) == pytest.approx(4 * math.pi * (9.5 / 2) ** 2 * 3.2)


@pytest.mark.parametrize("wall", [0.0, 2.0, 6.0, 13.0, 17.0])
def test_what_a_hole_takes_agrees_with_counting_points(wall):
    # With thick walls the bore is wider than the cavity, and wall holes alone would be wrong.
    stock = tube(38.1, wall, "aluminium", 11.1)
    points = np.random.default_rng(1).uniform(-1, 1, (400_000, 3)) * [19.05, 19.05, 5.55]
    x, y, z = np.abs(points).T
    bored = (x**2 + z**2 < 5.55**2) | (y**2 + z**2 < 5.55**2)
    metal = np.maximum(x, y) > 19.05 - wall if wall else np.ones(len(x), bool)
    assert hole_volume_mm3(stock) == pytest.approx((bored & metal).mean() * 38.1**2 * 11.1, rel=0.01)


def test_a_member_weighs_its_section_less_its_holes():
    holes = 16
    volume = 38.1**2 * holes * 38.1 - holes * hole_volume_mm3(WOOD)
    assert member_mass_kg(WOOD, holes) == pytest.approx(volume * 545e-9)
    assert member_mass_kg(WOOD, holes, 40) > member_mass_kg(WOOD, holes)


@given(st.floats(20, 100), st.floats(0.02, 0.95), st.floats(0, 0.49))
def test_holes_never_take_more_than_there_is(width, hole, wall):
    stock = tube(width, width * wall, "aluminium", width * hole)
    taken = hole_volume_mm3(stock)
    assert 0 <= taken < section_area_mm2(stock) * stock.pitch_mm + 1e-9
