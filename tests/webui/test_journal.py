"""The journal: what was acknowledged is there after any end of the program, and nothing else is."""

import json
import os
import random
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from recon.corrections.edits import edit
from recon.corrections.edits.registry import EDIT_KINDS
from recon.errors import ReconError
from tests.corrections.frames import gate
from tests.corrections.requests import REQUESTS, mark_of, rich_state
from webui.storage.build import Build, Conflict
from webui.storage.journal import NAME, Journal, entry_of, line_of

ROOT = Path(__file__).resolve().parents[2]


def begun(folder) -> Build:
    build = Build(folder)
    build.change(lambda _: (gate(), "Read: 4 members"), kind="reading")
    return build


def test_entries_come_back_in_order(tmp_path):
    journal = Journal(tmp_path)
    assert [journal.append({"words": f"entry {k}"}) for k in range(5)] == [1, 2, 3, 4, 5]
    journal.close()
    again = Journal(tmp_path)
    assert [(e["n"], e["words"]) for e in again.entries] == [(k + 1, f"entry {k}") for k in range(5)]
    again.close()


@pytest.mark.parametrize("cut", [1, 5, 20])
def test_a_torn_last_line_is_cut_off_and_the_rest_kept(tmp_path, cut):
    journal = Journal(tmp_path)
    for k in range(3):
        journal.append({"words": f"entry {k}"})
    journal.close()
    path = tmp_path / NAME
    path.write_bytes(path.read_bytes()[:-cut])
    again = Journal(tmp_path)
    assert [e["words"] for e in again.entries] == ["entry 0", "entry 1"]
    assert again.append({"words": "new"}) == 3
    again.close()
    assert [e["words"] for e in Journal(tmp_path).entries] == ["entry 0", "entry 1", "new"]


def test_any_prefix_of_a_journal_opens(tmp_path):
    journal = Journal(tmp_path)
    for k in range(6):
        journal.append({"words": f"entry {k}"})
    journal.close()
    whole = (tmp_path / NAME).read_bytes()
    for end in range(len(whole) + 1):
        (tmp_path / NAME).write_bytes(whole[:end])
        opened = Journal(tmp_path)
        assert [e["words"] for e in opened.entries] == [
            f"entry {k}" for k in range(max(0, whole[:end].count(b"\n") - 1))
        ]
        opened.close()


def test_damage_in_the_middle_is_refused_with_its_line(tmp_path):
    journal = Journal(tmp_path)
    for k in range(4):
        journal.append({"words": f"entry {k}"})
    journal.close()
    path = tmp_path / NAME
    path.write_bytes(path.read_bytes().replace(b"entry 1", b"entry 9"))
    before = path.read_bytes()
    with pytest.raises(ReconError, match="line 3 is damaged"):
        Journal(tmp_path)
    assert path.read_bytes() == before


def test_a_newer_build_is_refused_and_left_alone(tmp_path):
    (tmp_path / NAME).write_bytes(line_of({"format": "frame-build", "version": 2}))
    before = (tmp_path / NAME).read_bytes()
    with pytest.raises(ReconError, match="newer program.*update this program"):
        Journal(tmp_path)
    assert (tmp_path / NAME).read_bytes() == before


def test_another_file_of_that_name_is_refused(tmp_path):
    (tmp_path / NAME).write_bytes(line_of({"format": "shopping-list", "version": 1}))
    with pytest.raises(ReconError, match="not the journal of a build"):
        Journal(tmp_path)


def test_a_build_is_open_in_one_program_at_a_time(tmp_path):
    build = begun(tmp_path)
    with pytest.raises(ReconError, match="open in another program"):
        Build(tmp_path)
    build.close()
    Build(tmp_path).close()


def test_an_altered_line_is_told_from_a_whole_one():
    line = line_of({"n": 1, "words": "A: 12 holes → 13"})
    assert entry_of(line) == {"n": 1, "words": "A: 12 holes → 13"}
    assert entry_of(line.replace(b"13", b"14")) is None
    assert entry_of(line[:-1]) is None


def test_a_full_disk_refuses_the_change_and_keeps_the_build(tmp_path, monkeypatch):
    build = begun(tmp_path)
    before = build.state

    def full(file, data):
        real(file, bytes(data)[:10])
        raise OSError(28, "No space left on device")

    real = os.write
    monkeypatch.setattr(os, "write", full)
    with pytest.raises(ReconError, match="disk is full"):
        build.change(lambda s: edit(s, {"op": "end", "member": "A", "end": 1, "by": 1}))
    monkeypatch.undo()
    assert build.state is before and build.n == 1
    build.change(lambda s: edit(s, {"op": "end", "member": "A", "end": 1, "by": 2}))
    build.close()
    assert Build(tmp_path).state.frame.member("A").holes == 14


