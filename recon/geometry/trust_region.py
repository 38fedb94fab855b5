"""Robust least squares of a few parameters and many residuals, by a trust region over normal equations.

The method of SciPy's `least_squares` for small dense problems without bounds (More 1977, Lecture Notes in
Mathematics 630, 105-116), with differences that make it several times quicker where there are a dozen
parameters: the matrix that is taken apart is that of the normal equations, which priors keep well
conditioned; what is sought may be anything that can be stepped, so that derivatives are always taken where
it stands; and what a look at a trial gave is kept for its derivatives.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from recon.geometry.arrays import FloatArray

State = TypeVar("State")
Seen = TypeVar("Seen")

TOLERANCE = 1e-6  # relative, of the cost and of steps: a thousandth of a standard error
# Of the trust region's radius, within which a step has its length (More 1977), and turns until then.
NEAR_RADIUS, MOST_TURNS = 0.01, 10
POOR, GOOD = 0.25, 0.75  # of the reduction foreseen: below and above the region shrinks and grows; ibid.
LEAST = float(np.finfo(float).eps)  # curvature that a wrong residual keeps, and of the normal matrix's values


@dataclass(frozen=True)
class Cauchy:
    """Cauchy's loss, but for the last few residuals, which stay squared.

    A prior inside a robust loss costs almost nothing once it is missed by far, and impossible values pass.

    Attributes
    ----------
    scale : float
        Residual from which others count less, in standard errors.
    priors : int
        How many residuals at the end are priors.

    Examples
    --------
    >>> loss = Cauchy(2.0, 1)
    >>> loss.cost(np.array([0.0, 4.0]))
    8.0
    >>> loss.cost(np.array([4.0, 0.0])) < 4
    True
    """

    scale: float
    priors: int = 0

    def _parts(self, residuals: FloatArray) -> tuple[FloatArray, FloatArray]:
        cut = len(residuals) - self.priors
        return residuals[:cut], residuals[cut:]

    def cost(self, residuals: FloatArray) -> float:
        """Half the sum of the losses."""
        data, prior = self._parts(residuals)
        far = data / self.scale
        return 0.5 * float(self.scale**2 * np.log1p(far * far).sum() + prior @ prior)

    def normal(self, residuals: FloatArray, jacobian: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Matrix and right side of the normal equations of the losses.

        Parameters
        ----------
        residuals : (M,) array
        jacobian : (P, M) array
            Derivatives of the residuals by each parameter.

        Returns
        -------
        (P, P) and (P,) arrays

        Notes
        -----
        The loss's own curvature counts, kept above 0 (Triggs et al. 2000, doi:10.1007/3-540-44480-7_21,
        section 4.3).
        """
        data, prior = self._parts(residuals)
        far = (data / self.scale) ** 2
        slope = 1 / (1 + far)
        bend = np.maximum((1 - far) * slope * slope, LEAST)
        ones = np.ones(len(prior))
        weighted = jacobian * np.concatenate([bend, ones])
        return weighted @ jacobian.T, jacobian @ np.concatenate([slope * data, prior])


def least_cost(
    state: State,
    look: Callable[[State], tuple[float, Seen]],
    normal: Callable[[State, Seen], tuple[FloatArray, FloatArray]],
    moved: Callable[[State, FloatArray], State],
    scale: FloatArray,
    most: int,
    tolerance: float = TOLERANCE,
) -> State:
    """The state of the least cost that can be reached downhill.

    Parameters
    ----------
    state : any
        To begin with.
    look : callable
        Of a state: its cost, and what `normal` needs of the look.
    normal : callable
        Of a state and what the look at it gave: matrix (P, P) and right side (P,) of its normal equations.
    moved : callable
        Of a state and a step (P,): the state after it.
    scale : (P,) array
        A usual step of each parameter; together they are as far as the first step may go.
    most : int
        Looks at states, at most.
    tolerance : float
        Relative, of the cost and of steps in units of their scale, below which it is done.

    Examples
    --------
    >>> at = np.arange(4.0)
    >>> y = np.array([1.0, 3.0, 5.0, 70.0])  # 1 + 2 x, and one wrong
    >>> loss, J = Cauchy(1.0), np.stack([np.ones(4), at])
    >>> line = least_cost(
    ...     np.zeros(2),
    ...     lambda p: (loss.cost(p @ J - y), p @ J - y),
    ...     lambda p, seen: loss.normal(seen, J),
    ...     lambda p, step: p + step,
    ...     np.ones(2),
    ...     50,
    ... )
    >>> [round(float(v), 1) for v in line]
    [1.0, 2.0]
    """
    cost, seen = look(state)
    radius, damping, looks, done = 1.0, 0.0, 1, False
    while looks < most and not done:
        H, g = normal(state, seen)
        H, g = H * scale * scale[:, None], g * scale
        values, V = np.linalg.eigh(H)
        values, along = np.maximum(values, LEAST * values[-1] + 1e-300), g @ V
        better = False
        while looks < most and not done and not better:
            inner, damping = _within(values, along, radius, damping)
            step = V @ inner
            trial = moved(state, scale * step)
            trial_cost, trial_seen = look(trial)
            looks += 1
            gain, length = cost - trial_cost, float(np.sqrt(inner @ inner))
            foreseen = -float(inner @ along + 0.5 * (values * inner) @ inner)
            share = gain / foreseen if foreseen > 0 else 0.0
            done = (gain < tolerance * cost and share > POOR) or length < tolerance
            before, better = radius, gain > 0
            if not share >= POOR:
                radius = POOR * length
            elif share > GOOD and length > 0.95 * radius:
                radius *= 2
            damping *= before / radius if radius > 0 else 1.0
        if better:
            state, cost, seen = trial, trial_cost, trial_seen
    return state


def _within(values: FloatArray, along: FloatArray, radius: float, damping: float) -> tuple[FloatArray, float]:
    """The step along the eigenvectors that lies within a radius, and the damping that it needs.

    values, along : (P,) of the normal matrix, and the right side along its eigenvectors
    """
    step = -along / values
    length = float(np.sqrt(step @ step))
    if length <= radius:
        return step, 0.0
    squares = along * along
    slope = -float((squares / values**3).sum()) / length
    low, high = -(length - radius) / slope, float(np.sqrt(along @ along)) / radius
    for _ in range(MOST_TURNS):
        if not low <= damping <= high:
            damping = max(0.001 * high, (low * high) ** 0.5)
        damped = values + damping
        length = float(np.sqrt((squares / damped**2).sum()))
        off, slope = length - radius, -float((squares / damped**3).sum()) / length
        if off < 0:
            high = damping
        low = max(low, damping - off / slope)
        damping -= length * off / (slope * radius)
        if abs(off) < NEAR_RADIUS * radius:
            break
    step = -along / (values + damping)
    return step * (radius / float(np.sqrt(step @ step))), damping
