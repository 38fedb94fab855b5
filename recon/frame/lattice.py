"""Frames on the lattice: turned and shifted, in canonical form, and laid on one another.

A frame read from photos may stand in any of 24 ways on its lattice and start anywhere, so two frames are
compared up to the 24 turns and any shift; never up to a reflection, which no turn undoes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import cKDTree

from recon.frame.fitting import Fitting
from recon.frame.model import Frame, Joint, Member, Photo, as_tuple, axis_of, relabel
from recon.geometry.arrays import BoolArray, FloatArray, IntArray
from recon.geometry.lattice import PLACE_DECIMALS, lattice_classes, rotations, snap

Members = Sequence[Member]

MATCH_TOL = 0.25  # pitches: nearer than half the half-hole offset, the smallest that members are built with
PARALLEL = 0.98  # |cosine| from which two directions count as parallel; a 3-4-5 brace is at 0.8
LINE_TOL = 0.3  # pitches between two readings of one member's line: half a width apart they are two members
PLACE_TOL = 0.05  # pitches that a member may be off its place: braces are measured, and not exact
TURN_DECIMALS = 9  # canonical directions are rounded to this, and places to PLACE_DECIMALS


def transform(frame: Frame, turn: ArrayLike, shift: ArrayLike = (0, 0, 0)) -> Frame:
    """The frame moved by x -> turn x + shift, its joints, fittings and cameras with it.

    Ids, hole numbers and photos stay, and how far it is out of square turns along: each camera still sees the
    moved frame where it saw the old one.

    Parameters
    ----------
    frame : Frame
    turn : array_like, (3, 3)
        A rotation, or a reflection where the frame has no cameras.
    shift : array_like, (3,)
        Pitches.

    Examples
    --------
    >>> frame = Frame((Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 5),))
    >>> transform(frame, np.eye(3), (1, 0, 0)).members[0].first
    (1.0, 0.0, 0.0)
    """
    turn, shift = np.asarray(turn), np.asarray(shift, float)
    members = tuple(
        replace(
            m,
            first=as_tuple(turn @ np.asarray(m.first, float) + shift),
            direction=as_tuple(turn @ np.asarray(m.direction, float)),
            off_place=m.off_place and m.off_place.turned(turn),
        )
        for m in frame.members
    )
    joints = tuple(replace(j, axis=as_tuple(turn @ np.asarray(j.axis, float))) for j in frame.joints)
    return replace(
        frame,
        members=members,
        joints=joints,
        photos=tuple(_moved(p, turn, shift) for p in frame.photos),
        racked=frame.racked and frame.racked.turned(turn),
        fittings=tuple(f.turned(turn) for f in frame.fittings),
    )


def _moved(photo: Photo, turn: FloatArray, shift: FloatArray) -> Photo:
    if photo.camera is None:
        return photo
    return replace(photo, camera=photo.camera.moved(turn, shift))


def mirrored(frame: Frame) -> Frame:
    """The frame's mirror image in the plane x = 0.  It keeps no cameras: it was in no photo."""
    flip = np.diag([-1, 1, 1])
    return transform(replace(frame, photos=tuple(replace(p, camera=None) for p in frame.photos)), flip)


# Canonical form


def canonical(frame: Frame, turns: ArrayLike | None = None) -> Frame:
    """The one frame that stands for all turns and shifts of `frame`.

    Parameters
    ----------
    frame : Frame
    turns : array_like, (n, 3, 3), optional
        The turns to undo; all 24 by default, `upright_rotations()` where z is up.

    Notes
    -----
    Every member runs towards positive coordinates (its first that is not 0), the lowest first hole is at 0
    in x, y and z, places are rounded to 1e-6 pitch, and of the turns that one is taken whose list of members
    comes first in order.  Members are then labelled by `relabel`.  A mirrored frame has another canonical
    form unless the frame is its own mirror image.  Photos and doubts go along and do not take part.
    """
    if not frame.members:
        return frame
    turns = rotations() if turns is None else np.asarray(turns)
    keys = [_geometry_key(frame.members, turn) for turn in turns]
    best = min(keys)
    posed = [_posed(frame, turn) for turn, key in zip(turns, keys) if key == best]
    return min(posed, key=_full_key)  # the members' other fields may tell symmetric turns apart


