"""Sticks that serve alike are one kind, and come out as the sticks that they are."""

import pytest

from recon.errors import ReconError
from recon.frame.model import Frame, Member, label
from recon.frame.stock import load_stocks
from recon.workshop.cutting import stick_groups
from recon.workshop.cutting.cut_list import cut_list
from recon.workshop.cutting.cutting_stock import solve_cutting_stock
from recon.workshop.cutting.patterns import StickKind
from recon.workshop.cutting.stick_groups import MOST_KINDS, group_sticks
from recon.workshop.parts.rack import OwnedStick, Rack, load_rack

STOCKS = load_stocks()


def test_a_packing_of_groups_takes_no_more_of_a_kind_than_there_are():
    kinds = [StickKind(20, (6, 9), 0, n) for n in (2, 1, 3)] + [StickKind(40, (6, 9), 7)]
    groups = group_sticks(kinds, [800, 790, 810, 1600], "pine")
    assert len(groups.kinds) == 2 and groups.kinds[0].count == 6
    packing = groups.ungrouped(solve_cutting_stock([12, 6], groups.kinds))
    taken = [sum(times for kind, _, times in packing.patterns if kind == k) for k in range(4)]
    assert all(n <= (kind.count or 99) for n, kind in zip(taken, kinds))
    assert [sum(pieces[i] * times for _, pieces, times in packing.patterns) for i in (0, 1)] == [12, 6]
    assert taken[1] == 1  # the shortest first


def test_of_sticks_to_buy_one_that_holds_no_more_and_costs_no_less_is_left_out():
    kinds = [StickKind(20, (6,), 5), StickKind(20, (6,), 4), StickKind(30, (6,), 4), StickKind(10, (6,), 1)]
    assert [g[0][0] for g in group_sticks(kinds, [800, 790, 1200, 400], "pine").members] == [2, 3]


def test_more_kinds_than_can_be_weighed_are_a_sentence():
    kinds = [StickKind(1000 + k, (60,), 0, 1) for k in range(MOST_KINDS + 1)]
    with pytest.raises(ReconError, match=f"{MOST_KINDS + 1} kinds of stick of pine"):
        group_sticks(kinds, [float(k) for k in range(MOST_KINDS + 1)], "pine")


def posts(count):
    return Frame(
        tuple(
            Member(label(k), (2.0 * k, 0.0, 0.0), (0.0, 0.0, 1.0), 12, stock="softwood-38")
            for k in range(count)
        ),
        pitch_mm=38.1,
    )


def test_a_rack_of_thousands_of_rows_is_packed_as_its_few_kinds(tmp_path, monkeypatch):
    rows = "".join(f"stick,softwood-38,{1000 + k % 100} mm,1\n" for k in range(5000))
    (tmp_path / "rack.csv").write_text(f"item,id,length,count\n{rows}")
    rack = load_rack(tmp_path / "rack.csv", STOCKS)
    assert len(rack.sticks) == 100 and sum(stick.count for stick in rack.sticks) == 5000
    seen = []
    real = stick_groups.StickGroups
    monkeypatch.setattr(stick_groups, "StickGroups", lambda *a: seen.append(a) or real(*a))
    cuts = cut_list(posts(4), STOCKS, rack=rack)
    assert all(stick.owned for stick in cuts.plans[0].sticks) and len(seen[0][0]) <= 6  # three of them to buy


def test_owned_sticks_of_one_room_keep_their_own_lengths_and_first_holes():
    rack = Rack(sticks=(OwnedStick("softwood-38", 500.0, 1), OwnedStick("softwood-38", 490.0, 1, 30.0)))
    sticks = cut_list(posts(2), STOCKS, rack=rack, lengths_mm=[2400.0]).plans[0].sticks
    assert sorted(stick.length_mm for stick in sticks) == [490.0, 500.0]
