"""Where a brace could be pinned: two holes of two members, a whole number of pitches apart.

A brace at an angle lies face to face with the members that it is bolted to, so its centre line runs one
width off theirs along the bolts' axis; and the holes for both bolts must be drilled already, so the pins
are a whole number of pitches apart (3-4-5 and the like), give or take the play of a bolt in its hole.
That leaves a list of lines short enough to be looked at one by one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from recon.geometry.arrays import BoolArray, FloatArray, IntArray, dots
from recon.solve.evidence.candidate import Candidate, boxes
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.predictions import match_predictions
from recon.solve.off_lattice.lines import Line, faces_along

PLAY = 0.1  # pitches that two holes may be off their common axis (as in recon.frame.joints)
# Pitches between two pins: nearer ones make a block, and no piece of stock has more holes.
SHORTEST, LONGEST = 3, 32
# Pitches that the pins are apart along both axes of the plane: else it lies along the lattice.
LEAST_SLANT = 0.5
SAME_LINE = 0.04  # pitches: lines nearer than this are one; this project's choice
HOLES_AT_ONCE = 20000  # of lines that are looked at in one go: bounds memory
CELL = 0.5  # pitches: cells of which members fill whole ones; what is within one is within a member
LEAST_MISS = -0.5  # nats that a miss counts at most at a first look, where nothing is hidden


@dataclass(frozen=True)
class PinnedLines:
    """N lines pinned at two holes.

    Attributes
    ----------
    first : (N, 3) place of one pin on the brace's centre line, pitches.
    direction : (N, 3) unit, towards the other pin.
    steps : (N,) whole pitches between the pins.
    normal : (N,) frame axis along the bolts.
    """

    first: FloatArray
    direction: FloatArray
    steps: IntArray
    normal: IntArray

    def take(self, numbers: IntArray) -> PinnedLines:
        """Some of the lines."""
        return PinnedLines(
            self.first[numbers], self.direction[numbers], self.steps[numbers], self.normal[numbers]
        )

    def line(self, i: int) -> Line:
        """One of the lines, hole 0 at its first pin."""
        return Line(self.first[i], self.direction[i], np.eye(3)[self.normal[i]])


def pin_places(candidates: Iterable[Candidate], width: float, normal: int) -> tuple[FloatArray, IntArray]:
    """Places one width off the candidates' holes along a frame axis, on both sides.

    Parameters
    ----------
    candidates : along the axes
    width : of all members, pitches
    normal : frame axis along the bolts

    Returns
    -------
    place : (M, 3) pitches
    owner : (M,) number of the candidate
    """
    places, owner = [np.zeros((0, 3))], [np.zeros(0, int)]
    for i, c in enumerate(candidates):
        if c.axis == normal:
            continue
        holes = np.repeat(c.first[None], c.holes, 0)
        holes[:, c.axis] += np.arange(c.holes)
        for side in (-width, width):
            places.append(holes + side * np.eye(3)[normal])
            owner.append(np.full(c.holes, i))
    return np.concatenate(places), np.concatenate(owner)


def pinned_lines(candidates: Sequence[Candidate], width: float) -> PinnedLines:
    """Every line on which a brace could be pinned to two of the candidates.

    Parameters
    ----------
    candidates : along the axes
    width : of all members, pitches

    Examples
    --------
    Two posts 4 pitches apart: pins 3 holes up or down from one another are 5 pitches apart.

    >>> import numpy as np
    >>> posts = [Candidate.bare(2, [x, 0, 0], 4) for x in (0, 4)]
    >>> lines = pinned_lines(posts, 1.0)
    >>> sorted(set(lines.steps.tolist())), sorted(set(np.abs(lines.direction).round(2)[:, 2].tolist()))
    ([5], [0.6])
    """
    parts = [
        _pinned_in_plane(place[here], owner[here], normal)
        for normal in range(3)
        for place, owner in [pin_places(candidates, width, normal)]
        for level in np.unique(np.round(place[:, normal], 2))
        for here in [np.abs(place[:, normal] - level) < 0.02]
    ]
    if not parts:
        return PinnedLines(np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0, int), np.zeros(0, int))
    return _shortest_of_each(
        PinnedLines(
            np.concatenate([p.first for p in parts]),
            np.concatenate([p.direction for p in parts]),
            np.concatenate([p.steps for p in parts]),
            np.concatenate([p.normal for p in parts]),
        )
    )


def _pinned_in_plane(place: FloatArray, owner: IntArray, normal: int) -> PinnedLines:
    """Lines between any two places of different owners that lie in one plane normal to a frame axis."""
    i, j = np.triu_indices(len(place), 1)
    gap = place[j] - place[i]
    distance = np.linalg.norm(gap, axis=1)
    whole = np.rint(distance)
    across = np.sort(np.abs(gap), axis=1)[:, 1]
    ok = (
        (owner[i] != owner[j])
        & (np.abs(distance - whole) <= PLAY)
        & (whole >= SHORTEST)
        & (whole <= LONGEST)
        & (across > LEAST_SLANT)
    )
    i, gap, distance, whole = i[ok], gap[ok], distance[ok], whole[ok]
    u = gap / distance[:, None]
    first = place[i] + 0.5 * (distance - whole)[:, None] * u  # the play shared by both pins
    return PinnedLines(first, u, whole.astype(int), np.full(len(u), normal))


def _shortest_of_each(lines: PinnedLines) -> PinnedLines:
    """Holes in a row pin the same line many times: the shortest of each stands for all."""
    order = np.argsort(lines.steps, kind="stable")
    u = lines.direction[order]
    flip = np.where(np.abs(u[:, 0]) > 1e-6, np.sign(u[:, 0]), np.sign(u[:, 1]))[:, None]
    u = u * flip
    along = (lines.first[order] * u).sum(1)
    foot = lines.first[order] - along[:, None] * u
    key = np.round(np.c_[lines.normal[order], u, foot, (along % 1.0)] / SAME_LINE).astype(int)
    key[:, -1] %= round(1 / SAME_LINE)
    _, keep = np.unique(key, axis=0, return_index=True)
    keep = order[np.sort(keep)]
    return lines.take(keep)


def with_room(lines: PinnedLines, candidates: Sequence[Candidate], width: float) -> PinnedLines:
    """The lines less those of which a hole between the pins would lie within a candidate; a few more stay.

    Parameters
    ----------
    lines : N lines
    candidates : along the axes
    width : of all, pitches

    Examples
    --------
    Two posts with a third between them: what is pinned to the outer two would run through it.

    >>> posts = [Candidate.bare(2, [x, y, 0], 7) for x, y in ((0, 0), (4, 0), (2, 1))]
    >>> lines = pinned_lines(posts[:2], 1.0)
    >>> through = with_room(lines, posts, 1.0)
    >>> len(lines.steps), set(through.first[:, 1].tolist())
    (16, {-1.0})
    """
    cells = _cells_within(*boxes(candidates, width))
    if not len(cells) or not len(lines.steps):
        return lines
    low = cells.min(0)
    size = cells.max(0) - low + 1
    filled = np.unique(_codes(cells - low, size))
    ok = np.ones(len(lines.steps), bool)
    for start, stop in _parts(lines.steps):
        owner, centre = _between_pins(lines, np.arange(start, stop))
        at = np.floor(centre / CELL).astype(int) - low
        there = np.nonzero(((at >= 0) & (at < size)).all(1))[0]
        code = _codes(at[there], size)
        inside = filled[np.minimum(np.searchsorted(filled, code), len(filled) - 1)] == code
        ok[owner[there[inside]]] = False
    return lines.take(np.nonzero(ok)[0])


def _cells_within(low: FloatArray, high: FloatArray) -> IntArray:
    """(M, 3) numbers of the cells of a grid that lie within one of some boxes."""
    first, stop = np.ceil(low / CELL - 1e-6).astype(int), np.floor(high / CELL + 1e-6).astype(int)
    ranges = ([np.arange(a, b) for a, b in zip(*corners)] for corners in zip(first, stop))
    cells = [np.stack(np.meshgrid(*some, indexing="ij"), -1).reshape(-1, 3) for some in ranges]
    return np.concatenate([np.zeros((0, 3), int), *cells])


def _codes(cells: IntArray, size: IntArray) -> IntArray:
    """One number for each cell (M, 3) of a grid of a size (3,)."""
    codes: IntArray = (cells[:, 0] * size[1] + cells[:, 1]) * size[2] + cells[:, 2]
    return codes


def _parts(steps: IntArray) -> Iterator[tuple[int, int]]:
    """Where the lines that are looked at in one go start and stop."""
    bounds = np.cumsum(steps) // HOLES_AT_ONCE
    starts = np.nonzero(np.diff(bounds, prepend=-1))[0].tolist()
    return pairwise([*starts, len(steps)])


def _between_pins(lines: PinnedLines, numbers: IntArray) -> tuple[IntArray, FloatArray]:
    """The holes between the two pins of some of the lines: the line's number (M,), and the place (M, 3)."""
    inner = lines.steps[numbers] - 1
    owner = np.repeat(numbers, inner)
    k = np.arange(len(owner)) - np.repeat(np.cumsum(inner) - inner, inner) + 1
    return owner, lines.first[owner] + k[:, None] * lines.direction[owner]


