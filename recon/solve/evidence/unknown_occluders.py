"""What stands before a frame and is no member of it: boards, cloths, tools hide openings in long runs.

Where something that is not known hides a part of a member, all its openings there are missed together.  Taken
one by one, these misses outweigh what other photos show; taken as one run, they cost what it costs that
something stands there.
"""

from __future__ import annotations

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
    rows = np.nonzero(worth_it)[0]
    for row, states in zip(rows, _hidden(faces[rows], cost)):
        for run in _runs(states, visible[row]):
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


def _hidden(llr: FloatArray, cost: float) -> BoolArray:
    """Which holes (F, K) of F faces are hidden in the likeliest sequence."""
    n, count = llr.shape
    from_hidden, to_hidden = np.zeros((n, count), bool), np.zeros((n, count), bool)
    sight, hidden = llr[:, 0], np.full(n, -cost)
    for k in range(1, count):
        from_hidden[:, k] = hidden > sight
        to_hidden[:, k] = sight - cost > hidden
        sight, hidden = np.maximum(sight, hidden) + llr[:, k], np.maximum(hidden, sight - cost)
    out = np.zeros((n, count), bool)
    state = hidden > sight
    for k in range(count - 1, -1, -1):
        out[:, k] = state
        state = np.where(state, ~to_hidden[:, k], from_hidden[:, k])
    return out


def _runs(hidden: BoolArray, visible: BoolArray) -> list[slice]:
    """Runs of hidden holes, each from its first to its last opening that should be in sight."""
    starts = np.nonzero(hidden & ~np.r_[False, hidden[:-1]])[0]
    stops = np.nonzero(hidden & ~np.r_[hidden[1:], False])[0]
    out = []
    for a, b in zip(starts, stops):
        inside = np.nonzero(visible[a : b + 1])[0]
        if len(inside):
            out.append(slice(a + inside[0], a + inside[-1] + 1))
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