def _oriented(members: Members, turn: FloatArray) -> tuple[FloatArray, FloatArray, BoolArray]:
    """First (n, 3), direction (n, 3), reversed (n,): turned, shifted to 0, towards positive coordinates."""
    direction = np.round([turn @ np.asarray(m.direction, float) for m in members], TURN_DECIMALS) + 0.0
    leading = direction[np.arange(len(direction)), (direction != 0).argmax(axis=1)]
    backwards = leading < 0
    start = (
        np.array([m.last if back else np.asarray(m.first, float) for m, back in zip(members, backwards)])
        @ turn.T
    )
    first = np.round(start - start.min(axis=0), PLACE_DECIMALS) + 0.0
    return first, np.where(backwards[:, None], -direction, direction) + 0.0, backwards


def _geometry_key(members: Members, turn: FloatArray) -> list[tuple[float, ...]]:
    first, direction, _ = _oriented(members, turn)
    holes = np.array([[m.holes] for m in members], float)
    return sorted(map(tuple, np.hstack([direction, first, holes]).tolist()))


def _posed(frame: Frame, turn: FloatArray) -> Frame:
    first, direction, backwards = _oriented(frame.members, turn)
    shift = first[0] - turn @ (frame.members[0].last if backwards[0] else np.asarray(frame.members[0].first))
    moved = transform(frame, turn, shift)
    members = tuple(
        replace(m, first=as_tuple(f), direction=as_tuple(d), ends=m.ends[::-1] if back else m.ends)
        for m, f, d, back in zip(moved.members, first, direction, backwards)
    )
    last_hole = {m.id: m.holes - 1 for m, back in zip(members, backwards) if back}
    joints = tuple(_canonical_joint(j, last_hole) for j in moved.joints)
    fittings = tuple(_canonical_fitting(f, last_hole) for f in moved.fittings)
    return relabel(replace(moved, members=members, joints=joints, fittings=fittings))


def _canonical_fitting(fitting: Fitting, last_hole: dict[str, int]) -> Fitting:
    holes = ((id, last_hole[id] - k if id in last_hole else k) for id, k in fitting.holes)
    turned = fitting.counted_back() if fitting.holes[0][0] in last_hole else fitting
    return replace(turned, holes=tuple(holes))


def _canonical_joint(joint: Joint, last_hole: dict[str, int]) -> Joint:
    def hole(id: str, k: int) -> int:
        return last_hole[id] - k if id in last_hole else k

    return replace(
        joint,
        a_hole=hole(joint.a, joint.a_hole),
        b_hole=hole(joint.b, joint.b_hole),
        axis=as_tuple(np.round(joint.axis, TURN_DECIMALS)),
    )


def _full_key(frame: Frame) -> tuple[list[Any], list[Any]]:
    members = [
        (
            m.direction,
            m.first,
            m.holes,
            m.width,
            m.stock or "",
            m.confidence,
            m.seen,
            m.on_lattice,
            [(e.state, e.extra, [(c.holes, c.chance, c.at or "") for c in e.choices]) for e in m.ends],
        )
        for m in frame.members
    ]
    return members, [
        (j.a, j.a_hole, j.b, j.b_hole, j.axis, j.bolt, j.bolt_by, j.three_way) for j in frame.joints
    ]


def symmetries(frame: Frame, tol: float = MATCH_TOL) -> IntArray:
    """The turns that bring the frame's members onto themselves, after a shift: (k, 3, 3), the identity first.

    In so many ways two photos of the frame can be put together equally well.  `tol` is in pitches.
    """
    if not frame.members:
        return rotations()
    holes = np.vstack([m.hole_centres() for m in frame.members])
    middle = (holes.min(axis=0) + holes.max(axis=0)) / 2
    ends = _ends(frame.members)
    keep = [
        turn
        for turn in rotations()
        if len(_exact_pairs(ends @ turn.T + (middle - turn @ middle), ends, tol)) == len(ends)
    ]
    return np.array(keep)


# Snapping


