"""`recon read` with videos: their pictures are kept as photos beside the frame, nobody else's are touched."""

import json
import shutil

import numpy as np
import pytest

from recon import cli, solve
from recon.image import photo_rows
from recon.image.openings import OPENING
from recon.solve import each_photo
from recon.workers import Workers
from tests.image.video.made import on_circle, seen_from, walk, write_video
from tests.show.scenes import reading_of, save_photos


@pytest.fixture(scope="module")
def film(tmp_path_factory):
    return write_video(tmp_path_factory.mktemp("film") / "walk.mp4", walk(0, 60, 31))


@pytest.fixture
def read_names(tmp_path, monkeypatch, film):
    """A folder with a video, where commands run; the solving is replaced, its photos' names are kept."""
    names = []

    def read(photos, **options):
        names.append([p.name for p in photos])
        return reading_of(photos)

    monkeypatch.setattr(solve, "read", read)
    monkeypatch.setattr(each_photo, "workers_for", lambda count, most=None: Workers(0))  # none would work
    nothing = np.zeros(0, OPENING)
    monkeypatch.setattr(
        photo_rows, "find_photo_rows", lambda p, d=None: photo_rows.PhotoRows(p.name, p.size, nothing, ())
    )
    monkeypatch.chdir(tmp_path)
    shutil.copy(film, tmp_path)
    return names


def run(*args):
    return cli.main(["read", *map(str, args)])


def files(folder):
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_a_video_gives_a_frame_with_its_pictures_as_photos(read_names, tmp_path, capsys):
    save_photos(tmp_path / "photos", 1)
    assert run("walk.mp4", "photos", "-o", "out") == 0
    text = " ".join(capsys.readouterr().out.split())
    (names,) = read_names
    pictures = [n for n in names if n.startswith("walk_")]
    assert names == [*pictures, "photo_1.jpg"] and len(pictures) >= 6
    assert sorted(p.name for p in (tmp_path / "out/photos").iterdir()) == pictures
    frame = json.loads((tmp_path / "out/frame.json").read_text())
    assert [p["file"] for p in frame["photos"]] == names
    assert f"walk_01.jpg to {pictures[-1]}: {len(pictures)} pictures of walk.mp4, at 0." in text
    assert "the camera went" in text and "degrees round the frame" in text
    assert "frame.json, rows.json, summary.txt, frame.png, overlays/, photos/." in text


def test_another_reading_replaces_the_videos_pictures_and_nothing_else(read_names, tmp_path, capsys):
    own = tmp_path / "out/photos"
    save_photos(own, 2)
    assert run("walk.mp4", "-o", "out") == 2  # there is something called photos already
    assert "--overwrite" in capsys.readouterr().err
    kept = files(own)
    assert run("walk.mp4", "-o", "out", "--overwrite") == 0
    first = files(own)
    assert run("walk.mp4", "-o", "out", "--overwrite", "--json") == 0
    said = json.loads(capsys.readouterr().out.splitlines()[-1])
    assert files(own) == first and kept.items() < first.items()
    assert "out/photos/walk_01.jpg" in said["files"]


def test_a_video_that_cannot_be_used_does_not_keep_others_from_being_read(read_names, tmp_path, capsys):
    write_video(tmp_path / "still.mp4", [seen_from(on_circle(0))] * 12)
    (tmp_path / "broken.mov").write_bytes(b"\0\0\0\x14ftypqt  " + bytes(200))
    assert run("still.mp4", "broken.mov", "walk.mp4", "-o", "out", "--json") == 1
    captured = capsys.readouterr()
    left = {entry["photo"]: entry["reason"] for entry in json.loads(captured.out)["left_out"]}
    assert "hardly moves" in left["still.mp4"] and "no index" in left["broken.mov"]
    assert "still.mp4: not read: the camera hardly moves" in captured.err
    assert run("still.mp4", "broken.mov", "-o", "none") == 2
    assert "None of the files" in capsys.readouterr().err and not (tmp_path / "none").exists()


def test_rows_alone_leave_no_pictures_where_no_folder_was_given(read_names, tmp_path):
    before = files(tmp_path)
    assert run("walk.mp4", "--rows") == 0
    assert files(tmp_path) == before


def test_builds_that_are_videos_are_found(read_names, tmp_path):
    from recon.cli.read_each import find_builds

    (tmp_path / "builds/gate").mkdir(parents=True)
    shutil.move(tmp_path / "walk.mp4", tmp_path / "builds/gate")
    assert list(find_builds([str(tmp_path / "builds")], tmp_path / "out")) == ["gate"]
