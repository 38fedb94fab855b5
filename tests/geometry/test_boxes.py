"""Boxes: what hides what, against sampling of the way; which overlap, against linear programming."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog
from scipy.spatial.transform import Rotation

from recon.geometry.boxes import (
    CLEARANCE,
    LIFT,
    OrientedBoxes,
    lifted,
    occluded,
    occluded_by_oriented,
    penetration,
    reach_along,
    separating_axes,
)

SEEDS = st.integers(0, 2**32 - 1)


def random_boxes(rng, count, aligned=False, spread=3.0):
    axes = np.tile(np.eye(3), (count, 1, 1))
    if not aligned:
        axes = Rotation.random(count, rng=rng).as_matrix()
    return OrientedBoxes(rng.uniform(-spread, spread, (count, 3)), axes, rng.uniform(0.2, 2.0, (count, 3)))


def corners(boxes):
    return boxes.centre - boxes.half, boxes.centre + boxes.half


# Occlusion


def inside(boxes, points, grow):
    """(..., B) bool: which points lie in which boxes, grown by `grow`."""
    local = np.einsum("bij,...bj->...bi", boxes.axes, points[..., None, :] - boxes.centre)
    return (np.abs(local) < boxes.half + grow).all(axis=-1)


@settings(max_examples=40)
@given(SEEDS, st.booleans())
def test_hidden_points_are_those_that_sampling_the_way_finds(seed, aligned):
    rng = np.random.default_rng(seed)
    boxes, eye, points = random_boxes(rng, 6, aligned), rng.normal(size=3) * 15, rng.uniform(-5, 5, (20, 3))
    way = points - eye
    length = np.linalg.norm(way, axis=1)
    until = 1 - CLEARANCE / length if aligned else np.ones(len(points))
    spots = eye + np.linspace(0, 1, 1500)[:, None, None] * (until[:, None] * way)  # every 2 hundredths
    surely = inside(boxes, spots, -0.02).any(axis=(0, 2))
    possibly = inside(boxes, spots, 0.02).any(axis=(0, 2))
    if aligned:
        hidden = occluded(eye, points, *corners(boxes))
    else:
        hidden = occluded_by_oriented(eye, points, boxes, 0.0)
    assert hidden[surely].all() and not hidden[~possibly].any()


@pytest.mark.parametrize("distance", [0.0, 2.0, 15.0])
def test_pairs_that_are_sorted_out_hide_nothing(monkeypatch, distance):
    """Seen from among the boxes, too, where some lie before the viewer and some behind."""
    for seed in range(30):
        rng = np.random.default_rng(seed)
        boxes, eye = random_boxes(rng, 20, aligned=True), rng.normal(size=3) * distance
        points = np.round(rng.uniform(-5, 5, (400, 3)), seed % 3)
        monkeypatch.setattr("recon.geometry.boxes.FEW_PAIRS", 0)
        sorted_out = occluded(eye, points, *corners(boxes))
        monkeypatch.setattr("recon.geometry.boxes.FEW_PAIRS", 10**6)
        assert (sorted_out == occluded(eye, points, *corners(boxes))).all()


@settings(max_examples=60)
@given(SEEDS)
def test_boxes_along_the_axes_hide_what_the_same_boxes_at_an_angle_hide(seed):
    """The whole scene is turned: the general case answers as the special one, the clearance apart."""
    rng = np.random.default_rng(seed)
    boxes, eye, points = (
        random_boxes(rng, 8, aligned=True),
        rng.normal(size=3) * 15,
        rng.uniform(-5, 5, (60, 3)),
    )
    turn = Rotation.random(rng=rng).as_matrix()
    turned = OrientedBoxes(boxes.centre @ turn.T, np.tile(turn.T, (8, 1, 1)), boxes.half)
    special = occluded(eye, points, *corners(boxes))
    general = occluded_by_oriented(turn @ eye, points @ turn.T, turned, 0.0)
    way = points - eye
    shorter = eye + way * (1 - CLEARANCE / np.linalg.norm(way, axis=1, keepdims=True))
    just_before = occluded_by_oriented(turn @ eye, shorter @ turn.T, turned, 0.0)
    assert (special == just_before)[general == just_before].all()
    assert not special[~general].any()


@pytest.mark.parametrize("axis", range(3))
def test_a_face_is_not_hidden_by_its_own_box(axis):
    low, high, normal = np.full((1, 3), -1.0), np.full((1, 3), 1.0), np.eye(3)[axis]
    points = np.array([[x, y, 1.0] for x in (-0.9, 0, 0.9) for y in (-0.9, 0, 0.9)])
    points = np.roll(points, axis + 1, axis=1)
    assert not occluded(30 * normal + 1.0, lifted(points, normal), low, high).any()
    assert occluded(-30 * normal, lifted(points, normal), low, high).all()
    assert lifted(points, normal)[:, axis] == pytest.approx(1 + LIFT)


def test_lines_of_sight_along_a_face_are_not_stopped_by_it():
    """The eye and the point lie in the plane of the far face of a box: the slab neither begins nor ends the
    way."""
    box = OrientedBoxes(np.zeros((1, 3)), np.eye(3)[None], np.ones((1, 3)))
    eye, points = np.array([-5.0, 0.0, 0.0]), np.array([[5.0, 0.0, 0.0], [5.0, 3.0, 0.0], [-2.0, 0.0, 0.0]])
    assert occluded_by_oriented(eye, points, box, 0.0).tolist() == [True, False, False]
    assert occluded(eye, points, -np.ones((1, 3)), np.ones((1, 3))).tolist() == [True, False, False]


def test_nothing_hides_where_there_are_no_boxes():
    none = OrientedBoxes(np.zeros((0, 3)), np.zeros((0, 3, 3)), np.zeros((0, 3)))
    assert not occluded(np.zeros(3), np.ones((4, 3)), np.zeros((0, 3)), np.zeros((0, 3))).any()
    assert not occluded_by_oriented(np.zeros(3), np.ones((4, 3)), none, 0.0).any()


# Separating axes


def depth_of_the_deepest_point(a, b):
    """How deep inside all twelve faces the deepest point lies; below 0 where the boxes are apart.

    A linear program (the Chebyshev centre: S. Boyd, L. Vandenberghe, Convex Optimization, section 8.5.1).
    """
    rows, limits = [], []
    for box in (a, b):
        for axis, half in zip(box.axes, box.half):
            for sign in (1.0, -1.0):
                rows.append([*(sign * axis), 1.0])
                limits.append(half + sign * axis @ box.centre)
    best = linprog([0, 0, 0, -1.0], A_ub=rows, b_ub=limits, bounds=[(None, None)] * 4)
    assert best.status == 0
    return best.x[3]


def one(boxes, i):
    return OrientedBoxes(boxes.centre[i], boxes.axes[i], boxes.half[i])


@settings(max_examples=40, deadline=None)
@given(SEEDS, st.booleans(), st.booleans())
def test_boxes_that_share_room_are_those_of_a_linear_program(seed, a_aligned, b_aligned):
    rng = np.random.default_rng(seed)
    a, b = random_boxes(rng, 12, a_aligned, 1.8), random_boxes(rng, 12, b_aligned, 1.8)
    depth = penetration(a, b)
    room = np.array([depth_of_the_deepest_point(one(a, i), one(b, i)) for i in range(12)])
    clear = np.abs(room) > 1e-7
    assert ((depth > 0) == (room > 0))[clear].all()
    assert (depth[room > 0] >= 2 * room[room > 0] - 1e-7).all()  # the shared room fits along every axis


@settings(max_examples=40)
@given(SEEDS)
def test_a_box_moved_by_its_depth_is_apart(seed):
    rng = np.random.default_rng(seed)
    a, b = random_boxes(rng, 30, spread=1.5), random_boxes(rng, 30, spread=1.5)
    depth = penetration(a, b)
    axes, degenerate = separating_axes(a.axes, b.axes)
    between = np.einsum("nki,ni->nk", axes, b.centre - a.centre)
    overlap = np.where(degenerate, np.inf, reach_along(axes, a) + reach_along(axes, b) - np.abs(between))
    best = overlap.argmin(axis=1)
    way = axes[np.arange(30), best] * np.where(between[np.arange(30), best] < 0, -1.0, 1.0)[:, None]
    moved = OrientedBoxes(b.centre + depth[:, None] * way, b.axes, b.half)
    assert penetration(a, moved).max() < 1e-9
    assert penetration(b, a) == pytest.approx(depth)


def test_one_box_is_compared_with_many():
    rng = np.random.default_rng(3)
    a, many = one(random_boxes(rng, 1), 0), random_boxes(rng, 9, aligned=True)
    shared = OrientedBoxes(many.centre, np.eye(3), many.half)
    single = [float(penetration(one(many, i), a)) for i in range(9)]
    assert penetration(shared, a) == pytest.approx(single) == penetration(many, a)


def test_edges_that_are_parallel_make_no_axis():
    axes, degenerate = separating_axes(np.eye(3), Rotation.from_euler("z", 30, degrees=True).as_matrix().T)
    assert degenerate.sum() == 1 and (axes[degenerate] == 0).all()
    assert np.linalg.norm(axes[~degenerate], axis=1) == pytest.approx(1)
