"""How much evidence rows of clutter reach in a photo, by the photo itself.

Chance lines up openings of gravel, grass or grain along any direction.  Rows found along directions that are
none of the frame's tell how many such rows there are, and how strong: what a row has beyond that speaks for
it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from scipy.spatial.transform import Rotation

from recon.geometry.arrays import BoolArray
from recon.geometry.camera import Camera
from recon.solve.photo.axis_rows import AxisRow

# Rotations that take the axes far from all three: about two diagonals, by as much as lies between two of the
# turns that take axes to axes.
ELSEWHERE = tuple(Rotation.from_rotvec(np.array(d) / np.sqrt(3) * np.pi / 3) for d in ((1, 1, 1), (1, -1, 1)))
SURELY_ROWS = 20.0  # nats: openings of such rows are none of clutter; of 9 photos 1 row of clutter had more
PRIOR_EXCESS = 1.0  # nats by which clutter's rows exceed the least, where it were as dense everywhere


def clutter_level(
    camera: Camera,
    rows: Sequence[AxisRow],
    count: int,
    least: float,
    find: Callable[[Camera, BoolArray], Sequence[AxisRow]],
) -> float:
    """The evidence, nats, that one row of clutter in a photo may be expected to reach.

    Parameters
    ----------
    camera : Camera
    rows : sequence of AxisRow
        Found along its axes.
    count : int
        Number of all openings.
    least : float
        Evidence of the weakest rows that are found, nats.
    find : callable
        Rows along the axes of another camera among marked openings, (count,) bool.

    Returns
    -------
    float
        At least `least`.

    Notes
    -----
    The number of clutter's rows is taken to fall exponentially with their evidence, as that of chance
    alignments does (Desolneux, Moisan and Morel 2000, doi:10.1023/A:1026593302236); their mean excess over
    `least` is its scale, and one row with PRIOR_EXCESS is counted in.
    """
    free = np.ones(count, bool)
    for r in rows:
        if r.evidence > SURELY_ROWS:
            free[r.index] = False
    excess = np.array(
        [
            r.evidence - least
            for turn in ELSEWHERE
            for r in find(replace(camera, R=camera.R @ turn.as_matrix()), free)
        ]
    )
    if len(excess) <= len(ELSEWHERE):  # at most one a turn
        return least
    scale = (excess.sum() + PRIOR_EXCESS) / (len(excess) + 1)
    return float(least + scale * np.log(len(excess) / len(ELSEWHERE)))
