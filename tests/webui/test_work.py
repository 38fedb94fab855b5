"""The work journal: ticks, notes, photos at steps and named versions are kept, apart from edits."""

import io
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import zipfile
import zlib

import pytest
from PIL import Image

from recon.corrections.edits import edit
from recon.errors import ReconError
from recon.workshop.assembly.record import Act, MemberIn
from tests.corrections.frames import ROOT, gate
from tests.webui.conftest import Asked
from webui.app import close_app, create_app
from webui.storage.build import STEP_PHOTOS, WORK, Build
from webui.storage.journal import NAME, line_of
from webui.storage.rescue import rescue_build
from webui.storage.work import WorkLog, record_in


def in_(id, holes=12):
    return lambda record: Act((MemberIn(id, holes),), (), f"{id} in")


def test_acts_come_back_after_a_restart_and_are_taken_back_one_by_one(tmp_path):
    work = WorkLog(tmp_path)
    assert not (tmp_path / WORK).exists()  # it is begun with the first entry
    for id in "ABC":
        work.act(in_(id))
    assert work.undo() == "Taken back: C in" and work.can_undo == "B in"
    work.close()
    work = WorkLog(tmp_path)
    assert work.record.members == {"A": 12, "B": 12} and work.can_undo == "B in" and work.n == 4
    work.undo(), work.undo()
    assert work.record.members == {}
    with pytest.raises(ReconError, match="nothing to take back"):
        work.undo()
    work.close()
    assert record_in(tmp_path).members == {} and record_in(tmp_path / "nowhere").members == {}


def test_undo_of_an_edit_takes_back_no_tick(tmp_path):
    build, work = Build(tmp_path), WorkLog(tmp_path)
    build.change(lambda _: (gate(), "Read"), kind="reading")
    build.change(lambda s: edit(s, {"op": "end", "member": "A", "end": 1, "by": 1}))
    work.act(in_("A"))
    build.undo()
    assert work.record.members == {"A": 12} and build.state.frame.member("A").holes == 12
    work.undo()
    assert build.can()["redo"] and build.state.frame.member("A").holes == 12
    build.close(), work.close()


def test_versions_are_kept_with_name_note_and_state_and_renamed(tmp_path):
    work = WorkLog(tmp_path)
    work.keep_version("As drawn", "before the shelf", 3, gate())
    shorter = edit(gate(), {"op": "delete", "members": ["D"]})[0]
    work.keep_version("Short", "", 4, shorter)
    work.rename_version(1, "Plan A", "with all rails")
    work.act(in_("A"))
    work.undo()
    work.close()
    work = WorkLog(tmp_path)
    assert [(v.id, v.name, v.note, v.n) for v in work.versions] == [
        (2, "Short", "", 4),
        (1, "Plan A", "with all rails", 3),
    ]
    assert work.version(1).state.frame == gate().frame and work.version(2).state.frame == shorter.frame
    with pytest.raises(ReconError, match="no such version"):
        work.version(9)
    work.close()


def senseless(entry) -> bytes:
    """A line that no program writes, with a right checksum."""
    text = json.dumps(entry).encode()
    return text + b"\t%08x\n" % zlib.crc32(text)


def test_entries_of_a_newer_program_are_passed_over_and_senseless_ones_are_refused(tmp_path):
    header = line_of({"format": "frame-work", "version": 1})
    (tmp_path / WORK).write_bytes(header + line_of({"n": 1, "kind": "sound", "file": "x"}))
    work = WorkLog(tmp_path)
    assert work.n == 1 and not work.record.entries
    work.close()
    for wrong in (
        {"kind": "version", "id": 1},
        {"kind": "undo", "put": [], "gone": []},
        {"kind": "rename", "id": 4, "name": "a", "note": ""},
        {"kind": "act", "words": "", "put": [{"kind": "member", "id": "A", "holes": 1e999}]},
        {"kind": "act", "words": "", "put": ["A"]},
    ):
        (tmp_path / WORK).write_bytes(header + senseless({"n": 1, **wrong}))
        with pytest.raises(ReconError, match="makes no sense"):
            WorkLog(tmp_path)


def test_a_damaged_work_journal_is_rescued_like_the_other(tmp_path):
    folder = tmp_path / "b"
    build = Build(folder)
    build.change(lambda _: (gate(), "Read"), kind="reading")
    build.close()
    work = WorkLog(folder)
    for id in "ABCD":
        work.act(in_(id))
    work.close()
    whole = (folder / WORK).read_bytes()
    (folder / WORK).write_bytes(whole.replace(b"C in", b"X in"))
    with pytest.raises(ReconError, match="--rescue"):
        WorkLog(folder)
    assert "first 2 changes of work.journal" in rescue_build(folder, tmp_path / "copy")
    assert record_in(tmp_path / "copy").members == {"A": 12, "B": 12}
    assert Build(tmp_path / "copy").state.frame == gate().frame
    assert (tmp_path / "copy" / NAME).read_bytes() == (folder / NAME).read_bytes()


