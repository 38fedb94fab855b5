"""recon parts, recon cut, recon restock: what goes in, what comes out, and every kind of bad input."""

import json
import re
from dataclasses import replace

import pytest

from recon import cli
from recon.frame.caution import CAUTION
from recon.frame.files import load_frame, save_frame
from tests.workshop.frames import gate

RACK = (
    "item,id,length,count\nmember,softwood-38,12,1\nmember,softwood-38,16,1\nstick,softwood-38,8 ft,1\n"
    "nut,5/16,,5\n\nbolt,5/16 x 3 1/2,,2\n"
)
PRICES = "item,id,length,price,currency\nmetre,softwood-38,,4,EUR\nstick,softwood-38,2438,9.80,EUR\n"


@pytest.fixture
def work(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    save_frame(gate(), tmp_path / "gate.json")
    bare = replace(gate(stock=None, pitch_mm=None), name="bare")
    save_frame(bare, tmp_path / "bare.json")
    (tmp_path / "rack.csv").write_text(RACK)
    (tmp_path / "prices.csv").write_text(PRICES)
    return tmp_path


def run(*args):
    return cli.main(list(map(str, args)))


def tree(folder):
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_the_parts_list_is_printed_and_written(work, capsys):
    assert run("parts", "gate.json", "--rack", "rack.csv", "--prices", "prices.csv", "-o", "out") == 0
    out = " ".join(capsys.readouterr().out.split())
    assert out.count(CAUTION) == 1 and "5/16-18 x 3 1/2 in" in out
    assert re.search(r"a 16-hole in place of the 12-hole [AB] sticks out by 4 at hole 12: free", out)
    assert set(tree(work / "out")) == {"parts.csv", "parts.html", "parts.json", "shopping.csv"}


def test_the_cut_list_is_printed_and_written(work, capsys):
    assert run("cut", "gate.json", "--prices", "prices.csv", "--kerf", "1/8 in", "-o", "out") == 0
    out = capsys.readouterr().out
    assert (
        out.count("No load rating") == 1
        and "for 9.80 EUR" in out
        and "cut after hole: 12, 24, 35, 46, 52" in out
    )
    assert set(tree(work / "out")) == {"cut.csv", "cut.html", "cut.json", "cut.svg"}
    assert run("cut", "gate.json", "--rack", "rack.csv") == 0
    assert "Nothing to buy" in capsys.readouterr().out
    assert run("cut", "gate.json", "--blank", "--trim", "20 mm", "--buy", "10 ft", "--buy", "1 m") == 0
    out = capsys.readouterr().out
    assert "line at: 20 mm (25/32 in) (kerf left)" in out and "Marking out and drilling" in out


def test_a_frame_with_other_stock_is_told_and_written(work, capsys):
    assert (
        run("swap", "gate.json", "--stock", "aluminium-38", "--members", "A,B", "C", "-o", "light.json") == 0
    )
    out = capsys.readouterr().out
    assert "aluminium-38 instead of softwood-38 for A, B and C." in out and out.count("No load rating") == 1
    assert [m.stock for m in load_frame(work / "light.json").members][:4] == ["aluminium-38"] * 3 + [
        "softwood-38"
    ]


def test_stock_is_given_where_the_file_has_none(work, capsys):
    assert run("parts", "bare.json") == 2
    assert "pitch is not known" in capsys.readouterr().err
    assert run("parts", "bare.json", "--stock", "softwood-38", "--bolts", "metric") == 0
    assert "M8 x 90" in capsys.readouterr().out


@pytest.mark.parametrize("command", [("parts",), ("cut",), ("restock", "--stock", "steel-38")])
def test_json_is_the_only_thing_on_stdout_also_after_an_error(work, capsys, command):
    assert run(command[0], "gate.json", *command[1:], "--json") == 0
    assert json.loads(capsys.readouterr().out)["caution"] == CAUTION
    assert run(command[0], "none.json", *command[1:], "--json") == 2
    captured = capsys.readouterr()
    assert json.loads(captured.out)["exit_code"] == 2 and "none.json" in captured.err


@pytest.mark.parametrize(
    "args, words",
    [
        (("parts", "broken.json"), ["broken.json", "not JSON"]),
        (("parts", "version.json"), ["newer program"]),
        (("parts", "zero.json"), ["member A", "'holes' is 0"]),
        (("cut", "stock.json"), ["'oak' is not in the stock list"]),
        (("parts", "gate.json", "--rack", "row7.csv"), ["row7.csv, row 7", "'count' is 'lots'"]),
        (("cut", "gate.json", "--prices", "row2.csv"), ["row2.csv, row 2", "'price' is 'dear'"]),
        (("parts", "gate.json", "--rack", "rack.csv", "--keep-out", "0,0,0"), ["--keep-out", "lowest"]),
        (("parts", "gate.json", "--thread", "M9"), ["'M9' is no thread"]),
        (("parts", "gate.json", "--thread", "M12"), ["has no clearance in a hole"]),
        (("cut", "gate.json", "--kerf", "3"), ["no unit", "3 mm"]),
        (("cut", "gate.json", "--kerf", "40 mm"), ["reaches the holes"]),
        (("cut", "gate.json", "--buy", "10 in"), ["longer ones"]),
        (("cut", "gate.json", "--blank", "--first-hole", "1 in"), ["leave it or --blank out"]),
        (("restock", "gate.json", "--stock", "post-2-083"), ["does not fit"]),
        (("restock", "gate.json", "--stock", "steel-38", "--members", "Z"), ["no member 'Z'"]),
    ],
)
def test_bad_input_is_one_sentence_and_writes_nothing(work, capsys, args, words):
    (work / "broken.json").write_text("{")
    (work / "version.json").write_text('{"version": 9, "members": []}')
    (work / "zero.json").write_text(
        '{"pitch_mm": 38.1, "members": [{"id": "A", "first": [0,0,0], "direction": [1,0,0], "holes": 0}]}'
    )
    (work / "stock.json").write_text(
        '{"members": [{"first": [0,0,0], "direction": [1,0,0], "holes": 3, "stock": "oak"}]}'
    )
    (work / "row7.csv").write_text(RACK.replace("3 1/2,,2", "3 1/2,,lots"))
    (work / "row2.csv").write_text(PRICES.replace("4,EUR", "dear,EUR", 1))
    before = tree(work)
    assert run(*args, "-o", "out") == 2
    captured = capsys.readouterr()
    assert captured.out == "" and len(captured.err.splitlines()) == 1 and "Traceback" not in captured.err
    assert all(word in captured.err for word in words)
    assert tree(work) == before


def test_earlier_results_are_not_written_over_unless_asked(work, capsys):
    for args in (
        ("parts", "gate.json", "-o", "out"),
        ("cut", "gate.json", "-o", "out"),
        ("restock", "gate.json", "--stock", "steel-38", "-o", "new.json"),
    ):
        assert run(*args) == 0
        before = tree(work)
        assert (run(*args) == 2 and "exist" in (err := capsys.readouterr().err)) or "--overwrite" in err
        assert tree(work) == before
        assert run(*args, "--overwrite") == 0