# Undo and redo


def test_undo_and_redo_go_all_the_way_and_survive_a_restart(tmp_path):
    build = begun(tmp_path)
    for _ in range(30):
        build.change(lambda s: edit(s, {"op": "end", "member": "A", "end": 1, "by": 1}))
    for _ in range(20):
        build.undo()
    build.close()
    build = Build(tmp_path)
    assert build.state.frame.member("A").holes == 22
    for _ in range(20):
        build.redo()
    assert build.state.frame.member("A").holes == 42
    with pytest.raises(ReconError, match="nothing to redo"):
        build.redo()
    for _ in range(31):
        build.undo()
    assert not build.state.frame.members
    with pytest.raises(ReconError, match="nothing to undo"):
        build.undo()
    build.close()


def test_a_change_after_undo_starts_a_new_way_forward(tmp_path):
    build = begun(tmp_path)
    build.change(lambda s: edit(s, {"op": "end", "member": "A", "end": 1, "by": 1}))
    build.undo()
    build.change(lambda s: edit(s, {"op": "end", "member": "B", "end": 1, "by": 5}))
    assert build.can()["redo"] is None
    build.close()
    build = Build(tmp_path)
    assert (build.state.frame.member("A").holes, build.state.frame.member("B").holes) == (12, 17)
    assert build.can() == {"undo": "B: 12 holes → 17", "redo": None}
    build.close()


def test_a_change_meant_for_an_older_version_is_refused(tmp_path):
    build = begun(tmp_path)
    seen = build.n
    build.change(lambda s: edit(s, {"op": "end", "member": "A", "end": 1, "by": 1}), base=seen)
    with pytest.raises(Conflict):
        build.change(lambda s: edit(s, {"op": "end", "member": "A", "end": 1, "by": 1}), base=seen)
    assert build.state.frame.member("A").holes == 13
    build.close()


def test_the_frame_file_follows_the_build_but_never_over_a_stranger(tmp_path):
    build = begun(tmp_path)
    build.close()
    assert json.loads((tmp_path / "frame.json").read_text())["members"][0]["holes"] == 12
    build = Build(tmp_path)
    build.change(lambda s: edit(s, {"op": "end", "member": "A", "end": 1, "by": 3}))
    build.close()
    assert json.loads((tmp_path / "frame.json").read_text())["members"][0]["holes"] == 15
    strange = (tmp_path / "frame.json").read_text().replace('"holes": 15', '"holes": 9')
    (tmp_path / "frame.json").write_text(strange)
    build = Build(tmp_path)
    assert any("changed by another program" in notice for notice in build.notices)
    build.change(lambda s: edit(s, {"op": "end", "member": "B", "end": 1, "by": 1}))
    build.close()
    assert (tmp_path / "frame.json").read_text() == strange


def test_a_copied_folder_opens_elsewhere(tmp_path):
    build = begun(tmp_path / "here")
    build.change(lambda s: edit(s, {"op": "end", "member": "A", "end": 1, "by": 1}))
    shutil.copytree(tmp_path / "here", tmp_path / "there")
    build.close()
    assert Build(tmp_path / "there").state.frame.member("A").holes == 13


# The kill

KINDS = (*REQUESTS, "undo", "redo")
SELDOM = ("fitting", *["fitting_copy"] * 4)
DRAWN = (*KINDS, *["undo"] * 3, *["redo"] * 8, *SELDOM)  # what is seldom possible is drawn more often

CHILD = """
import random, sys
from recon.corrections.edits import edit
from recon.corrections.edits.registry import EDIT_KINDS
from recon.errors import ReconError
from recon.frame.stock import load_stocks
from tests.corrections.requests import mark_of, request_of
from webui.storage.build import Build
build, rng, stocks, kinds = Build(sys.argv[1]), random.Random(int(sys.argv[2])), load_stocks(), sys.argv[4:]
while build.n < int(sys.argv[3]):
    kind = rng.choice(kinds)
    try:
        if kind in ("undo", "redo"):
            build.undo() if kind == "undo" and build.n > 5 else build.redo()
        else:
            request = request_of(kind, build.state, rng)
            build.change(lambda s: edit(s, request, stocks))
    except ReconError:
        continue
    print(build.n, mark_of(build.state), kind, flush=True)
"""


