"""The command line, with the solving replaced: what goes in, what comes out, and every kind of bad input."""

import errno
import io
import json
import os
import re
import subprocess
import sys

import numpy as np
import pytest

from recon import cli, files, solve
from recon.cli.read import RESULTS, overlay_names
from recon.errors import ReconError
from recon.frame.caution import CAUTION
from recon.frame.files import load_frame
from recon.frame.length import KnownLength
from recon.image import photo_rows
from recon.image.openings import OPENING
from recon.image.rows import Row
from recon.image.rows_file import load_rows
from recon.solve import each_photo
from recon.workers import Workers
from tests.show.scenes import reading_of, save_photos, stand


@pytest.fixture
def work(tmp_path, monkeypatch):
    """A folder with three photos, in which commands run."""
    save_photos(tmp_path / "photos")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def calls(monkeypatch):
    """Stands for the solving; keeps what it was called with, and does `answer` where a test sets one."""

    class Calls(list):
        answer = staticmethod(lambda photos, **options: reading_of(photos))

    calls = Calls()

    def read(photos, **options):
        calls.append((photos, options))
        return calls.answer(photos, **options)

    monkeypatch.setattr(solve, "read", read, raising=False)
    monkeypatch.setattr(each_photo, "workers_for", lambda count, most=None: Workers(0))  # none would work
    monkeypatch.setattr(photo_rows, "find_photo_rows", one_row)
    return calls


def one_row(photo, detected=None):
    """Stands for the search for rows: one row of five openings."""
    openings = np.zeros(5, OPENING)
    openings["x"], openings["y"], openings["major"], openings["minor"] = 100 + 60 * np.arange(5), 300, 9, 7
    row = Row(np.arange(5), np.array([0, 1, 2, 4, 5]), -4.0)
    return photo_rows.PhotoRows(photo.name, photo.size, openings, (row,))


def run(*args):
    return cli.main(["read", *map(str, args)])


def tree(folder):
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def one_sentence(capsys, *words):
    """The only line on stderr, which has these words and is no traceback; nothing is on stdout."""
    captured = capsys.readouterr()
    assert captured.out == ""
    lines = captured.err.splitlines()
    assert len(lines) == 1 and "Traceback" not in captured.err
    for word in words:
        assert word in lines[0]
    return lines[0]


def test_a_good_reading_writes_everything_and_exits_with_0(work, calls, capsys):
    assert run("photos", "-o", "out") == 0
    captured = capsys.readouterr()
    assert captured.err == ""
    assert captured.out.count(CAUTION.split(":")[0]) == 1 and "2 x 12 holes" in captured.out
    assert set(tree(work / "out")) == {
        "frame.json",
        "frame.png",
        "summary.txt",
        "rows.json",
        "overlays/photo_1.jpg",
        "overlays/photo_2.jpg",
        "overlays/photo_3.jpg",
    }
    frame = load_frame(work / "out" / "frame.json")
    assert frame.members == stand().members and [p.file for p in frame.photos] == [
        "photo_1.jpg",
        "photo_2.jpg",
        "photo_3.jpg",
    ]
    assert (work / "out" / "summary.txt").read_text() in captured.out
    assert tree(work / "photos").keys() == {"photo_1.jpg", "photo_2.jpg", "photo_3.jpg"}


def test_the_solving_gets_what_the_user_said(work, calls):
    (work / "mine.toml").write_text(
        '[[stock]]\nid = "yard"\nmaterial = "oak"\npitch_mm = 40\nwidth_mm = 40\nhole_mm = 9\n'
        'density_kg_m3 = 700\nsource = "measured"\n'
    )
    assert (
        run(
            "photos",
            "-o",
            "out",
            "--stocks",
            "mine.toml",
            "--stock",
            "yard",
            "--length",
            "A = 24 in",
            "--debug",
            "dbg/deep",
        )
        == 0
    )
    photos, options = calls[0]
    assert [p.name for p in photos] == ["photo_1.jpg", "photo_2.jpg", "photo_3.jpg"]
    assert options["stock_id"] == "yard" and options["stocks"]["yard"].pitch_mm == 40
    assert options["length"] == KnownLength(pytest.approx(609.6), member="A")
    assert str(options["debug_dir"]) == os.path.join("dbg", "deep")