def first_look(photos: Sequence[PosedPhoto], lines: PinnedLines, width: float) -> FloatArray:
    """What is found between the two pins, many lines at once; misses count little, nothing is hidden.

    Parameters
    ----------
    photos : ``free`` False for detections that other members explain
    lines : N lines
    width : of all members, pitches

    Returns
    -------
    (N,) nats.
    """
    score = np.zeros(len(lines.steps))
    for normal in range(3):
        mine = np.nonzero(lines.normal == normal)[0]
        # The ellipse's shape is known for the faces along the bolts' axis only; the others are judged later.
        plain = [replace(p, shape=p.shape * (np.arange(3) == normal)) for p in photos]
        for start, stop in _parts(lines.steps[mine]):
            owner, centre = _between_pins(lines, mine[start:stop])
            face = np.eye(3)[normal]
            side = np.cross(face, lines.direction[owner])
            normals = np.concatenate(
                [side, -side, np.tile(face, (len(owner), 1)), np.tile(-face, (len(owner), 1))]
            )
            X = np.tile(centre, (4, 1)) + 0.5 * width * normals
            every = np.tile(owner, 4)
            for photo in plain:
                facing = dots(photo.camera.centre - X, normals) > 0
                llr = match_predictions(photo, X[facing], normals[facing], only_free=True).llr
                score += np.bincount(every[facing], np.maximum(llr, LEAST_MISS), minlength=len(score))
    return score


def pin_holes(
    line: Line, count: int, candidates: Sequence[Candidate], width: float
) -> tuple[BoolArray, BoolArray]:
    """Holes of a line that are in line with a hole of a candidate that touches it.

    Parameters
    ----------
    line, count : of the brace
    candidates : along the axes
    width : of all members, pitches

    Returns
    -------
    pinned : (count,) the holes
    bolted : (4, count) faces there that a bolt's head or nut or the candidate itself may cover
    """
    pinned, bolted = np.zeros(count, bool), np.zeros((4, count), bool)
    holes = line.holes(np.arange(count))
    for axis in range(3):
        face = faces_along(line, axis)
        if face is None:
            continue
        places, _ = pin_places(candidates, width, axis)
        if not len(places):
            continue
        here = np.any(np.all(np.abs(holes[:, None] - places[None]) < PLAY + 0.02, axis=2), axis=1)
        pinned |= here
        bolted[face : face + 2] |= here
    return pinned, bolted
