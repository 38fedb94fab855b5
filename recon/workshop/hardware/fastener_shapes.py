"""Bolts with their nuts and washers as solids: prisms and cylinders along the axis, without threads."""

from __future__ import annotations

from dataclasses import dataclass

from recon.workshop.hardware.bolts import Fastening
from recon.workshop.hardware.fasteners import is_rod

ROUND, HEXAGON = 0, 6  # sides of a piece


@dataclass(frozen=True)
class Piece:
    """A straight piece of a fastening.

    Attributes
    ----------
    name : str
        "head", "shank", "nut" or "washer".
    sides : int
        `HEXAGON`, or `ROUND` of a cylinder.
    across_mm : float
        Diameter, or width across the flats.
    bore_mm : float
        Diameter of the hole through it; 0 for none.
    start_mm, end_mm : float
        Where it is along the bolt's axis, from the face on which the bolt starts.
    """

    name: str
    sides: int
    across_mm: float
    bore_mm: float
    start_mm: float
    end_mm: float


def fastening_pieces(fastening: Fastening) -> tuple[Piece, ...]:
    """What a fastening consists of, head or first nut first; its head is where the bolt starts.

    Sizes are those of the tables in `recon.workshop.hardware.threads`; threads are left out.

    Examples
    --------
    >>> from recon.workshop.hardware.threads import find_thread
    >>> pieces = fastening_pieces(Fastening(find_thread("M8"), 90.0, 76.2))
    >>> [(piece.name, round(piece.start_mm, 1), round(piece.end_mm, 1)) for piece in pieces]
    [('washer', -1.6, 0.0), ('head', -6.9, -1.6), ('shank', -1.6, 88.4), ('washer', 76.2, 77.8), \
('nut', 77.8, 84.6)]
    """
    thread, grip = fastening.thread, fastening.grip_mm
    first, last = (thread.washer(series) for series in fastening.series)
    height = thread.lock_nut_mm if fastening.lock else thread.nut_mm
    washers = [
        Piece("washer", ROUND, first.outside_mm, first.inside_mm, -first.thick_mm, 0.0),
        Piece("washer", ROUND, last.outside_mm, last.inside_mm, grip, grip + last.thick_mm),
    ]
    under, beyond = -first.thick_mm, grip + last.thick_mm
    nut = Piece("nut", HEXAGON, thread.nut_flats_mm, thread.d_mm, beyond, beyond + height)
    if is_rod(thread, fastening.length_mm):  # a rod sticks out as far at both ends
        out = (fastening.length_mm - (beyond - under)) / 2
        top = Piece("nut", HEXAGON, thread.nut_flats_mm, thread.d_mm, under - height, under)
        shank = Piece("shank", ROUND, thread.d_mm, 0.0, under - out, beyond + out)
    else:
        top = Piece("head", HEXAGON, thread.head_flats_mm, 0.0, under - thread.head_mm, under)
        shank = Piece("shank", ROUND, thread.d_mm, 0.0, under, under + fastening.length_mm)
    return washers[0], top, shank, washers[1], nut
