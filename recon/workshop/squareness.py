"""How far a built frame is out of square and its members off their places, in sentences.

What photos measured stands in the frame file; here it is said where it is more than its error and, of
members, more than the play of bolts in their holes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from recon.frame.model import Frame, Member
from recon.frame.squareness import PLANES, OffPlace
from recon.geometry.arrays import FloatArray
from recon.workshop.wording import axis_name, towards_words

SIGNIFICANT = 3.0  # standard errors: one in 370 by chance, of a few dozen values of a frame
PLAY_MM = 2.0  # of a bolt in its hole, at most; common practice, no source
PLAY = 0.05  # the same in pitches where the pitch is not known: 2 mm of 38.1 mm


@dataclass(frozen=True)
class Squareness:
    """One thing that photos measured out of square.

    Attributes
    ----------
    members : tuple of str
        The member that is off its place; none where the frame as a whole is racked.
    text : str
        A sentence.
    """

    members: tuple[str, ...]
    text: str


def squareness(
    frame: Frame, names: Mapping[str, str] | None = None, right: FloatArray | None = None
) -> list[Squareness]:
    """What photos measured of a frame that is out of square: the frame as a whole, then its members.

    Parameters
    ----------
    frame : Frame
    names : dict of str to str, optional
        What members are called, where not by their ids; a member that it lacks is left out.
    right : array, (3,), optional
        The frame's right (`side_axes.to_the_right`), where its z points up; without it axes are named.

    Examples
    --------
    >>> from recon.frame.squareness import Racked
    >>> racked = Racked((0.1, 1.2, 0.0), (0.1, 0.1, 0.1))
    >>> print(squareness(Frame((), racked=racked))[0].text)
    Racked 1.2° (± 0.1°) about y: x and z meet at 88.8°.
    """
    called = {m.id: m.id for m in frame.members} if names is None else names
    members = (_off_place(m, called[m.id], frame.pitch_mm, right) for m in frame.members if m.id in called)
    return [*_racked(frame, right), *(found for found in members if found)]


def _racked(frame: Frame, right: FloatArray | None) -> Iterator[Squareness]:
    """The axes that the frame is racked about."""
    if frame.racked is None:
        return
    for axis, (deg, error, (i, j)) in enumerate(zip(frame.racked.deg, frame.racked.error_deg, PLANES)):
        if abs(deg) > SIGNIFICANT * error:
            about, one, other = (axis_name(k, right) for k in (axis, i, j))
            text = f"Racked {abs(deg):.1f}° (± {error:.1f}°) about "
            text += about if right is None else f"its {about} axis"
            meet = f"{one} and {other} {'' if right is None else 'members '}meet"
            yield Squareness((), f"{text}: {meet} at {90 - deg:.1f}°.")


def _off_place(
    member: Member, name: str, pitch_mm: float | None, right: FloatArray | None
) -> Squareness | None:
    """A member that is off its place at one of its ends by more than the play of bolts."""
    if member.off_place is None:
        return None
    ends = [_end_off(member, member.off_place, hole) for hole in (0, member.holes - 1)]
    play = PLAY_MM / pitch_mm if pitch_mm else PLAY
    if not any(length > max(SIGNIFICANT * error, play) for length, error, _ in ends):
        return None
    holes = sorted(zip(ends, (1, member.holes)), key=lambda e: -e[0][0])
    upright = right is not None
    parts = [
        f"by {_length(length, pitch_mm)} (± {_length(error, pitch_mm)}) at hole {hole}, "
        f"{towards_words(way, upright, right)}"
        for (length, error, way), hole in holes
        if length > SIGNIFICANT * error
    ]
    return Squareness((name,), f"{name} lies off its place {' and '.join(parts)}.")


def _end_off(member: Member, off: OffPlace, hole: int) -> tuple[float, float, FloatArray]:
    """How far a hole is off its place across the member, with its standard error, pitches; and which way."""
    arm = (hole - (member.holes - 1) / 2) * np.asarray(member.direction)
    across = np.eye(3) - np.outer(member.direction, member.direction)
    shift = across @ (np.asarray(off.shift) + np.cross(np.radians(off.turn_deg), arm))
    by_turn = _cross_matrix(arm) * np.radians(off.turn_error_deg)  # columns: errors of the turn
    by_both = across @ np.c_[np.diag(off.shift_error), by_turn]
    length = float(np.linalg.norm(shift))
    unit = shift / length if length else shift
    main = int(np.abs(shift).argmax())
    way = np.eye(3)[main] * (1.0 if shift[main] >= 0 else -1.0)
    return length, float(np.linalg.norm(unit @ by_both)), way


def _cross_matrix(v: FloatArray) -> FloatArray:
    """(3, 3) M with M w = w x v."""
    x, y, z = v
    return np.array([[0, z, -y], [-z, 0, x], [y, -x, 0]])


def _length(pitches: float, pitch_mm: float | None) -> str:
    return f"{pitches * pitch_mm:.1f} mm" if pitch_mm else f"{pitches:.2f} pitches"
