"""Openings that repeat in two directions on one plane: found, and none found on members."""

import numpy as np
import pytest

from recon.image.openings import OPENING
from recon.solve.photo.plane_pattern import find_plane_patterns, fit_homography
from recon.solve.photo.read_photo import read_openings
from tests.solve.decoys import SHEETS, camera_at, channel, plane
from tests.solve.scenes import grown_scene


def grid(columns: int, rows: int, tilt=35, turn=20, missing=0.0, clutter=0, seed=0) -> np.ndarray:
    """Openings of a plane at whole numbers, some missing, with clutter of their size."""
    rng = np.random.default_rng(seed)
    node = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), 2).reshape(-1, 2)
    node = node[rng.random(len(node)) >= missing]
    camera = camera_at(tilt, turn, 10, 1.5 * max(columns, rows))
    px = camera.project(np.c_[node - node.mean(0), np.zeros(len(node))])
    px = np.r_[px + rng.normal(0, 0.2, px.shape), rng.random((clutter, 2)) * [1000, 750]]
    out = np.zeros(len(px), OPENING)
    out["x"], out["y"] = px.T
    out["major"], out["minor"], out["score"] = 9.0, 8.0, 4.0
    return out


def test_most_of_a_plane_of_openings_is_one_pattern_among_clutter():
    share = []
    for seed in range(6):
        best = find_plane_patterns(grid(12, 8, missing=0.04, clutter=150, seed=seed))[0]
        share.append(len(best.index) / 92)
        assert (best.index < 96).mean() > 0.97
    assert np.median(share) > 0.9 and min(share) > 0.6


def test_the_homography_takes_nodes_to_openings():
    openings = grid(9, 7)
    pattern = find_plane_patterns(openings)[0]
    seen = np.c_[pattern.node, np.ones(len(pattern.node))] @ pattern.homography.T
    off = seen[:, :2] / seen[:, 2:] - np.c_[openings["x"], openings["y"]][pattern.index]
    assert np.sqrt((off**2).mean()) < 0.3


def test_a_homography_survives_points_that_are_not_on_it():
    node = np.stack(np.meshgrid(np.arange(6), np.arange(6)), 2).reshape(-1, 2)
    px = camera_at(40, 10, 0, 12).project(np.c_[node, np.zeros(36)])
    px[[3, 20]] += 15
    _, off = fit_homography(node, px)
    assert np.median(off) < 0.05 and off[3] > 10 and off[20] > 10


def test_two_rows_are_no_pattern():
    assert find_plane_patterns(grid(14, 2)) == []


def test_clutter_alone_is_no_pattern():
    for seed in range(5):
        assert find_plane_patterns(grid(1, 1, clutter=900, seed=seed)) == []


def test_most_openings_of_a_frame_lie_in_no_pattern():
    lying = total = 0
    for seed in range(6):
        _, shot = grown_scene(seed, members=7)
        of_members = np.nonzero(shot.source[:, 0] >= 0)[0]
        taken = [p.index for p in find_plane_patterns(shot.openings)]
        lying += np.isin(of_members, np.concatenate([np.zeros(0, int), *taken])).sum()
        total += len(of_members)
    assert total > 200 and lying < 0.2 * total


@pytest.mark.parametrize("name", ["dots", "perforated_hex", "grating", "optical_table"])
def test_a_drawn_sheet_is_seen_as_one_plane(name):
    texture = SHEETS[name]()
    openings = read_openings(plane(texture, camera_at(35, 15, 5, 30), seed=1))
    best = find_plane_patterns(openings)[0]
    assert len(best.index) > 60 and best.evidence > 200


def test_the_face_of_a_channel_with_staggered_holes_is_a_plane_pattern():
    found = find_plane_patterns(read_openings(channel(camera_at(-35, 20, 5, 22))))
    assert found and len(found[0].index) > 40
