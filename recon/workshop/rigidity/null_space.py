"""The rates at which the bolts of a block can turn together, found by adding one member after another.

What is in place moves in some d independent ways; the twist of each of its members is known for each of them.
A new member held by l bolts adds six unknowns, its own twist, and each bolt says that this twist less that of
the member on its other side is a turn about the bolt's axis, and nothing else.  So every step is a small
problem in d + 6 unknowns, and what was found before is only carried over: the null space of all equations
together is updated by the few that are new, not computed from scratch (P. E. Gill, G. H. Golub, W. Murray,
M. A. Saunders, "Methods for modifying matrix factorizations", Mathematics of Computation 28, 1974,
doi:10.1090/S0025-5718-1974-0343558-6).  The member with most bolts to what is in place comes next, which
closes loops as soon as they can be closed and keeps d small.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence

import numpy as np
from numpy.typing import ArrayLike

from recon.geometry.arrays import FloatArray

# Singular values below this share of the largest count as 0.  In random frames and trellises of 5 to 340
# members what is 0 comes out below 1e-13, and the smallest that is not above 1e-3.
RANK_TOL = 1e-7


def balanced(twists: FloatArray) -> FloatArray:
    """Twists (k, 6) about the middle of their axes, lengths in half the axes' extent: all of one size."""
    points = np.cross(twists[:, :3], twists[:, 3:])  # of each axis the point nearest to the origin
    middle, size = points.mean(axis=0), max(float(np.ptp(points, axis=0).max()) / 2, 1.0)
    return np.hstack([twists[:, :3], (twists[:, 3:] + np.cross(twists[:, :3], middle)) / size])


def null_space(matrix: FloatArray, tol: float = RANK_TOL) -> FloatArray:
    """An orthonormal basis of all x with matrix x = 0.

    Parameters
    ----------
    matrix : (rows, columns)
        The equations.
    tol : float
        Singular values below this share of the largest count as 0.

    Returns
    -------
    (columns, freedom)

    Examples
    --------
    >>> null_space(np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])).round(6).tolist()
    [[0.0], [0.0], [1.0]]
    """
    rows, columns = matrix.shape
    if rows == 0 or columns == 0:
        return np.eye(columns)
    if rows > 2 * columns:
        matrix = np.asarray(np.linalg.qr(matrix, mode="r"))
    _, values, directions = np.linalg.svd(matrix, full_matrices=True)
    return directions[int((values > tol * max(values[0], 1e-300)).sum()) :].T


def free_rates(
    edges: Sequence[Sequence[Hashable]] | ArrayLike, twists: ArrayLike, tol: float = RANK_TOL
) -> FloatArray:
    """An orthonormal basis of the rates of k bolts that let all members stay whole.

    Parameters
    ----------
    edges : (k, 2)
        Members a and b of each bolt, all of one connected graph.
    twists : array_like, (k, 6)
        Of b against a at rate 1.
    tol : float
        As in `null_space`, where loops are not quite closed.

    Returns
    -------
    (k, freedom)
    """
    bodies, ends = np.unique(np.asarray(edges), return_inverse=True)
    ends, count = ends.reshape(-1, 2), len(bodies)
    twists = balanced(np.asarray(twists, float))
    rate_of = twists / (twists**2).sum(axis=1, keepdims=True)  # twist -> rate, (k, 6)
    across = np.eye(6) - twists[:, :, None] * rate_of[:, None, :]  # twist -> what is no turn, (k, 6, 6)
    at: list[list[tuple[int, int, float]]] = [[] for _ in bodies]  # of each member: bolt, other member, sign
    for i, (a, b) in enumerate(ends.tolist()):
        at[a].append((i, b, -1.0))
        at[b].append((i, a, 1.0))
    moving = np.zeros((count, 6, 0))  # twist of each member in each way to move
    bolts_in = np.zeros(count, int)  # bolts to members in place; -1 for those that are in place
    new = int(np.argmax([len(bolts) for bolts in at]))
    while True:
        bolts = [(i, other, sign) for i, other, sign in at[new] if bolts_in[other] < 0]
        if len(bolts) == 1:
            ((i, other, sign),) = bolts
            moving = np.concatenate([moving, np.zeros((count, 6, 1))], axis=2)
            moving[new] = moving[other]
            moving[new, :, -1] = sign * twists[i]
        elif bolts:
            index, others = [i for i, _, _ in bolts], [other for _, other, _ in bolts]
            moving = _attached(moving, new, others, across[index], rate_of[index], tol)
        bolts_in[new] = -1
        for _, other, _ in at[new]:
            bolts_in[other] += bolts_in[other] >= 0
        new = int(bolts_in.argmax())
        if bolts_in[new] <= 0:
            break
    return np.einsum("kc,kcd->kd", rate_of, moving[ends[:, 1]] - moving[ends[:, 0]])


def _attached(
    moving: FloatArray, new: int, others: list[int], across: FloatArray, rate_of: FloatArray, tol: float
) -> FloatArray:
    """The ways to move (members, 6, d) with member `new` bolted to `others`: those in which it can follow.

    across, rate_of : of these l bolts, (l, 6, 6) and (l, 6).   The ways returned have orthonormal rates if
    those before had.
    """
    d = moving.shape[2]
    on = moving[others]  # (l, 6, d)
    equations = np.concatenate([-across @ on, across], axis=2).reshape(-1, d + 6)
    free = null_space(equations, tol)
    kept, twist = free[:d], free[d:]
    rates = np.einsum("lc,lcd->ld", rate_of, twist[None] - on @ kept)
    even = np.linalg.inv(np.linalg.qr(np.vstack([kept, rates]), mode="r"))
    moving = moving @ (kept @ even)
    moving[new] = twist @ even
    return moving
