"""Scaffolds of any size, for measurements and tests."""

from __future__ import annotations

from recon.frame.joints import find_joints
from recon.frame.model import Frame, Member, StockUse, as_tuple, label, relabel

X, Y, Z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)


def scaffold(
    bays_x: int, bays_y: int, levels: int, step_x: int = 12, step_y: int = 10, step_z: int = 8
) -> Frame:
    """Posts on a grid with rails along x and y at every level.

    Rails of neighbouring bays pass their post on opposite sides.

    Parameters
    ----------
    bays_x, bays_y, levels : int
    step_x, step_y, step_z : int
        From post to post and from level to level, pitches.

    Examples
    --------
    >>> from recon.bench.scaffold import scaffold
    >>> len(scaffold(1, 1, 2).members)
    12
    """
    placed = [
        ((i * step_x, j * step_y, 0), Z, levels * step_z + 2)
        for i in range(bays_x + 1)
        for j in range(bays_y + 1)
    ]
    for level in range(levels):
        z = level * step_z + step_z - 2
        placed += [
            ((i * step_x - 1, j * step_y + (-1 if i % 2 == 0 else 1), z), X, step_x + 2)
            for j in range(bays_y + 1)
            for i in range(bays_x)
        ]
        placed += [
            ((i * step_x + (1 if j % 2 == 0 else -1), j * step_y - 1, z + 1), Y, step_y + 2)
            for i in range(bays_x + 1)
            for j in range(bays_y)
        ]
    members = [
        Member(label(k), as_tuple(at), way, n, stock="softwood-38") for k, (at, way, n) in enumerate(placed)
    ]
    return relabel(
        Frame(tuple(members), find_joints(members), 38.1, StockUse("softwood-38"), name="Scaffold")
    )
