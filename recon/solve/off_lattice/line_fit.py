"""A line of holes adjusted to its openings, and whether it fits the frame's lattice after all."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from recon.geometry.arrays import FloatArray
from recon.geometry.camera import project_jacobian
from recon.solve.evidence.along_line import LineEvidence
from recon.solve.evidence.candidate import Candidate, across
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.off_lattice.lines import Line, line_openings

OFF = 0.15  # pitches off the lattice from which a member is called off it: more than play and error
CAUCHY = 2.5  # standard errors at which a residual's weight falls by half; common practice, no source


def adjusted_line(photos: Sequence[PosedPhoto], line: Line, found: LineEvidence, width: float) -> Line:
    """The line moved within the plane of its face by least squares over the openings found along it.

    It keeps its place along ``normal``, where it lies flush with another member; a line along an axis stays
    so.

    Parameters
    ----------
    photos : V photos
    line : to start from
    found : what the photos show along it, (V, 4, K)
    width : of the member, pitches
    """
    count = found.llr.shape[2]
    slanted = line.slanted
    for _ in range(3):
        equations = _equations(photos, line, found, width)
        if equations is None:
            return line
        J, r = equations
        if not slanted:
            J = J[:, :2]
        w = np.sqrt(1 / (1 + (r / CAUCHY) ** 2))  # Cauchy weights: a wrong hit has little say
        step = np.linalg.lstsq(J * w[:, None], r * w, rcond=None)[0]
        turn = step[2] if slanted else 0.0
        half = (count - 1) / 2
        middle = line.first + half * line.direction + step[0] * line.direction + step[1] * line.side
        direction = line.direction + turn * line.side
        direction /= np.linalg.norm(direction)
        line = replace(line, first=middle - half * direction, direction=direction)
    return line


def _equations(
    photos: Sequence[PosedPhoto], line: Line, found: LineEvidence, width: float
) -> tuple[FloatArray, FloatArray] | None:
    """Jacobian (N, 3) by shift along, shift across (pitches) and turn about the middle (rad); residuals (N,).

    In standard errors; None where no opening was found.
    """
    count = found.llr.shape[2]
    X = line_openings(line, count, width).centre
    rows, rest = [], []
    k = np.arange(count) - (count - 1) / 2
    side = line.side
    for photo, hit, llr in zip(photos, found.hit, found.llr):
        f, s = np.nonzero((hit >= 0) & (llr > 1))
        if not len(f):
            continue
        px, _, by_point = project_jacobian(photo.camera, X[f, s])
        o = photo.openings[hit[f, s]]
        sigma = np.hypot(0.3, 0.08 * o["minor"])[:, None]
        J = np.stack([by_point @ line.direction, by_point @ side, (by_point @ side) * k[s][:, None]], 2)
        rows.append((J / sigma[..., None]).reshape(-1, 3))
        rest.append(((np.c_[o["x"], o["y"]] - px) / sigma).ravel())
    return (np.concatenate(rows), np.concatenate(rest)) if rows else None


def on_lattice(line: Line, candidates: Iterable[Candidate], width: float) -> bool:
    """Does a line along an axis fit the lattice of a candidate that it touches or runs beside?

    Parameters
    ----------
    line : a slanted one never does
    candidates : members on the lattice
    width : of all members, pitches

    Examples
    --------
    >>> import numpy as np
    >>> post = Candidate.bare(2, [0, 0, 0], 8)
    >>> beside = Line(np.array([1.0, 0.0, 3.0]), np.array([0.0, 1.0, 0.0]), np.array([1.0, 0.0, 0.0]))
    >>> on_lattice(beside, [post], 1.0), on_lattice(beside.shifted(0.5), [post], 1.0)
    (True, False)
    """
    if line.slanted:
        return False
    axis = int(np.abs(line.direction).argmax())
    for c in candidates:
        gap = line.first - c.first
        phase = (
            np.abs(gap - np.rint(gap / 0.5) * 0.5) if width != round(width) else np.abs(gap - np.rint(gap))
        )
        # Across, what is flush with the candidate's face is in place whatever the phase.
        along_ok = abs(gap[axis] - np.rint(gap[axis])) < OFF
        across_ok = all(phase[j] < OFF or abs(abs(gap[j]) - width) < 0.02 for j in across(axis))
        if along_ok and across_ok:
            return True
    return False
