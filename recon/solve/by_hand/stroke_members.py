"""The members that strokes mean together: on one lattice, none in another's room, touching where they can.

The best-known row is laid first and makes the lattice's origin; each further one may lie on several lattice
lines.  Rows laid before say how likely each is: they pin down the shift between measured places and lattice,
and the camera with it, by Kalman's update.  The best combinations go on (a beam search); the camera is then
resected on them, and what is left over says which is right.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from recon.errors import ReconError
from recon.frame.model import Member
from recon.geometry.arrays import FloatArray, IntArray
from recon.geometry.camera import Camera
from recon.geometry.lattice import lattice_classes
from recon.solve.by_hand.row_strokes import CountedStroke
from recon.solve.by_hand.stroke_camera import (
    StrokeCamera,
    camera_at_focal,
    cameras_of_strokes,
    stepped_camera,
)
from recon.solve.by_hand.stroke_places import PLAY, PlacedStroke, lattice_lines, place_strokes
from recon.solve.evidence.candidate import FLUSH, RUNS_INTO, SAME_LINE, across
from recon.solve.photo.photo_lattice import CLASS_DECIMALS
from recon.solve.photo.resection import resect

BEAM = 40  # combinations that go on; bounds the time
TOUCH_NATS = (
    3.0  # for a member that touches one laid before: nearly all of a frame's do; this project's choice
)
TOUCH_OVERLAP = 0.4  # pitches that faces which touch have in common along both of their sides
# Standard errors of ln f at which rows are placed; this project's choice.
FOCAL_TRIALS = (-1.5, -0.75, 0.0, 0.75, 1.5)
MOST_RESECTED = 16  # combinations that the camera is resected on; bounds the time
MOST_ANSWERS = 5
LEFT_OUT_NATS = 12.0  # against an answer for each stroke that it has no member for; this project's choice
FOCAL_KNOWN = 0.08  # standard error of ln f up to which the update's straight line will do
ANYWHERE = 1e3  # pitches: what is known of the lattice's shift before a row is laid
LIMIT = 16.0  # squared standard errors that one place of a hole counts at most
LABELS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True)
class StrokeMembers:
    """One answer: the members that strokes mean, and the camera that sees them.

    Attributes
    ----------
    members : tuple of Member
        On the lattice of the first, z up; `confidence` is the chance of each among all answers.
    camera : Camera
        Of the photo, in the members' world.
    member_of : (S,) int array
        Which member each stroke is on; -1 where it fits none.
    normals : (S, 3) array
        Outward normal of the face that each stroke is on; not a number where it fits none.
    chance : float
        Of this answer.
    rms : float
        How far the strokes' holes are off, in their standard errors, each at most the root of LIMIT.
    """

    members: tuple[Member, ...]
    camera: Camera
    member_of: IntArray
    normals: FloatArray
    chance: float
    rms: float


@dataclass(frozen=True)
class _Laid:
    """Rows laid so far.

    Attributes
    ----------
    first : (n, 3) centre of each member's lowest hole, pitches.
    normal : (n, 3) of each row's face.
    low, high : (n, 3) corners of the members' boxes.
    mean : (10,) shift of the measured places over the lattice, pitches, and step of the camera.
    touches : how many touch one laid before.
    score : nats.
    """

    first: FloatArray
    normal: FloatArray
    low: FloatArray
    high: FloatArray
    mean: FloatArray
    touches: int
    score: float


def members_of_strokes(
    strokes: Sequence[CountedStroke],
    size: tuple[int, int],
    focal_px: float | None = None,
    width: float = 1.0,
    cameras: Sequence[StrokeCamera] | None = None,
) -> list[StrokeMembers]:
    """Members and camera from strokes along the rows of one photo, the likeliest answer first.

    Parameters
    ----------
    strokes : sequence of CountedStroke
        Each along the whole of a member's row, in two directions at least.
    size : tuple of int
        Width and height of the photo, px.
    focal_px : float, optional
        From EXIF, px.
    width : float
        Of the members, pitches.
    cameras : sequence of StrokeCamera, optional
        From `cameras_of_strokes`, where they are at hand.

    Raises
    ------
    ReconError
        Where no camera or no members explain the strokes.

    Examples
    --------
    >>> from recon.image.openings import OPENING
    >>> from recon.solve.by_hand.row_strokes import RowStroke, count_holes
    >>> from scipy.spatial.transform import Rotation
    >>> R = Rotation.from_euler("xyz", [115, 0, 35], degrees=True).as_matrix()
    >>> true = Camera(1300.0, 799.5, 599.5, R=R, t=np.array([-2.0, 1.0, 30.0]))
    >>> OPEN = np.zeros(0, OPENING)  # none can be seen
    >>> rows = [([0, 0.5, 0], [9, 0.5, 0]), ([0, 1, 4.5], [0, 11, 4.5]), ([9, 1.5, -3], [9, 1.5, 6])]
    >>> strokes = [
    ...     count_holes(RowStroke(*map(tuple, true.project(r)), holes=int(max(np.ptp(r, 0))) + 1), OPEN)
    ...     for r in rows
    ... ]
    >>> [m.holes for m in members_of_strokes(strokes, (1600, 1200), 1300.0)[0].members]
    [10, 11, 10]
    """
    cameras = cameras_of_strokes(strokes, size, focal_px) if cameras is None else cameras
    classes = lattice_classes([width], decimals=CLASS_DECIMALS)
    laid: list[tuple[float, _Laid, list[PlacedStroke], StrokeCamera]] = []
    for found in cameras:
        for k in FOCAL_TRIALS if found.focal_sigma > FOCAL_KNOWN else (0.0,):
            trial = camera_at_focal(found, strokes, size, k) if k else found
            placed = place_strokes(trial.camera, strokes, trial.axis, max(size))
            prior = float(np.log(found.chance)) - 0.5 * k * k
            laid += [
                (one.score + prior, one, placed, trial) for one in _lay(placed, trial.cov, width, classes)
            ]
    if not laid:
        raise ReconError("No members explain these strokes; check their counts, or draw one more.")
    laid.sort(key=lambda entry: -entry[0])
    answers: dict[bytes, tuple[float, StrokeMembers]] = {}
    for _, one, placed, trial in laid:
        key = (np.round(np.c_[one.first - _origin(one), one.normal], 3) + 0.0).tobytes()
        if key not in answers and len(answers) < MOST_RESECTED:
            answers[key] = _answer(one, placed, trial, strokes, (max(size), focal_px), width)
    return _with_chances(list(answers.values()))


def _lay(
    placed: Sequence[PlacedStroke], camera_cov: FloatArray, width: float, classes: FloatArray
) -> list[_Laid]:
    """The best combinations of lattice lines for some rows, in the rows' order."""
    cov = np.zeros((10, 10))
    cov[:3, :3], cov[3:, 3:] = ANYWHERE**2 * np.eye(3), camera_cov
    none = np.zeros((0, 3))
    states = [_Laid(none, none, none, none, np.zeros(10), 0, 0.0)]
    left = list(range(len(placed)))
    order: list[int] = []
    while left:
        by = {i: np.hstack([np.eye(3), -placed[i].by_camera]) for i in left}
        # The row whose place on the lattice is known best by now.
        spreads = {i: by[i] @ cov @ by[i].T + placed[i].cov for i in left}
        i = min(left, key=lambda i: float(np.linalg.slogdet(spreads[i] if order else placed[i].cov)[1]))
        gain = cov @ by[i].T @ np.linalg.inv(spreads[i])
        left.remove(i)
        grown = [
            new for s in states for new in _with_row(s, placed[i], by[i], spreads[i], gain, width, classes)
        ]
        if not grown:  # it fits no lattice line: its count is wrong, or it is no row of the frame
            states = [replace(s, score=s.score - LEFT_OUT_NATS) for s in states]
            continue
        states = sorted(grown, key=lambda s: -s.score)[:BEAM]
        cov = cov - gain @ by[i] @ cov
        order.append(i)
    return [_in_order(s, order, len(placed)) for s in states]