def on_lattice(members: Members, tol: float = PLACE_TOL) -> BoolArray:
    """Which members run along an axis at a place of the lattice that most of them share.

    A brace at an angle and a member off by part of a pitch that no lap explains are not.

    Parameters
    ----------
    members : sequence of Member
    tol : float
        Pitches that a member may be off its place.

    Returns
    -------
    (n,) bool array

    Examples
    --------
    >>> ways = (0.0, 0.0, 1.0), (1.0, 0.0, 0.0), (0.6, 0.0, 0.8)
    >>> on_lattice([Member("", (0.0, 0.0, 0.0), way, 5) for way in ways]).tolist()
    [True, True, False]
    """
    along = np.array([axis_of(m) is not None for m in members], bool)
    if not along.any():
        return along
    first = np.array([m.first for m in members], float)
    classes = lattice_classes([m.width for m, ok in zip(members, along) if ok])
    fits = along.copy()
    for x in first.T:
        near = [np.abs(snap(x - origin, classes)[1]) <= tol for origin in x[along]]
        fits &= max(near, key=lambda ok: int(ok[along].sum()))
    return fits


def on_one_line(a: Member, b: Member, off: float = LINE_TOL, parallel: float = PARALLEL) -> bool:
    """Whether two members lie on one line, which they may share or follow one another on.

    Parameters
    ----------
    a, b : Member
    off : float
        How far hole 0 of b may be off the line of a, pitches.
    parallel : float
        |cosine| between the two directions from which they count as parallel.
    """
    d = np.array(a.direction)
    away = float(np.linalg.norm(np.cross(np.array(b.first) - np.array(a.first), d)))
    return bool(abs(d @ np.array(b.direction)) >= parallel and away <= off)


def overlap(a: Member, b: Member) -> float:
    """Pitches that two members lie side by side on one line; 0 where they are not on one."""
    if not on_one_line(a, b):
        return 0.0
    d = np.array(a.direction)
    ends = np.sort([(np.array(b.first) - np.array(a.first)) @ d, (b.last - np.array(a.first)) @ d])
    return max(0.0, float(min(ends[1], a.holes - 1) - max(ends[0], 0) + 1))


# Alignment of two frames


@dataclass(frozen=True)
class Alignment:
    """How frame a lies on frame b: x_b = turn x_a + shift.

    Attributes
    ----------
    turn : (3, 3) array
        One of the lattice's rotations.
    shift : (3,) array
        Pitches.
    pairs : tuple of (int, int)
        Index in a and index in b of the members whose end holes agree.
    shared : int
        Holes of a that fall on a hole of b in a parallel member.
    """

    turn: IntArray
    shift: FloatArray
    pairs: tuple[tuple[int, int], ...]
    shared: int

    @property
    def score(self) -> tuple[int, int]:
        """What alignments are ranked by: members that agree in both ends, then holes shared."""
        return len(self.pairs), self.shared


def align(frame_a: Frame, frame_b: Frame, turns: ArrayLike | None = None) -> Alignment | None:
    """The turn and shift that bring most of `frame_a` onto `frame_b`, the first of `alignments`.

    None where no two members can be laid parallel.

    Examples
    --------
    >>> one = Frame((Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 5),))
    >>> align(one, transform(one, np.eye(3), (2, 0, 0))).shift.tolist()
    [2.0, 0.0, 0.0]
    """
    found = alignments(frame_a, frame_b, turns)
    return found[0] if found else None


