"""Other stock for some members or all: what changes, and when it is refused."""

from dataclasses import replace

import pytest

from recon.errors import ReconError
from recon.frame.files import frame_from_dict, frame_to_dict
from recon.frame.stock import load_stocks
from recon.workshop.hardware.sections import section_area_mm2
from recon.workshop.parts.parts_list import parts_list
from recon.workshop.parts.prices import PriceList
from recon.workshop.parts.substitute import substitute, with_stock
from tests.workshop.frames import X, framed, gate, member

STOCKS = load_stocks()


def test_wood_to_aluminium_changes_weight_by_section_and_density():
    done = substitute(gate(), STOCKS, "aluminium-38")
    assert {m.stock for m in done.frame.members} == {"aluminium-38"} and done.frame.pitch_mm == 38.1
    # Sections and densities by hand, holes left out: 4 t (w - t) of aluminium against w^2 of wood. Holes
    # change it by a few %.
    by_hand = 4 * 3.2 * (38.1 - 3.2) * 2700 / (38.1**2 * 510)
    assert done.after.members_mass_kg / done.before.members_mass_kg == pytest.approx(by_hand, rel=0.06)
    assert section_area_mm2(STOCKS["aluminium-38"]) == pytest.approx(4 * 3.2 * 34.9)
    assert (
        any(c.startswith("Weight with bolts") and "more" in c for c in done.changes)
        and "Bolts: as before." in done.changes
    )


def test_a_larger_hole_takes_other_bolts_only_where_both_members_have_it():
    some = substitute(gate(), STOCKS, "aluminium-38-11", ["C", "D"])
    assert "Bolts: as before." in some.changes and any("9.5 mm and 11.1 mm meet" in c for c in some.changes)
    every = substitute(gate(), STOCKS, "aluminium-38-11")
    assert any("5 of 3/8-16 x 3 3/4 in instead of 5 of 5/16-18 x 3 1/2 in" in c for c in every.changes)
    assert {m.id for m in some.frame.members if m.stock == "aluminium-38-11"} == {
        "C",
        "D",
    } and some.frame.stock.id == "softwood-38"


def test_the_cost_is_compared_where_prices_are_known():
    hardware = dict.fromkeys((("bolt", "5/16-18 x 3 1/2 in"), ("nut", "5/16-18"), ("washer", "5/16-18")), 0.1)
    prices = PriceList("EUR", {"softwood-38": 4.0, "aluminium-38": 12.0}, hardware=hardware)
    done = substitute(gate(), STOCKS, "aluminium-38", prices=prices)
    assert done.after.cost - done.before.cost == pytest.approx(52 * 0.0381 * 8)
    assert any(c.startswith("To pay: ") and "EUR more" in c for c in done.changes)


def test_all_members_may_go_to_another_pitch_and_some_may_not():
    done = substitute(gate(), STOCKS, "softwood-40")
    assert done.frame.pitch_mm == 40 and any("5.0% larger" in c for c in done.changes)
    with pytest.raises(ReconError, match="its pitch is 40 mm .* and the frame's is 38.1 mm"):
        substitute(gate(), STOCKS, "softwood-40", ["A"])


@pytest.mark.parametrize(
    "to, members, words",
    [
        ("post-2-083", None, ["2 pitches wide", "member A is 1", "would not touch"]),
        ("post-1.5-083", ["A"], ["pitch is 25.4 mm", "would not meet"]),
        ("steel38", None, ["perhaps 'steel-38'"]),
        ("steel-38", ["A", "Q"], ["no member 'Q'", "members are A, B"]),
    ],
)
def test_what_does_not_fit_is_refused_in_words(to, members, words):
    with pytest.raises(ReconError) as error:
        substitute(gate(), STOCKS, to, members)
    assert all(word in str(error.value) for word in words)


def test_another_width_at_the_same_pitch_is_refused():
    posts = framed(
        member("A", (0, 0, 0), X, 8, 1.5, "post-1.5-083"),
        member("B", (2, 1.5, -2), (0.0, 0.0, 1.0), 8, 1.5, "post-1.5-083"),
        pitch_mm=25.4,
        stock="post-1.5-083",
    )
    with pytest.raises(ReconError, match="50.8 mm .* wide and member A is 38.1 mm"):
        substitute(posts, STOCKS, "post-2-083", ["A"])
    assert substitute(posts, STOCKS, "post-1.5-105", ["A"]).after.mass_kg > parts_list(posts, STOCKS).mass_kg


def test_pitches_that_differ_a_little_add_up_over_a_long_member():
    near = replace(STOCKS["aluminium-38"], id="near", pitch_mm=38.0)
    stocks = STOCKS | {"near": near}

    def rail(n):
        return framed(
            member("A", (0, 0, 0), X, n),
            member("B", (0, 1, -2), (0.0, 0.0, 1.0), 6),
            member("C", (n - 1, 1, -2), (0.0, 0.0, 1.0), 6),
        )

    # 1.9 mm of the 3.1 mm play of two 9.5 mm holes on 5/16 in bolts.
    assert substitute(rail(20), stocks, "near", ["A"])
    with pytest.raises(ReconError, match="adds up to 4.9 mm"):
        substitute(rail(50), stocks, "near", ["A"])


def test_the_new_frame_is_a_frame_file():
    done = substitute(gate(), STOCKS, "steel-38", ["A", "B"])
    assert frame_from_dict(frame_to_dict(done.frame)) == done.frame


def test_a_frame_without_stock_is_given_one():
    frame = with_stock(gate(stock=None, pitch_mm=None), STOCKS["softwood-38"])
    assert frame.pitch_mm == 38.1 and parts_list(frame, STOCKS).mass_kg > 0
    with pytest.raises(ReconError, match="recon restock"):
        with_stock(gate(), STOCKS["steel-38"])
    with pytest.raises(ReconError, match="1.5 pitches wide"):
        with_stock(gate(stock=None, pitch_mm=None), STOCKS["post-1.5-083"])
