"""Overlays: the marks are where the things are, and say what they are without colour too."""

from types import SimpleNamespace

import cv2
import numpy as np
import pytest

from recon.frame.boxes import EDGE_FACES, EDGES, corners, faces_seen, hidden
from recon.frame.model import Frame
from recon.show import colours, marks
from recon.show.overlay import SIDE_RANGE_PX, draw_overlay
from recon.show.overlay_legend import draw_end_mark
from tests.show.scenes import SIZE, camera_at, reading_of, stand, view_of


def blank(size=SIZE, name="photo_1.jpg"):
    return SimpleNamespace(name=name, size=size, colour=np.full((size[1], size[0], 3), 128, np.uint8))


NONE = np.empty((0, 6))


def near_colour(image, colour, spots, reach=2):
    """(n,) bool: whether the colour is within `reach` px of each spot."""
    match = (np.abs(image.astype(int) - colour).max(axis=2) < 40).astype(np.uint8)
    match = cv2.dilate(match, np.ones((2 * reach + 1,) * 2, np.uint8))
    x, y = np.rint(spots).astype(int).T
    return match[y, x] > 0


@pytest.mark.parametrize(
    "size, longest", [((640, 480), SIDE_RANGE_PX[0]), ((2000, 1500), 2000), ((1500, 4000), SIDE_RANGE_PX[1])]
)
def test_an_overlay_has_a_size_to_look_at_and_a_strip_below(size, longest):
    image = draw_overlay(blank(size), NONE, [], stand(), None)
    assert image.dtype == np.uint8
    width, height = np.array(size) * longest / max(size)
    assert image.shape[1] == round(width) and image.shape[0] > height + 20


def test_edges_in_sight_are_drawn_and_those_behind_only_faintly():
    frame, camera = stand(), view_of(0)
    image = draw_overlay(blank(), NONE, [], frame, camera)
    in_sight, behind = [], []
    for member in frame.members:
        if member.id == "D":  # not sure, so its edges are broken lines
            continue
        turned, points = faces_seen(member, camera.centre), corners(member)
        others = [m for m in frame.members if m is not member]
        for (i, j), faces in zip(EDGES, EDGE_FACES):
            if turned[faces].any():
                edge = points[i] + np.linspace(0.1, 0.9, 30)[:, None] * (points[j] - points[i])
                away = hidden(edge, camera.centre, others)
                in_sight.append(edge[~away])
                behind.append(edge[away])
    scale = SIDE_RANGE_PX[0] / SIZE[0]
    drawn = near_colour(image, colours.SKY, camera.project(np.vstack(in_sight)) * scale)
    faint = near_colour(image, colours.SKY, camera.project(np.vstack(behind)) * scale, reach=0)
    assert drawn.mean() > 0.8  # plates and end marks cover the rest
    assert len(faint) > 20 and faint.mean() < 0.6


def test_a_camera_inside_the_frame_is_no_hindrance():
    camera = camera_at(np.array([4.0, 2.0, 5.0]), target=(8.0, -3.0, 6.0))
    assert np.isnan(camera.project(corners(stand().members[0]))).any()  # part of the frame is behind it
    assert draw_overlay(blank(), NONE, [], stand(), camera).shape[1] == SIDE_RANGE_PX[0]


def test_a_photo_set_aside_shows_its_openings_and_no_members():
    found = np.array([[400.0, 300.0, 8, 6, 0.3, 0]])
    with_members = draw_overlay(blank(), found, [], stand(), view_of(0))
    without = draw_overlay(blank(), found, [], stand(), None)
    body = int(SIDE_RANGE_PX[0] * 0.75)
    assert (np.abs(with_members[:body].astype(int) - colours.SKY).max(axis=2) < 30).sum() > 1000
    assert (np.abs(without[:body].astype(int) - colours.SKY).max(axis=2) < 30).sum() == 0


def test_taken_openings_differ_from_free_ones_in_shape_and_colour():
    free = draw_overlay(
        blank(), np.array([[400.0, 300, 12, 12, 0, 0]]), [np.array([[400.0, 300]])], stand(), None
    )
    taken = draw_overlay(
        blank(), np.array([[400.0, 300, 12, 12, 0, 1]]), [np.array([[400.0, 300]])], stand(), None
    )
    spot = slice(540, 660), slice(740, 860)
    assert (np.abs(taken[spot].astype(int) - colours.VERMILLION).max(axis=2) < 30).any()
    assert (np.abs(free[spot].astype(int) - colours.ORANGE).max(axis=2) < 30).any()
    grey = [
        cv2.cvtColor(np.ascontiguousarray(im[spot]), cv2.COLOR_RGB2GRAY).astype(int) for im in (free, taken)
    ]
    assert (np.abs(grey[0] - grey[1]) > 40).sum() > 100