def alignments(
    frame_a: Frame, frame_b: Frame, turns: ArrayLike | None = None, limit: int = 24
) -> list[Alignment]:
    """Turns and shifts that bring members of `frame_a` onto `frame_b`, best first.

    Parameters
    ----------
    frame_a, frame_b : Frame
    turns : array_like, (n, 3, 3), optional
        Those to try, all 24 by default.
    limit : int
        How many to count out and return.

    Notes
    -----
    Every pair of members that a turn lays parallel votes, with each of its two ends, for the shift that
    brings the ends together; the shifts with most votes are then counted out.  Shifts are real numbers:
    whole where both frames have their origin on the same class of place.
    """
    if not frame_a.members or not frame_b.members:
        return []
    turns = rotations() if turns is None else np.asarray(turns)
    ends_a, ends_b = _ends(frame_a.members), _ends(frame_b.members)
    proposals: list[tuple[int, int, IntArray, FloatArray, list[tuple[int, int]]]] = []
    for turn in turns:
        for shift in _voted_shifts(
            ends_a @ turn.T, ends_b, _directions(frame_a.members) @ turn.T, _directions(frame_b.members)
        ):
            pairs = _exact_pairs(ends_a @ turn.T + shift, ends_b, MATCH_TOL)
            proposals.append((len(pairs), len(proposals), turn, shift, pairs))
    proposals.sort(key=lambda p: (-p[0], p[1]))
    holes_a, tree_b = _hole_rows(frame_a.members), cKDTree(_hole_rows(frame_b.members))
    found = [
        Alignment(turn, shift, tuple(pairs), _shared_holes(holes_a, tree_b, turn, shift))
        for _, _, turn, shift, pairs in proposals[: 4 * limit]
    ]
    return sorted(found, key=lambda a: a.score, reverse=True)[:limit]


def _ends(members: Members) -> FloatArray:
    """(n, 2, 3): centres of the first and last hole."""
    return np.array([(m.first, m.last) for m in members], float)


def _directions(members: Members) -> FloatArray:
    return np.array([m.direction for m in members], float)


def _voted_shifts(
    ends_a: FloatArray, ends_b: FloatArray, along_a: FloatArray, along_b: FloatArray, keep: int = 6
) -> list[FloatArray]:
    """The shifts (3,) that most ends vote for, most votes first."""
    cosine = along_a @ along_b.T
    i, j = np.nonzero(np.abs(cosine) > PARALLEL)
    if not len(i):
        return []
    b = np.where((cosine[i, j] < 0)[:, None, None], ends_b[j, ::-1], ends_b[j])
    votes = (b - ends_a[i]).reshape(-1, 3)
    shifts = []
    for offset in (0.0, MATCH_TOL):  # two grids, so that no cluster is split by both
        bins = np.floor((votes + offset) / (2 * MATCH_TOL)).astype(np.int64)
        bins -= bins.min(axis=0)
        numbered = np.ravel_multi_index(bins.T, bins.max(axis=0) + 1)
        _, cell_of, count = np.unique(numbered, return_inverse=True, return_counts=True)
        most = np.argsort(-count, kind="stable")[:keep]
        shifts += [(count[cell], np.median(votes[cell_of == cell], axis=0)) for cell in most]
    shifts.sort(key=lambda s: -s[0])
    distinct: list[FloatArray] = []
    for _, shift in shifts:
        if all(np.abs(shift - other).max() > 1e-6 for other in distinct):
            distinct.append(shift)
    return distinct[:keep]


def _exact_pairs(ends_a: FloatArray, ends_b: FloatArray, tol: float) -> list[tuple[int, int]]:
    """Index pairs, one to one, of members whose two end holes agree within `tol`, either way round."""
    n = len(ends_b)
    both_ways = np.vstack([ends_b.reshape(n, 6), ends_b[:, ::-1].reshape(n, 6)])
    distance, index = cKDTree(both_ways).query(ends_a.reshape(-1, 6), p=np.inf, distance_upper_bound=tol)
    taken, pairs = set(), []
    for i in np.argsort(distance, kind="stable"):
        j = int(index[i]) % n
        if np.isfinite(distance[i]) and j not in taken:
            taken.add(j)
            pairs.append((int(i), j))
    return sorted(pairs)


def _hole_rows(members: Members) -> FloatArray:
    """(holes, 6): hole centres and the member's unsigned direction, so that only parallel holes are near."""
    rows = []
    for m in members:
        d = np.abs(m.direction)
        rows.append(np.hstack([m.hole_centres(), np.tile(d, (m.holes, 1))]))
    return np.vstack(rows)


def _shared_holes(holes_a: FloatArray, tree_b: cKDTree, turn: IntArray, shift: FloatArray) -> int:
    moved = np.hstack([holes_a[:, :3] @ turn.T + shift, holes_a[:, 3:] @ np.abs(turn).T])
    distance, _ = tree_b.query(moved, p=np.inf, distance_upper_bound=MATCH_TOL)
    return int(np.isfinite(distance).sum())