def test_a_journal_that_is_taken_away_is_written_again(tmp_path):
    work = WorkLog(tmp_path)
    work.act(in_("A"))
    os.unlink(tmp_path / WORK)
    work.act(in_("B"))
    assert record_in(tmp_path).members == {"A": 12, "B": 12}
    shutil.copy(tmp_path / WORK, tmp_path / "copy")
    work.close()


# The kill

CHILD = """
import io, random, sys
from PIL import Image
from recon.workshop.assembly.record import Act, BoltIn, FittingOn, MemberIn, StepKey, StepNote, StepPhoto
from tests.corrections.frames import gate
from webui.storage.build import Build
from webui.storage.photo_store import PhotoStore
from webui.storage.step_photos import StepPhotos
from webui.storage.work import WorkLog
build, rng = Build(sys.argv[1]), random.Random(int(sys.argv[2]))
work, photos = WorkLog(sys.argv[1]), StepPhotos(build, PhotoStore(build))
photos._photos.look = lambda path, folder: folder.mkdir(parents=True)  # decoding has its own tests
key = StepKey("join", ("A", "C"))
while work.n < int(sys.argv[3]):
    kind = rng.choice(("tick", "bolt", "fitting", "untick", "note", "photo", "undo", "version"))
    if kind == "undo":
        if not work.can_undo:
            continue
        work.undo()
    elif kind == "version":
        work.keep_version(f"v{work.n}", "", build.n, gate())
    else:
        what = {
            "tick": lambda: Act((MemberIn(rng.choice("ABCD"), work.n),)),
            "bolt": lambda: Act((BoltIn((("A", rng.randrange(12), 12), ("C", 1, 13))),)),
            "fitting": lambda: Act((FittingOn("F1", ((rng.choice("AB"), 1, 12),)), BoltIn((("F1", 0, 0),)))),
            "untick": lambda: Act((), tuple(work.record.entries)[:1]),
            "note": lambda: Act((StepNote(work.n + 1, key, f"note {work.n}"),)),
            "photo": lambda: Act((StepPhoto(photos.add("p.jpg", io.BytesIO(b"x" * work.n)), key),)),
        }[kind]()
        work.act(lambda record: what)
    files = [photo.file for photo in work.record.photos]
    print(work.n, len(work.record.entries), len(work.versions), *files, sep="|", flush=True)
"""


def kill_run(folder, acts: int, seed: int) -> tuple[int, int]:
    """Ticks, notes, photos and versions in a process that is killed at random moments, until so many were
    made.

    Returns (kills, acts lost): one is lost where the journal, opened again, has fewer entries than were
    acknowledged, or comes to something else, or a photo's file is not there.
    """
    rng, told, kills, lost = random.Random(seed), {}, 0, 0
    while not told or max(told) < acts:
        child = subprocess.Popen(
            [sys.executable, "-c", CHILD, str(folder), str(rng.randrange(10**6)), str(acts)],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            text=True,
        )
        stop_after = rng.randrange(10, 35)
        for k, line in enumerate(child.stdout):
            n, entries, versions, *files = line.strip().split("|")
            told[int(n)] = (int(entries), int(versions), files)
            if k == stop_after:
                child.send_signal(signal.SIGKILL)
                kills += 1
        child.wait()
        child.stdout.close()
        assert child.returncode in (0, -signal.SIGKILL)
        lost += check(folder, told)
    assert any(files for _, _, files in told.values())
    return kills, lost


def check(folder, told) -> int:
    work, last = WorkLog(folder), max(told)
    files = [photo.file for photo in work.record.photos]
    lost = max(0, last - work.n) + sum(not (folder / STEP_PHOTOS / file).is_file() for file in files)
    now = (len(work.record.entries), len(work.versions), files)
    lost += work.n == last and now != told[last]
    work.close()
    return lost


def test_no_acknowledged_tick_note_photo_or_version_is_lost_to_kill_9(tmp_path):
    kills, lost = kill_run(tmp_path, 60, seed=3)
    assert kills >= 1 and lost == 0


# By the addresses of the page


def jpeg():
    out = io.BytesIO()
    Image.new("RGB", (400, 300), (90, 120, 80)).save(out, "JPEG")
    return out.getvalue()


def steps_of(asked):
    return asked.get("/api/assembly").get_json()


@pytest.fixture(scope="module")
def begun(tmp_path_factory):
    """One page for all that follows: its steps are worked out once."""
    app = create_app(tmp_path_factory.mktemp("page") / "build", port=8174)
    asked = Asked(app, app.test_client(), "http://127.0.0.1:8174")
    assert steps_of(asked)["empty"] is True
    asked.build.change(lambda _: (gate(), "Read"), kind="reading")
    yield asked
    close_app(app)


def work_of(asked) -> WorkLog:
    return asked.app.extensions["app_context"].work


