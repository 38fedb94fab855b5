"""Output appears whole or not at all, and nothing of the user's is written over."""

import errno
import os

import pytest

from recon import files
from recon.errors import ReconError
from recon.files import output_folder, write_bytes_atomic, write_text_atomic

RESULTS = ("overlays/", "frame.json")


def write_results(folder, text, overlays=("a.jpg",), **options):
    with output_folder(folder, RESULTS, is_ours=lambda path: path.suffix == ".jpg", **options) as staging:
        (staging / "frame.json").write_text(text)
        (staging / "overlays").mkdir()
        for name in overlays:
            (staging / "overlays" / name).write_text(text)


def tree(folder):
    return {str(p.relative_to(folder)): p.read_text() for p in sorted(folder.rglob("*")) if p.is_file()}


def full_disk(*_):
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def test_a_file_is_written_and_replaced(tmp_path):
    path = tmp_path / "a.txt"
    write_text_atomic(path, "höhe")
    write_bytes_atomic(path, b"new")
    assert tree(tmp_path) == {"a.txt": "new"}


def test_a_file_has_the_mode_that_the_user_asked_for(tmp_path):
    old = os.umask(0o027)
    try:
        write_text_atomic(tmp_path / "new.txt", "x")
    finally:
        os.umask(old)
    assert (tmp_path / "new.txt").stat().st_mode & 0o777 == 0o640
    (tmp_path / "new.txt").chmod(0o600)
    write_text_atomic(tmp_path / "new.txt", "y")
    assert (tmp_path / "new.txt").stat().st_mode & 0o777 == 0o600


def test_a_full_disk_leaves_the_old_file_whole(tmp_path, monkeypatch):
    (tmp_path / "a.txt").write_text("old")
    monkeypatch.setattr(files.os, "fsync", full_disk)
    with pytest.raises(ReconError, match="disk is full"):
        write_text_atomic(tmp_path / "a.txt", "new")
    assert tree(tmp_path) == {"a.txt": "old"}


@pytest.mark.parametrize(
    "number, words",
    [
        (errno.EROFS, "read-only"),
        (errno.EACCES, "not allowed"),
        (errno.EDQUOT, "share of the disk"),
        (errno.EIO, "another place"),
    ],
)
def test_what_stops_writing_is_said_in_words(number, words):
    error = files.why_not_written("out/a.txt", OSError(number, os.strerror(number)))
    assert "out/a.txt" in str(error) and words in str(error)


def test_writing_into_a_missing_folder_is_refused(tmp_path):
    with pytest.raises(ReconError, match="folder does not exist"):
        write_text_atomic(tmp_path / "no" / "a.txt", "x")


def test_results_appear_in_a_new_folder(tmp_path):
    write_results(tmp_path / "deep" / "out", "1")
    assert tree(tmp_path / "deep" / "out") == {"frame.json": "1", "overlays/a.jpg": "1"}


def test_earlier_results_are_refused_before_any_work(tmp_path):
    write_results(tmp_path, "1")
    with (
        pytest.raises(ReconError, match=r"already holds results \(overlays/, frame.json\).*--overwrite"),
        output_folder(tmp_path, RESULTS),
    ):
        raise AssertionError("the work began")
    assert tree(tmp_path) == {"frame.json": "1", "overlays/a.jpg": "1"}


def test_overwriting_replaces_results_and_leaves_other_files(tmp_path):
    write_results(tmp_path, "1", overlays=("a.jpg", "stale.jpg"))
    (tmp_path / "notes.txt").write_text("mine")
    write_results(tmp_path, "2", overwrite=True)
    assert tree(tmp_path) == {"frame.json": "2", "notes.txt": "mine", "overlays/a.jpg": "2"}


def test_a_result_that_is_not_written_again_goes(tmp_path):
    write_results(tmp_path, "1")
    with output_folder(tmp_path, RESULTS, True, lambda path: True) as staging:
        (staging / "frame.json").write_text("2")
    assert tree(tmp_path) == {"frame.json": "2"}


@pytest.mark.parametrize(
    "stop", [ReconError("no frame"), KeyboardInterrupt(), OSError(errno.ENOSPC, "full"), ValueError()]
)
def test_work_that_fails_changes_nothing(tmp_path, stop):
    write_results(tmp_path / "old", "1")
    for folder in (tmp_path / "old", tmp_path / "new" / "deep"):
        with (
            pytest.raises((ReconError, KeyboardInterrupt, ValueError)),
            output_folder(folder, RESULTS, overwrite=True) as staging,
        ):
            (staging / "frame.json").write_text("half")
            raise stop
    assert tree(tmp_path) == {"old/frame.json": "1", "old/overlays/a.jpg": "1"}
    assert not (tmp_path / "new").exists()


