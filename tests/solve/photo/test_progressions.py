"""Progressions grown from many pairs at once."""

from __future__ import annotations

import numpy as np

from recon.image.openings import OPENING
from recon.solve.photo.progressions import SightLines, SortedOpenings, grown


def clutter_with_rows(seed: int) -> tuple[SortedOpenings, list[tuple[int, int]]]:
    """Openings of three rows among clutter, sorted by theta, and all pairs of neighbours."""
    rng = np.random.default_rng(seed)
    theta = np.r_[rng.uniform(0, 0.05, 120), np.repeat([0.01, 0.02, 0.04], 12)]
    tau = np.r_[rng.uniform(0, 1, 120), np.tile(0.1 + 0.05 * np.arange(12), 3)]
    theta += rng.normal(0, 2e-5, len(theta))
    order = np.argsort(theta)
    n = len(theta)
    openings = np.zeros(n, OPENING)
    openings["major"] = openings["minor"] = rng.uniform(7, 9, n)
    lines = SightLines(theta[order], tau[order], np.full(n, 1e-3), np.full(n, 2e-3), np.zeros((n, 2)))
    field = SortedOpenings(
        lines, openings, np.full(n, 1e-4), np.full(n, 0.015), np.full(n, 0.4), np.full(n, 2e-3)
    )
    return field, [(i, j) for i in range(n) for j in range(i + 1, min(i + 12, n)) if tau[i] != tau[j]]


def test_a_pair_grows_to_the_same_row_alone_as_among_others() -> None:
    field, pairs = clutter_with_rows(3)
    together = grown(field, pairs)
    assert 20 < sum(row is not None for row in together) < len(pairs)
    for pair, row in zip(pairs[::7], together[::7]):
        (alone,) = grown(field, [pair])
        assert (alone is None) == (row is None)
        if alone is not None and row is not None:
            assert alone.index.tolist() == row.index.tolist()
            assert alone.step.tolist() == row.step.tolist()
            assert alone.evidence == row.evidence


def test_rows_among_clutter_are_found_whole() -> None:
    field, pairs = clutter_with_rows(5)
    found = [row for row in grown(field, pairs) if row is not None]
    spaced = [row for row in found if len(row.index) == 12 and np.ptp(field.lines.theta[row.index]) < 3e-4]
    assert spaced
    assert all(np.allclose(np.diff(field.lines.tau[row.index]), 0.05) for row in spaced)
    assert all(row.step.tolist() == list(range(12)) for row in spaced)


def test_no_pairs_make_no_rows() -> None:
    field, _ = clutter_with_rows(0)
    assert grown(field, []) == []