def _in_order(state: _Laid, order: Sequence[int], rows: int) -> _Laid:
    """A combination with its rows in the strokes' order; not a number for those left out."""
    first, normal = np.full((rows, 3), np.nan), np.full((rows, 3), np.nan)
    first[order], normal[order] = state.first, state.normal
    return replace(state, first=first, normal=normal)


def _box(row: PlacedStroke, first: FloatArray, width: float) -> tuple[FloatArray, FloatArray]:
    """Corners of the box that a member fills: half a pitch past its last holes."""
    low, high = first - width / 2, first + width / 2
    low[row.axis], high[row.axis] = first[row.axis] - 0.5, first[row.axis] + row.holes - 0.5
    return low, high


def _with_row(
    state: _Laid,
    row: PlacedStroke,
    by: FloatArray,
    spread: FloatArray,
    gain: FloatArray,
    width: float,
    classes: FloatArray,
) -> list[_Laid]:
    """The combinations that a further row makes of one.

    by : (3, 10) derivative of the row's offset from the lattice; spread, gain: Kalman's.
    """
    out = []
    for normal in row.normals:
        offset = row.low - 0.5 * width * normal
        if len(state.first):
            places, logs = lattice_lines(offset - by @ state.mean, spread, classes)
        else:
            places, logs = np.zeros((1, 3)), np.zeros(1)
        for place, log in zip(places, logs):
            low, high = _box(row, place, width)
            overlap = np.minimum(high, state.high) - np.maximum(low, state.low)
            same = _on_one_line(state, row.axis, low, high)
            if ((overlap > RUNS_INTO).all(1) & ~same).any():
                continue
            flush = np.abs(overlap) < FLUSH
            touches = bool((((flush.sum(1) == 1) & ((overlap > TOUCH_OVERLAP) | flush).all(1)) | same).any())
            out.append(
                _Laid(
                    np.vstack([state.first, place]),
                    np.vstack([state.normal, normal]),
                    np.vstack([state.low, low]),
                    np.vstack([state.high, high]),
                    state.mean + gain @ (offset - place - by @ state.mean),
                    state.touches + int(touches),
                    state.score + float(log) + TOUCH_NATS * touches,
                )
            )
    return out