def test_the_name_is_the_users_else_the_files_else_the_folders(work, calls):
    calls.answer = lambda photos, **_: reading_of(
        photos, frame=stand().__class__(stand().members, stand().joints, 38.1)
    )
    assert run("photos", "-o", "a") == run("photos", "-o", "b", "--name", "Sluice stand") == 0
    assert load_frame(work / "a" / "frame.json").name == "photos"
    assert load_frame(work / "b" / "frame.json").name == "Sluice stand"


def test_a_broken_photo_among_good_ones_is_named_and_the_rest_is_read(work, calls, capsys):
    whole = (work / "photos" / "photo_2.jpg").read_bytes()
    (work / "photos" / "photo_2.jpg").write_bytes(whole[: len(whole) // 2])
    assert run("photos", "-o", "out") == 1
    captured = capsys.readouterr()
    assert "photo_2.jpg" in captured.err and "damaged" in captured.err and len(captured.err.splitlines()) == 1
    assert "photo_2.jpg: not read" in captured.out
    assert [p.name for p in calls[0][0]] == ["photo_1.jpg", "photo_3.jpg"]
    assert "frame.json" in tree(work / "out")


def test_the_same_photo_twice_is_used_once(work, calls, capsys):
    (work / "photos" / "copy.jpg").write_bytes((work / "photos" / "photo_1.jpg").read_bytes())
    assert run("photos", "-o", "out") == 1
    assert "set aside: it is the same photo as" in capsys.readouterr().err
    stored = load_frame(work / "out" / "frame.json").photos
    assert sorted((p.file, p.used) for p in stored)[:2] == [("copy.jpg", True), ("photo_1.jpg", False)]
    assert len(calls[0][0]) == 3 and len(stored) == 4


def test_a_photo_of_another_frame_is_named_and_the_rest_is_written(work, calls, capsys):
    calls.answer = lambda photos, **_: reading_of(
        photos, set_aside=[("photo_3.jpg", "it shows another frame")]
    )
    assert run("photos", "-o", "out") == 1
    captured = capsys.readouterr()
    assert captured.err == "photo_3.jpg: set aside: it shows another frame.\n"
    assert "photo_3.jpg: set aside: it shows another frame" in captured.out
    assert "overlays/photo_3.jpg" in tree(work / "out")


@pytest.mark.parametrize("reason", ["No frame was found in photo_1.jpg.", "Too few holes."])
def test_photos_without_a_frame_leave_their_rows_and_a_sentence(work, calls, capsys, reason):
    def nothing(*_args, **_options):
        raise ReconError(reason)

    calls.answer = nothing
    assert run("photos", "-o", "out") == 2
    assert one_sentence(capsys, reason, "kept in out", "3 rows", "rows.json")
    names = {f"overlays/photo_{k}.jpg" for k in (1, 2, 3)}
    assert set(tree(work / "out")) == {"rows.json", *names}
    found = load_rows(work / "out" / "rows.json")
    assert [(p.name, p.size, p.reason) for p in found] == [
        (f"photo_{k}.jpg", (800, 600), reason) for k in (1, 2, 3)
    ]
    assert [photo_rows.hole_count(row) for p in found for row in p.rows] == [6, 6, 6]
    assert run("photos", "-o", "out") == 2 and "--overwrite" in capsys.readouterr().err


def test_a_stopped_reading_leaves_nothing(work, calls, capsys):
    def stopped(*_args, **_options):
        raise ReconError("The reading was stopped.", exit_code=130)

    calls.answer = stopped
    assert run("photos", "-o", "out") == 130
    one_sentence(capsys, "stopped")
    assert not (work / "out").exists()


def test_a_reading_keeps_its_rows_with_the_cameras(work, calls):
    calls.answer = lambda photos, **_: reading_of(photos, set_aside=[("photo_3.jpg", "it is blurred")])
    assert run("photos", "-o", "out") == 1
    found = load_rows(work / "out" / "rows.json")
    assert [p.camera is not None for p in found] == [True, True, False]
    assert [p.reason for p in found] == ["", "", "it is blurred"]


def test_rows_alone_are_a_table_and_write_only_where_asked(work, calls, capsys):
    assert run("photos", "--rows") == 0
    out = capsys.readouterr().out
    assert not calls and set(tree(work)) == {f"photos/photo_{k}.jpg" for k in (1, 2, 3)}
    assert out.count("5 openings, 1 row\n") == 3 and re.search(r"1 +6 +5 +0.0%  100, 300 +340, 300", out)
    assert run("photos", "--rows", "--json", "-o", "out") == 0
    printed = json.loads(capsys.readouterr().out)
    written = json.loads((work / "out" / "rows.json").read_text())
    assert printed["photos"] == written["photos"] and printed["files"][0] == os.path.join("out", "rows.json")
    assert run("photos", "--rows", "-o", "photos") == 2
    one_sentence(capsys, "choose another", "-o")


@pytest.mark.parametrize(
    "args, words",
    [
        (["nowhere.jpg"], ["nowhere.jpg", "check the name"]),
        (["empty"], ["empty", "no photos"]),
        (["photos", "--stock", "softwod-38"], ["softwod-38", "softwood-38"]),
        (["photos", "--stocks", "missing.toml"], ["missing.toml"]),
        (["photos", "--stocks", "photos/photo_1.jpg"], ["photo_1.jpg", "not text"]),
        (["photos", "--length", "A = 610"], ["no unit"]),
        (["photos", "--length", "long"], ["16 holes = 24 1/8 in"]),
        (["photos", "-o", "photos"], ["choose another", "-o"]),
        (["photos", "-o", "file.txt"], ["file.txt", "this is a file"]),
        (["photos", "--debug", "file.txt/deep"], ["file.txt", "cannot be written"]),
    ],
)
def test_what_cannot_be_done_is_said_in_one_sentence_before_any_solving(work, calls, capsys, args, words):
    (work / "empty").mkdir()
    (work / "file.txt").write_text("mine")
    before = tree(work)
    assert run(*args) == 2
    one_sentence(capsys, *words)
    assert not calls and tree(work) == before and not (work / "frame-out").exists()


def test_files_that_are_no_photos_are_all_named(work, calls, capsys):
    (work / "zero.jpg").write_bytes(b"")
    (work / "letter.jpg").write_text("Dear yard")
    assert run("zero.jpg", "letter.jpg", "-o", "out") == 2
    captured = capsys.readouterr()
    assert (
        "zero.jpg: not read: the file is empty" in captured.err
        and "letter.jpg: not read: this is not a photo" in captured.err
    )
    assert "None of the files" in captured.err and captured.out == ""
    assert not calls and not (work / "out").exists()


def test_earlier_results_are_not_written_over_unless_asked(work, calls, capsys):
    assert run("photos", "-o", "out") == 0
    (work / "out" / "notes.txt").write_text("mine")
    before = tree(work / "out")
    capsys.readouterr()
    assert run("photos", "-o", "out") == 2
    one_sentence(capsys, "--overwrite")
    assert tree(work / "out") == before and len(calls) == 1
    (work / "photos" / "photo_3.jpg").unlink()
    assert run("photos", "-o", "out", "--overwrite") == 0
    after = tree(work / "out")
    assert set(before) - set(after) == {"overlays/photo_3.jpg"} and after["notes.txt"] == b"mine"


@pytest.mark.parametrize(
    "stop, code",
    [
        (ReconError("No frame."), 2),
        (KeyboardInterrupt(), 130),
        (ZeroDivisionError("x"), 3),
        (MemoryError(), 2),
    ],
)
def test_a_reading_that_stops_leaves_earlier_results_as_they_were(work, calls, capsys, stop, code):
    assert run("photos", "-o", "out") == 0
    before = tree(work)
    capsys.readouterr()

    def stopped(*_args, **_options):
        raise stop

    calls.answer = stopped
    assert run("photos", "-o", "out", "--overwrite") == code
    one_sentence(capsys)
    assert tree(work) == before
    assert [p.name for p in work.iterdir() if p.name.startswith(".")] == []


def test_a_disk_that_fills_up_costs_the_files_and_not_the_reading(work, calls, capsys, monkeypatch):
    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(files.os, "fsync", full)
    assert run("photos", "-o", "out") == 2
    captured = capsys.readouterr()
    assert "disk is full" in captured.err and len(captured.err.splitlines()) == 1
    assert "2 x 12 holes" in captured.out and "Written" not in captured.out
    assert not (work / "out").exists()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="POSIX only")
def test_a_read_only_place_is_refused(work, calls, capsys):
    # procfs takes no new folders from anybody, root included
    assert run("photos", "-o", "/proc/recon-out") == 2
    one_sentence(capsys, "/proc/recon-out", "cannot be written")
    assert not calls


def test_json_is_the_only_thing_on_stdout(work, calls, capsys):
    (work / "photos" / "bad.jpg").write_bytes(b"")
    assert run("photos", "-o", "out", "--json") == 1
    result = json.loads(capsys.readouterr().out)
    assert result["frame"] == json.loads((work / "out" / "frame.json").read_text())
    assert [entry["photo"] for entry in result["left_out"]] == ["bad.jpg"]
    assert all(os.path.exists(path) for path in result["files"]) and len(result["files"]) == 7


def test_an_error_is_json_too_where_json_was_asked_for(work, calls, capsys):
    assert run("nowhere.jpg", "--json") == 2
    captured = capsys.readouterr()
    assert json.loads(captured.out)["exit_code"] == 2 and "nowhere.jpg" in json.loads(captured.out)["error"]
    assert "nowhere.jpg" in captured.err


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_progress_goes_to_a_terminal_only_and_grows(work, calls, capsys, monkeypatch):
    def answer(photos, progress, **_):
        progress("finding rows", 0.5)
        return reading_of(photos)

    calls.answer = answer
    assert run("photos", "-o", "a") == 0
    assert capsys.readouterr().err == ""
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    assert run("photos", "-o", "b") == 0
    shown = [part.strip() for part in terminal.getvalue().split("\r\x1b[K") if part.strip()]
    shares = [int(part.split("%")[0]) for part in shown]
    assert shares == sorted(shares) and shares[0] == 0 and shares[-1] > 90
    assert any(part.startswith("50%") and "finding rows" in part for part in shown)
    assert terminal.getvalue().endswith("\r\x1b[K")  # the line is clean for what comes next


def test_control_characters_in_names_do_not_reach_the_terminal(work, calls, capsys):
    name = "x\x1b[31m.jpg"
    (work / name).write_bytes(b"")
    assert run(name, "photos", "-o", "out") == 1
    captured = capsys.readouterr()
    assert "\x1b" not in captured.err + captured.out and "x?[31m.jpg" in captured.err
    assert run("nowhere\x1b.jpg") == 2
    assert "\x1b" not in capsys.readouterr().err


def test_a_fault_in_recon_is_called_one(work, calls, capsys):
    def fault(*_args, **_options):
        raise ZeroDivisionError("division by zero")

    calls.answer = fault
    assert run("photos", "-o", "out") == 3
    assert "fault in recon" in one_sentence(capsys, "division by zero", "RECON_TRACEBACK")


def test_photos_of_one_stem_get_overlays_of_their_own():
    names = overlay_names(["a.jpg", "a.png", "A.heic", "right/a.jpg", "b" * 300 + ".jpg"])
    assert names == ["a.jpg", "a_2.jpg", "A_3.jpg", "right_a.jpg", "b" * 80 + ".jpg"]


def test_every_command_has_help_and_unknown_ones_a_sentence(capsys):
    assert cli.main(["--help"]) == 0
    assert cli.main([]) == 2 and cli.main(["raed", "x.jpg"]) == 2
    for command in cli.COMMANDS:
        name = command.__name__.rsplit(".", 1)[-1]
        assert cli.main([name, "--help"]) == 0
    captured = capsys.readouterr()
    assert "Traceback" not in captured.err
    for word in (*RESULTS, "examples:", "--length", "exit codes:"):
        assert word in captured.out


def test_the_stock_list_is_shown_with_sources(capsys):
    assert cli.main(["stocks"]) == 0
    out = capsys.readouterr().out
    assert "softwood-38\n" in out and "source: common practice, no source" in out and "1 1/2 in" in out


def test_python_m_recon_is_the_same_command():
    done = subprocess.run(
        [sys.executable, "-m", "recon", "read", "nowhere.jpg"], capture_output=True, text=True
    )
    assert done.returncode == 2 and "nowhere.jpg" in done.stderr and "Traceback" not in done.stderr


def test_the_usual_stock_is_named_shown_and_cleared(work, calls, capsys, monkeypatch):
    for name in ("XDG_CONFIG_HOME", "APPDATA"):
        monkeypatch.setenv(name, str(work / "settings"))
    assert cli.main(["stocks", "--usual", "softwood-40"]) == 0
    assert capsys.readouterr().out == "Your usual stock: softwood-40.\n"
    assert cli.main(["stocks"]) == 0
    assert "softwood-40 (your usual stock)\n" in capsys.readouterr().out
    assert cli.main(["stocks", "--usual", "none"]) == 0
    assert capsys.readouterr().out == "Your usual stock: none.\n"
    assert cli.main(["stocks"]) == 0 and "your usual stock" not in capsys.readouterr().out
    assert cli.main(["stocks", "--usual", "softwood-41"]) == 2
    assert "perhaps 'softwood-40' is meant" in capsys.readouterr().err


def test_a_reading_prefers_the_usual_stock_and_obeys_the_one_that_is_given(work, calls, monkeypatch):
    for name in ("XDG_CONFIG_HOME", "APPDATA"):
        monkeypatch.setenv(name, str(work / "settings"))
    cli.main(["stocks", "--usual", "softwood-40"])
    cli.main(["read", "photos", "-o", "usual"])
    cli.main(["read", "photos", "-o", "given", "--stock", "softwood-25"])
    (_, usual), (_, given) = calls
    assert usual["stock_id"] is None and given["stock_id"] == "softwood-25"
    assert max(usual["stocks"].values(), key=lambda s: s.prior).id == "softwood-40"


def test_stages_that_cannot_be_written_are_said_and_the_frame_is_kept(work, calls, capsys):
    why = "stages: cannot be written: the disk is full."

    def answer(photos, **options):
        reading = reading_of(photos)
        reading.not_written = why
        return reading

    calls.answer = answer
    assert cli.main(["read", "photos", "-o", "out", "--debug", "stages"]) == 1
    assert why in capsys.readouterr().err and (work / "out" / "frame.json").is_file()


def test_overwriting_leaves_what_the_user_put_among_the_overlays(work, calls):
    cli.main(["read", "photos", "-o", "out"])
    (work / "photos" / "photo_3.jpg").unlink()
    (work / "out" / "overlays" / "my_notes.txt").write_text("mine")
    (work / "out" / "overlays" / "mine.jpg").write_bytes((work / "photos" / "photo_1.jpg").read_bytes())
    assert cli.main(["read", "photos", "-o", "out", "--overwrite"]) == 0
    there = sorted(p.name for p in (work / "out" / "overlays").iterdir())
    assert there == ["mine.jpg", "my_notes.txt", "photo_1.jpg", "photo_2.jpg"]


def test_a_folder_of_the_user_with_a_results_name_stays(work, calls, capsys):
    (work / "out" / "frame.json").mkdir(parents=True)
    (work / "out" / "frame.json" / "mine.txt").write_text("mine")
    assert cli.main(["read", "photos", "-o", "out", "--overwrite"]) == 2
    assert "ordinary file" in capsys.readouterr().err and not calls
    assert (work / "out" / "frame.json" / "mine.txt").read_text() == "mine"
