"""Rows with their counts: what is drawn is counted, and the file gives back what was put in."""

import json
from pathlib import Path

import cv2
import jsonschema
import numpy as np
import pytest

from recon.errors import ReconError
from recon.geometry.camera import Camera
from recon.image.openings import detect_openings, lab_image
from recon.image.photo_rows import (
    PhotoRows,
    chance_of_clutter,
    find_photo_rows,
    hole_count,
    in_photo_px,
    with_result,
)
from recon.image.photos import PhotoImage
from recon.image.rows import Row
from recon.image.rows_file import load_rows, rows_from_text, rows_schema, rows_to_dict, rows_to_text
from recon.image.working_copy import working_copy, working_scale


def photo_of(colour, name="bars.png"):
    return PhotoImage(Path(name), name, colour, colour.shape[1::-1], None, None, "")


def bars(size=(400, 300), hole_px=3.4, pitch_px=11.0, counts=(27, 20, 13), missing=()):
    """Light bars with dark holes, drawn at 8 times the size and reduced: holes of a few px with soft rims."""
    fine = 8
    big = np.full((size[1] * fine, size[0] * fine, 3), 120, np.uint8)
    rng = np.random.default_rng(3)
    for k, count in enumerate(counts):
        start = np.array([30.0, 60.0 + 80 * k])
        way = np.array([np.cos(0.1 * k), np.sin(0.1 * k)])
        ends = [tuple(int(v) for v in fine * (start + s * pitch_px * way)) for s in (-1, count)]
        cv2.line(big, *ends, (205, 200, 190), int(9 * fine), cv2.LINE_AA)
        for hole in range(count):
            if (k, hole) not in missing:
                at = tuple(int(v) for v in fine * (start + hole * pitch_px * way))
                cv2.circle(big, at, int(hole_px * fine / 2), (35, 32, 30), -1, cv2.LINE_AA)
    small = cv2.resize(big, size, interpolation=cv2.INTER_AREA).astype(float)
    return np.clip(small + rng.normal(0, 2, small.shape), 0, 255).astype(np.uint8)


def test_rows_of_holes_of_three_pixels_are_counted_in_a_small_picture():
    found = find_photo_rows(photo_of(bars()))
    assert [hole_count(row) for row in found.likely_rows][:3] == [27, 20, 13]
    ends = np.array([found.row_px(found.rows[0])[k] for k in (0, -1)])
    expected = np.array([[30, 60], [30 + 26 * 11, 60]])
    assert np.abs(np.sort(ends[:, 0]) - expected[:, 0]).max() < 0.5


def test_a_hole_that_is_not_seen_is_counted_between_those_that_are():
    found = find_photo_rows(photo_of(bars(counts=(27,), missing={(0, 9), (0, 10)})))
    assert (hole_count(found.rows[0]), len(found.rows[0].index)) == (27, 25)


def test_openings_of_the_solver_serve_as_well():
    photo = photo_of(cv2.resize(bars(), None, fx=4, fy=4, interpolation=cv2.INTER_CUBIC))
    assert working_scale(photo.size) == 1
    openings = detect_openings(lab_image(working_copy(photo)[0]))
    fresh, known = find_photo_rows(photo), find_photo_rows(photo, openings)
    assert [r.step.tolist() for r in fresh.rows] == [r.step.tolist() for r in known.rows]


@pytest.mark.parametrize("size", [(408, 390), (2000, 1500), (8000, 6000)])
def test_a_place_in_the_working_copy_is_that_place_in_the_photo(size):
    scale = working_scale(size)
    spot = np.zeros(1, [("x", float), ("y", float), ("major", float), ("minor", float)])
    spot["x"] = size[0] * scale - 0.5  # the right edge of the picture
    assert in_photo_px(spot, scale)["x"][0] == pytest.approx(size[0] - 0.5)


def test_a_row_expected_once_by_chance_is_as_likely_clutter_as_not():
    chances = [chance_of_clutter(Row(np.arange(4), np.arange(4), nfa)) for nfa in (-3.0, 0.0, 400.0)]
    assert chances == [pytest.approx(0.001, rel=1e-2), 0.5, 1.0]


@pytest.fixture(scope="module")
def found():
    camera = Camera(900.0, 200.0, 150.0, 0.01, 0.0, t=np.array([0.0, 1.0, 20.0]))
    rows = find_photo_rows(photo_of(bars(counts=(13, 9))))
    return [with_result(rows, camera), PhotoRows("wall.png", (300, 200), rows.openings[:0], (), None, "blur")]


def test_the_file_gives_back_what_was_written(found, tmp_path):
    path = tmp_path / "rows.json"
    path.write_text(rows_to_text(found), encoding="utf-8")
    back = load_rows(path)
    assert rows_to_dict(back) == rows_to_dict(found) == json.loads(path.read_text())
    assert back[0].camera == found[0].camera and back[1].reason == "blur"
    assert np.abs(back[0].openings["x"] - found[0].openings["x"]).max() < 1e-3


def test_the_file_is_as_its_schema_says(found):
    jsonschema.Draft202012Validator.check_schema(rows_schema())
    jsonschema.validate(rows_to_dict(found), rows_schema())


@pytest.mark.parametrize(
    "change, words",
    [
        (lambda d: d.update(format="drilled-frame"), "not a rows file"),
        (lambda d: d.update(version=2), "newer program"),
        (lambda d: d["photos"][0].pop("size"), "photo 1"),
        (lambda d: d["photos"][0]["rows"][0]["openings"].append(5), "names openings"),
        (lambda d: d["photos"][0]["rows"][0].update(openings=[10**6] * 13), "names openings"),
    ],
)
def test_a_file_that_is_none_is_refused_in_a_sentence(found, change, words):
    data = json.loads(rows_to_text(found))
    change(data)
    with pytest.raises(ReconError, match=words):
        rows_from_text(json.dumps(data), "rows.json")