def _on_one_line(state: _Laid, axis: int, low: FloatArray, high: FloatArray) -> np.ndarray:
    """(n,): the members laid before that a row lies on: on their line, and over a part of them."""
    sides = across(axis)
    off = np.maximum(np.abs(state.low - low), np.abs(state.high - high))[:, sides].max(1)
    return np.asarray(
        (off < SAME_LINE) & (np.minimum(state.high, high) - np.maximum(state.low, low) > 0.5)[:, axis]
    )


def _answer(
    laid: _Laid,
    placed: Sequence[PlacedStroke],
    trial: StrokeCamera,
    strokes: Sequence[CountedStroke],
    lens: tuple[float, float | None],
    width: float,
) -> tuple[float, StrokeMembers]:
    """Nats of a combination once the camera is resected on it, and the answer that it makes.

    lens : long side of the photo and focal length from EXIF or None, px.
    """
    origin = _origin(laid)
    moved = replace(laid, first=laid.first - origin)
    camera = stepped_camera(trial.camera, np.clip(laid.mean[3:], -0.5, 0.5), lens[0])
    posed = replace(camera, t=camera.R @ (laid.mean[:3] + origin))
    world, image, sigma = _correspondences(moved, placed, strokes, width)
    posed = resect(posed, world, image, sigma, focal_prior=lens[1])
    off = posed.project(world) - image
    chi2 = np.where(np.isfinite(off).all(1), (off**2).sum(1) / sigma**2, LIMIT)
    left_out = int(np.isnan(laid.first[:, 0]).sum())
    nats = -0.5 * float(np.minimum(chi2, LIMIT).sum()) + TOUCH_NATS * laid.touches
    nats -= LEFT_OUT_NATS * left_out
    members, member_of = _members(moved, placed, width)
    return nats, StrokeMembers(
        members, posed, member_of, laid.normal, 0.0, float(np.sqrt(np.mean(np.minimum(chi2, LIMIT))))
    )


