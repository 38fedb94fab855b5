"""`recon read --each`: a folder of builds, each safe from another's failure, begun again where it stopped."""

import csv
import json
import os
import signal
import subprocess
import sys

import pytest

from recon import cli
from recon.cli.read_each import BEFORE, READ, find_builds
from recon.errors import ReconError
from recon.frame.files import frame_to_dict
from tests.corrections.frames import gate
from tests.show.scenes import save_photos

# Stands for the command that reads one build, in a process of its own: what it does follows from the name of
# the build.
READER = """
import json, os, pathlib, signal, sys, time
args = sys.argv[1:]
photos, out = pathlib.Path(args[1]), pathlib.Path(args[args.index("-o") + 1])
with open(photos.parent.parent / "calls", "a") as file:
    file.write(photos.name + chr(10))
if photos.name == "killed":
    os.kill(os.getpid(), signal.SIGKILL)
if photos.name == "fault":
    sys.exit("This is a fault in recon.")
if photos.name == "slow":
    print("begun", file=sys.stderr, flush=True)
    time.sleep(600)
out.mkdir(parents=True)
(out / "rows.json").write_text("{}")
if photos.name == "empty":
    print(json.dumps({"error": "No frame can be seen.", "exit_code": 2}))
    sys.exit(2)
frame = json.loads(pathlib.Path(os.environ["FRAME"]).read_text())
(out / "frame.json").write_text(json.dumps(frame))
print(json.dumps({"frame": frame, "left_out": [], "files": []}))
"""


@pytest.fixture
def builds(tmp_path, monkeypatch):
    """A folder `builds` with builds of these names, and a reader that reads none of them."""

    def made(*names):
        for name in names:
            save_photos(tmp_path / "builds" / name)

    photo = {"file": "a.jpg", "size": [4, 3], "used": True}
    frame = frame_to_dict(gate().frame) | {"photos": [photo, {**photo, "file": "b.jpg"}]}
    (tmp_path / "frame.json").write_text(json.dumps(frame))
    (tmp_path / "reader.py").write_text(READER)
    monkeypatch.setenv("FRAME", str(tmp_path / "frame.json"))
    real = subprocess.Popen

    def begun(command, **options):
        assert command[1:4] == ["-m", "recon", "read"]
        return real([sys.executable, str(tmp_path / "reader.py"), *command[3:]], **options)

    monkeypatch.setattr("recon.cli.read_each.subprocess.Popen", begun)
    monkeypatch.chdir(tmp_path)
    return made


def table(path):
    return {row["build"]: row for row in csv.DictReader(path.read_text().splitlines())}


def calls(tmp_path):
    path = tmp_path / "calls"
    found = sorted(path.read_text().split()) if path.exists() else []
    path.unlink(missing_ok=True)
    return found


def test_what_ends_one_build_leaves_the_others_alone(builds, tmp_path, capsys):
    builds("b2", "b10", "killed", "fault", "empty")
    assert cli.main(["read", "builds", "--each", "-o", "out", "--jobs", "2"]) == 1
    rows = table(tmp_path / "out" / "builds.csv")
    assert list(rows) == ["b2", "b10", "empty", "fault", "killed"]
    for name in ("b2", "b10"):
        row = rows[name]
        assert (row["members"], row["sure"], row["photos"], row["result"]) == ("4", "3", "2 of 2", READ)
    assert "signal 9" in rows["killed"]["result"] and "fault in recon" in rows["fault"]["result"]
    assert rows["empty"]["result"] == "No frame can be seen." and rows["empty"]["members"] == ""
    said = capsys.readouterr().out
    assert all(name in said for name in rows) and "builds.csv" in said
    assert sorted(calls(tmp_path)) == sorted(rows)


def test_what_has_results_is_left_and_the_rest_is_read(builds, tmp_path, capsys):
    builds("a", "empty")
    cli.main(["read", "builds", "--each", "-o", "out"])
    calls(tmp_path)
    builds("c")
    assert cli.main(["read", "builds", "--each", "-o", "out", "--json"]) == 1
    assert calls(tmp_path) == ["c"]
    rows = {row["build"]: row for row in json.loads(capsys.readouterr().out.splitlines()[-1])["builds"]}
    assert rows["a"]["result"] == BEFORE and rows["a"]["members"] == 4
    assert rows["c"]["result"] == READ and "no frame was read" in rows["empty"]["result"]


def test_all_read_is_0_and_none_read_is_2(builds, tmp_path):
    builds("a", "b")
    assert cli.main(["read", "builds", "--each", "-o", "good"]) == 0
    (tmp_path / "builds" / "a").rename(tmp_path / "builds" / "empty")
    (tmp_path / "builds" / "b").rename(tmp_path / "builds" / "fault")
    assert cli.main(["read", "builds", "--each", "-o", "bad"]) == 2


def test_results_in_the_folder_of_builds_are_no_build_and_photos_may_lie_deeper(tmp_path):
    save_photos(tmp_path / "page" / "photos")
    save_photos(tmp_path / "plain")
    save_photos(tmp_path / "results")
    (tmp_path / "notes").mkdir()
    found = find_builds([str(tmp_path)], tmp_path / "results")
    assert found == {"page": tmp_path / "page" / "photos", "plain": tmp_path / "plain"}
    with pytest.raises(ReconError, match="two builds of this name"):
        find_builds([str(tmp_path), str(tmp_path)], tmp_path / "out")


@pytest.mark.parametrize(
    "arguments, words",
    [
        (["nowhere"], "this is no folder"),
        (["."], "no folder in it holds photos"),
        (["builds", "--length", "A = 610 mm"], "--length is of one build"),
        (["builds", "--jobs", "0"], "not from 1 to"),
    ],
)
def test_what_cannot_be_is_a_sentence(tmp_path, monkeypatch, capsys, arguments, words):
    monkeypatch.chdir(tmp_path)
    assert cli.main(["read", *arguments, "--each"]) == 2
    assert words in capsys.readouterr().err


def test_one_build_is_read_by_the_command_itself(tmp_path):
    """With no stand-in: what has a photo's name is none, and the process says so."""
    (tmp_path / "builds" / "a").mkdir(parents=True)
    (tmp_path / "builds" / "a" / "photo.jpg").write_text("x")
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "recon",
            "read",
            str(tmp_path / "builds"),
            "--each",
            "-o",
            str(tmp_path / "out"),
        ],
        capture_output=True,
        text=True,
    )
    row = table(tmp_path / "out" / "builds.csv")["a"]
    assert done.returncode == 2 and row["members"] == "" and "could be read as a photo" in row["result"]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="Windows sends a process no such signals")
def test_what_is_stopped_ends_its_processes(builds, tmp_path, monkeypatch):
    builds("slow")
    begun, real = [], subprocess.Popen

    def stopped(command, **options):
        begun.append(real(command, **options))
        os.kill(os.getpid(), signal.SIGINT)
        return begun[0]

    monkeypatch.setattr("recon.cli.read_each.subprocess.Popen", stopped)
    assert cli.main(["read", "builds", "--each", "-o", "out"]) == 130
    assert begun[0].wait(60) != 0
