"""The measurement of what is claimed of nothing: which pictures it reads, and its counts."""

import json

import numpy as np
import pytest
from PIL import Image

from recon.bench import nothing
from recon.bench.nothing import Picture, measure, pictures_in, sample_folders, sentence_of, totals
from recon.errors import ReconError
from recon.frame.stock import load_stocks

CLAIMED = {
    "picture": "a.png",
    "members": 4,
    "sure": 1,
    "confidence": 0.95,
    "refused": None,
    "loaded": True,
    "cpu_s": 3.0,
}
REFUSED = CLAIMED | {"members": 0, "sure": 0, "refused": "No frame (b7.png: 12 rows)."}
UNSURE = CLAIMED | {"members": 2, "sure": 0}
SMALL = REFUSED | {"loaded": False, "refused": "b7.png: too small."}


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "below").mkdir()
    for name in ("a.png", "b.jpg", "below/c.png"):
        Image.fromarray(np.full((300, 400, 3), 128, np.uint8)).save(tmp_path / name)
    (tmp_path / "notes.txt").write_text("no picture")
    return tmp_path


def test_false_frames_and_sure_ones_are_counted_apart():
    text = totals([CLAIMED, UNSURE, REFUSED, REFUSED | {"refused": "No frame (c.jpg: 3 rows)."}, SMALL])
    assert "4 pictures without a frame (1 more could not be loaded)" in text
    assert "false frames: 2 (50.0 %), members: 6" in text
    assert "a member called sure: 1 (25.0 %), members: 1" in text
    assert "refused: 2\n    2 x No frame (PHOTO: N rows)." in text and "too small" not in text
    assert "15 s CPU" in text


def test_sentences_that_differ_only_in_names_and_numbers_are_one():
    one, other = (sentence_of({"refused": f"No frame (w/x{n}.JPG: {n}.5 px)."}) for n in (3, 12))
    assert one == other == "No frame (PHOTO: N px)."


def test_folders_are_read_picture_by_picture_and_together_where_asked(folder):
    assert [p.name.split("/")[1] for p in pictures_in([folder])] == ["a.png", "b.jpg", "c.png"]
    sets = [p for p in pictures_in([folder], together=True) if len(p.files) > 1]
    assert [[f.name for f in p.files] for p in sets] == [["a.png", "b.jpg"]]
    assert [p.name for p in pictures_in([folder / "a.png"])] == ["a.png"]


def test_a_folder_with_members_is_no_folder_of_nothing(folder):
    (folder / "truth.json").write_text(json.dumps({"sticks": []}))
    assert len(pictures_in([folder])) == 3
    (folder / "truth.json").write_text(json.dumps({"sticks": [{"axis": 0, "at": [0, 0, 0], "holes": 3}]}))
    with pytest.raises(ReconError, match="lists members"):
        pictures_in([folder])


def test_no_picture_is_an_error(tmp_path):
    with pytest.raises(ReconError, match="No pictures"):
        pictures_in([tmp_path])


def test_an_even_picture_is_refused_with_its_sentence(tmp_path):
    path = tmp_path / "even.png"
    Image.fromarray(np.full((480, 640, 3), 128, np.uint8)).save(path)
    row = measure(Picture("even.png", (path,)), load_stocks())
    assert row["loaded"] and row["members"] == row["sure"] == 0 and "even.png" in row["refused"]
    path.write_bytes(b"no picture")
    assert not measure(Picture("even.png", (path,)), load_stocks())["loaded"]


def test_the_exit_code_says_whether_a_member_was_called_sure(folder, monkeypatch, capsys):
    rows = {"a.png": UNSURE, "b.jpg": REFUSED, "c.png": CLAIMED}
    monkeypatch.setattr(nothing, "measure", lambda picture, stocks: rows[picture.files[0].name])
    assert nothing.run([str(folder / "a.png"), str(folder / "b.jpg")]) == 0
    out = folder / "rows.json"
    assert nothing.run([str(folder), "--json", str(out)]) == 1
    assert (
        json.loads(out.read_text()) == [UNSURE, REFUSED, CLAIMED]
        and "false frames: 2" in capsys.readouterr().out
    )


def test_without_an_argument_installed_samples_and_textures_are_read(monkeypatch, capsys):
    read = []
    monkeypatch.setattr(nothing, "measure", lambda picture, stocks: read.append(picture.name) or REFUSED)
    assert nothing.run(["--textures", "2"]) == 0
    assert "data/astronaut.png" in read and read[-2:] == ["tiles000.png", "paving001.png"]
    assert any(folder.match("skimage/data") for folder in sample_folders())
