"""Input that means harm or is only odd: nothing of it steers the terminal, and nothing of it is a fault."""

import json
import os
import unicodedata

import pytest

from recon import cli
from recon.cli.console import printable
from tests.workshop.trestles import trestle

SURROGATE = '{"name":"\\ud800x","pitch_mm":38.1,"members":[{"first":[0,0,0],"direction":[0,0,1],"holes":3}]}'
STEERING = "\x1b]0;owned\x07\x1b[2J\x9b31m\u202e\u2028\r"


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def frame_file(path, **more):
    from recon.frame.files import frame_to_dict

    path.write_text(json.dumps(frame_to_dict(trestle()) | more))


COMMANDS = [
    ["parts", "f.json"],
    ["parts", "f.json", "-o", "out"],
    ["cut", "f.json", "--buy", "2400 mm"],
    ["check", "f.json"],
    ["steps", "f.json", "-o", "out"],
    ["swap", "f.json", "--stock", "softwood-38", "-o", "new.json"],
    ["stretch", "f.json", "--axis", "up", "--at", "A 5", "--by", "1", "-o", "new.json"],
    ["papers", "f.json", "-o", "out"],
    ["audit", "f.json", "f.json"],
    ["export", "f.json", "-o", "f.glb"],
    ["export", "f.json", "-o", "out.json", "--to", "json"],
]


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_half_of_a_surrogate_pair_is_a_sentence(here, capsys, command):
    (here / "f.json").write_text(SURROGATE)
    assert cli.main(command) == 2
    assert "'name' holds half of a surrogate pair" in capsys.readouterr().err
    assert sorted(p.name for p in here.iterdir()) == ["f.json"]


def steers(text):
    kinds = {unicodedata.category(c) for c in text if c not in "\n\t"}
    return kinds & {"Cc", "Cf", "Cs", "Zl", "Zp"}


@pytest.mark.parametrize("command", [c for c in COMMANDS if c[0] != "papers"], ids=" ".join)
def test_a_frames_name_does_not_steer_the_terminal(here, capsys, command):
    foot = {"kind": "foot", "name": f"foot{STEERING}", "holes": [{"member": "A", "hole": 0}]}
    foot |= {"face": [0, 1, 0], "size_mm": [40, 40, 25], "plate_mm": 3}
    frame_file(here / "f.json", name=f"gate{STEERING}", doubts=[f"A{STEERING}"], fittings=[foot])
    cli.main(command)
    said = capsys.readouterr()
    assert (said.out or said.err) and not steers(said.out) and not steers(said.err)


def test_currencies_stocks_and_arguments_do_not_steer_the_terminal(here, capsys):
    frame_file(here / "f.json", name="gate")
    (here / "prices.csv").write_text(f"item,id,price,currency\nmetre,softwood-38,4,E{STEERING[:-1]}\n")
    stock = (
        '[[stock]]\nid = "{id}"\nname = "{name}"\npitch_mm = 25\nwidth_mm = 25\nhole_mm = 8\n'
        'material = "wood"\ndensity_kg_m3 = 510\nlengths_mm = [2000]\nsource = "{name}"\n'
    )
    odd = "pine\\u001b]0;owned\\u0007"
    (here / "stocks.toml").write_text(stock.replace("{id}", "own-25").replace("{name}", odd))
    for command in (
        ["parts", "f.json", "--prices", "prices.csv"],
        ["stocks", "--stocks", "stocks.toml"],
        ["parts", "f.json", "-o", f"out{STEERING}"],
        ["parts", STEERING],
        ["parts", "f.json", f"--{STEERING}"],
        [STEERING],
    ):
        cli.main(command)
        said = capsys.readouterr()
        assert (said.out or said.err) and not steers(said.out) and not steers(said.err), command
        assert "own-25" in said.out or command[0] != "stocks"


def test_letters_of_all_scripts_and_spaces_stay_as_they_are():
    text = "Gerüst 38\u00a0mm \u2013 \u6728\u67b6 \u0645\u062b\u0644 \u202f\u2009\n\tend"
    assert printable(text) == text


def test_a_name_that_no_frame_file_may_have_is_refused_before_any_work(here, capsys):
    for name in ("n" * 201, "\udcff"):
        assert cli.main(["read", "nowhere.jpg", "--name", name]) == 2
        assert "--name" in capsys.readouterr().err


LONG = "n" * 300


@pytest.mark.parametrize(
    "command",
    [
        ["page", LONG, "--port", "0"],
        ["read", LONG],
        ["read", "photo.jpg", "-o", LONG],
        ["parts", LONG],
        ["parts", "f.json", "--prices", LONG],
        ["parts", "f.json", "-o", LONG],
        ["parts", "f.json", "-o", "\0"],
        ["export", "f.json", "-o", LONG, "--to", "json"],
        ["export", "f.json", "-o", ".", "--to", "json", "--overwrite"],
        ["export", "f.json", "-o", "", "--to", "json", "--overwrite"],
        ["export", "f.json", "-o", "\0", "--to", "json", "--overwrite"],
        ["papers", "f.json", "-o", LONG],
        ["steps", "f.json", "-o", "/".join(["n" * 200] * 30)],
        ["page", "/".join(["n" * 200] * 30), "--port", "0"],
        ["page", "\0", "--port", "0"],
    ],
    ids=lambda command: " ".join(command)[:24].replace("\0", "0"),
)
def test_names_that_no_disk_takes_are_a_sentence(here, capsys, command):
    frame_file(here / "f.json")
    (here / "photo.jpg").write_bytes(b"x")
    assert cli.main(command) == 2
    assert capsys.readouterr().err.strip().endswith(".")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes with names")
@pytest.mark.parametrize("kind", ["pipe", "link to a device", "link to nothing"])
def test_what_is_no_ordinary_file_is_never_replaced(here, capsys, kind):
    frame_file(here / "f.json")
    target = here / "out.json"
    if kind == "pipe":
        os.mkfifo(target)
    else:
        target.symlink_to("/dev/null" if kind == "link to a device" else "missing/file")
    before = os.lstat(target)
    assert cli.main(["export", "f.json", "-o", "out.json", "--to", "json", "--overwrite"]) == 2
    said = capsys.readouterr().err
    assert ("missing/file" if kind == "link to nothing" else "out.json") in said
    assert os.path.samestat(os.lstat(target), before)
