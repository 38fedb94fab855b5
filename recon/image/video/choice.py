"""Few pictures of a video that show the frame from all places that the camera was at.

Facility location: every place on the way is shown by the nearest picture that was chosen, the worse the
farther off and the less sharp it is.  Pictures are added that raise the sum over the way the most, which is
within 1 - 1/e of the best that there is (Nemhauser, Wolsey and Fisher 1978, doi:10.1007/BF01588971), and then
exchanged while that raises it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from recon.geometry.arrays import BoolArray, FloatArray, IntArray
from recon.image.video.movement import CameraPath

LEAST, MOST = 6, 20  # pictures of one video
# A picture from so far round, rad, shows other sides of the members: it stands for a place the less, the
# farther off it is, and not at all from here on.  This project's choice, as in solve/result/viewpoints.py.
REACH = np.radians(30)
CELL = np.radians(1)  # of the way; in each the sharpest picture may be chosen
MOST_CELLS = 700  # bounds the table of distances; longer ways have larger cells
APART = np.radians(3)  # nearer than this two pictures are one: a frame's openings move by their own width
# Of the way, rad, that a further picture must show anew: pictures then come about every 15 degrees.
LEAST_GAIN = np.radians(2)
LEAST_WAY = np.radians(8)  # from the first place to the farthest: with less it is one photo


def way_length(path: CameraPath) -> float:
    """How far the camera got, at the most, from where it was at another time of the same stretch."""
    spans = [np.ptp(path.place[path.stretch == s], axis=0) for s in np.unique(path.stretch)]
    return max((float(np.linalg.norm(span)) for span in spans), default=0.0)


def cells(path: CameraPath, sharp: FloatArray) -> tuple[IntArray, FloatArray]:
    """The sharpest picture of each cell of the way, and the length of the way in it.

    Standing still is no way: however long it takes, it gives one picture.

    Returns
    -------
    number : (C,) int array
        Numbers of pictures, ascending.
    length : (C,) array
    """
    step = np.linalg.norm(np.diff(path.place, axis=0, prepend=path.place[:1]), axis=1)
    step[1:][np.diff(path.stretch) != 0] = 0.0
    gone = np.cumsum(step)
    size = max(CELL, float(gone[-1]) / MOST_CELLS)
    cell = np.floor(gone / size).astype(int)
    key = path.stretch * (int(cell[-1]) + 1) + cell
    numbers, lengths = [], []
    for k in np.unique(key):
        inside = np.flatnonzero(key == k)
        numbers.append(inside[np.argmax(sharp[inside])])
        lengths.append(max(float(step[inside].sum()), size / 10))
    return np.array(numbers, int), np.array(lengths)


def choose(
    path: CameraPath,
    sharp: FloatArray,
    least: int = LEAST,
    most: int = MOST,
    banned: Sequence[int] = (),
) -> list[int]:
    """Numbers of the pictures to keep, ascending.

    Parameters
    ----------
    path : CameraPath
    sharp : (N,) array
        How sharp each picture is, 0..1.
    least, most : int
        How many there should be; fewer where fewer places were seen.
    banned : sequence of int
        Pictures that are not to be chosen.

    Examples
    --------
    A quarter round the frame, every second picture blurred:

    >>> import numpy as np
    >>> angle = np.radians(np.arange(0, 90, 1.5))
    >>> place = np.column_stack([np.sin(angle), np.zeros(60), 1 - np.cos(angle)])
    >>> sharp = np.where(np.arange(60) % 2, 1.0, 0.4)
    >>> choose(CameraPath(place, np.zeros(60, int), place), sharp)
    [5, 15, 25, 35, 45, 55]
    """
    numbers, lengths = cells(path, sharp)
    usable = ~np.isin(numbers, np.asarray(banned, int)) & _on_the_way(path.stretch[numbers], lengths)
    distance = np.linalg.norm(path.place[numbers][:, None] - path.place[numbers][None], axis=2)
    distance[path.stretch[numbers][:, None] != path.stretch[numbers][None]] = np.inf
    near = distance < APART
    # The same places seen again are no more of a way: 2 APART of it lie within APART of each place.
    lengths = lengths * np.minimum(1.0, 2 * APART / (near @ lengths))
    shown = np.maximum(0.0, 1.0 - distance / REACH) * sharp[numbers][:, None]  # by row, of column
    shown[~usable] = 0.0
    chosen = _added(shown, lengths, near, least, most)
    chosen = _exchanged(chosen, shown, lengths, near)
    return sorted(int(numbers[k]) for k in chosen)


def _on_the_way(stretch: IntArray, lengths: FloatArray) -> BoolArray:
    """Cells of stretches with some way; of all, where none has.  The others are what was seen in a jerk."""
    way = np.bincount(stretch, lengths)[stretch]
    return np.asarray((way >= APART) | (way.max() < APART))


def _added(shown: FloatArray, lengths: FloatArray, near: np.ndarray, least: int, most: int) -> list[int]:
    """Rows chosen one after another, each that which raises the sum the most."""
    chosen: list[int] = []
    best, free = np.zeros(len(lengths)), np.ones(len(lengths), bool)
    while len(chosen) < most:
        gains = (np.maximum(shown - best, 0.0) @ lengths) * free
        k = int(np.argmax(gains))
        enough = LEAST_GAIN if len(chosen) >= least else 0.0
        if gains[k] <= enough:
            break
        chosen.append(k)
        best, free = np.maximum(best, shown[k]), free & ~near[k]
    return chosen


def _exchanged(chosen: list[int], shown: FloatArray, lengths: FloatArray, near: np.ndarray) -> list[int]:
    """The rows after exchanges of one for another, until none raises the sum any more."""
    chosen = list(chosen)
    for _ in range(4 * MOST):  # each raises the sum; in practice a few rounds
        changed = False
        for i in range(len(chosen)):
            rest = chosen[:i] + chosen[i + 1 :]
            best = shown[rest].max(axis=0) if rest else np.zeros(len(lengths))
            gains = np.maximum(shown - best, 0.0) @ lengths
            if rest:
                gains[near[rest].any(axis=0)] = 0.0
            k = int(np.argmax(gains))
            if gains[k] > gains[chosen[i]] * (1 + 1e-9) + 1e-12:
                chosen[i], changed = k, True
        if not changed:
            break
    return chosen
