"""Ends of members: half a pitch past the last hole, where the face stops.

Two things speak of an end: openings that stop, and the edge of the face across the member.  The edge can
lie only midway between holes, so the photo is asked one question a step: is there a change of colour
across the whole width of the face here, larger than those that the same face shows between its holes?
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from recon.geometry.boxes import lifted, occluded
from recon.solve.evidence.candidate import boxes, grown, runs_into
from recon.solve.evidence.predictions import LEAST_FACING, View
from recon.solve.members.selection import lap_faces, line_evidence_of

LATERAL = np.array([-0.34, -0.2, 0.2, 0.34])  # of the width: four tracks along the face, beside the holes
NEAR, FAR = 0.08, 0.30  # pitches before and behind the edge that are compared


@dataclass(frozen=True)
class Steps:
    """Change of colour across each boundary: strength (F, B) in L*a*b* / 100 (NaN: not to be seen), faces' normals (F, 3)."""

    strength: np.ndarray
    normal: np.ndarray


def colour_steps(
    view: View,
    image: np.ndarray,
    axis: int,
    first: np.ndarray,
    boundaries: np.ndarray,
    width: float,
    blockers,
) -> Steps:
    """Colour steps across a member's faces at given places along it, in one photo.

    Parameters
    ----------
    image : (H, W, 3) uint8 BGR.   first : (3,) centre of hole 0, pitches.
    boundaries : (B,) places along the axis in pitches from hole 0 (half numbers).
    blockers : boxes (lo, hi) of the other members.
    """
    others = [j for j in range(3) if j != axis]
    eye = view.camera.centre
    normals, strengths = [], []
    for j in others:
        s = np.sign(eye[j] - first[j])
        normal = np.zeros(3)
        normal[j] = s
        side = [o for o in others if o != j][0]
        strengths.append(_face_steps(view, image, axis, first, boundaries, width, normal, side, blockers))
        normals.append(normal)
    return Steps(np.array(strengths), np.array(normals))


def _face_steps(view, image, axis, first, boundaries, width, normal, side, blockers):
    cam = view.camera
    b = len(boundaries)
    base = first + 0.5 * width * normal
    to_eye = cam.centre - base
    if to_eye @ normal / np.linalg.norm(to_eye) < 0.5 * LEAST_FACING:
        return np.full(b, np.nan)
    span = np.linspace(NEAR, FAR, 5)
    offsets = np.r_[-span, span]  # (10,) along the axis
    X = np.zeros((b, len(LATERAL), len(offsets), 3)) + base
    X[..., axis] += boundaries[:, None, None] + offsets
    X[..., side] += (LATERAL * width)[None, :, None]
    flat = X.reshape(-1, 3)
    px = cam.project(flat)
    H, W = image.shape[:2]
    ok = np.isfinite(px).all(1)
    px = np.where(ok[:, None], px, -1e4)
    ok &= (px[:, 0] > 1) & (px[:, 1] > 1) & (px[:, 0] < W - 2) & (px[:, 1] < H - 2)
    if blockers is not None and len(blockers[0]):
        ok &= ~occluded(cam.centre, lifted(flat, normal), *blockers)
    colour = _colours(image, px).reshape(b, len(LATERAL), 2, len(span), 3)
    ok = ok.reshape(b, len(LATERAL), 2, len(span)).all((2, 3))  # a track counts if all of it is in sight
    step = colour[:, :, 1].mean(2) - colour[:, :, 0].mean(2)  # (B, 4, 3)
    n = ok.sum(1)
    mean = np.where(ok[..., None], step, 0).sum(1) / np.maximum(n, 1)[:, None]
    out = np.linalg.norm(mean, axis=1)
    return np.where(n >= 2, out, np.nan)


def _colours(image, px):
    """(N, 3) float L*a*b* / 100 at image points, bilinear."""
    m = px.astype(np.float32).reshape(-1, 1, 2)
    out = np.empty((len(px), 1, 3), np.uint8)
    for i in range(0, len(px), 32000):  # cv2.remap takes at most 32767 rows
        part = np.ascontiguousarray(m[i : i + 32000])
        out[i : i + 32000] = cv2.remap(image, part[..., 0], part[..., 1], cv2.INTER_LINEAR)
    return cv2.cvtColor(out.astype(np.float32) / 255, cv2.COLOR_BGR2LAB)[:, 0] / 100


# Log-likelihood ratios (nats) by the step's strength over the face's usual one.  A boundary is the member's
# end, or between two holes, or past the end; histograms of 330 ends, 2,903 places between and 1,631 past
# on 12 rendered photos with truth, smoothed.
STEP_RATIO = np.array([0.3, 0.75, 1.25, 1.75, 2.5, 3.5, 5.0, 8.0, 15.0])
END_OR_PAST = np.array([-2.5, -2.0, -1.5, -0.9, -0.2, 0.6, 1.1, 1.9, 2.7])
BETWEEN_OR_PAST = np.array([0.45, 0.4, -0.6, -0.9, -1.1, -1.3, -1.4, -1.6, -1.8])
USUAL_STEP = 0.010  # L*a*b* / 100: plain faces, where too few places between holes can be seen
FLOOR_STEP = 0.004  # half a grey level of noise after averaging
LAP_PRIOR = 1.5  # nats for an end that takes in a crossing; builders do not stop short of a lap they touch


