"""What a person says of a frame, as typed values: the corrections that no reading may undo."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, dataclass, field, fields, replace
from typing import Any

from recon.frame.model import Member

LapKey = tuple[str, int, str, int]  # member and hole, twice, the lower label first; holes from 0
Point = tuple[float, float]  # x, y in px of the upright photo


@dataclass(frozen=True)
class VouchedMember:
    """What of a member a person vouches for.

    Attributes
    ----------
    place : bool
        That the member lies on its line and its count of holes.
    ends : tuple of bool
        Whether it ends where it does, at hole 0 and at the last hole.
    """

    place: bool = False
    ends: tuple[bool, bool] = (False, False)

    @property
    def wholly(self) -> bool:
        """Whether nothing of the member is left open."""
        return self.place and all(self.ends)


@dataclass(frozen=True)
class LapWord:
    """A lap that a person joined or parted, or whose bolt they gave.

    Attributes
    ----------
    lap : LapKey
    word : str
        "joined", "apart", or of its bolt: "said" (it is there), "assumed", "none"; older builds have "seen"
        for "said".
    """

    lap: LapKey
    word: str


@dataclass(frozen=True)
class LapBolt:
    """The bolt of a lap that went when its member moved away, for when it comes back."""

    lap: LapKey
    bolt: str
    bolt_by: str = ""


@dataclass(frozen=True)
class PhotoMarks:
    """Openings that a person marked on one photo.

    Attributes
    ----------
    missed : tuple of Point
        Openings that are there and were not detected, px.
    false : tuple of Point
        Places of detections that are no openings, px.
    """

    missed: tuple[Point, ...] = ()
    false: tuple[Point, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.missed or self.false)


@dataclass(frozen=True)
class StrokedRow:
    """A row of openings that a person stroked along on one photo.

    Attributes
    ----------
    start, end : Point
        On the first and the last opening, px.
    holes : int
        From one to the other, both included.
    """

    start: Point
    end: Point
    holes: int


@dataclass(frozen=True)
class MeasuredLength:
    """A length that a person measured on the frame.

    Attributes
    ----------
    mm : float or None
        The length; None where an old build knows only that one was measured.
    pitches : float or None
        What it spans, pitches; None likewise.
    member : str or None
        The member whose whole length it is, if it is one's.
    """

    mm: float | None = None
    pitches: float | None = None
    member: str | None = None


@dataclass(frozen=True)
class ShownAlong:
    """The photos show a member on a line that the state knows, so that it holds however the frame is turned.

    Attributes
    ----------
    offset : int
        Holes from the known member's hole 0 to that of the member shown.
    holes : int
        Its length in holes.
    deleted : int or None
        The number among the deleted members of the one whose line it is; None for a member of the frame.
    """

    offset: int
    holes: int
    deleted: int | None = None


@dataclass(frozen=True)
class NotShown:
    """The photos do not show the member."""


@dataclass(frozen=True)
class Disagreement:
    """A place where the photos say otherwise than a person.

    Attributes
    ----------
    members : tuple of str
        Labels of the members of the frame that it is about; none for a deleted one.
    text : str
        The sentence for people; it also names the disagreement.
    shown : ShownAlong, NotShown or None
        What the photos show instead; None where that is not known (journals of older builds).
    """

    members: tuple[str, ...]
    text: str
    shown: ShownAlong | NotShown | None = None


@dataclass(frozen=True)
class Corrections:
    """All that a person said of a frame.  Derive others with `changed` and `cleared`.

    Attributes
    ----------
    members : dict of str to VouchedMember
        By label: what of a member is vouched for.
    deleted : tuple of Member
        Members that were taken away, as they were.
    laps : tuple of LapWord
    marks : dict of str to PhotoMarks
        By photo.
    rows : dict of str to tuple of StrokedRow
        By photo: rows from which its camera is found by hand.
    may_turn : tuple of LapKey
        Laps that are meant to turn.
    set_aside : tuple of str
        Photos not to be used.
    disagreements : tuple of Disagreement
        Places where the photos say otherwise, still open.
    settled : tuple of str
        Texts of disagreements in which the person's word was confirmed.
    notes_seen : tuple of str
        Sentences of `Frame.doubts` that the person has seen and put aside.
    bolts : tuple of LapBolt
        Bolts to restore when a member comes back.
    measured : MeasuredLength or None
    stock_given : bool
        Whether the person gave the frame's stock.
    emptied : frozenset of str
        Names of the lists above that once held something or were found empty: the journal writes those as
        empty lists and leaves out the others.

    Examples
    --------
    >>> Corrections().changed(set_aside=("a.jpg",)).set_aside
    ('a.jpg',)
    >>> Corrections().changed(set_aside=()) == Corrections()
    False
    """

    members: Mapping[str, VouchedMember] = field(default_factory=dict)
    deleted: tuple[Member, ...] = ()
    laps: tuple[LapWord, ...] = ()
    marks: Mapping[str, PhotoMarks] = field(default_factory=dict)
    rows: Mapping[str, tuple[StrokedRow, ...]] = field(default_factory=dict)
    may_turn: tuple[LapKey, ...] = ()
    set_aside: tuple[str, ...] = ()
    disagreements: tuple[Disagreement, ...] = ()
    settled: tuple[str, ...] = ()
    notes_seen: tuple[str, ...] = ()
    bolts: tuple[LapBolt, ...] = ()
    measured: MeasuredLength | None = None
    stock_given: bool = False
    emptied: frozenset[str] = frozenset()

    def changed(self, **values: Any) -> Corrections:
        """The corrections with some fields replaced."""
        empty = {name for name, value in values.items() if isinstance(value, (tuple, dict)) and not value}
        return replace(self, **values, emptied=(self.emptied - values.keys()) | empty)

    def cleared(self, *names: str) -> Corrections:
        """The corrections as if nothing had ever been said in the fields of these names."""
        defaults = {
            f.name: f.default if f.default is not MISSING else {} for f in fields(self) if f.name in names
        }
        return replace(self, **defaults, emptied=self.emptied - set(names))

    def vouched(self, id: str) -> VouchedMember:
        """What of member `id` is vouched for: nothing where nothing was said."""
        return self.members.get(id, VouchedMember())