def _origin(laid: _Laid) -> FloatArray:
    """(3,): the first hole of the first stroke's member that was laid."""
    return np.asarray(laid.first[~np.isnan(laid.first[:, 0])][0])


def _correspondences(
    laid: _Laid, placed: Sequence[PlacedStroke], strokes: Sequence[CountedStroke], width: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """World points (N, 3), image points (N, 2) and standard errors (N,) px of all known holes."""
    world, image, sigma = [], [], []
    for first, normal, row, stroke in zip(laid.first, laid.normal, placed, strokes):
        if np.isnan(first[0]):
            continue
        holes = np.repeat((first + 0.5 * width * normal)[None], len(stroke.step), 0)
        holes[:, row.axis] += stroke.step if row.sign > 0 else row.holes - 1 - stroke.step
        world.append(holes)
        image.append(stroke.px)
        pitch = np.linalg.norm(stroke.px[-1] - stroke.px[0]) / (stroke.step[-1] - stroke.step[0])
        sigma.append(np.full(len(stroke.step), np.hypot(stroke.sigma, PLAY * pitch)))
    return np.concatenate(world), np.concatenate(image), np.concatenate(sigma)


def _members(
    laid: _Laid, placed: Sequence[PlacedStroke], width: float
) -> tuple[tuple[Member, ...], IntArray]:
    """The members, one for strokes on its several faces, and which of them each stroke is on."""
    lines: dict[tuple, list[int]] = {}
    for i, (first, row) in enumerate(zip(laid.first, placed)):
        if np.isnan(first[0]):
            continue
        lines.setdefault((row.axis, *np.round(first[across(row.axis)], 3).tolist()), []).append(i)
    members: list[Member] = []
    member_of = np.full(len(placed), -1)
    for key, on_line in lines.items():
        axis, last = key[0], -np.inf
        for i in sorted(on_line, key=lambda i: float(laid.first[i, key[0]])):
            first = laid.first[i] + 0.0
            end = first[axis] + placed[i].holes - 1
            if first[axis] < last + 0.5:  # over a part of the one before: it is the same member
                before = members[-1]
                holes = max(before.holes, round(float(end - before.first[axis])) + 1)
                members[-1] = replace(before, holes=holes)
            else:
                n = len(members)
                label = LABELS[n % 26] + (str(n // 26) if n >= 26 else "")
                x, y, z = (np.round(first, 6) + 0.0).tolist()
                way = np.eye(3)[axis].tolist()
                members.append(Member(label, (x, y, z), (way[0], way[1], way[2]), placed[i].holes, width))
            last = members[-1].first[axis] + members[-1].holes - 1
            member_of[i] = len(members) - 1
    return tuple(members), member_of


def _with_chances(scored: Sequence[tuple[float, StrokeMembers]]) -> list[StrokeMembers]:
    """The answers with their chances, the likeliest first, and the chance of each member in `confidence`."""
    scored = sorted(scored, key=lambda pair: -pair[0])
    nats = np.array([value for value, _ in scored])
    chance = np.exp(nats - np.logaddexp.reduce(nats))
    there: dict[tuple, float] = {}
    for p, (_, answer) in zip(chance, scored):
        for member in answer.members:
            there[_place(member)] = there.get(_place(member), 0.0) + float(p)
    out = []
    for p, (_, answer) in list(zip(chance, scored))[:MOST_ANSWERS]:
        members = tuple(replace(m, confidence=min(1.0, there[_place(m)])) for m in answer.members)
        out.append(replace(answer, members=members, chance=float(p)))
    return out


def _place(member: Member) -> tuple:
    return member.first, member.direction, member.holes
