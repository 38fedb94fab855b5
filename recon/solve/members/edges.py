"""Edges across a member: is there a change of colour across the whole width of its face, between two holes?

An end can lie only midway between holes, so the question at each step is: is there a change of colour here,
larger than those that the same face shows between its holes?
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from recon.geometry.arrays import BoolArray, FloatArray
from recon.geometry.boxes import lifted
from recon.solve.evidence.candidate import Candidate, across
from recon.solve.evidence.occluders import NOTHING, Occluders
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.predictions import LEAST_FACING
from recon.solve.members.colours import colours_at

LATERAL = np.array([-0.34, -0.2, 0.2, 0.34])  # of the width: four tracks along the face, beside the holes
NEAR, FAR = 0.08, 0.30  # pitches before and behind the edge that are compared
SAMPLES = 5  # along each track on each side of the edge
LEAST_TRACKS = 2  # of the four that must be in sight
# Pitches, and standard deviations of the members' play, within which the outline of a member in front is
# taken to be: it is a change of colour, too.  This project's choice.
OUTLINE, PLAYS = 0.1, 3.0

# Log-likelihood ratios (nats) by the step's strength over the face's usual one.  A boundary is the member's
# end, or between two holes, or past the end; histograms of 330 ends, 2,903 places between and 1,631 past
# on 12 rendered photos with truth, smoothed.
STEP_RATIO = np.array([0.3, 0.75, 1.25, 1.75, 2.5, 3.5, 5.0, 8.0, 15.0])
END_OR_PAST = np.array([-2.5, -2.0, -1.5, -0.9, -0.2, 0.6, 1.1, 1.9, 2.7])
BETWEEN_OR_PAST = np.array([0.45, 0.4, -0.6, -0.9, -1.1, -1.3, -1.4, -1.6, -1.8])
USUAL_STEP = 0.010  # L*a*b* / 100: plain faces, where too few places between holes can be seen
FLOOR_STEP = 0.004  # half a grey level of noise after averaging
MAD_TO_SIGMA = 1.4826  # median of absolute values to standard deviation, normal distribution


@dataclass(frozen=True)
class ColourSteps:
    """Change of colour across each boundary of a member's faces.

    Attributes
    ----------
    strength : array, (F, B)
        In L*a*b* / 100; NaN where it cannot be seen.
    normal : array, (F, 3)
        Of the faces.
    """

    strength: FloatArray
    normal: FloatArray


def colour_steps(
    photo: PosedPhoto,
    image: np.ndarray,
    member: Candidate,
    boundaries: FloatArray,
    width: float,
    occluders: Occluders = NOTHING,
) -> ColourSteps:
    """Colour steps across the two faces that a member turns to a photo, at given places along it.

    Parameters
    ----------
    photo, image : PosedPhoto or array
        The photo and its (H, W, 3) uint8 BGR picture.
    member : Candidate
        Whose faces are looked at.
    boundaries : array, (B,)
        Places along the axis in pitches from hole 0 (half numbers).
    width : float
        Of the member, pitches.
    occluders : Occluders
        The other members.
    """
    return all_colour_steps(photo, image, [member], [boundaries], width, [occluders])[0]


def all_colour_steps(
    photo: PosedPhoto,
    image: np.ndarray,
    members: Sequence[Candidate],
    boundaries: Sequence[FloatArray],
    width: float,
    occluders: Sequence[Occluders],
) -> list[ColourSteps]:
    """:func:`colour_steps` of several members, each at places and among others of its own."""
    eye, by = photo.camera.centre, OUTLINE + PLAYS * photo.play
    out, faces = [], []
    for member, places, others in zip(members, boundaries, occluders):
        steps = ColourSteps(np.full((2, len(places)), np.nan), np.zeros((2, 3)))
        behind = others.thicker(by)
        for k, j in enumerate(across(member.axis)):
            normal = steps.normal[k]
            normal[j] = np.sign(eye[j] - member.first[j])
            base = member.first + 0.5 * width * normal
            if (eye - base) @ normal / np.linalg.norm(eye - base) >= 0.5 * LEAST_FACING:
                points = _face_points(member, places, base, 3 - member.axis - j, width)
                faces.append(_Face(points, normal, behind, steps.strength[k]))
        out.append(steps)
    if faces:
        strength = _face_steps(photo, image, faces)
        ends = np.cumsum([len(face.points) for face in faces])
        for face, part in zip(faces, np.split(strength, ends[:-1])):
            face.strength[:] = part
    return out


@dataclass(frozen=True)
class _Face:
    """A face of a member that a photo sees.

    Attributes
    ----------
    points : array, (B, tracks, samples, 3)
        Before and behind each boundary, pitches.
    normal : array, (3,)
    occluders : Occluders
        What may stand before it.
    strength : array, (B,)
        Where the steps are put.
    """

    points: FloatArray
    normal: FloatArray
    occluders: Occluders
    strength: FloatArray


def _face_points(
    member: Candidate, boundaries: FloatArray, base: FloatArray, side: int, width: float
) -> FloatArray:
    """Points on a face where its colour is looked at; base : (3,) middle of the face at hole 0, pitches."""
    span = np.linspace(NEAR, FAR, SAMPLES)
    offsets = np.r_[-span, span]  # along the axis, before and behind the boundary
    X = np.zeros((len(boundaries), len(LATERAL), len(offsets), 3)) + base
    X[..., member.axis] += boundaries[:, None, None] + offsets
    X[..., side] += (LATERAL * width)[None, :, None]
    if member.own is not None:
        X += member.own.at(member.first[member.axis] + boundaries)[:, None, None]
    return X


def _face_steps(photo: PosedPhoto, image: np.ndarray, faces: Sequence[_Face]) -> FloatArray:
    """Steps across faces, boundary after boundary; NaN where fewer than LEAST_TRACKS tracks are in sight."""
    every = np.concatenate([face.points for face in faces])
    flat = every.reshape(-1, 3)
    px = photo.camera.project(flat)
    H, W = image.shape[:2]
    ok = np.asarray(np.isfinite(px[:, 0]) & np.isfinite(px[:, 1]), bool)
    px = np.where(ok[:, None], px, -1e4)
    ok &= (px[:, 0] > 1) & (px[:, 1] > 1) & (px[:, 0] < W - 2) & (px[:, 1] < H - 2)
    # A track counts if all of it is in sight: what is asked of the others would be for nothing.
    shape = (len(every), len(LATERAL), 2, SAMPLES)
    tracks = np.asarray(ok.reshape(shape).all((2, 3)))
    start = 0
    for face in faces:
        mine = tracks[start : start + len(face.points)]
        if len(face.occluders.lo) and mine.any():
            points = lifted(face.points[mine], face.normal).reshape(-1, 3)
            mine[mine] = ~face.occluders.hide(photo.camera.centre, points).reshape(-1, 2 * SAMPLES).any(1)
        start += len(mine)
    rows = np.nonzero(np.broadcast_to(tracks[..., None, None], shape).ravel())[0]
    colour = np.zeros((len(flat), 3), np.float32)
    if len(rows):
        colour[rows] = colours_at(image, px[rows])
    colour = colour.reshape(*shape, 3)
    step = colour[:, :, 1].mean(2) - colour[:, :, 0].mean(2)  # (B, 4, 3)
    n = tracks.sum(1)
    mean = np.where(tracks[..., None], step, 0).sum(1) / np.maximum(n, 1)[:, None]
    return np.where(n >= LEAST_TRACKS, np.linalg.norm(mean, axis=1), np.nan)


def step_llr(steps: ColourSteps, between: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Nats for an end against past it, and for going on against past it, at each boundary: (B,), (B,).

    Parameters
    ----------
    steps : ColourSteps
        In one photo.
    between : bool array, (B,)
        Boundaries known to lie between two holes of the member.

    Examples
    --------
    A strong step after three weak ones speaks for an end there, and against the member going on.

    >>> steps = ColourSteps(np.array([[0.01, 0.01, 0.01, 0.3]]), np.eye(3)[:1])
    >>> end, inner = step_llr(steps, np.array([True, True, True, False]))
    >>> float(end[3]) > 2, float(inner[3]) < -1
    (True, True)
    """
    end = np.zeros(steps.strength.shape[1])
    inner = np.zeros_like(end)
    for row in steps.strength:
        known = row[between]
        known = known[np.isfinite(known)]
        padded = np.r_[known, [USUAL_STEP] * max(0, 3 - len(known))]
        usual = np.median(padded) * MAD_TO_SIGMA + FLOOR_STEP
        ok = np.isfinite(row)
        end += np.where(ok, np.interp(row / usual, STEP_RATIO, END_OR_PAST), 0.0)
        inner += np.where(ok, np.interp(row / usual, STEP_RATIO, BETWEEN_OR_PAST), 0.0)
    return np.clip(end, -4, 4), np.clip(inner, -3, 1)


def edge_evidence(steps: Iterable[ColourSteps], between: BoolArray) -> tuple[FloatArray, FloatArray]:
    """:func:`step_llr` of each photo: (V, B), (V, B)."""
    pairs = [step_llr(s, between) for s in steps]
    edge, inner = (np.array([p[k] for p in pairs]).reshape(-1, len(between)) for k in (0, 1))
    return edge, inner
