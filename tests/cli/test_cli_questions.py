"""recon check, recon steps, recon audit: what they answer, their exit codes, and every kind of bad input."""

import json
from dataclasses import replace

import pytest
from PIL import Image

from recon import cli
from recon.frame.caution import CAUTION
from recon.frame.files import save_frame
from recon.frame.joints import find_joints
from recon.frame.model import Frame
from recon.workshop.rigidity.bracing import additions
from tests.workshop.frames import X, Z, corner, framed, gate, member

ALL = (("check", "gate.json"), ("steps", "gate.json"), ("audit", "gate.json", "gate.json"))


@pytest.fixture
def work(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    save_frame(gate(), tmp_path / "gate.json")
    save_frame(corner(), tmp_path / "corner.json")
    return tmp_path


def run(*args):
    return cli.main(list(map(str, args)))


def words(capsys) -> str:
    return " ".join(capsys.readouterr().out.split())


def sentence(capsys) -> str:
    captured = capsys.readouterr()
    assert captured.out == "" and "Traceback" not in captured.err
    (line,) = captured.err.splitlines()
    return line


def seen(frame) -> Frame:
    return replace(frame, joints=tuple(replace(j, bolt="seen") for j in frame.joints))


@pytest.mark.parametrize("command", ALL)
def test_the_caution_is_said_once(work, capsys, command):
    run(*command)
    assert words(capsys).count(CAUTION) == 1
    run(*command, "--json")
    assert json.loads(capsys.readouterr().out)["caution"] == CAUTION


# Check


def test_a_frame_that_racks_is_told_with_pictures(work, capsys):
    assert run("check", "gate.json", "-o", "moves") == 1
    out = words(capsys)
    assert "1. E turns about a front-to-back axis; 1 bolt turns: hole 6 of A on hole 2 of E." in out
    assert "B shifts up, C and D turn about a front-to-back axis" in out
    assert "Then nothing racks any more but for" in out
    assert sorted(p.name for p in (work / "moves").iterdir()) == ["moves-1.png", "moves-2.png"]
    assert Image.open(work / "moves/moves-2.png").size == (1600, 1200)
    assert run("check", "gate.json", "-o", "moves") == 2
    assert "already holds results" in capsys.readouterr().err


def test_a_sound_frame_is_told_so(work, capsys):
    assert run("check", "corner.json") == 0
    assert words(capsys).startswith("Nothing is wrong with members and bolts, and nothing racks or folds.")


def test_what_was_proposed_stops_all_of_it(work, capsys):
    frame = gate()
    for extra in additions(frame):
        frame = replace(
            frame,
            members=frame.members + ((extra.member,) if extra.member else ()),
            joints=frame.joints + extra.joints,
        )
    save_frame(frame, work / "braced.json")
    run("check", "braced.json", "--json")
    data = json.loads(capsys.readouterr().out)
    assert data["freedom"] == 0 and data["motions"] == data["additions"] == []


def test_wanted_motions_are_left_out(work, capsys):
    assert run("check", "gate.json", "--may-turn", "A:E", "A:C", "A:D", "B:C", "D:B") == 0
    assert "2 ways to move are wanted" in words(capsys)
    assert run("check", "gate.json", "--may-turn", "A:E", "--json") == 1
    data = json.loads(capsys.readouterr().out)
    assert (data["freedom"], data["wanted"], len(data["motions"])) == (2, 1, 1)
    assert {j["bolt"] for j in data["motions"][0]["laps"]} == {"assumed"}
    assert data["additions"][-1]["left"] == 0 and data["additions"][0]["member"]["holes"] > 1


@pytest.mark.parametrize(
    "pair, told",
    [
        ("A", "'A' is no pair of members"),
        (":", "':' is no pair"),
        ("A:Q", "There is no member 'Q' in the frame; its members are A, B, C"),
        ("A:B", "No bolt joins A and B"),
    ],
)
def test_pairs_that_are_none_are_refused(work, capsys, pair, told):
    assert run("check", "gate.json", "--may-turn", pair) == 2
    assert told in sentence(capsys)


# Steps


def test_steps_are_told_and_written_with_pictures(work, capsys):
    assert run("steps", "gate.json", "-o", "out") == 0
    out = words(capsys)
    assert "1. Lay C (11 holes) and D (11 holes) down, with the finished frame's back on top." in out
    assert "Put B (12 holes) on top, hole 10 of B on hole 11 of D; hole 3 of B on hole 11 of C." in out
    assert "Check that it is square" in out and "Then tighten all bolts" in out
    assert "common practice, no source" in out
    page = (work / "out/steps.html").read_text()
    assert (
        page.count("<svg") == 4
        and page.count("No load rating") == 1
        and "http://" not in page.replace("http://www.w3.org", "")
    )
    data = json.loads((work / "out/steps.json").read_text())
    assert [s["number"] for s in data["steps"]] == [1, 2, 3, 4] and data["steps"][0]["laid"] == ["C", "D"]
    assert data["steps"][-1]["kind"] == "turn" and data["steps"][-1]["up"] == [0, 0, 1]
    assert any({"member": "B", "hole": 2} in bolt for bolt in data["steps"][0]["bolts"])
    assert (
        run("steps", "gate.json", "-o", "out") == 2
        and run("steps", "gate.json", "-o", "out", "--overwrite") == 0
    )


def test_where_there_is_no_order_what_blocks_what_is_told(work, capsys):
    blocked = framed(
        member("A", (0, 0, 0), Z, 8), member("B", (0, -1, 3), X, 6), member("D", (0, 1, 0), Z, 8)
    )
    save_frame(blocked, work / "blocked.json")
    assert run("steps", "blocked.json", "-o", "out") == 1
    assert "The bolt that joins A and B cannot be put in and turned: D is in the way." in words(capsys)
    assert not (work / "out").exists()


# Audit


def test_the_exit_code_tells_same_different_and_cannot_say(work, capsys):
    save_frame(seen(gate()), work / "built.json")
    assert run("audit", "built.json", "gate.json") == 0
    assert words(capsys).startswith("Built as planned")
    low = tuple(replace(m, first=(-1.0, 1.0, 4.0)) if m.id == "E" else m for m in gate().members)
    save_frame(seen(replace(gate(), members=low, joints=find_joints(low))), work / "low.json")
    assert run("audit", "low.json", "gate.json") == 1
    assert "E sits one hole too low on post A." in words(capsys)
    assert run("audit", "low.json", "gate.json", "--not-upright") == 1
    assert "E sits one hole too far along -z on A." in words(capsys)
    assert run("audit", "gate.json", "gate.json") == 4
    out = words(capsys)
    assert out.startswith("Cannot say") and "Bolt at hole 3 of A on hole 2 of C: not seen." in out


def test_an_audit_as_json_names_who_is_who(work, capsys):
    assert run("audit", "gate.json", "gate.json", "--json") == 4
    data = json.loads(capsys.readouterr().out)
    assert data["verdict"] == "cannot say" and data["names"] == {id: id for id in "ABCDE"}
    assert {d["severity"] for d in data["not_checked"]} == {"not checked"}


# Bad input

BAD = {
    "broken.json": ('{"members": [', "not JSON"),
    "newer.json": ('{"format": "drilled-frame", "version": 9, "members": []}', "newer program"),
    "none.json": (
        '{"pitch_mm": 38.1, "members": [{"id": "A", "first": [0,0,0], "direction": [0,0,1], "holes": 0}]}',
        "member A",
    ),
    "room.json": (
        (
            '{"pitch_mm": 38.1, "members": [{"id": "A", "first": [0,0,0], "direction": [0,0,1], "holes": 5}, '
            '{"id": "B", "first": [0,0,2], "direction": [1,0,0], "holes": 5}]}'
        ),
        "take the same room",
    ),
    "empty.json": ('{"pitch_mm": 38.1, "members": []}', "1 to 2000 members"),
    "stock.json": (
        (
            '{"stock": {"id": "oak-99"}, '
            '"members": [{"id": "A", "first": [0,0,0], "direction": [0,0,1], "holes": 5}]}'
        ),
        "oak-99",
    ),
}


@pytest.mark.parametrize("name", [*BAD, "missing.json"])
@pytest.mark.parametrize("command", ["check", "steps", "audit-built", "audit-plan"])
def test_bad_frame_files_are_told_in_a_sentence(work, capsys, command, name):
    if name in BAD:
        (work / name).write_text(BAD[name][0])
    if command.startswith("audit"):
        args = ("audit", name, "gate.json") if command == "audit-built" else ("audit", "gate.json", name)
    else:
        args = (command, name, "-o", "out")
    before = {p.name: p.read_bytes() for p in work.iterdir() if p.is_file()}
    assert run(*args) == 2
    told = sentence(capsys)
    assert name in told and (BAD[name][1] if name in BAD else "no such file") in told
    assert not (work / "out").exists() and before == {
        p.name: p.read_bytes() for p in work.iterdir() if p.is_file()
    }


@pytest.mark.parametrize("command", ALL)
def test_errors_are_json_too_where_json_is_asked_for(work, capsys, command):
    (work / "gate.json").write_text("{")
    assert run(*command, "--json") == 2
    data = json.loads(capsys.readouterr().out)
    assert data["exit_code"] == 2 and "gate.json" in data["error"]
