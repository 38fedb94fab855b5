"""Frames before floors of dots, and among gravel: planes and clutter do not take the camera."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from recon.image.openings import OPENING, local_density
from recon.solve.photo import read_photo as of_one
from recon.solve.photo.axis_rows import find_axis_rows
from recon.solve.photo.beyond_planes import better_of, planes_of
from recon.solve.photo.clutter_rows import clutter_level
from recon.solve.photo.plane_pattern import find_plane_patterns, on_plane
from recon.solve.photo.read_photo import LEAST_ROW_EVIDENCE, read_photo, trusted_rows
from tests.solve.decoys import camera_at
from tests.solve.photo.test_plane_pattern import grid
from tests.solve.scenes import HOLE, SIZE, grown_scene, lattice_change

LINES = 60  # of dots on the floor, both ways


def floor_of_dots(frame, camera, turn, step):
    """Openings of a dotted floor under a frame, at an angle to it, `step` pitches apart, in the picture."""
    low = np.array([m.first for m in frame.members] + [m.last for m in frame.members]).min(0)
    middle = np.mean([m.first for m in frame.members], axis=0)
    grid = np.stack(np.meshgrid(*[np.arange(LINES) - LINES / 2] * 2), 2).reshape(-1, 2) * step
    at = np.c_[grid, np.zeros(len(grid))] @ Rotation.from_euler("z", turn, degrees=True).as_matrix().T
    at += [*middle[:2], low[2] - 0.5]
    px = camera.project(at)
    depth = at @ camera.R[2] + camera.t[2]
    seen = (px > 0).all(1) & (px < np.array(SIZE)).all(1) & (depth > 0)
    out = np.zeros(int(seen.sum()), OPENING)
    out["x"], out["y"] = px[seen].T
    out["major"], out["score"] = 0.3 * camera.f / depth[seen], 5.0
    out["minor"] = 0.5 * out["major"]
    return out


def joined(openings, more):
    """Both, but for those of the second that lie in the first's."""
    tree = cKDTree(np.c_[openings["x"], openings["y"]])
    apart = tree.query(np.c_[more["x"], more["y"]])[0] > 6
    both = np.concatenate([openings, more[apart]])
    return both[np.argsort(-both["score"], kind="stable")]


@pytest.mark.parametrize(("seed", "turn", "step"), [(3, 25, 1.37), (3, 40, 0.8), (6, 40, 0.8)])
def test_a_frame_on_a_floor_of_dots_keeps_its_camera(seed, turn, step):
    frame, shot = grown_scene(seed, 33, 15)
    openings = joined(shot.openings, floor_of_dots(frame, shot.camera, turn, step))
    assert len(openings) > 10 * len(shot.openings)
    reading = read_photo("floor", openings, SIZE, None)
    camera = reading.photo.camera
    assert abs(np.log(camera.f / shot.camera.f)) < 0.08
    assert lattice_change(camera, shot.camera)[2] < 2


def test_a_plane_is_followed_beyond_what_stands_before_it():
    camera = camera_at(55, 20, 0, 26)
    node = np.stack(np.meshgrid(np.arange(30) - 15, np.arange(12) - 6), 2).reshape(-1, 2)
    px = camera.project(np.c_[node, np.zeros(len(node))])
    shown = (px > 0).all(1) & (px < [1000, 750]).all(1) & (np.abs(node[:, 0] + 2) > 3)  # a post before it
    out = np.zeros(int(shown.sum()), OPENING)
    out["x"], out["y"] = px[shown].T
    edge = camera.project(np.c_[node[shown] + [0.3, 0], np.zeros(int(shown.sum()))])
    out["major"] = 2 * np.linalg.norm(edge - px[shown], axis=1)
    out["minor"], out["score"] = 0.6 * out["major"], 5.0
    largest = max(find_plane_patterns(out), key=lambda p: len(p.index))
    assert len(largest.index) < 0.8 * len(out) < on_plane(largest, out).sum()
    assert planes_of(out).sheets.mean() > 0.95


def test_a_sheet_is_wider_than_four_members_side_by_side():
    assert planes_of(grid(12, 8, missing=0.04)).sheets.mean() > 0.9
    four = planes_of(grid(24, 4))
    assert four.wide.mean() > 0.9 and four.wide_evidence > 50 and not four.sheets.any()


