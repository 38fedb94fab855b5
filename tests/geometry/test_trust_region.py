"""Robust fits against SciPy's least_squares, which finds the same places by another way."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from recon.geometry.trust_region import Cauchy, least_cost

AT = np.linspace(0, 3, 40)


def decay(p):
    """Values of p0 exp(-p1 t) + p2, and their derivatives by each parameter."""
    e = np.exp(-p[1] * AT)
    return p[0] * e + p[2], np.stack([e, -p[0] * AT * e, np.ones(len(AT))])


@pytest.mark.parametrize("seed", range(4))
def test_a_fit_with_wrong_values_and_a_prior_is_that_of_scipy(seed):
    rng = np.random.default_rng(seed)
    seen = decay(np.array([4.0, 1.3, 0.5]))[0] + rng.normal(0, 0.05, len(AT))
    seen[rng.choice(len(AT), 8, replace=False)] += rng.uniform(1, 5, 8)
    start, known, spread = np.array([2.0, 0.7, 0.0]), 1.2, 0.2
    loss = Cauchy(2.0, priors=1)

    def residuals(p):
        return np.append((decay(p)[0] - seen) / 0.05, (p[1] - known) / spread)

    def normal(p, e):
        by_prior = np.array([[0.0], [1 / spread], [0.0]])
        return loss.normal(e, np.hstack([decay(p)[1] / 0.05, by_prior]))

    ours = least_cost(
        start,
        lambda p: (loss.cost(residuals(p)), residuals(p)),
        normal,
        lambda p, step: p + step,
        np.array([0.5, 0.2, 0.2]),
        200,
        1e-12,
    )

    def rho(z):  # Cauchy's loss of all but the last, and its derivatives
        part = z / loss.scale**2
        out = np.stack([loss.scale**2 * np.log1p(part), 1 / (1 + part), -1 / (1 + part) ** 2 / loss.scale**2])
        out[:, -1] = z[-1], 1, 0
        return out

    theirs = least_squares(residuals, ours + 1e-3, loss=rho, ftol=1e-12, xtol=1e-12, gtol=1e-12)
    assert loss.cost(residuals(ours)) <= theirs.cost * (1 + 1e-9)
    assert ours == pytest.approx(theirs.x, abs=1e-5)


def test_what_cannot_be_made_better_stays():
    p = least_cost(
        np.zeros(2),
        lambda p: (float(p @ p), None),
        lambda p, _: (2 * np.eye(2), 2 * p),
        lambda p, step: p + step,
        np.ones(2),
        20,
    )
    assert p.tolist() == [0.0, 0.0]


def test_a_way_that_leads_to_no_number_is_not_taken():
    """Of ln x the way down from 1 to below 0 has no value: shorter steps are taken."""
    p = least_cost(
        np.array([1.0]),
        lambda p: (float(0.5 * np.log(p[0] / 0.01) ** 2) if p[0] > 0 else np.nan, None),
        lambda p, _: (np.array([[1 / p[0] ** 2]]), np.array([np.log(p[0] / 0.01) / p[0]])),
        lambda p, step: p + step,
        np.array([2.0]),
        100,
        1e-12,
    )
    assert p[0] == pytest.approx(0.01, rel=1e-6)
