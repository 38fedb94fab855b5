"""What stands before a frame and is no member of it: boards, cloths, tools hide openings in long runs.

Where something that is not known hides a part of a member, all its openings there are missed together.  Taken
one by one, these misses outweigh what other photos show; taken as one run, they cost what it costs that
something stands there.
"""

from __future__ import annotations

from itertools import groupby

import numpy as np

from recon.geometry.arrays import BoolArray, FloatArray
from recon.solve.evidence.along_line import LineEvidence

# Nats for a run of misses on one face in one photo: something unknown hides a part of one face in twenty.
# This project's choice; frames that carry things (boards, boxes) show more, bare ones fewer.
HIDDEN_RUN = 3.0


def without_hidden_runs(evidence: LineEvidence, cost: float = HIDDEN_RUN) -> LineEvidence:
    """Evidence along a line in which runs of openings may be hidden by something unknown.

    What is hidden says nothing, is not in sight and explains no detection.  The cost of a run is laid on its
    holes next to what is in sight, so that a member ends where its openings do.

    Parameters
    ----------
    evidence : of the line
    cost : nats for a run

    Notes
    -----
    The likeliest sequence of two states, in sight and hidden, of each face in each photo (Viterbi 1967,
    doi:10.1109/TIT.1967.1054010).

    Examples
    --------
    Six openings in a row are missed on the one face that is in sight; that costs as much as one run.

    >>> llr = np.zeros((1, 4, 10))
    >>> llr[0, 0] = [4, 4, -2, -2, -2, -2, -2, -2, 4, 4]
    >>> nothing = np.full(llr.shape, -1)
    >>> seen = without_hidden_runs(LineEvidence(llr, nothing, llr != 0, nothing))
    >>> seen.profile.tolist()
    [4.0, 4.0, -1.5, 0.0, 0.0, 0.0, 0.0, -1.5, 4.0, 4.0]
    """
    llr = evidence.llr
    faces = llr.reshape(-1, llr.shape[2])
    worth_it = np.where(faces < 0, faces, 0).sum(1) < -cost
    if not worth_it.any():
        return evidence
    visible = evidence.visible.reshape(faces.shape)
    out, hidden = faces.copy(), np.zeros_like(visible)
    rows = np.nonzero(worth_it)[0].tolist()
    for row, nats in zip(rows, faces[rows].tolist()):
        for run in _runs(_hidden(nats, cost), visible[row]):
            out[row, run] = 0.0
            hidden[row, run] = True
            _charge(out[row], run, visible[row], cost)
    gone = hidden.reshape(llr.shape)
    return LineEvidence(
        out.reshape(llr.shape),
        np.where(gone, -1, evidence.hit),
        evidence.visible & ~gone,
        np.where(gone, -1, evidence.head),
    )


def _hidden(llr: list[float], cost: float) -> list[bool]:
    """Which holes of a face are hidden in the likeliest sequence; in Python, as there are few faces."""
    from_hidden, to_hidden = [False], [False]
    sight, hidden = llr[0], -cost
    for nats in llr[1:]:
        from_hidden.append(hidden > sight)
        to_hidden.append(sight - cost > hidden)
        sight, hidden = max(sight, hidden) + nats, max(hidden, sight - cost)
    out = []
    state = hidden > sight
    for back, forth in zip(reversed(from_hidden), reversed(to_hidden)):
        out.append(state)
        state = not forth if state else back
    return out[::-1]


def _runs(hidden: list[bool], visible: BoolArray) -> list[slice]:
    """Runs of hidden holes, each from its first to its last opening that should be in sight."""
    out, at = [], 0
    for state, group in groupby(hidden):
        start, at = at, at + len(list(group))
        inside = np.nonzero(visible[start:at])[0].tolist() if state else []
        if inside:
            out.append(slice(start + inside[0], start + inside[-1] + 1))
    return out


def _charge(nats: FloatArray, run: slice, visible: BoolArray, cost: float) -> None:
    """Lays the cost of a run on its holes next to openings in sight; where there are none, on all of it."""
    sides = [
        k
        for k, beyond in ((run.start, visible[: run.start]), (run.stop - 1, visible[run.stop :]))
        if beyond.any()
    ]
    if not sides:  # all of the face: wherever a member may lie on it
        sides = (run.start + np.nonzero(visible[run])[0]).tolist()
    for k in sides:
        nats[k] -= cost / len(sides)
