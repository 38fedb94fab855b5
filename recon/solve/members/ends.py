"""Ends of members: half a pitch past the last hole, where the face stops.

Two things speak of an end: openings that stop, and the edge of the face across the member.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from recon.geometry.arrays import BoolArray, FloatArray
from recon.solve.evidence.along_line import along_line, lattice_openings
from recon.solve.evidence.candidate import Candidate, EndGuess, grown, runs_into
from recon.solve.evidence.occluders import occluders_of
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.scene import Ends, Scene
from recon.solve.members.edges import colour_steps, edge_evidence
from recon.solve.members.laps import lap_faces

LENGTH_SURE = 0.95  # probability of both its ends from which a member's length counts for others
LAP_PRIOR = 1.5  # nats for an end that takes in a crossing; builders do not stop short of a lap they touch
REACH = 5  # holes looked at past the present ends; this project's choice
LENGTH_KEPT = (
    0.5  # half of a frame's members are supposed to share a length with another; common practice, no
)
# source


def find_ends(scene: Scene, index: int, reach: int = REACH) -> Ends:
    """Where a candidate starts and stops, from openings and edges in all photos.

    Parameters
    ----------
    scene : Scene
        With the pictures of its photos.
    index : int
        Of the candidate.
    reach : int
        Holes looked at past the present ends.

    Returns
    -------
    The low end and the high end; holes are counted from the candidate's hole 0.
    """
    candidate, others, width = scene.candidates[index], scene.others(index), scene.width
    occluders = occluders_of(others, width)
    n = candidate.holes
    step = np.arange(-reach, n + reach)
    holes = np.repeat(candidate.first[None], len(step), 0)
    holes[:, candidate.axis] += step
    first = candidate.first.copy()
    first[candidate.axis] -= reach
    bolted = lap_faces(candidate.axis, first, len(step), others, width)
    openings = lattice_openings(candidate.axis, first, len(step), width)
    found = along_line(scene.photos, openings, occluders, bolted=bolted)
    boundaries, between = boundaries_of(n, reach)
    edge, inner = edge_evidence(
        (
            colour_steps(p, scene.picture(p), candidate.axis, candidate.first, boundaries, width, occluders)
            for p in scene.photos
        ),
        between,
    )
    return end_guesses(
        found.profile,
        bolted,
        edge,
        inner,
        in_some_photo(scene.photos, holes),
        reach,
        _room(scene, index, reach),
    )


def boundaries_of(count: int, reach: int) -> tuple[FloatArray, BoolArray]:
    """Places midway between holes, pitches from hole 0, and which lie between two of ``count`` known holes.

    Examples
    --------
    >>> places, between = boundaries_of(3, 1)
    >>> places.tolist(), between.tolist()
    ([-1.5, -0.5, 0.5, 1.5, 2.5, 3.5], [False, False, True, True, False, False])
    """
    places = np.arange(-reach, count + reach + 1, dtype=float) - 0.5
    return places, (places > 0) & (places < count - 1)


def end_guesses(
    profile: FloatArray,
    bolted: BoolArray,
    edge: FloatArray,
    inner: FloatArray,
    in_sight: BoolArray,
    reach: int,
    room: tuple[int, int],
) -> Ends:
    """Chances of each possible end of a member, from what is known at its K holes and K + 1 boundaries.

    Hole by hole from the middle: the member goes on as long as openings, laps and faces without an edge say
    so, and ends at an edge.

    Parameters
    ----------
    profile : array, (K,)
        Nats at each hole, from ``reach`` holes before the known ones to ``reach`` past them.
    bolted : bool array, (4, K)
        Faces at laps.
    edge, inner : array, (K + 1,)
        Nats for an end and for going on at each boundary.
    in_sight : bool array, (K,)
        Does the hole fall into some photo?
    reach : int
        Holes before and past those that are known.
    room : tuple[int, int]
        Holes that there is room for before and past those that are known.

    Returns
    -------
    The low and the high end, holes counted from the first known one.
    """
    opening = np.clip(profile, -8, 8)
    laps = np.where(bolted.any(axis=0), LAP_PRIOR, 0.0)
    step = np.arange(len(profile)) - reach
    count = len(profile) - 2 * reach
    middle = reach + count // 2

    def guess(way: int, last: int) -> EndGuess:
        k = np.arange(middle, last + reach + way, way)
        gain = opening[k] + laps[k] + inner[k + 1 if way < 0 else k]
        gain[0] = 0.0
        log: FloatArray = np.cumsum(gain) + edge[k if way < 0 else k + 1]
        log_p: FloatArray = log - float(np.logaddexp.reduce(log))
        beyond = k[int(log_p.argmax())] + way
        return EndGuess(step[k], log_p, bool(0 <= beyond < len(step) and not in_sight[beyond]))

    return guess(-1, -min(reach, room[0])), guess(1, count - 1 + min(reach, room[1]))


def with_fixed_ends(candidate: Candidate, guesses: Ends | None) -> Ends:
    """The guesses for a candidate's ends, with those that the user vouches for put where they are.

    Parameters
    ----------
    guesses : Ends or None
        May be None where both ends are fixed.
    """
    certain = tuple(EndGuess(np.array([k]), np.zeros(1), False) for k in (0, candidate.holes - 1))
    if guesses is None:
        return certain[0], certain[1]
    low, high = candidate.fixed_ends or (False, False)
    return certain[0] if low else guesses[0], certain[1] if high else guesses[1]


def settle_lengths(ends: Sequence[Ends], sure: float = LENGTH_SURE) -> list[tuple[int, int]]:
    """Last holes (low, high) of each member, both ends judged together with the frame's usual lengths.

    A builder cuts few lengths.  Where both ends are sure this changes nothing; else a length that sure
    members of the same frame have is preferred by the log of how often they have it.

    Parameters
    ----------
    ends : Sequence[Ends]
        Of all members.
    sure : float
        Probability of both ends from which a length counts.

    Examples
    --------
    Two members surely have 10 holes; the third has 9 or, a little less likely, 10.

    >>> at = lambda *p: EndGuess(np.arange(9, 9 - len(p), -1), np.log(p), False)
    >>> low = EndGuess(np.array([0]), np.zeros(1), False)
    >>> settle_lengths([(low, at(1.0)), (low, at(1.0)), (low, at(0.4, 0.6))])
    [(0, 9), (0, 9), (0, 9)]
    """
    lengths = [hi.best - lo.best + 1 for lo, hi in ends]
    certain = [lo.sure > sure and hi.sure > sure for lo, hi in ends]
    out = []
    for i, (lo, hi) in enumerate(ends):
        others = [n for j, n in enumerate(lengths) if j != i and certain[j]]
        if certain[i] or not others:
            out.append((lo.best, hi.best))
            continue
        total = lo.log_p[:, None] + hi.log_p[None, :]
        n = hi.hole[None, :] - lo.hole[:, None] + 1
        share = np.array([[others.count(int(v)) / len(others) for v in row] for row in n])
        total = total + np.log(LENGTH_KEPT * share + (1 - LENGTH_KEPT) / 30) + np.where(n < 1, -np.inf, 0.0)
        a, b = np.unravel_index(int(total.argmax()), total.shape)
        out.append((int(lo.hole[a]), int(hi.hole[b])))
    return out


def _room(scene: Scene, index: int, reach: int) -> tuple[int, int]:
    """How many holes a candidate could grow at each end before it runs into another, at most ``reach``."""

    def free(low: int, high: int) -> int:
        for extra in range(1, reach + 1):
            longer = grown(scene.candidates[index], extra * low, extra * high)
            if runs_into(longer, scene.others(index), scene.width):
                return extra - 1
        return reach

    return free(1, 0), free(0, 1)


def in_some_photo(photos: Sequence[PosedPhoto], places: FloatArray) -> BoolArray:
    """Does each place (K, 3), pitches, fall into some photo?  (K,)"""
    out = np.zeros(len(places), bool)
    for photo in photos:
        px = photo.camera.project(places)
        with np.errstate(invalid="ignore"):
            out |= ((px > 0) & (px < np.array(photo.size))).all(1)
    return out
