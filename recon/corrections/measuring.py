"""The frame's size by one measured length: of a member, of so many holes, or between two openings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from recon.corrections import validation
from recon.corrections.codec import Json
from recon.corrections.members import LINE_TOL
from recon.corrections.model import MeasuredLength
from recon.corrections.state import State
from recon.errors import ReconError
from recon.frame.lattice import PARALLEL
from recon.frame.length import MEASURED, SIZE_DOUBTS, both_text, mm_text, parse_known_length, parse_mm
from recon.frame.model import Frame, Member
from recon.frame.stock import Stock
from recon.frame.tape import (
    Spot,
    disagreement,
    in_the_way,
    pitch_of,
    pitches_between,
    pitches_words,
    place,
    slack_mm,
    spots_words,
)
from recon.geometry.arrays import FloatArray
from recon.workshop.side_axes import to_the_right
from recon.workshop.wording import listed, plural, ways_words

LONGEST_TEXT = 200  # characters of a length as typed


@dataclass(frozen=True)
class TapeMeasure:
    """What a tape from the centre of one opening to that of another tells.

    Attributes
    ----------
    pitches : float
        The distance in the frame, pitches.
    where : str
        A sentence on what to lay the tape on.
    mm : float or None
        The length read off, mm.
    words : str or None
        What that does to the frame, in words.
    how_sure : str or None
        A sentence on how well it fixes the pitch.
    apart : str or None
        How far the two are apart by the frame as it stands: in mm and inches where its pitch is known, and
        along its sides.
    """

    pitches: float
    where: str
    mm: float | None = None
    words: str | None = None
    how_sure: str | None = None
    apart: str | None = None

    def to_json(self) -> Json:
        """The fields that are known."""
        return {k: v for k, v in vars(self).items() if v is not None}


def tape_measure(frame: Frame, ends: tuple[Spot, Spot], text: str | None = None) -> TapeMeasure:
    """What a tape from opening to opening tells.

    Parameters
    ----------
    frame : Frame
    ends : tuple of Spot
    text : str, optional
        The length read off, with its unit; None before it is known.

    Raises
    ------
    ReconError
        Where no tape can be laid between them, or the text is no length.
    """
    pitches = pitches_between(frame, *ends)
    name, way = spots_words(*ends), in_the_way(frame, *ends)
    straight = "" if ends[0].member == ends[1].member else " in a straight line,"
    blocked = (
        f" {listed(way)} {'is' if len(way) == 1 else 'are'} in the way of a straight tape there: "
        "better pick others."
        if way
        else ""
    )
    where = (
        f"{name[0].upper()}{name[1:]}: {pitches_words(pitches)},{straight} "
        f"centre of hole to centre of hole.{blocked}"
    )
    apart = _apart_words(frame, ends, pitches)
    if text is None:
        return TapeMeasure(pitches, where, apart=apart)
    size = size_between(frame, ends, text)
    mm = parse_mm(text)
    sure = f"A tape tells it to ±{slack_mm(mm) / pitches:.2f} mm; a longer length tells more."
    return TapeMeasure(pitches, where, mm, size.words, sure, apart)


def _apart_words(frame: Frame, ends: tuple[Spot, Spot], pitches: float) -> str:
    a, b = (place(frame.member(end.member), end) for end in ends)
    return _distance_words(frame, b - a, pitches)


def _distance_words(frame: Frame, way: FloatArray, pitches: float) -> str:
    """'15 pitches, 571.5 mm (22 1/2 in): 9 to the right and 12 up'."""
    size = f", {both_text(pitches * frame.pitch_mm)}" if frame.pitch_mm else ""
    along = ways_words(way, to_the_right(frame.members))
    return f"{pitches_words(pitches)}{size}" + (f": {along}" if " and " in along else "")


def centre_distance_words(frame: Frame, a: Member, b: Member) -> str:
    """'Centre to centre: 10 pitches, 381 mm (15 in)'; '' where the members are not parallel or lie on one
    line.

    Examples
    --------
    >>> a, b = Member("A", (0, 0, 0), (0, 0, 1), 8), Member("B", (3, 4, 0), (0, 0, 1), 8)
    >>> centre_distance_words(Frame((a, b), pitch_mm=40.0), a, b)
    'Centre to centre: 5 pitches, 200 mm (7 7/8 in): 3 to the front and 4 to the right.'
    """
    along = np.asarray(a.direction, float)
    off = np.subtract(b.first, a.first)
    across = off - along * (off @ along)
    distance = float(np.linalg.norm(across))
    if abs(along @ b.direction) < PARALLEL or distance < LINE_TOL:
        return ""
    return f"Centre to centre: {_distance_words(frame, across, distance)}."


def spots(frame: Frame, request: Json) -> tuple[Spot, Spot]:
    """The two openings in `points`, checked."""
    points = request.get("points")
    if not isinstance(points, list) or len(points) != 2:
        raise ReconError("Pick two holes to measure between.")
    return spot(frame, points[0]), spot(frame, points[1])


def spot(frame: Frame, point: Any) -> Spot:
    """One picked opening {member, hole, face}, checked."""
    if not isinstance(point, dict):
        raise ReconError("A picked hole must name its member, hole and face.")
    m = validation.member(frame, point)
    return Spot(m.id, validation.whole(point, "hole", 0, m.holes - 1), validation.whole(point, "face", 0, 3))


@dataclass(frozen=True)
class KnownSize:
    """A measured length and what it does to the frame, in words."""

    measured: MeasuredLength
    pitch_mm: float
    words: str


def size_between(frame: Frame, ends: tuple[Spot, Spot], text: str) -> KnownSize:
    """The size of the frame by a length from opening to opening."""
    pitches, mm = pitches_between(frame, *ends), parse_mm(text)
    pitch = pitch_of(mm, pitches)
    words = (
        f"Pitch {mm_text(pitch)} from {mm_text(mm)} over {pitches_words(pitches)} "
        f"({spots_words(*ends)}, centre to centre)"
    )
    return KnownSize(_rounded(mm, pitches, None), pitch, words)


def size_of(frame: Frame, text: str) -> KnownSize:
    """The size of the frame by the length of a member or of so many holes.

    Examples
    --------
    >>> size_of(Frame(()), "16 holes = 24 in").pitch_mm
    38.1
    """
    known = parse_known_length(text)
    if known.member:
        pitches = validation.member_of(frame, known.member).holes
        what = f"{known.member} with its {plural(pitches, 'hole')}"
    elif known.holes:
        pitches, what = known.holes, plural(known.holes, "hole")
    else:
        raise ReconError("Name a member or a number of holes: 'A = 610 mm' or '16 holes = 24 1/8 in'.")
    pitch = pitch_of(known.mm, pitches)
    words = f"Pitch {mm_text(pitch)} from {mm_text(known.mm)} over {what}, end to end"
    return KnownSize(_rounded(known.mm, pitches, known.member or None), pitch, words)


def _rounded(mm: float, pitches: float, member: str | None) -> MeasuredLength:
    return MeasuredLength(round(mm, 4), round(pitches, 6), member)


def with_size_doubts(state: State, stocks: Mapping[str, Stock]) -> State:
    """The state with the doubts about its size put anew, where the user measured it."""
    measured, frame = state.corrections.measured, state.frame
    if not measured:
        return state
    doubts = [text for text in frame.doubts if not text.startswith(SIZE_DOUBTS)]
    doubts += _size_doubts(frame, measured, stocks)
    if tuple(doubts) == frame.doubts:
        return state
    return State(replace(frame, doubts=tuple(doubts)), state.corrections)


def _size_doubts(frame: Frame, measured: MeasuredLength, stocks: Mapping[str, Stock]) -> Iterator[str]:
    if measured.mm is None or measured.pitches is None:  # in old builds
        return
    holes = {m.id: m.holes for m in frame.members}.get(measured.member or "")
    if holes and holes != measured.pitches:
        yield (
            f"{MEASURED} was that of {measured.member} with {plural(int(measured.pitches), 'hole')}; "
            f"it has {holes} now. Give the length again."
        )
    elif frame.stock and frame.stock.id in stocks:
        text = disagreement(measured.mm, measured.pitches, stocks[frame.stock.id], stocks)
        if text:
            yield text
