"""Racks from builds, and what can be built from what is there."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from recon.cli import main
from recon.errors import ReconError
from recon.frame.files import load_frame, save_frame
from recon.frame.stock import load_stocks
from recon.workshop.parts.buildable import buildable_text, ranked, what_is_missing
from recon.workshop.parts.parts_list import parts_list
from recon.workshop.parts.rack import OwnedStick, Rack
from recon.workshop.parts.rack_from_builds import joined_racks, rack_of_frame
from tests.workshop.frames import gate

STOCKS = load_stocks()
CASES = Path(__file__).parents[2] / "data" / "workshop"


def test_a_build_gives_what_it_is_made_of_and_is_built_again_from_it():
    trestle = load_frame(CASES / "trestle.json", STOCKS)
    rack = rack_of_frame(trestle, STOCKS)
    assert sum(rack.members.values()) == len(trestle.members)
    assert rack.hardware["bolt", "5/16-18 x 3 1/2 in"] == 18 and rack.hardware["washer", "5/16-18 wide"] == 36
    found = what_is_missing(trestle, STOCKS, rack)
    assert found.complete and found.whole == len(trestle.members) and found.missing_mm == 0
    assert all(line.to_get == 0 for line in parts_list(trestle, STOCKS, rack=rack).lines)


def test_a_build_of_unknown_stock_is_no_rack():
    with pytest.raises(ReconError, match="stock of A, B, C, D and E is not known"):
        rack_of_frame(gate(stock=None), STOCKS)


def test_racks_add_up():
    both = joined_racks(
        [Rack({("softwood-38", 12): 1}, (OwnedStick("softwood-38", 1000),), {("nut", "M8"): 2})] * 2
    )
    assert (
        both.members == {("softwood-38", 12): 2}
        and len(both.sticks) == 2
        and both.hardware == {("nut", "M8"): 4}
    )


def test_frames_are_ranked_by_what_is_missing_and_owned_sticks_are_cut():
    trestle = load_frame(CASES / "trestle.json", STOCKS)
    rack = Rack({("softwood-38", 12): 2, ("softwood-38", 26): 1}, (), rack_of_frame(gate(), STOCKS).hardware)
    found = [what_is_missing(f, STOCKS, rack) for f in (trestle, gate())]
    assert [b.name for b in ranked(found)] == ["Brackwater gate", "trestle"]
    small = found[1]
    # The 26-hole gives both rails of 11; the sill of 6 is missing, as 28 holes in all are wanted of it.
    assert (small.whole, small.cut) == (2, 2) and not small.hardware
    assert small.missing == (("softwood-38", 6, 1),) and small.missing_mm == pytest.approx(6 * 38.1)
    text = buildable_text(found)
    assert text.startswith("1. Brackwater gate: of 5 members: 2 whole and 2 cut from what is there.")


def test_the_command_takes_builds_and_lists_as_racks(tmp_path, capsys):
    save_frame(replace(gate(), name=""), tmp_path / "small.json")
    code = main(
        ["buildable", str(tmp_path / "small.json"), str(CASES / "trestle.json"), "--json"]
        + ["--rack", str(CASES / "trestle.json"), "--rack", str(CASES / "r1.csv")]
    )
    frames = json.loads(capsys.readouterr().out)["frames"]
    assert code == 0 and [f["name"] for f in frames] == ["small", "trestle"]
    assert frames[0]["complete"]
    assert main(["buildable", str(tmp_path / "small.json")]) == 2