def step_llr(steps: Steps, between: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Nats for (end against past, between holes against past) at each boundary; shapes (B,), both faces together.

    between : (B,) bool, boundaries known to lie between two holes of the member.
    """
    end = np.zeros(steps.strength.shape[1])
    inner = np.zeros_like(end)
    for row in steps.strength:
        known = row[between]
        known = known[np.isfinite(known)]
        usual = np.median(np.r_[known, [USUAL_STEP] * max(0, 3 - len(known))]) * 1.4826 + FLOOR_STEP
        ok = np.isfinite(row)
        end += np.where(ok, np.interp(row / usual, STEP_RATIO, END_OR_PAST), 0.0)
        inner += np.where(ok, np.interp(row / usual, STEP_RATIO, BETWEEN_OR_PAST), 0.0)
    return np.clip(end, -4, 4), np.clip(inner, -3, 1)


@dataclass(frozen=True)
class EndGuess:
    """One end of a member: log probabilities of the last hole's number, and what was seen there.

    hole : (C,) candidate numbers of the last hole (counted from the member's present hole 0).
    log_p : (C,).
    cut : the end lies outside every photo that could show it.
    """

    hole: np.ndarray
    log_p: np.ndarray
    cut: bool

    @property
    def best(self) -> int:
        return int(self.hole[self.log_p.argmax()])

    @property
    def sure(self) -> float:
        return float(np.exp(self.log_p.max()))

    def recounted(self, start: int) -> EndGuess:
        """The same guess with holes counted from hole ``start``."""
        return replace(self, hole=self.hole - start)


def find_ends(views, images, stick, others, width: float, reach: int = 5) -> tuple[EndGuess, EndGuess]:
    """Where a member starts and stops, from openings and edges in all photos.

    Parameters
    ----------
    views, images : photos with cameras, and their (H, W, 3) uint8 pictures.
    stick : recon.solve.members.selection.Stick.   others : the other sticks.
    reach : holes looked at past the present ends.

    Returns
    -------
    Guesses for the low end and for the high end; holes are counted from the stick's hole 0.
    """
    blockers = boxes(others, width)
    n = stick.holes
    steps = np.arange(-reach, n + reach)
    first = stick.first.copy()
    first[stick.axis] -= reach
    llr, visible = line_evidence_of(
        views,
        stick.axis,
        first,
        len(steps),
        width,
        blockers,
        lap_faces(stick.axis, first, len(steps), others, width),
    )
    opening = np.clip(llr.sum((0, 1)), -8, 8)
    boundaries = np.arange(-reach, n + reach + 1) - 0.5
    edge, inner = np.zeros(len(boundaries)), np.zeros(len(boundaries))
    between = (boundaries > 0) & (boundaries < n - 1)
    for view, image in zip(views, images):
        steps_seen = colour_steps(view, image, stick.axis, stick.first, boundaries, width, blockers)
        e, i = step_llr(steps_seen, between)
        edge, inner = edge + e, inner + i
    edge, inner = np.clip(edge, -7, 7), np.clip(inner, -5, 2)
    laps = LAP_PRIOR * lap_faces(stick.axis, first, len(steps), others, width).any(0)
    room_lo, room_hi = _room(stick, others, width, reach)
    middle = reach + n // 2
    in_sight = _in_some_photo(views, stick, steps, width)
    guesses = []
    for way in (-1, 1):
        holes, logs = [], []
        total = 0.0
        k = middle
        while 0 <= k < len(steps):
            if k != middle:
                total += opening[k] + laps[k] + inner[k + 1 if way < 0 else k]
            last = steps[k]
            if (way < 0 and last < -room_lo) or (way > 0 and last > n - 1 + room_hi):
                break
            boundary = k if way < 0 else k + 1
            holes.append(last)
            logs.append(total + edge[boundary])
            k += way
        logs = np.array(logs)
        logs = logs - np.logaddexp.reduce(logs)
        best = holes[int(logs.argmax())]
        beyond = best + way + reach
        cut = bool(0 <= beyond < len(steps) and not in_sight[beyond])
        guesses.append(EndGuess(np.array(holes), logs, cut))
    return guesses[0], guesses[1]


def held_ends(stick, guesses) -> tuple[EndGuess, EndGuess]:
    """The guesses for a held stick's ends, those that a person vouches for put where they are."""
    certain = [EndGuess(np.array([k]), np.zeros(1), False) for k in (0, stick.holes - 1)]
    return tuple(c if held else g for c, g, held in zip(certain, guesses, stick.held))


LENGTH_KEPT = (
    0.5  # half of a frame's members are supposed to share a length with another; common practice, no source
)


def settle_lengths(sticks, ends, sure: float = 0.95) -> list[tuple[int, int]]:
    """Last holes (low, high) of each stick when both ends are judged together with the frame's usual lengths.

    A builder cuts few lengths.  Where both ends are sure this changes nothing; else a length that sure
    members of the same frame have is preferred by the log of how often they have it.
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


def _room(stick, others, width, reach):
    """How many holes a member could grow at each end before it runs into another."""
    room = []
    for way in (0, 1):
        free = reach
        for extra in range(1, reach + 1):
            longer = grown(stick, extra if way == 0 else 0, extra if way == 1 else 0)
            if runs_into(longer, others, width):
                free = extra - 1
                break
        room.append(free)
    return room


def _in_some_photo(views, stick, steps, width):
    """(K,) bool: does the centre of each step fall into some photo?"""
    X = np.repeat(stick.first[None], len(steps), 0)
    X[:, stick.axis] += steps
    out = np.zeros(len(steps), bool)
    for v in views:
        px = v.camera.project(X)
        W, H = v.size
        with np.errstate(invalid="ignore"):
            out |= (px[:, 0] > 0) & (px[:, 1] > 0) & (px[:, 0] < W) & (px[:, 1] < H)
    return out
