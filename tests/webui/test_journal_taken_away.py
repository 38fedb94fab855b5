"""What other programs do to a build's files while its page is open: no acknowledged change is lost."""

import os
import shutil

import pytest

from recon.corrections.edits import edit
from recon.errors import ReconError
from tests.corrections.frames import gate
from webui.storage.build import FRAME, PHOTOS, Build
from webui.storage.journal import NAME, Journal, line_of
from webui.storage.rescue import DAMAGED, rescue_build


@pytest.fixture
def build(tmp_path):
    build = Build(tmp_path / "slip")
    build.change(lambda _: (gate(), "Read: 4 members"), kind="reading")
    longer(build)
    yield build
    build.journal.close()


def longer(build):
    build.change(lambda s: edit(s, {"op": "end", "member": "A", "end": 1, "by": 1}))
    return build.state.frame.member("A").holes


def reopened(folder):
    build = Build(folder)
    try:
        return build.state.frame.member("A").holes
    finally:
        build.close()


def copied(path):
    """As programs do that synchronise or restore: another file of the same contents takes the name."""
    shutil.copyfile(path, f"{path}.new")
    os.replace(f"{path}.new", path)


def deleted(path):
    path.unlink()


def cut(path):
    os.truncate(path, path.stat().st_size - 7)


def emptied(path):
    os.truncate(path, 0)


def touched(path):
    os.utime(path, (1, 1))


def older_copy(path):
    lines = path.read_bytes().splitlines(keepends=True)
    path.with_suffix(".new").write_bytes(b"".join(lines[:-1]))
    os.replace(path.with_suffix(".new"), path)


def folder_emptied(path):
    shutil.rmtree(path.parent)
    path.parent.mkdir()


@pytest.mark.parametrize("harm", [copied, deleted, cut, emptied, touched, older_copy, folder_emptied])
def test_a_change_after_it_is_on_the_disk_with_all_before_it(build, harm):
    harm(build.folder / NAME)
    assert longer(build) == 14
    assert longer(build) == 15  # to the file that took the place
    build.close()
    assert reopened(build.folder) == 15


def moved(path):
    path.parent.rename(path.parent.with_name("moved"))


def folder_deleted(path):
    shutil.rmtree(path.parent)


def rewritten(path):
    path.with_suffix(".new").write_bytes(path.read_bytes().replace(b"Read", b"Road"))
    os.replace(path.with_suffix(".new"), path)


def written_over(path):
    path.write_bytes(path.read_bytes().replace(b"Read", b"Road"))


def went_on(path):
    lines = path.read_bytes() + line_of({"n": 3, "kind": "undo", "words": "elsewhere"})
    path.with_suffix(".new").write_bytes(lines)
    os.replace(path.with_suffix(".new"), path)


def became_a_folder(path):
    path.unlink()
    path.mkdir()


def became_a_link(path):
    path.rename(path.with_name("elsewhere"))
    path.symlink_to("elsewhere")


@pytest.mark.parametrize(
    "harm", [moved, folder_deleted, rewritten, written_over, went_on, became_a_folder, became_a_link]
)
def test_a_change_that_cannot_be_kept_is_refused_and_all_before_it_is_held(build, harm):
    held = (build.folder / NAME).read_bytes()
    harm(build.folder / NAME)
    for _ in range(2):
        with pytest.raises(ReconError, match="Your change was not made"):
            longer(build)
    assert build.n == 2 and build.state.frame.member("A").holes == 13
    kept = list(build.folder.parent.rglob(f"{NAME}.kept-*"))
    if harm in (moved, folder_deleted):
        assert not build.folder.exists() and not kept
        build.folder.mkdir()  # as the sentence says; or put back
    else:
        (path,) = kept
        assert path.read_bytes() == held
        shutil.rmtree(build.folder / NAME) if harm is became_a_folder else (build.folder / NAME).unlink()
        path.rename(build.folder / NAME)
    assert longer(build) == 14
    build.close()
    assert reopened(build.folder) == 14


def test_a_file_that_is_replaced_while_a_line_is_written_gets_that_line(build, monkeypatch):
    real, path = os.write, build.folder / NAME

    def replaced_meanwhile(file, data):
        monkeypatch.setattr(os, "write", real)
        copied(path)
        return real(file, data)

    monkeypatch.setattr(os, "write", replaced_meanwhile)
    assert longer(build) == 14
    build.close()
    assert reopened(build.folder) == 14


