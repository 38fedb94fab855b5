"""Ends of members: half a pitch past the last hole, where the face stops.

Two things speak of an end: openings that stop, and the edge of the face across the member.  Where neither is
in sight, the laps say where it may be: members stick out little past the last one.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from recon.geometry.arrays import BoolArray, FloatArray
from recon.solve.evidence.along_line import LineOpenings, lattice_openings
from recon.solve.evidence.candidate import Candidate, EndGuess, grown, overlapping
from recon.solve.evidence.many_lines import LINES_AT_ONCE, along_lines
from recon.solve.evidence.occluders import Occluders
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.scene import Ends, Scene
from recon.solve.members.edges import all_colour_steps, edge_evidence
from recon.solve.members.laps import lap_faces

# The constants from here to OVERHANG_TAIL were set on one half of 118 readings of 77 rendered frames (1 to 6
# photos) and checked on the other: 606 of 660 members have both ends exact, where 579 had.  A third up or
# down, none of them changes that by more than 1 in 100.
LAP_PRIOR = 3.0  # nats for an end that takes in a crossing; builders do not stop short of a lap they touch
REACH = 10  # holes looked at past the present ends
# Chance at each hole that something in front of a member begins there and hides it from a photo, so that it
# seems to stop at that thing's edge.
HIDDEN_END = 0.04
# Chance at each hole behind such a thing that the member comes out again: a board or a box hides ten holes.
COMES_OUT = 0.1
# Chance that a member ends 0, 1, 2 ... holes past its last lap, counted on 1,938 ends of these frames; that
# it sticks out further, and over how many holes.
OVERHANGS = (0.40, 0.22, 0.18, 0.10, 0.03)
OVERHANG_TAIL, TAIL_HOLES = 0.07, 30


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
    return find_all_ends(scene, [index], reach)[0]


def find_all_ends(scene: Scene, indices: Sequence[int], reach: int = REACH) -> list[Ends]:
    """:func:`find_ends` of several candidates, looked at together: saves most of the time."""
    out: list[Ends] = []
    for i in range(0, len(indices), LINES_AT_ONCE):
        some = list(indices[i : i + LINES_AT_ONCE])
        occluders = [scene.occluders.without(k) for k in some]
        places = [boundaries_of(scene.candidates[k].holes, reach) for k in some]
        lines, bolted = zip(*(_longer_line(scene, k, reach) for k in some))
        found = along_lines(scene.photos, lines, occluders, bolted)
        members = [scene.candidates[k] for k in some]
        each = [
            all_colour_steps(p, scene.picture(p), members, [b for b, _ in places], scene.width, occluders)
            for p in scene.photos
        ]
        for n, member in enumerate(members):
            edge, inner = edge_evidence((steps[n] for steps in each), places[n][1])
            holes = lines[n].centre[:2].mean(0)  # midway between opposite faces
            in_sight = in_some_photo(scene.photos, holes)
            room = _room(member, occluders[n], scene.width, reach)
            out.append(end_guesses(found[n].llr.sum(1), bolted[n], edge, inner, in_sight, reach, room))
    return out


def _longer_line(scene: Scene, index: int, reach: int) -> tuple[LineOpenings, BoolArray]:
    """Openings of a candidate and of holes before and past it, and the faces (4, K) at laps there."""
    candidate = scene.candidates[index]
    first, count = candidate.first.copy(), candidate.holes + 2 * reach
    first[candidate.axis] -= reach
    line = lattice_openings(candidate.axis, first, count, scene.width, candidate.own)
    return line, lap_faces(candidate.axis, first, count, scene.others(index), scene.width)


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
    so, and ends at an edge.  A photo may see it stop early, at the edge of something in front of it: what one
    photo misses past that place weighs little against what another finds there.

    Parameters
    ----------
    profile : array, (V, K)
        Nats in each photo at each hole, from ``reach`` holes before the known ones to ``reach`` past them.
    bolted : bool array, (4, K)
        Faces at laps.
    edge, inner : array, (V, K + 1)
        Nats in each photo for an end and for going on at each boundary.
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
    bolted_holes = np.asarray(bolted.any(axis=0))
    step = np.arange(profile.shape[1]) - reach
    count = len(step) - 2 * reach
    middle = reach + count // 2

    def guess(way: int, last: int) -> EndGuess:
        k = np.arange(middle, last + reach + way, way)
        before, past = (k + 1, k) if way < 0 else (k, k + 1)
        each = _end_nats(opening[:, k], inner[:, before], edge[:, past])
        overhang = overhang_nats(bolted_holes[::way])[::way]
        taken = np.cumsum(np.r_[0, bolted_holes[k[1:]]])
        photos: FloatArray = each.sum(0)
        log = photos + LAP_PRIOR * taken + overhang[k]
        log_p: FloatArray = log - float(np.logaddexp.reduce(log))
        beyond = k[int(log_p.argmax())] + way
        cut = bool(0 <= beyond < len(step) and not in_sight[beyond])
        return EndGuess(step[k], log_p, cut, photos - float(np.logaddexp.reduce(photos)), taken)

    return guess(-1, -min(reach, room[0])), guess(1, count - 1 + min(reach, room[1]))


def overhang_nats(bolted: BoolArray) -> FloatArray:
    """Nats for a member that ends past each hole, by how far that is beyond its last lap: (K,).

    Parameters
    ----------
    bolted : bool array, (K,)
        Holes at laps, in the order in which they come towards the end.

    Examples
    --------
    A lap at hole 1: the member likelier ends there or a hole further than four holes further.

    >>> np.exp(overhang_nats(np.array([False, True, False, False, False, False]))).round(3).tolist()
    [0.002, 0.4, 0.22, 0.18, 0.1, 0.03]
    """
    hole = np.arange(len(bolted))
    past = hole - np.maximum.accumulate(np.where(bolted, hole, -len(OVERHANGS) - len(hole)))
    chances = np.array([*OVERHANGS, OVERHANG_TAIL / TAIL_HOLES])
    return np.asarray(np.log(chances[np.minimum(past, len(OVERHANGS))]))


def _end_nats(opening: FloatArray, inner: FloatArray, edge: FloatArray) -> FloatArray:
    """Nats for an end past each hole, (V, C) from the middle outwards, where things may hide parts of it.

    Behind such a thing a photo shows nothing of the member, but an edge where the thing begins: as if the
    member ended there.  It may end behind it, or come out again.

    Parameters
    ----------
    opening : array, (V, C)
        Nats in each photo for the openings of each hole; those of the first are known.
    inner : array, (V, C)
        For going on at the boundary before each hole; the first says nothing.
    edge : array, (V, C)
        For an end at the boundary past each hole.

    Notes
    -----
    The forward algorithm over two states, in sight and hidden (Rabiner 1989, doi:10.1109/5.18626).
    """
    on, off = np.log(1 - HIDDEN_END), np.log(HIDDEN_END)
    stay, back = np.log(1 - COMES_OUT), np.log(COMES_OUT)
    sight, hidden = np.zeros(len(opening)), np.full(len(opening), -np.inf)
    out = np.zeros_like(edge)
    for k in range(opening.shape[1]):
        if k:
            seen = np.logaddexp(sight + on + inner[:, k], hidden + back) + opening[:, k]
            hidden = np.logaddexp(sight + off + edge[:, k - 1], hidden + stay)
            sight = seen
        out[:, k] = np.logaddexp(sight + edge[:, k], hidden)
    return out


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


def _room(candidate: Candidate, others: Occluders, width: float, reach: int) -> tuple[int, int]:
    """How many holes a candidate could grow at each end before it runs into another, at most ``reach``."""

    def free(low: int, high: int) -> int:
        for extra in range(1, reach + 1):
            longer = grown(candidate, extra * low, extra * high)
            if overlapping(longer, (others.lo, others.hi), width).any():
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
