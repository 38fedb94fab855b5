"""The measurement of readings: its sums, by kind; frames with more or fewer photos than asked; refusals."""

import argparse
import json

import numpy as np
import pytest
from PIL import Image

from recon.bench import reading
from recon.bench.reading import kind_of, measure
from recon.bench.reading_table import confidence_bins, line, totals
from recon.frame.model import Frame, Member
from recon.frame.stock import load_stocks
from recon.solve.reading import Reading

ROW = {
    "frame": "i100",
    "kind": "i",
    "photos": 3,
    "given": 3,
    "members": 10,
    "exact": 8,
    "wrong": 1,
    "missing": 1,
    "extra": 0,
    "edits": 2,
    "visible": 9,
    "visible_exact": 8,
    "braces": 2,
    "braces_exact": 1,
    "set_aside": ["photo_2.jpg"],
    "members_sure": [(0.95, True), (0.99, False), (0.6, True)],
    "openings": {},
    "seconds": 30.0,
    "cpu_s": 50.0,
    "blob_s": 0.5,
}
WHOLE = ROW | {
    "frame": "d100",
    "kind": "d",
    "exact": 10,
    "wrong": 0,
    "missing": 0,
    "edits": 0,
    "visible_exact": 9,
    "braces": 0,
    "braces_exact": 0,
    "set_aside": [],
    "members_sure": [(1.0, True)] * 10,
}


def blocks(text):
    """The lines under each heading."""
    return {part.splitlines()[0]: part for part in text.strip().split("\n\n")}


def test_each_kind_and_all_frames_have_their_sums():
    by_head = blocks(totals([ROW, WHOLE, WHOLE], 3))
    assert list(by_head) == ["i, 3 photos, 1 frames", "d, 3 photos, 2 frames", "3 photos, 3 frames"]
    own, every = by_head["i, 3 photos, 1 frames"], by_head["3 photos, 3 frames"]
    assert "in sight: 8 of 9 exact (88.9 %)" in own and "in sight: 26 of 27 exact (96.3 %)" in every
    assert "need no edit: 0 of 1" in own and "need no edit: 2 of 3" in every
    assert "braces: 1 of 2 exact" in own and "braces: 1 of 2 exact" in every
    assert "braces" not in by_head["d, 3 photos, 2 frames"]
    assert "photos set aside: 1 of 3 (33.3 %)" in own and "photos set aside: 1 of 9 (11.1 %)" in every
    assert "confidence 0.9 to 1.0: 22 members, 95.5 % exact" in every
    assert "50 s CPU, 16.7 s a photo" in own and "150 s CPU" in every


def test_frames_of_one_kind_have_one_block():
    assert list(blocks(totals([WHOLE, WHOLE], "all"))) == ["all photos, 2 frames"]


def test_every_confidence_is_in_one_bin():
    pairs = [(c, True) for c in np.linspace(0, 1, 21)]
    assert sum(int(text.split(": ")[1].split()[0]) for text in confidence_bins(pairs)) == len(pairs)


def test_a_frames_line_names_braces_and_photos_set_aside():
    text = line(ROW | {"failed": "No frame."})
    assert "braces 1/2" in text and text.endswith("No frame.; aside photo_2.jpg")


@pytest.mark.parametrize("name, kind", [("i100", "i"), ("handbuilt003", "handbuilt"), ("2x", "2x")])
def test_a_kind_is_what_a_folders_name_begins_with(name, kind):
    assert kind_of(name) == kind


@pytest.mark.parametrize("asked, given", [(3, 2), (1, 1), (None, 2)])
def test_photos_are_used_as_far_as_there_are_any(tmp_path, monkeypatch, asked, given):
    names = ["photo_1.png", "photo_2.png"]
    for name in names:
        Image.fromarray(np.full((480, 640, 3), 128, np.uint8)).save(tmp_path / name)
    truth = {
        "pitch_mm": 40.0,
        "width_mm": 40.0,
        "sticks": [{"axis": 0, "at": [0, 0, 0], "holes": 5, "real": {"first": [0, 0, 0], "dir": [1, 0, 0]}}],
        "photos": [
            {
                "file": n,
                "holes": [{"stick": 0, "hole": k, "xy": [9, 9], "px": 8, "seen": 8} for k in range(3)],
            }
            for n in names
        ],
    }
    (tmp_path / "truth.json").write_text(json.dumps(truth))
    row = measure(tmp_path, asked, load_stocks())  # even grey: refused at once
    assert row["failed"] and row["given"] == given and row["set_aside"] == names[:given]
    assert (row["visible"], row["visible_exact"], row["members_sure"]) == (1, 0, [])
    assert row["cpu_s"] > 0 and "0 exact" in line(row) and "in sight: 0 of 1" in totals([row], "all")


def test_members_read_where_there_are_none_are_extra(tmp_path, monkeypatch):
    """The truth of a decoy lists no member and no stock."""
    photo = tmp_path / "photo_1.png"
    Image.fromarray(np.full((480, 640, 3), 128, np.uint8)).save(photo)
    truth = {"sticks": [], "bolts": [], "photos": [{"file": photo.name, "holes": []}]}
    (tmp_path / "truth.json").write_text(json.dumps(truth))
    members = (
        Member("A", (0.0, 0, 0), (1.0, 0, 0), 5, confidence=0.3),
        Member("B", (0.0, 0, 1), (0.0, 1, 0), 4, confidence=0.95),
    )
    read = Reading(Frame(members), {}, {}, {})
    monkeypatch.setattr("recon.solve.read", lambda photos, stocks: read)
    row = measure(tmp_path, 3, load_stocks())
    assert (row["members"], row["extra"], row["edits"], row["visible"]) == (0, 2, 2, 0)
    assert sorted(row["members_sure"]) == [(0.3, False), (0.95, False)]
    assert "confidence 0.9 to 1.0: 1 members, 0.0 % exact" in totals([row], 3)


def test_photos_to_use_are_a_number_or_all():
    assert reading._count("all") is None and reading._count("6") == 6
    for text in ("0", "-1", "many"):
        with pytest.raises(argparse.ArgumentTypeError):
            reading._count(text)


def test_openings_of_braces_count_as_seen_head_on_from_where_they_really_are():
    truth = {
        "sticks": [{"axis": 0, "at": [0, 0, 0], "holes": 5}],
        "braces": [{"first": [0, 0, 4], "direction": [0.6, 0.8, 0], "holes": 6}],
    }
    looking_down = {"R": np.diag([1.0, -1.0, -1.0]).tolist(), "t": [0.0, 0.0, 30.0]}
    hole = {"hole": 0, "normal": [0, 0, 1]}
    assert reading._facing(1, hole, looking_down, truth, 1.0) == pytest.approx(1.0)
    truth["braces"][0]["real"] = {"first": [30, 0, 4], "dir": [0.6, 0.8, 0]}
    assert reading._facing(1, hole, looking_down, truth, 1.0) == pytest.approx(25.5 / np.hypot(25.5, 30))