def test_the_page_says_that_its_folder_is_gone_and_goes_on_when_it_is_back(asked, tmp_path):
    asked.build.change(lambda _: (gate(), "Read"), kind="reading")
    (tmp_path / "build").rename(tmp_path / "away")
    for answer in (
        asked.get("/api/pulse"),
        asked.get("/api/build"),
        asked.get("/api/photos/p.jpg/whole.jpg"),
        asked.edit(op="end", member="A", end=1, by=1),
        asked.post("/api/photos", data=b"x", X_Photo_Name="p.jpg", Content_Type="application/octet-stream"),
        asked.post("/api/read", json={}),
    ):
        assert answer.status_code == 422 and "is not there any more" in answer.get_json()["problem"]
    (tmp_path / "away").rename(tmp_path / "build")
    assert asked.get("/api/pulse").status_code == 200
    assert asked.edit(op="end", member="A", end=1, by=1).status_code == 200


def test_a_frame_file_that_another_program_changes_is_noticed_while_the_page_is_open(build):
    build.save_frame_file()
    (build.folder / FRAME).write_text("{}")
    longer(build)
    build.save_frame_file()
    build.save_frame_file()
    assert (build.folder / FRAME).read_text() == "{}"
    assert [n for n in build.notices if "changed by another program" in n] == build.notices


def test_a_journal_behind_its_frame_file_is_noticed_and_the_frame_file_is_left(build):
    build.close()
    frame = (build.folder / FRAME).read_bytes()
    older_copy(build.folder / NAME)
    again = Build(build.folder)
    assert any("has 1 changes" in n and "saved after 2" in n for n in again.notices)
    longer(again)
    longer(again)
    again.close()
    assert (build.folder / FRAME).read_bytes() == frame


def test_a_whole_last_line_that_is_damaged_is_kept_and_said(tmp_path):
    journal = Journal(tmp_path)
    for k in range(3):
        journal.append({"words": f"entry {k}"})
    journal.close()
    path = tmp_path / NAME
    path.write_bytes(path.read_bytes().replace(b"entry 2", b"entry 9"))
    again = Journal(tmp_path)
    assert len(again.entries) == 2 and "damaged" in again.notices[0]
    assert b"entry 9" in (tmp_path / f"{NAME}.kept-1").read_bytes()
    again.close()


def test_a_journal_with_line_ends_of_another_system_opens_and_goes_on(build):
    build.close()
    path = build.folder / NAME
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    again = Build(build.folder)
    assert longer(again) == 14
    again.close()
    assert reopened(build.folder) == 14


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes with names")
def test_a_journal_that_is_no_ordinary_file_is_refused(tmp_path):
    os.mkfifo(tmp_path / NAME)
    with pytest.raises(ReconError, match="no ordinary file"):
        Build(tmp_path)


def test_a_damaged_build_opens_up_to_the_damage_as_a_copy(build, tmp_path):
    for _ in range(5):
        longer(build)
    (build.folder / PHOTOS / "p.jpg").write_bytes(b"photo")
    build.close()
    path = build.folder / NAME
    lines = path.read_bytes().splitlines(keepends=True)
    lines[4] = lines[4].replace(b"holes", b"hales")
    path.write_bytes(b"".join(lines))
    before = path.read_bytes()
    with pytest.raises(ReconError, match="line 5 is damaged.*--rescue"):
        Build(build.folder)
    said = rescue_build(build.folder, tmp_path / "copy")
    assert "first 3 changes" in said and "4 from the damaged line" in said
    assert reopened(tmp_path / "copy") == 14
    assert (tmp_path / "copy" / f"{NAME}{DAMAGED}").read_bytes() == path.read_bytes() == before
    assert (tmp_path / "copy" / PHOTOS / "p.jpg").read_bytes() == b"photo"
    with pytest.raises(ReconError, match="exists already"):
        rescue_build(build.folder, tmp_path / "copy")
    with pytest.raises(ReconError, match="nothing in it is damaged"):
        rescue_build(tmp_path / "copy", tmp_path / "other")
