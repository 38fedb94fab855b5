"""recon stretch, and fittings through the commands: what goes in, what comes out, and bad input."""

import json
from dataclasses import replace

import pytest

from recon import cli
from recon.frame.caution import CAUTION
from recon.frame.files import load_frame, save_frame
from tests.workshop.carts import cart


@pytest.fixture
def work(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    save_frame(cart(), tmp_path / "cart.json")
    return tmp_path


def run(*args):
    return cli.main(list(map(str, args)))


def test_a_frame_is_stretched_and_back_again_it_is_the_same(work, capsys):
    at = ("--axis", "right", "--at", "C 6")
    assert run("stretch", "cart.json", "--axis", "right", "--at", "A 18", "--by", 4, "-o", "long.json") == 0
    out = capsys.readouterr().out
    assert "2 members 4 holes longer" in out and "A: 20 -> 24 holes" in out and CAUTION.split()[0] in out
    longer = load_frame(work / "long.json")
    assert longer.member("A").holes == 24 and longer.fittings == cart().fittings
    assert run("stretch", "long.json", "--axis", "x", "--at", 17.5, "--by", -4, "-o", "same.json") == 0
    assert load_frame(work / "same.json") == load_frame(work / "cart.json")
    assert run("stretch", "cart.json", *at, "--by", 4) == 2
    assert "C does not run towards right" in capsys.readouterr().err


@pytest.mark.parametrize(
    "axis, place, grown, moved",
    [
        ("left", "A 1", ["A", "B"], []),
        ("right", "2.5", ["A", "B"], ["D"]),
        ("-x", "18.5", ["A", "B"], ["C", "D"]),
        ("back", "hole 6 of C", ["C", "D"], ["B"]),
        ("FRONT", "C 6", ["C", "D"], ["A"]),
    ],
)
def test_a_side_or_an_axis_says_what_moves(work, capsys, axis, place, grown, moved):
    save_frame(replace(cart(), fittings=()), work / "bare.json")
    assert run("stretch", "bare.json", f"--axis={axis}", f"--at={place}", "--by", 3, "--json") == 0
    data = json.loads(capsys.readouterr().out)
    assert ([g["member"] for g in data["grown"]], data["moved"]) == (grown, moved)


@pytest.mark.parametrize(
    "args, words",
    [
        (("--axis", "sideways", "--at", "A 5", "--by", "2"), "'sideways' is no side"),
        (("--axis", "right", "--at", "here", "--by", "2"), "'here' is no place"),
        (("--axis", "right", "--at", "nan", "--by", "2"), "'nan' is no place"),
        (("--axis", "right", "--at", "Z 5", "--by", "2"), "no member 'Z'"),
        (("--axis", "right", "--at", "A 20", "--by", "2"), "a plane lies after hole 1 to 19, not after 20"),
        (("--axis", "right", "--at", "A 10", "--by", "2"), "Board F5 is bolted on both sides of the plane"),
        (("--axis", "right", "--at", "A 18", "--by", "-9"), "A ends there"),
        (("--axis", "right", "--at", "A 18", "--by", "0"), "0 changes nothing"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_written(work, capsys, args, words):
    assert run("stretch", "cart.json", *args, "-o", "new.json") == 2
    assert words in capsys.readouterr().err and not (work / "new.json").exists()


def test_earlier_results_are_kept(work, capsys):
    args = ("--axis", "right", "--at", "A 18", "--by", 2, "-o", "cart.json")
    assert run("stretch", "cart.json", *args) == 2
    assert load_frame(work / "cart.json").member("A").holes == 20


def test_commands_take_fittings_along(work, capsys):
    assert run("parts", "cart.json") == 0
    assert "castor 80" in capsys.readouterr().out
    assert run("steps", "cart.json") == 0
    assert "Put on castors F1, F2, F3 and F4 (castor 80), on the bottom side" in capsys.readouterr().out
    assert run("restock", "cart.json", "--stock", "aluminium-38", "-o", "light.json") == 0
    assert load_frame(work / "light.json").fittings == cart().fittings
    capsys.readouterr()
    run("check", "cart.json", "--json")
    kinds = {f["kind"] for f in json.loads(capsys.readouterr().out)["findings"]}
    assert "fitting" not in kinds and "motion" in kinds
