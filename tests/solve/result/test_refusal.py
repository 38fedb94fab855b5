"""Every refusal names its cause, what was seen in numbers, and what to do."""

import re
from dataclasses import replace

import cv2
import numpy as np
import pytest

from recon.errors import ReconError
from recon.frame.stock import load_stocks
from recon.image.openings import OPENING
from recon.image.photos import load_photo
from recon.solve.photo.photo_reading import PhotoReading
from recon.solve.photo.read_photo import read_openings
from recon.solve.reading import read
from recon.solve.result.refusal import Cause, cause_of, edge_blur_px, why_no_frame
from recon.solve.result.tables import first_tables
from tests.solve.decoys import SHEETS, camera_at, plane, texture

SIZE = (1000, 750)
SHARP = texture("discs", 0)


def reading_of(px, minor=8.0, name="one.jpg", seed=0) -> PhotoReading:
    out = np.zeros(len(px), OPENING)
    out["x"], out["y"] = np.asarray(px, float).reshape(-1, 2).T
    out["major"], out["minor"], out["score"] = 1.2 * minor, minor, 4.0
    return PhotoReading(name, SIZE, out, None, None, (1.0, np.inf), 0.0)


def row(start, step, count=12):
    return np.asarray(start) + np.arange(count)[:, None] * np.asarray(step)


def rows_to(point):
    """Three rows far apart that run to one vanishing point."""
    starts = np.c_[np.full(3, 120.0), [60.0, 350, 690]]
    out = []
    for k, s in enumerate(starts):
        way = (np.asarray(point) - s) / np.linalg.norm(np.asarray(point) - s)
        out.append(row(s + 9 * k * way, (24, 35, 21)[k] * way, 16))
    return np.concatenate(out)


TABLES = {
    Cause.FEW_ROWS: reading_of(row((100, 100), (30, 4))),
    Cause.CAMERA_UNKNOWN: reading_of(rows_to((3000, 380))),
    Cause.FIT_NO_CAMERA: reading_of(
        np.concatenate(
            [
                row((100, 90), (29, 2)),
                row((120, 300), (23, 11)),
                row((600, 700), (-8, -31)),
                row((80, 700), (27, -9)),
            ]
        )
    ),
    Cause.SMALL_HOLES: reading_of(
        np.concatenate([row((100, 90), (11, 2)), row((120, 300), (12, 5)), row((600, 600), (-5, -11))]), 2.2
    ),
    Cause.ONE_PLANE: reading_of(np.concatenate([row((99, y), (40, 0), 10) for y in range(99, 420, 40)])),
}


@pytest.mark.parametrize("cause", TABLES, ids=lambda c: c.name)
def test_a_table_of_openings_is_refused_for_its_cause(cause):
    found = cause_of(TABLES[cause], SHARP)
    assert found.cause is cause
    assert re.search(r"\d", found.seen)


def test_dots_that_the_lattice_was_solved_without_are_the_cause_and_their_rows_are_shown():
    dots, besides = TABLES[Cause.ONE_PLANE], TABLES[Cause.FEW_ROWS]
    beyond = replace(besides, left_out=dots.openings)
    found = cause_of(beyond, SHARP)
    assert found.cause is Cause.ONE_PLANE and "in 10 by 9 lines" in found.seen
    openings, rows = first_tables(beyond, 1.0)
    assert len(openings) == len(dots.openings) + 12
    assert sum(len(r) == 10 for r in rows) >= 9 and sum(len(r) == 12 for r in rows) == 1


def test_a_blurred_picture_is_refused_for_its_blur():
    blurred = cv2.GaussianBlur(SHARP, (0, 0), 5)
    found = cause_of(reading_of([(100, 100), (300, 200)]), blurred)
    assert found.cause is Cause.BLUR and re.search("by [456] px", found.seen)


@pytest.mark.parametrize("sigma", [1.5, 3.0, 6.0])
def test_blur_is_measured_within_a_fifth(sigma):
    picture = np.zeros((200, 300, 3), np.uint8)
    picture[50:150, 80:220] = 210
    assert edge_blur_px(cv2.GaussianBlur(picture, (0, 0), sigma)) == pytest.approx(sigma, rel=0.2)


def test_each_cause_says_something_else_to_do():
    assert len({c.value for c in Cause}) == len(Cause)


def test_photos_of_one_cause_are_told_together_and_counted():
    readings = [reading_of([(5, 5)] * 3, name=f"photo_{i}.jpg") for i in range(5)]
    text = why_no_frame(readings, {r.name: SHARP for r in readings})
    assert text.startswith("No frame could be read from these 5 photos.")
    assert "photo_2.jpg: 3 openings" in text and "2 more photos are like this." in text
    assert text.count(Cause.FEW_ROWS.value) == 1


@pytest.mark.parametrize(
    ("picture", "said"),
    [
        (
            lambda: plane(SHEETS["dots"](), camera_at(40, 15, 5, 13)),
            r"openings lie on one plane, in 10 by 10 lines",
        ),
        (lambda: plane(SHEETS["grating"](), camera_at(35, 10, 5, 20)), "lie on one plane"),
        (lambda: plane(SHEETS["optical_table"](), camera_at(35, 0, 0, 26)), "lie on one plane"),
        (lambda: plane(SHEETS["tiles"](), camera_at(30, 25, 10, 17)), "openings"),
        (lambda: texture("noise", 1), "openings"),
    ],
    ids=["dots", "grating", "optical table", "tiles", "noise"],
)
def test_a_picture_without_a_frame_is_refused(picture, said, tmp_path):
    path = tmp_path / "picture.png"
    cv2.imwrite(str(path), picture())
    with pytest.raises(ReconError, match=said):
        read([load_photo(path)], stocks=load_stocks())


def test_a_tilted_plane_of_dots_says_the_focal_length_with_its_error():
    picture = plane(SHEETS["dots"](), camera_at(40, 15, 5, 13))
    openings = read_openings(picture)
    seen = cause_of(PhotoReading("dots.png", SIZE, openings, None, None, (1.0, np.inf), 0.0), picture).seen
    focal, percent = map(int, re.search(r"focal length is (\d+) px ± (\d+) %", seen).groups())
    assert abs(focal / 900 - 1) < 0.1 and 1 <= percent <= 15


def test_sizes_are_said_in_the_pixels_of_the_photo_and_not_of_a_doubled_copy():
    small = TABLES[Cause.SMALL_HOLES]
    seen, doubled = (cause_of(small, SHARP, scale).seen for scale in (1.0, 2.0))
    holes = [float(text.split("of holes ")[1].split(" px")[0]) for text in (seen, doubled)]
    assert holes[1] == pytest.approx(holes[0] / 2, abs=0.06)