def test_where_one_reading_failed_the_other_counts():
    _, shot = grown_scene(1, 33)
    reading = read_photo("photo", shot.openings, SIZE, None)
    assert better_of(None, reading, 0.0) is reading and better_of(reading, None, 0.0) is reading
    assert better_of(None, None, 0.0) is None
    assert better_of(reading, reading, 0.0) is reading  # one camera, one lattice: all openings count


def test_a_solution_whose_camera_costs_more_than_it_explains_is_still_the_likeliest():
    _, shot = grown_scene(1, 33)
    reading = replace(read_photo("photo", shot.openings, SIZE, None), others=(), nats=(-4.0,))
    assert reading.rivals == reading.solutions[:1]


def rows_of(camera, openings):
    density, none = local_density(openings), np.zeros(len(openings), int)

    def find(other, free):
        return trusted_rows(find_axis_rows(other, openings[free], HOLE, density[free]), none[free])

    rows = find(camera, np.ones(len(openings), bool))
    return rows, clutter_level(camera, rows, len(openings), LEAST_ROW_EVIDENCE, find)


def gravel(count, seed, size=(8, 14)):
    """Openings strewn in heaps, of many sizes."""
    rng = np.random.default_rng(seed)
    heap = rng.random((count // 60 + 1, 2)) * SIZE
    px = heap[rng.integers(len(heap), size=count)] + rng.normal(0, 60, (count, 2))
    out = np.zeros(count, OPENING)
    out["x"], out["y"] = (px % SIZE).T
    out["major"] = rng.uniform(*size, count)
    out["minor"], out["score"] = out["major"] * rng.uniform(0.6, 1, count), rng.uniform(1, 4, count)
    return out


def test_rows_of_gravel_stay_below_its_level_but_for_few():
    over, found = [], []
    for seed in range(4):
        _, shot = grown_scene(seed, 33)
        rows, level = rows_of(shot.camera, gravel(2500, seed))
        found.append(len(rows))
        over.append(sum(r.evidence > level for r in rows))
    assert np.mean(found) > 10 and np.mean(over) < 4


def test_without_clutter_the_level_is_the_least():
    _, shot = grown_scene(1, 33, clutter=0)
    rows, level = rows_of(shot.camera, shot.openings)
    assert len(rows) > 8 and level < LEAST_ROW_EVIDENCE + 1.5


def seen_on_plane(camera, at):
    """Openings at places (N, 3) pitches on a plane, all of one size."""
    out = np.zeros(len(at), OPENING)
    out["x"], out["y"] = camera.project(at).T
    out["major"], out["minor"], out["score"] = 7.0, 6.0, 5.0
    return out


@pytest.mark.parametrize(("apart", "sheets"), [(3.0, 0), (1.0, 1)])
def test_posts_side_by_side_are_no_sheet_and_dots_are_one(apart, sheets):
    camera = camera_at(62, 10, 0, 60)
    a, b = np.meshgrid(np.arange(8), np.arange(24) - 12)
    at = np.c_[apart * (a.ravel() - 3.5), np.zeros(a.size), b.ravel()]
    planes = planes_of(seen_on_plane(camera, at))
    assert planes.sheets.mean() > 0.9
    beyond = planes.without_members(camera)
    assert len(beyond.each_sheet) == sheets * len(planes.each_sheet)
    assert beyond.sheets.any() == bool(sheets)


def test_a_photo_that_is_mostly_frame_is_read_with_all_its_openings(monkeypatch):
    _, shot = grown_scene(3, 33, 15)
    some = len(shot.openings) * 2 // 3
    monkeypatch.setattr(of_one, "AXIS_OPENINGS", some)
    assert len(read_photo("frame", shot.openings, SIZE, None).openings) == len(shot.openings)
    clutter = np.zeros(2 * some, OPENING)
    rng = np.random.default_rng(1)
    clutter["x"], clutter["y"] = rng.uniform(0, SIZE[0], len(clutter)), rng.uniform(0, SIZE[1], len(clutter))
    clutter["major"], clutter["minor"], clutter["score"] = 9.0, 7.0, 9.0
    both = np.concatenate([shot.openings[: some // 3], clutter, shot.openings[some // 3 :]])
    reading = read_photo("frame", both, SIZE, None)
    assert len(reading.openings) <= some
