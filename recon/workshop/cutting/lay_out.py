"""Where the pieces of a stick lie and the saw goes, on sticks that are drilled or not drilled yet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from recon.workshop.parts.rack import OwnedStick

LENGTH_TOL_MM = 0.5  # lengths of sticks are given in whole mm: 8 ft is 2438.4 mm and listed as 2438


@dataclass(frozen=True)
class Piece:
    """One member of the frame as it lies in a stick.

    Attributes
    ----------
    member : str
        Its id.
    holes : int
    start_mm, end_mm : float
        Its true sawn ends, from the stick's start.
    """

    member: str
    holes: int
    start_mm: float
    end_mm: float


@dataclass(frozen=True)
class CutStick:
    """A stick with its cuts; all positions are from its start.

    Attributes
    ----------
    stock : str
        Id of its stock.
    length_mm : float
    owned : bool
        Whether it comes from the rack.
    holes_mm : tuple of float
        Centres of its holes; empty where it is not drilled.
    pieces : tuple of Piece
    cuts_mm : tuple of float
        Middles of the kerfs.
    after_hole : tuple of int
        For each cut, how many holes come before it, so that the saw goes between that one and the next; empty
        where the stick is not drilled.
    offcut_mm : float
    offcut_holes : int
        What is left at its end.
    lines_mm : tuple of float
        For each cut, the line to mark.
    sides : tuple of int
        On which side of its line the kerf lies: 1 on the far side from the start, -1 on the near side, 0 half
        on each.
    """

    stock: str
    length_mm: float
    owned: bool
    holes_mm: tuple[float, ...]
    pieces: tuple[Piece, ...]
    cuts_mm: tuple[float, ...]
    after_hole: tuple[int, ...]
    offcut_mm: float
    offcut_holes: int
    lines_mm: tuple[float, ...] = ()
    sides: tuple[int, ...] = ()


def usable_holes(stick: OwnedStick, pitch_mm: float, kerf_mm: float) -> tuple[int, int]:
    """The first usable hole of a drilled stick, counted from 0, and how many there are from it on.

    Usable holes have half a pitch on both sides, clear of the ends that are no good.  An end may be half a
    kerf short, as a sawn one is.

    Examples
    --------
    >>> usable_holes(OwnedStick("softwood-38", 2438.0), pitch_mm=38.1, kerf_mm=3.2)
    (0, 64)
    """
    slack = kerf_mm / 2 + LENGTH_TOL_MM
    offset = _first_hole_mm(stick, pitch_mm)
    first = max(0, math.ceil((stick.trim_mm - slack - offset + pitch_mm / 2) / pitch_mm - 1e-9))
    last = math.floor((stick.length_mm - stick.trim_mm + slack - offset - pitch_mm / 2) / pitch_mm + 1e-9)
    return first, max(0, last - first + 1)


def _first_hole_mm(stick: OwnedStick, pitch_mm: float) -> float:
    return pitch_mm / 2 if stick.first_hole_mm is None else stick.first_hole_mm


def lay_out_stick(
    stick: OwnedStick, owned: bool, pieces: Sequence[tuple[str, int]], pitch_mm: float, kerf_mm: float
) -> CutStick:
    """A stick with these pieces one after another.

    Parameters
    ----------
    stick : OwnedStick
    owned : bool
        Whether it comes from the rack.
    pieces : sequence of (str, int)
        Member's id and number of holes; together they must fit.
    pitch_mm, kerf_mm : float

    Examples
    --------
    >>> stick = lay_out_stick(OwnedStick("softwood-38", 381.0), True, [("A", 4), ("B", 6)], 38.1, 3.2)
    >>> stick.cuts_mm, stick.after_hole, stick.offcut_holes
    ((152.4,), (4,), 0)
    """
    lay = _lay_drilled if stick.drilled else _lay_blank
    return lay(stick, owned, pieces, pitch_mm, kerf_mm)


def _lay_drilled(
    stick: OwnedStick, owned: bool, pieces: Sequence[tuple[str, int]], pitch_mm: float, kerf_mm: float
) -> CutStick:
    half = kerf_mm / 2
    offset = _first_hole_mm(stick, pitch_mm)
    first, count = usable_holes(stick, pitch_mm, kerf_mm)
    number = math.floor((stick.length_mm - offset) / pitch_mm + 1e-9) + 1
    edge, hole = offset + (first - 0.5) * pitch_mm, first
    cuts, laid = [], []  # a cut: its place, and how many holes come before it
    if not _is_end(stick, edge, half):
        cuts.append((edge, hole))
    for member, holes in pieces:
        start, edge, hole = edge, edge + holes * pitch_mm, hole + holes
        left = start if _is_end(stick, start, half) else start + half
        right = edge if _is_end(stick, edge, half) else edge - half
        laid.append(Piece(member, holes, _mm(max(0.0, left)), _mm(min(stick.length_mm, right))))
        if not _is_end(stick, edge, half):
            cuts.append((edge, hole))
    offcut = 0.0 if _is_end(stick, edge, half) else stick.length_mm - edge - half
    return CutStick(
        stock=stick.stock,
        length_mm=stick.length_mm,
        owned=owned,
        holes_mm=tuple(_mm(offset + k * pitch_mm) for k in range(number)),
        pieces=tuple(laid),
        cuts_mm=tuple(_mm(at) for at, _ in cuts),
        after_hole=tuple(before for _, before in cuts),
        offcut_mm=_mm(offcut),
        offcut_holes=first + count - hole,
        lines_mm=tuple(_mm(at) for at, _ in cuts),
        sides=(0,) * len(cuts),
    )


def _is_end(stick: OwnedStick, mm: float, half_kerf_mm: float) -> bool:
    """Whether this place is an end of the stick: one that is half a kerf off at most is as good as sawn."""
    slack = half_kerf_mm + LENGTH_TOL_MM
    return mm <= slack or mm >= stick.length_mm - half_kerf_mm - LENGTH_TOL_MM


def _lay_blank(
    stick: OwnedStick, owned: bool, pieces: Sequence[tuple[str, int]], pitch_mm: float, kerf_mm: float
) -> CutStick:
    lines = [(stick.trim_mm, -1)] if stick.trim_mm else []  # a line, and the side on which the kerf lies
    laid, at = [], stick.trim_mm
    for member, holes in pieces:
        end = at + holes * pitch_mm
        laid.append(Piece(member, holes, _mm(at), _mm(min(end, stick.length_mm))))
        if end < stick.length_mm - LENGTH_TOL_MM:
            lines.append((end, 1))
        at = end + kerf_mm
    return CutStick(
        stock=stick.stock,
        length_mm=stick.length_mm,
        owned=owned,
        holes_mm=(),
        pieces=tuple(laid),
        cuts_mm=tuple(_mm(line + side * kerf_mm / 2) for line, side in lines),
        after_hole=(),
        offcut_mm=_mm(max(0.0, stick.length_mm - at)),
        offcut_holes=0,
        lines_mm=tuple(_mm(line) for line, _ in lines),
        sides=tuple(side for _, side in lines),
    )


def _mm(value: float) -> float:
    return round(value, 3) + 0.0
