"""A length measured with a tape between two openings: how many pitches it is, and what a tape can tell.

The tape lies straight from the centre of one opening to the centre of the other, each on the face where it
was picked: on one face of one member that is a whole number of pitches, between members the straight line in
space.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from recon.errors import ReconError
from recon.frame.boxes import hidden, openings
from recon.frame.length import MEASURED, mm_text
from recon.frame.model import Frame, Member
from recon.frame.stock import Stock
from recon.geometry.arrays import FloatArray

# What a tape may be off.  At each end: half a sixteenth of an inch in reading, and as much again in finding
# the middle of a hole or in how a cut end was sawn (this project's choice).  The tape itself: accuracy class
# II, 0.3 mm + 0.2 mm a metre begun (Directive 2014/32/EU, annex X, from memory).
AT_END_MM = 1.6
TAPE_MM, TAPE_MM_PER_M = 0.3, 0.2
SAME_WIDTH = (
    0.03  # pitches: stock no farther off in width could be the frame's; as well as photos show widths
)
PITCHES_MM = (1.0, 1000.0)  # as in the frame file's schema


@dataclass(frozen=True)
class Spot:
    """The centre of one opening.

    Attributes
    ----------
    member : str
        The member's label.
    hole : int
        0-based.
    face : int
        The long face, 0 to 3 = -u, +u, -v, +v as in `boxes.openings`.
    """

    member: str
    hole: int
    face: int


def place(member: Member, spot: Spot) -> FloatArray:
    """Where the opening's centre lies, (3,), pitches."""
    centre: FloatArray = openings(member)[spot.face, spot.hole]
    return centre


def pitches_between(frame: Frame, a: Spot, b: Spot) -> float:
    """The straight distance from centre to centre, pitches.

    Raises
    ------
    ReconError
        Where no tape lies straight between them.

    Examples
    --------
    >>> frame = Frame((Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 16),))
    >>> pitches_between(frame, Spot("A", 0, 1), Spot("A", 15, 1))
    15.0
    """
    if a == b:
        raise ReconError("Both ends of the tape lie on the same opening; pick two that are well apart.")
    if a.member == b.member and a.face != b.face:
        raise ReconError(
            f"These two openings are on different faces of {a.member}, and no tape lies straight between "
            "them; pick two on one face."
        )
    far = float(np.linalg.norm(place(frame.member(a.member), a) - place(frame.member(b.member), b)))
    if far < 1 - 1e-6:
        raise ReconError("These two openings are less than a pitch apart; pick two that are well apart.")
    return round(far) * 1.0 if abs(far - round(far)) < 1e-6 else far


def in_the_way(frame: Frame, a: Spot, b: Spot) -> tuple[str, ...]:
    """Labels of the members that a straight tape would have to go through."""
    start, end = (place(frame.member(s.member), s) for s in (a, b))
    return tuple(m.id for m in frame.members if hidden(end[None], start, [m], slack=0.1)[0])


def spots_words(a: Spot, b: Spot) -> str:
    """The two ends of the tape: 'hole 1 to hole 16 of A' or 'hole 3 of A to hole 11 of C'."""
    if a.member == b.member:
        return f"hole {a.hole + 1} to hole {b.hole + 1} of {a.member}"
    return f"hole {a.hole + 1} of {a.member} to hole {b.hole + 1} of {b.member}"


def pitches_words(pitches: float) -> str:
    """'15 pitches', '9.434 pitches'."""
    return f"{pitches:.3f}".rstrip("0").rstrip(".") + (" pitch" if pitches == 1 else " pitches")


def slack_mm(mm: float) -> float:
    """How far a length of so many mm, as measured, may be from the true one, mm."""
    return 2 * AT_END_MM + TAPE_MM + TAPE_MM_PER_M * math.ceil(mm / 1000)


def pitch_of(mm: float, pitches: float) -> float:
    """The pitch in mm; ReconError where it is none that a frame can have."""
    pitch = mm / pitches
    if not PITCHES_MM[0] <= pitch <= PITCHES_MM[1]:
        raise ReconError(
            f"That makes the pitch {mm_text(pitch)}; it must be 1 to 1000 mm. Check the length and its unit."
        )
    return round(pitch, 4)


def disagreement(mm: float, pitches: float, stock: Stock, stocks: Mapping[str, Stock]) -> str | None:
    """A sentence where the stock's pitch differs from the measured one by more than measuring explains."""
    expected, slack = stock.pitch_mm * pitches, slack_mm(mm)
    if abs(expected - mm) <= slack:
        return None
    fitting = [
        s.name
        for s in stocks.values()
        if s.id != stock.id
        and abs(s.pitch_mm * pitches - mm) <= slack
        and abs(s.width - stock.width) < SAME_WIDTH
    ]
    instead = f" It would fit {' or '.join(fitting[:2])}." if fitting else ""
    return (
        f"{MEASURED} gives a pitch of {mm / pitches:.2f} mm, the stock {stock.id} has {stock.pitch_mm:g} mm: "
        f"with it {mm_text(mm)} would be {mm_text(expected)}, more than measuring explains. "
        f"One of length, hole count and stock is wrong.{instead}"
    )
