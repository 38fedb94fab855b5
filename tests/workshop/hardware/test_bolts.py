"""Which bolts a frame has, through what, and how long."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recon.errors import ReconError
from recon.frame.stock import load_stocks
from recon.workshop.hardware.bolts import bolt_words, fasten, find_bolts, grip_mm, hole_mm
from recon.workshop.hardware.threads import find_thread
from tests.growing import grow_frame
from tests.workshop.frames import X, Y, Z, corner, framed, gate, member

STOCKS = load_stocks()


def test_a_lap_is_held_by_one_bolt_with_a_grip_of_two_widths():
    bolts = find_bolts(gate())
    assert len(bolts) == 5 and {len(b.through) for b in bolts} == {2}
    assert {grip_mm(b, gate(), STOCKS) for b in bolts} == {76.2} and {b.grip for b in bolts} == {2.0}


def test_a_three_way_lap_has_three_bolts():
    bolts = find_bolts(corner())
    assert len(bolts) == 3 and all(b.three_way for b in bolts)
    axes = np.abs([b.axis for b in bolts])
    assert sorted(map(tuple, axes)) == [Z, Y, X]


def test_mixed_widths_add_up():
    wide = member("B", (-2, -1.25, 3), X, 6, 1.5, stock=None)
    frame = framed(member("A", (0, 0, 0), Z, 8), wide)
    (bolt,) = find_bolts(frame)
    assert bolt.grip == pytest.approx(2.5) and grip_mm(bolt, frame, STOCKS) == pytest.approx(2.5 * 38.1)


def test_a_rail_between_two_posts_on_one_axis_shares_one_bolt():
    frame = framed(member("A", (0, 0, 0), Z, 8), member("B", (-2, 1, 3), X, 8), member("C", (0, 2, 0), Z, 8))
    (bolt,) = find_bolts(frame)
    assert [id for id, _ in bolt.through] == ["A", "B", "C"] and len(bolt.joints) == 2
    assert grip_mm(bolt, frame, STOCKS) == pytest.approx(3 * 38.1)
    assert bolt_words(bolt) == "hole 4 of A on hole 3 of B on hole 4 of C"
    assert np.allclose(bolt.start, (0, -0.5, 3)) and np.allclose(bolt.end, (0, 2.5, 3))


def test_crossing_bolts_of_one_hole_stay_two():
    frame = framed(member("A", (0, 0, 0), Z, 8), member("B", (-2, 1, 3), X, 8), member("C", (1, -3, 3), Y, 4))
    assert {frozenset(id for id, _ in b.through) for b in find_bolts(frame)} == {
        frozenset("AB"),
        frozenset("AC"),
    }


def test_members_side_by_side_have_the_bolts_that_the_joints_say():
    pair = framed(member("A", (0, 0, 0), Z, 8), member("B", (1, 0, 2), Z, 8))
    assert len(find_bolts(pair)) == len(pair.joints) == 2
    one = replace(pair, joints=pair.joints[:1])
    assert len(find_bolts(one)) == 1


def test_laps_without_a_bolt_have_none_and_seen_is_told_from_assumed():
    frame = gate()
    bolts = ("seen", "none", "assumed", "seen", "assumed")
    frame = replace(frame, joints=tuple(replace(j, bolt=b) for j, b in zip(frame.joints, bolts)))
    assert [b.seen for b in find_bolts(frame)] == [True, False, True, False]


@settings(max_examples=25)
@given(st.integers(0, 10_000), st.sampled_from([1.0, 1.5, 2.0]))
def test_every_lap_is_in_one_bolt_and_no_hole_in_two_on_one_axis(seed, width):
    frame = grow_frame(seed, 10, width)
    bolts = find_bolts(frame)
    assert sorted(map(id, (j for b in bolts for j in b.joints))) == sorted(map(id, frame.joints))
    taken = [(hole, tuple(np.abs(np.round(b.axis)))) for b in bolts for hole in b.through]
    assert len(taken) == len(set(taken))
    for b in bolts:
        assert b.grip == pytest.approx(width * len(b.through))
        assert np.allclose(np.add(b.start, np.multiply(b.axis, b.grip)), b.end)


def test_the_bolt_is_chosen_by_the_smallest_hole_that_it_passes():
    frame = framed(
        member("A", (0, 0, 0), Z, 8, stock="steel-38"), member("B", (-2, 1, 3), X, 8, stock="softwood-38")
    )
    (bolt,) = find_bolts(frame)
    assert hole_mm(bolt, frame, STOCKS) == 9.5
    assert (
        fasten(bolt, frame, STOCKS, "metric").name == "M8 x 90"
        and fasten(bolt, frame, STOCKS).name == "5/16-18 x 3 1/2 in"
    )


def test_a_thread_that_is_asked_for_must_pass_the_hole():
    frame = gate()
    bolt = find_bolts(frame)[0]
    assert fasten(bolt, frame, STOCKS, thread=find_thread("M6")).name == "M6 x 90"
    for name in ("M10", "3/8"):  # 3/8 in is 9.525 mm: as thick as the hole is wide
        with pytest.raises(ReconError, match="has no clearance in a hole of 9.5 mm"):
            fasten(bolt, frame, STOCKS, thread=find_thread(name))
    steel = gate("steel-38")  # 11.1 mm holes: 7/16 in is refused, M10 fits
    with pytest.raises(ReconError, match="7/16-14 has no clearance"):
        fasten(find_bolts(steel)[0], steel, STOCKS, thread=find_thread("7/16"))
    assert fasten(find_bolts(steel)[0], steel, STOCKS, thread=find_thread("M10"))


def test_washers_are_wide_on_wood_and_plain_on_metal():
    wood, steel = gate(), gate("steel-38")
    assert dict(fasten(find_bolts(wood)[0], wood, STOCKS).washers) == {"5/16-18 wide": 2}
    assert dict(fasten(find_bolts(steel)[0], steel, STOCKS).washers) == {"3/8-16": 2}
    mixed = replace(
        wood,
        members=tuple(replace(m, stock="aluminium-38") if m.id == "A" else m for m in wood.members),
    )
    bolt = next(b for b in find_bolts(mixed) if "A" in {id for id, _ in b.through})
    assert dict(fasten(bolt, mixed, STOCKS).washers) == {"5/16-18 wide": 1, "5/16-18": 1}


def test_nuts_with_nylon_insert_are_higher_and_may_take_a_longer_bolt():
    frame = gate()
    bolt = find_bolts(frame)[0]
    plain, lock = (fasten(bolt, frame, STOCKS, "metric", lock=lock) for lock in (False, True))
    assert dict(lock.nuts) == {"M8 lock": 1} and lock.length_mm >= plain.length_mm
    assert lock.length_mm - lock.grip_mm >= 2 * 2.0 + 9.5 + 1.25  # ISO 7093 h, ISO 7040 h max, one thread


def test_without_stock_the_thread_is_not_known_but_the_grip_is():
    frame = gate(stock=None)
    bolt = find_bolts(frame)[0]
    assert fasten(bolt, frame, STOCKS) is None and grip_mm(bolt, frame, STOCKS) == pytest.approx(76.2)