def test_steps_come_with_members_bolts_heads_and_what_to_have_at_hand(begun):
    payload = steps_of(begun)
    first = payload["steps"][0]
    assert {m["id"] for m in first["members"]} and first["bolts"][0]["head"] and "nut" in first["kit"]
    assert payload["standing"]["words"].startswith("Step 1 of ") and payload["caution"]
    assert [payload["standing"][k] for k in ("members", "bolts", "undo")] == [[], [], None]
    svg = begun.get("/api/assembly/picture?step=1&shape=tall")
    assert svg.mimetype == "image/svg+xml" and svg.text.startswith("<svg")
    assert begun.get("/api/assembly/picture?step=99").status_code == 422
    assert begun.get("/assemble").status_code == 200


def test_ticks_are_answered_with_how_far_it_is_and_change_no_version(begun):
    first, n = steps_of(begun)["steps"][0], begun.build.n
    ask = {"members": [m["id"] for m in first["members"]], "bolts": [b["through"] for b in first["bolts"]]}
    standing = begun.post("/api/assembly/tick", {**ask, "on": True}).get_json()["standing"]
    assert standing["done"][0] and standing["at"] == 1 and begun.build.n == n
    id = ask["members"][0]
    standing = begun.post("/api/assembly/tick", {"members": [id], "on": False}).get_json()["standing"]
    assert id not in standing["members"] and not standing["done"][0]
    assert begun.get("/api/pulse").get_json()["work"] == standing["work"] == work_of(begun).n


def test_notes_and_photos_are_kept_at_their_step_in_zip_and_papers(begun):
    key = steps_of(begun)["steps"][1]["key"]
    note = begun.post("/api/assembly/note", {"step": key, "text": "  Wax it\r\n\x07here "}).get_json()
    assert note["standing"]["extras"][1]["notes"][0]["text"] == "Wax it\nhere"
    headers = {"X_Photo_Name": "image.jpg", "X_Step": json.dumps(key)}
    answer = begun.post("/api/assembly/photo", data=jpeg(), **headers).get_json()
    (photo,) = answer["standing"]["extras"][1]["photos"]
    assert begun.get(f"/api/assembly/photos/{photo['file']}/whole.jpg").mimetype == "image/jpeg"
    assert (begun.build.folder / STEP_PHOTOS / photo["file"]).read_bytes() == jpeg()
    gone = begun.post("/api/assembly/photo/remove", {"file": photo["file"]}).get_json()
    assert not gone["standing"]["extras"][1]["photos"]
    assert begun.post("/api/assembly/undo", {}).get_json()["standing"]["extras"][1]["photos"] == [photo]
    begun.post("/api/photos", data=jpeg(), X_Photo_Name="front.jpg")
    names = zipfile.ZipFile(io.BytesIO(begun.get("/api/build.zip").data)).namelist()
    assert {"Gate/work.journal", "Gate/step-photos/image.jpg"} <= set(names)
    html = begun.get("/api/papers/papers-html").text
    assert "Wax it" in html and html.count("data:image/jpeg") == 2 and "The photos as they were taken" in html


def test_a_note_that_was_changed_elsewhere_is_not_written_over(begun):
    key = steps_of(begun)["steps"][0]["key"]
    begun.post("/api/assembly/note", {"step": key, "text": "one"})
    id = work_of(begun).record.notes[-1].id
    begun.post("/api/assembly/note", {"step": key, "text": "two", "id": id, "was": "one"})
    answer = begun.post("/api/assembly/note", {"step": key, "text": "three", "id": id, "was": "one"})
    assert answer.status_code == 422 and "another device" in answer.get_json()["problem"]
    assert work_of(begun).record.notes[-1].text == "two"


def test_what_makes_no_sense_is_refused_in_a_sentence(begun):
    n, files = work_of(begun).n, begun.app.extensions["app_context"].step_photos.names()
    for path, ask in (
        ("tick", {"members": ["Z"], "on": True}),
        ("tick", {"fittings": ["F9"], "on": True}),
        ("tick", {"bolts": [[["A", "x"]]], "on": True}),
        ("tick", {"members": "A", "on": True}),
        ("tick", {"members": ["A"]}),
        ("note", {"step": {"kind": "dance", "members": []}, "text": "x"}),
        ("note", {"step": {"kind": "join", "members": ["A"]}, "text": "x" * 3000}),
        ("settle", {"key": 3}),
    ):
        answer = begun.post(f"/api/assembly/{path}", ask)
        assert answer.status_code == 422 and len(answer.get_json()["problem"]) > 15, (path, ask)
    for step in ("{}", '{"kind":"join","members":["A"]}'):
        bad = begun.post("/api/assembly/photo", data=b"no photo", X_Photo_Name="a.jpg", X_Step=step)
        assert bad.status_code == 422
    assert work_of(begun).n == n and begun.app.extensions["app_context"].step_photos.names() == files