def test_openings_in_no_row_are_fainter_than_those_in_a_row():
    found = np.array([[200.0, 300, 8, 8, 0, 0], [600.0, 300, 8, 8, 0, 0]])
    image = draw_overlay(blank(), found, [np.array([[600.0, 300]])], stand(), None)
    ink = np.abs(image.astype(int) - 128).sum(axis=2)
    assert (ink[560:640, 1160:1240] > 60).sum() > 1.3 * (ink[560:640, 360:440] > 60).sum() > 0


def test_the_three_marks_of_an_end_differ_without_colour():
    pictures = []
    for state in ("seen", "hidden", "cut"):
        image = np.full((60, 60, 3), 150, np.uint8)
        draw_end_mark(image, np.array([30.0, 30.0]), np.array([1.0, 0.0]), state, 2.0)
        pictures.append(np.abs(cv2.cvtColor(image, cv2.COLOR_RGB2GRAY).astype(int) - 150) > 20)
    for a, b in ((0, 1), (0, 2), (1, 2)):
        assert (pictures[a] & pictures[b]).sum() < 0.6 * (pictures[a] | pictures[b]).sum()


def test_line_patterns_differ_without_colour():
    covered = []
    for pattern in (marks.SOLID, marks.DASHED, marks.DOTTED):
        image = np.full((40, 400, 3), 255, np.uint8)
        marks.draw_line(image, [(10, 20), (390, 20)], colours.BLACK, 4, pattern)
        line = image[20, 10:390, 0] < 128
        covered.append((line.mean(), np.count_nonzero(np.diff(line.astype(int)))))
    assert covered[0] == (1.0, 0)
    assert covered[1][1] > 10 and covered[2][1] > 2 * covered[1][1]


def test_a_line_is_broken_where_its_points_are_no_numbers():
    image = np.full((40, 400, 3), 255, np.uint8)
    points = np.array([(10, 20), (100, 20), (np.nan, np.nan), (300, 20), (390, 20)], float)
    marks.draw_line(image, points, colours.BLACK, 3)
    assert (
        (image[20, 10:100, 0] < 50).all()
        and (image[20, 110:290, 0] == 255).all()
        and (image[20, 300:390, 0] < 50).all()
    )


def test_plates_keep_apart_and_inside_where_there_is_room():
    rng = np.random.default_rng(2)
    plates = [
        marks.Plate(f"A{k}", "12", rng.uniform(0, 1, (12, 2)) * (1600, 1200), colours.BLUE, 20)
        for k in range(60)
    ]
    middles = marks.place_plates(plates, (1600, 1200))
    half = np.array([marks.plate_size(p) for p in plates]) / 2
    assert (middles - half >= 0).all() and (middles + half <= (1600, 1200)).all()
    first = np.array([p.places[0] for p in plates])

    def overlaps(at):
        gap = np.abs(at[:, None] - at[None]) - (half[:, None] + half[None])
        return int((gap.max(axis=2) < 0)[np.triu_indices(len(at), 1)].sum())

    assert overlaps(np.array(middles)) == 0 < overlaps(first)


def test_every_mark_of_a_whole_reading_is_drawn_without_error():
    photos = [blank(name=f"photo_{k}.jpg") for k in range(3)]
    reading = reading_of(photos)
    for photo in photos:
        name = photo.name
        image = draw_overlay(
            photo, reading.openings[name], reading.rows[name], reading.frame, reading.cameras[name]
        )
        scale = SIDE_RANGE_PX[0] / SIZE[0]
        free = reading.openings[name][:, 5] == 0
        at = reading.openings[name][free, :2] * scale
        assert (
            near_colour(
                image, colours.ORANGE, at[((at > 20) & (at < [1580, 1180])).all(axis=1)], reach=14
            ).mean()
            > 0.7
        )


def test_the_count_of_a_row_stands_at_its_end():
    row = np.c_[np.linspace(200, 500, 11), np.full(11, 300.0)]
    plain = draw_overlay(blank(), NONE, [row], Frame(()), None)
    counted = draw_overlay(blank(), NONE, [row], Frame(()), None, ["11"])
    y, x = np.nonzero((plain != counted).any(axis=2))
    scale = SIDE_RANGE_PX[0] / SIZE[0]
    assert len(x) > 200 and (np.abs(y / scale - 300) < 20).all()
    assert ((x / scale > 500) & (x / scale < 540)).all()
