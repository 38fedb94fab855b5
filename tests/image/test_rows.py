"""Rows: exact fits of even steps in space, found among clutter and with gaps, hardly ever by chance."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recon.image.openings import OPENING
from recon.image.rows import chord_px, find_rows, fit_row, pattern_directions, row_position

PITCH_OVER_HOLE = 3.4  # 38.1 mm pitch, 11.1 mm hole; common practice, no source


def ellipses(x, y, major, minor, angle=0.0, score=4.0):
    x = np.atleast_1d(np.asarray(x, float))
    out = np.zeros(len(x), OPENING)
    for name, v in zip(OPENING.names, (x, y, major, minor, angle, -0.3, score)):
        out[name] = v
    return out


def seen_row(steps, start, way, shrink=0.0, noise=0.0, squeeze=0.6, seed=0):
    """Openings of one row: step k at start + way (k / (1 + shrink k)), sizes as the gaps; noise in px."""
    k = np.asarray(steps, float)
    along = k / (1 + shrink * k)
    xy = np.asarray(start, float) + along[:, None] * np.asarray(way, float)
    gap = np.hypot(*way) / (1 + shrink * k) ** 2
    xy = xy + np.random.default_rng(seed).normal(0, noise, xy.shape)
    major = gap / PITCH_OVER_HOLE
    return ellipses(xy[:, 0], xy[:, 1], major, squeeze * major, np.arctan2(way[1], way[0]))


def clutter(count, size=(800, 600), seed=0, px=(4, 14)):
    rng = np.random.default_rng(seed)
    major = rng.uniform(*px, count)
    return ellipses(
        rng.uniform(0, size[0], count),
        rng.uniform(0, size[1], count),
        major,
        major * rng.uniform(0.4, 1, count),
        rng.uniform(0, np.pi, count),
        rng.uniform(1, 3, count),
    )


def true_part(row, steps):
    """Which of the first openings, at true `steps`, a row holds; how many others; whether its steps are the
    true ones."""
    true = row.index < len(steps)
    k, found = steps[row.index[true]], row.step[true]
    return (
        set(row.index[true].tolist()),
        int((~true).sum()),
        np.array_equal(np.abs(np.diff(k)), np.abs(np.diff(found))),
    )


# Fits

projective = st.tuples(st.floats(-500, 2000), st.floats(5, 200), st.floats(-0.025, 0.05), st.booleans())
step_sets = st.lists(st.integers(0, 25), min_size=4, max_size=15, unique=True).map(sorted)


@given(projective, step_sets)
def test_exact_rows_are_fitted_exactly(row, steps):
    a, b, c, backwards = row
    k = np.array(steps)
    x = (a + (b + a * c) * k) / (1 + c * k) * (-1 if backwards else 1)
    fit = fit_row(k, x)
    assert np.abs(row_position(fit, k) - x).max() < 1e-6 * max(1, np.ptp(x))
    everywhere = np.arange(0, 26)
    true = (a + (b + a * c) * everywhere) / (1 + c * everywhere) * (-1 if backwards else 1)
    if len(steps) > 4:  # four points determine the three numbers with one to spare
        assert np.abs(row_position(fit, everywhere) - true).max() < 1e-3 * np.ptp(true)


@given(projective, st.integers(0, 1000))
def test_fit_does_not_depend_on_where_steps_are_counted_from(row, offset):
    a, b, c, _ = row
    k = np.array([0, 1, 2, 4, 7, 8])
    x = (a + (b + a * c) * k) / (1 + c * k) + np.array([0.2, -0.3, 0.1, 0.25, -0.2, 0.1])
    here, there = row_position(fit_row(k, x), k), row_position(fit_row(k + offset % 40, x), k + offset % 40)
    assert np.abs(here - there).max() < 1e-6 * max(1, np.ptp(x))


def test_fit_is_the_least_squares_one_of_scipy():
    from scipy.optimize import least_squares

    k = np.arange(12)
    x = (100 + 30 * k) / (1 + 0.03 * k) + np.random.default_rng(2).normal(0, 0.3, 12)
    ours = row_position(fit_row(k, x), k)
    theirs = least_squares(
        lambda p: (p[0] + p[1] * k) / (1 + p[2] * k) - x, [100, 30, 0.03], x_scale=[1, 1, 1e-3]
    ).fun
    assert np.sum((ours - x) ** 2) == pytest.approx(np.sum(theirs**2), rel=1e-3)


def test_points_without_weight_do_not_count():
    k = np.arange(7)
    x = (50 + 20 * k) / (1 + 0.02 * k)
    off = x.copy()
    off[3] += 15
    fit = fit_row(k, off, np.array([1, 1, 1, 0, 1, 1, 1]))
    assert row_position(fit, k) == pytest.approx(x)


def test_three_points_are_fitted_by_even_steps():
    a, b, c = fit_row(np.array([0, 1, 2]), np.array([10.0, 20.0, 30.0]))
    assert (a, b, c) == (pytest.approx(10), pytest.approx(10), 0.0)


def test_cross_ratio_of_four_even_steps_is_four_thirds():
    """Source: Hartley and Zisserman 2004, section 2.5."""
    for c in (-0.03, 0.0, 0.02, 0.3):
        p = row_position((7.0, 30.0, c), np.arange(4))
        assert (p[2] - p[0]) * (p[3] - p[1]) / ((p[2] - p[1]) * (p[3] - p[0])) == pytest.approx(4 / 3)


def test_chords_of_an_ellipse_run_from_minor_to_major():
    o = ellipses([0, 0], [0, 0], 10.0, 4.0, np.pi / 6)
    along, across = [np.cos(np.pi / 6), 0.5], [-0.5, np.cos(np.pi / 6)]
    assert chord_px(o, np.array([along, across])) == pytest.approx([10, 4])
    # At 45 degrees between the axes: 1 / sqrt((1/10^2 + 1/4^2) / 2).
    d = (np.array(along) + across) / np.sqrt(2)
    assert chord_px(o[:1], d[None]) == pytest.approx(1 / np.sqrt((0.01 + 0.0625) / 2))


# Finding


@pytest.mark.parametrize("shrink", [0.0, 0.015, 0.03])
@pytest.mark.parametrize("gaps", [(), (5,), (4, 5), (3, 8, 9)])
def test_a_row_with_gaps_is_found_among_clutter(shrink, gaps):
    steps = np.array([k for k in range(15) if k not in gaps])
    row = seen_row(steps, (100, 150), (45, 20), shrink, noise=0.3)
    found = find_rows(np.concatenate([row, clutter(100, seed=3)]))
    index, others, right = true_part(found[0], steps)
    assert index == set(range(len(steps))) and right
    assert others <= 1  # a spot of clutter may lie one step on
    assert found[0].log_nfa < -6


@pytest.mark.parametrize("gaps", [(), (5,), (4, 5), (3, 8, 9)])
def test_a_row_that_doubles_its_distance_is_found_in_one_or_two_parts(gaps):
    """Gaps where the steps change fast may part a row; its parts are rows, too."""
    steps = np.array([k for k in range(15) if k not in gaps])
    row = seen_row(steps, (100, 150), (60, 25), 0.06, noise=0.3)
    found = [
        set(r.index.tolist()) & set(range(len(steps)))
        for r in find_rows(np.concatenate([row, clutter(100, seed=3)]), most_log_nfa=0.0)[:2]
    ]
    assert len(set.union(*found)) >= len(steps) - 3 and max(map(len, found)) >= 7


@pytest.mark.parametrize("angle", np.radians([0, 40, 90, 135, 200, 300]))
def test_rows_are_found_in_any_direction(angle):
    way = 40 * np.array([np.cos(angle), np.sin(angle)])
    row = seen_row(np.arange(10), np.array([400, 300]) - 5 * way, way, 0.02, noise=0.3)
    best = find_rows(np.concatenate([row, clutter(100, seed=4)]))[0]
    assert set(range(10)) <= set(best.index.tolist()) and len(best.index) <= 11


def test_two_crossing_rows_are_both_found():
    one, two = (
        seen_row(np.arange(12), (100, 100), (50, 30), 0.02, 0.3),
        seen_row(np.arange(9), (600, 80), (-38, 45), 0.01, 0.3, seed=1),
    )
    rows = find_rows(np.concatenate([one, two, clutter(80, seed=5)]))
    assert {frozenset(r.index.tolist()) for r in rows[:2]} == {frozenset(range(12)), frozenset(range(12, 21))}


def test_a_row_bent_by_the_lens_is_still_one_row():
    row = seen_row(np.arange(16), (60, 60), (45, 4), 0.0, 0.2)
    xy = np.c_[row["x"], row["y"]] - [400, 300]
    xy *= 1 - 0.06 * np.sum((xy / 500) ** 2, axis=1, keepdims=True)  # k1 = -0.06 at f = 500 px
    row["x"], row["y"] = (xy + [400, 300]).T
    rows = find_rows(np.concatenate([row, clutter(100, seed=6)]))
    assert len(set(rows[0].index.tolist()) & set(range(16))) >= 15


@pytest.mark.parametrize("count", [100, 400])
def test_clutter_gives_hardly_any_rows(count):
    """A contrario: fewer than one row of a whole photo of clutter should pass for 1 in 10 by chance, none
    for 1 in 10,000."""
    found = [r.log_nfa for seed in range(8) for r in find_rows(clutter(count, seed=seed), most_log_nfa=0.0)]
    assert sum(v < -1 for v in found) / 8 <= 1.0
    assert min(found, default=0) > -4


def test_true_rows_stand_far_below_those_of_clutter():
    row = seen_row(np.arange(10), (150, 200), (40, 12), 0.02, 0.4)
    rows = find_rows(np.concatenate([row, clutter(400, seed=9)]))
    assert set(rows[0].index.tolist()) >= set(range(10))
    assert len(rows) == 1 or rows[0].log_nfa < rows[1].log_nfa - 4


def test_each_row_is_told_once():
    rows = find_rows(
        np.concatenate([seen_row(np.arange(20), (30, 100), (38, 15), 0.0, 0.3), clutter(60, seed=2)])
    )
    assert sum(len(set(r.index.tolist()) & set(range(20))) > 3 for r in rows) == 1


@pytest.mark.parametrize("count", [0, 1, 3, 5])
def test_few_openings_give_no_rows(count):
    assert find_rows(clutter(count)) == []


# Patterns


def grid(nx=12, ny=10, gap=30.0, shear=0.3, shrink=0.0, seed=0, noise=0.3):
    x, y = (v.ravel().astype(float) for v in np.meshgrid(np.arange(nx), np.arange(ny)))
    den = 1 + shrink * y
    px = np.c_[50 + gap * (x + shear * y) / den, 50 + gap * y / den] + np.random.default_rng(seed).normal(
        0, noise, (nx * ny, 2)
    )
    inner = (x > 1) & (x < nx - 2) & (y > 1) & (y < ny - 2)
    return ellipses(px[:, 0], px[:, 1], 8.0, 6.0), inner


@pytest.mark.parametrize("shrink", [0.0, 0.02])
def test_openings_of_a_grid_are_flagged_as_a_pattern(shrink):
    o, inner = grid(shrink=shrink)
    assert (pattern_directions(o)[inner] >= 3).mean() > 0.95


def test_openings_of_a_row_are_no_pattern():
    row = seen_row(np.arange(14), (50, 80), (45, 20), 0.02, 0.3)
    twin = seen_row(np.arange(14), (60, 110), (45, 20), 0.02, 0.3, seed=1)
    directions = pattern_directions(np.concatenate([row, clutter(40, seed=1)]))
    assert (directions[1:13] >= 1).all() and (
        directions[:14] >= 3
    ).sum() <= 1  # clutter may lie midway by chance
    # The twin on the next face adds none: openings midway between one's neighbours lie in its own row only.
    assert (pattern_directions(np.concatenate([row, twin])) < 3).all()


def test_pattern_needs_neighbours_alike():
    o, inner = grid()
    o["major"], o["minor"] = (
        v * np.random.default_rng(0).choice([0.4, 1, 2.5], len(o)) for v in (o["major"], o["minor"])
    )
    assert (pattern_directions(o)[inner] >= 3).mean() < 0.5


def test_pattern_of_few_openings_is_none():
    assert pattern_directions(clutter(3)).tolist() == [0, 0, 0]
