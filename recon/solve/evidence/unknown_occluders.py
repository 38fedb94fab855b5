"""What stands before a frame and is no member of it: boards, cloths, tools hide openings in long runs.

Where something that is not known hides a part of a member, all its openings there are missed together.  Taken
one by one, these misses outweigh what other photos show; taken as one run, they cost what it costs that
something stands there.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate, pairwise

import numpy as np

from recon.geometry.arrays import BoolArray, FloatArray, IntArray
from recon.solve.evidence.along_line import LineEvidence

# Nats for a run of misses on one face in one photo: something unknown hides a part of one face in twenty.
# This project's choice; frames that carry things (boards, boxes) show more, bare ones fewer.
HIDDEN_RUN = 3.0
MANY_FACES = 16  # from which all are gone through together; measured


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
    return all_without_hidden_runs([evidence], cost)[0]


def all_without_hidden_runs(lines: Sequence[LineEvidence], cost: float = HIDDEN_RUN) -> list[LineEvidence]:
    """:func:`without_hidden_runs` of several lines at once, which saves most of the time."""
    faces = [line.llr.reshape(-1, line.llr.shape[2]) for line in lines]
    worth_it = [np.nonzero(np.where(f < 0, f, 0).sum(1) < -cost)[0] for f in faces]
    some = [i for i, rows in enumerate(worth_it) if len(rows)]
    if not some:
        return list(lines)
    counts = np.array([len(worth_it[i]) for i in some])
    holes = np.repeat([faces[i].shape[1] for i in some], counts)
    nats = np.zeros((len(holes), holes.max()))
    visible = np.zeros(nats.shape, bool)
    spans = list(pairwise(accumulate(counts.tolist(), initial=0)))
    for i, (a, b) in zip(some, spans):
        rows, K = worth_it[i], faces[i].shape[1]
        nats[a:b, :K] = faces[i][rows]
        visible[a:b, :K] = lines[i].visible.reshape(-1, K)[rows]
    hidden = _charged(nats, visible, _hidden(nats, holes, cost), cost)
    out = list(lines)
    for i, (a, b) in zip(some, spans):
        if hidden[a:b].any():
            out[i] = _without(lines[i], worth_it[i], nats[a:b], hidden[a:b])
    return out


def _without(evidence: LineEvidence, rows: IntArray, nats: FloatArray, hidden: BoolArray) -> LineEvidence:
    """The evidence with other nats on some of its faces, less what is hidden there."""
    shape, K = evidence.llr.shape, evidence.llr.shape[2]
    llr, gone = evidence.llr.reshape(-1, K).copy(), np.zeros((shape[0] * shape[1], K), bool)
    llr[rows], gone[rows] = nats[:, :K], hidden[:, :K]
    gone = gone.reshape(shape)
    return LineEvidence(
        llr.reshape(shape),
        np.where(gone, -1, evidence.hit),
        evidence.visible & ~gone,
        np.where(gone, -1, evidence.head),
    )


def _hidden(nats: FloatArray, holes: IntArray, cost: float) -> BoolArray:
    """Which holes of some faces (N, K), each of so many holes, are hidden in the likeliest sequence.

    Few faces are gone through one by one, in Python, which is sooner done then.
    """
    out = np.zeros(nats.shape, bool)
    if len(nats) < MANY_FACES:
        for face, count in enumerate(holes.tolist()):
            out[face, :count] = _hidden_on_one(nats[face, :count].tolist(), cost)
        return out
    count = nats.shape[1]
    columns = np.ascontiguousarray(nats.T)
    now_hidden, to_hidden = np.zeros((2, count, len(nats)), bool)
    sight, hidden = columns[0], np.full(len(nats), -cost)
    for k in range(count):
        if k:
            sight, hidden = np.maximum(sight, hidden) + columns[k], np.maximum(hidden, sight - cost)
        now_hidden[k] = hidden > sight
        to_hidden[k] = sight - cost > hidden
    state = np.zeros(len(nats), bool)
    for k in range(count - 1, -1, -1):
        if k + 1 < count:
            state = np.where(state, ~to_hidden[k], now_hidden[k])
        state = np.where(holes == k + 1, now_hidden[k], state & (holes > k))
        out[:, k] = state
    return out


def _hidden_on_one(llr: list[float], cost: float) -> list[bool]:
    """Which holes of one face are hidden in the likeliest sequence."""
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


def _charged(nats: FloatArray, visible: BoolArray, hidden: BoolArray, cost: float) -> BoolArray:
    """Takes what is hidden out of the nats (N, K), and lays the cost of each run on its ends; what is taken.

    A run goes from its first to its last opening that should be in sight.  Its cost lies on its holes next to
    openings in sight; where there are none, on all of it: wherever a member may lie on the face.
    """
    count = nats.shape[1]
    beside = np.zeros((len(nats), count + 2), bool)
    beside[:, 1:-1] = hidden
    face, start = np.nonzero(beside[:, 1:] & ~beside[:, :-1])
    stop = np.nonzero(beside[:, :-1] & ~beside[:, 1:])[1]
    before = np.zeros((len(nats), count + 1), int)  # how many are in sight before each hole
    np.cumsum(visible, axis=1, out=before[:, 1:])
    inside = before[face, stop] > before[face, start]
    face, start, stop = face[inside], start[inside], stop[inside]
    hole = np.arange(count)
    following = np.minimum.accumulate(np.where(visible, hole, count)[:, ::-1], axis=1)[:, ::-1]
    last_seen = np.maximum.accumulate(np.where(visible, hole, -1), axis=1)
    first, last = following[face, start], last_seen[face, stop - 1]
    ends = np.zeros((len(nats), count + 1), np.int8)
    ends[face, first] += 1
    ends[face, last + 1] -= 1
    taken = np.cumsum(ends[:, :-1], axis=1) > 0
    nats[taken] = 0.0
    low, high = before[face, first] > 0, before[face, -1] > before[face, last + 1]
    share = cost / np.maximum(low.astype(int) + high, 1)
    nats[face[low], first[low]] -= share[low]
    nats[face[high], last[high]] -= share[high]
    for i in np.nonzero(~(low | high))[0].tolist():
        all_of_it = first[i] + np.nonzero(visible[face[i], first[i] : last[i] + 1])[0]
        nats[face[i], all_of_it] -= cost / len(all_of_it)
    return taken