def kill_run(folder, edits: int, seed: int) -> tuple[int, int, set[str]]:
    """Edits a build in a process that is killed at random moments until `edits` are acknowledged.

    Returns (kills, edits lost, kinds of edit done): an edit is lost where the build, opened again, is not at
    least as far as was acknowledged, or is not what was acknowledged at that version.
    """
    rng, kills, lost, told, done = random.Random(seed), 0, 0, {}, set()
    build = Build(folder)
    build.change(lambda _: (rich_state(), "Read: 4 members"), kind="reading")
    build.close()
    while not told or max(told) < edits:
        child = subprocess.Popen(
            [sys.executable, "-c", CHILD, str(folder), str(rng.randrange(10**6)), str(edits), *DRAWN],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            text=True,
        )
        stop_after = rng.randrange(1, max(2, edits // 3))
        for k, line in enumerate(child.stdout):
            n, mark, kind = line.split()
            told[int(n)] = int(mark)
            done.add(kind)
            if k == stop_after:
                child.send_signal(signal.SIGKILL)  # what it still prints was acknowledged before the end
                kills += 1
        child.wait()
        child.stdout.close()
        assert child.returncode in (0, -signal.SIGKILL)
        lost += check(folder, told)
    return kills, lost, done


def check(folder, told) -> int:
    build = Build(folder)
    marks = {n: mark_of(moment.state) for n, moment in build.moments.items()}
    build.close()
    return sum(marks.get(n) != mark for n, mark in told.items())


def test_every_kind_of_edit_has_requests_for_the_kill():
    assert set(REQUESTS) == set(EDIT_KINDS), "give the new kind its request in tests/corrections/requests.py"


def test_no_acknowledged_edit_is_lost_to_kill_9(tmp_path):
    kills, lost, done = kill_run(tmp_path, edits=200, seed=4)
    assert kills >= 2 and lost == 0 and done == set(KINDS)


# A system without fcntl: msvcrt as its documentation tells of it (a range is locked from where the file
# stands, other handles # may not read it), by means of this system's own locks on ranges.
WITHOUT_FCNTL = """
import fcntl, os, struct, sys, types
def locking(file, mode, count):
    assert mode == 2
    # By open file, as on Windows: a lock of the process would go when the journal,
    # read by another handle, is closed.
    start = os.lseek(file, 0, os.SEEK_CUR)
    lock = struct.pack("hhqqi4x", fcntl.F_WRLCK, os.SEEK_SET, start, count, 0)
    fcntl.fcntl(file, fcntl.F_OFD_SETLK, lock)
    locked.append((os.lseek(file, 0, os.SEEK_CUR), count))
locked = []
sys.modules["msvcrt"] = types.SimpleNamespace(locking=locking, LK_NBLCK=2)
sys.modules["fcntl"] = sys.modules["resource"] = None
for name in ("O_CLOEXEC", "O_NOFOLLOW", "O_DIRECTORY", "nice"):
    delattr(os, name)
from recon import limits
from recon.errors import ReconError
from webui.processes import decode
from webui.storage.journal import Journal
decode.limit(), limits.step_back()
try:
    journal = Journal(sys.argv[1])
except ReconError as error:
    print(error)
else:
    journal.append({"words": sys.argv[2]})
    print("open", len(journal.entries), locked[0][0] > os.path.getsize(journal.path), flush=True)
    sys.stdin.read()
"""


@pytest.mark.skipif(sys.platform != "linux", reason="stands for Windows by locks that Linux alone has")
def test_a_system_without_fcntl_locks_by_msvcrt_beyond_what_is_read(tmp_path):
    def begin(words):
        return subprocess.Popen(
            [sys.executable, "-c", WITHOUT_FCNTL, str(tmp_path), words],
            cwd=ROOT,
            text=True,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )

    one = begin("first")
    assert one.stdout.readline() == "open 0 True\n"
    two = begin("second")
    assert "open in another program" in two.communicate()[0]
    one.kill()
    one.communicate()
    three = begin("third")  # a lock ends with the process that held it
    assert three.communicate()[0] == "open 1 True\n"
    journal = Journal(tmp_path)
    assert [e["words"] for e in journal.entries] == ["first", "third"]
    journal.close()


@pytest.mark.parametrize(
    "text",
    [
        "",
        "My diary of the yard, without an end of line",
        "My diary of the yard\n",
        '{"format":"frame-build","version":1}\tnot its checksum\n',
    ],
)
def test_a_file_of_the_journals_name_that_is_none_is_left_as_it_is(tmp_path, text):
    (tmp_path / NAME).write_text(text)
    if not text:
        Journal(tmp_path).close()
        return
    with pytest.raises(ReconError, match="not the journal of a build"):
        Journal(tmp_path)
    assert (tmp_path / NAME).read_text() == text