def test_a_file_in_place_of_the_folder_is_refused(tmp_path):
    (tmp_path / "out").write_text("mine")
    for folder in (tmp_path / "out", tmp_path / "out" / "deeper"):
        with pytest.raises(ReconError, match="file"):
            write_results(folder, "1", overwrite=True)
    assert tree(tmp_path) == {"out": "mine"}


def test_a_folder_that_cannot_be_written_is_refused_before_any_work(tmp_path, monkeypatch):
    def read_only(*_args, **_options):
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr("recon.files.os.open", read_only)
    with pytest.raises(ReconError, match="read-only"), output_folder(tmp_path, RESULTS):
        raise AssertionError("the work began")


@pytest.mark.skipif(os.geteuid() == 0, reason="root writes everywhere")
def test_a_folder_without_write_permission_is_refused(tmp_path):
    tmp_path.chmod(0o500)
    with pytest.raises(ReconError, match="not allowed"):
        write_results(tmp_path, "1")


def test_what_the_user_put_among_the_results_stays(tmp_path):
    write_results(tmp_path, "1", overlays=("a.jpg", "stale.jpg"))
    (tmp_path / "overlays" / "my_notes.txt").write_text("mine")
    (tmp_path / "overlays" / "crops").mkdir()
    (tmp_path / "overlays" / "crops" / "a.jpg").write_text("mine")
    write_results(tmp_path, "2", overwrite=True)
    assert tree(tmp_path) == {
        "frame.json": "2",
        "overlays/a.jpg": "2",
        "overlays/crops/a.jpg": "mine",
        "overlays/my_notes.txt": "mine",
    }


@pytest.mark.parametrize("name", ["frame.json", "overlays", "overlays/a.jpg"])
def test_what_only_has_the_name_of_a_result_is_refused_and_stays(tmp_path, name):
    folder = tmp_path / "out" / ("frame.json" if name == "overlays" else name)
    folder.mkdir(parents=True)
    (folder / "mine.txt").write_text("mine")
    if name == "overlays":
        folder.rename(tmp_path / "elsewhere")
        (tmp_path / "out" / "overlays").symlink_to(tmp_path / "elsewhere")
    before = tree(tmp_path)
    with pytest.raises(ReconError, match="ordinary"):
        write_results(tmp_path / "out", "1", overwrite=True)
    assert tree(tmp_path) == before and not list((tmp_path / "out").glob(".*"))


def test_of_two_runs_into_one_folder_the_second_is_refused(tmp_path):
    with output_folder(tmp_path, RESULTS) as staging:
        with pytest.raises(ReconError, match="another run.*wait"):
            write_results(tmp_path, "2", overwrite=True)
        with output_folder(tmp_path, ("parts.csv",)) as other:  # other results do not meet these
            (other / "parts.csv").write_text("parts")
        (staging / "frame.json").write_text("1")
    assert tree(tmp_path) == {"frame.json": "1", "parts.csv": "parts"}
    assert not list(tmp_path.glob(".*"))


def test_what_came_meanwhile_is_not_replaced(tmp_path):
    with pytest.raises(ReconError, match="already holds"), output_folder(tmp_path, RESULTS) as staging:
        (staging / "frame.json").write_text("1")
        (tmp_path / "frame.json").write_text("mine")
    assert tree(tmp_path) == {"frame.json": "mine"}


def test_what_a_killed_run_left_is_cleared_away_by_the_next(tmp_path):
    left = tmp_path / ".unfinished-frame.json" / "new"
    left.mkdir(parents=True)
    (left.parent / "lock").touch()
    (left / "frame.json").write_text("half")
    write_results(tmp_path, "1")
    assert tree(tmp_path) == {"frame.json": "1", "overlays/a.jpg": "1"} and not left.parent.exists()


def test_a_link_is_written_through(tmp_path):
    (tmp_path / "real.txt").write_text("old")
    (tmp_path / "link.txt").symlink_to("real.txt")
    write_text_atomic(tmp_path / "link.txt", "new")
    assert (tmp_path / "real.txt").read_text() == "new" and (tmp_path / "link.txt").is_symlink()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes with names")
def test_pipes_devices_and_folders_are_not_replaced(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "link").symlink_to("pipe")
    for path in (tmp_path / "pipe", tmp_path / "link", "/dev/null", tmp_path, "."):
        with pytest.raises(ReconError, match="device or a pipe|folder; name a file"):
            write_bytes_atomic(path, b"x")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["link", "pipe"]


def test_a_name_that_is_too_long_is_said(tmp_path):
    with pytest.raises(ReconError, match="too long"):
        write_text_atomic(tmp_path / ("n" * 300), "x")
    with pytest.raises(ReconError, match="too long"):
        write_results(tmp_path / ("n" * 300), "x")
