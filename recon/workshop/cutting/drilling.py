"""Marking out and drilling of stock that comes undrilled: where holes are, through which faces, which bit."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from recon.frame.length import fine_inch_text, mm_text
from recon.frame.model import Frame, Member, section_axes
from recon.frame.stock import Stock
from recon.workshop.cutting.cut_list import CutList
from recon.workshop.formats import csv_text
from recon.workshop.frame_size import known_pitch_mm, stock_of
from recon.workshop.hardware.fitting_bolts import all_bolts
from recon.workshop.sides import Sides
from recon.workshop.wording import listed

CSV_COLUMNS = ("member", "stock", "hole", "from_end_mm", "from_end_in", "faces_1_3", "faces_2_4", "bit_mm")


@dataclass(frozen=True)
class DrilledMember:
    """The holes of a member that are to be drilled.

    Attributes
    ----------
    member : str
        Its id.
    stock : str or None
        Id of its stock.
    holes : int
        Its length in holes.
    first_faces, other_faces : tuple of int
        Numbers, from 0, of the holes through faces 1 and 3, and through faces 2 and 4.
    looks : str
        Where face 1 looks in the frame: 'front'.
    bit_mm : float or None
        Diameter of the bit; None where the stock is not known.
    """

    member: str
    stock: str | None
    holes: int
    first_faces: tuple[int, ...]
    other_faces: tuple[int, ...]
    looks: str
    bit_mm: float | None


@dataclass(frozen=True)
class DrillList:
    """All holes of a frame's members.

    Attributes
    ----------
    pitch_mm : float
    members : tuple of DrilledMember
    only_used : bool
        Whether holes without a bolt are left out.
    """

    pitch_mm: float
    members: tuple[DrilledMember, ...]
    only_used: bool

    def place_mm(self, hole: int) -> float:
        """From the member's end at hole 1 to the middle of a hole, counted from 0, mm."""
        return round((hole + 0.5) * self.pitch_mm, 3)

    @property
    def longest(self) -> int:
        """Holes of the longest member."""
        return max((m.holes for m in self.members), default=0)


def drill_list(
    frame: Frame,
    stocks: Mapping[str, Stock],
    only_used: bool = False,
    z_up: bool = True,
    only: Collection[str] | None = None,
) -> DrillList:
    """Which holes of which member are to be drilled, through which faces.

    Through holes are alike from both sides, so that a member may be turned about its length: faces 1 and 3
    are those with more of the holes that hold a bolt.

    Parameters
    ----------
    frame : Frame
    stocks : mapping of str to Stock
    only_used : bool
        Leave out holes that hold no bolt; else all holes are drilled through both pairs of faces.
    z_up : bool
        Whether +z is up, so that the frame's sides have names.
    only : collection of str, optional
        Ids of the members to drill; all where None.

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.stock import load_stocks
    >>> pair = (
    ...     Member("A", (0, 0, 0), (0, 0, 1), 8, stock="softwood-38"),
    ...     Member("B", (-2, -1, 3), (1, 0, 0), 6, stock="softwood-38"),
    ... )
    >>> made = drill_list(Frame(pair, find_joints(pair), 38.1), load_stocks(), only_used=True)
    >>> [(m.member, m.first_faces, m.other_faces, m.looks) for m in made.members], made.place_mm(0)
    ([('A', (3,), (), 'front'), ('B', (2,), (), 'front')], 19.05)
    """
    pitch_mm = known_pitch_mm(frame, "no hole can be marked out")
    sides = Sides(frame.members, z_up)
    axes: dict[str, list[tuple[int, np.ndarray]]] = {m.id: [] for m in frame.members}
    for bolt in all_bolts(frame):
        for id, hole in bolt.through:
            axes[id].append((hole, np.asarray(bolt.axis, float)))
    members = tuple(
        _drilled(m, axes[m.id], stock_of(m, stocks), only_used, sides)
        for m in frame.members
        if only is None or m.id in only
    )
    return DrillList(pitch_mm, members, only_used)


def _drilled(
    member: Member,
    bolts: Sequence[tuple[int, np.ndarray]],
    stock: Stock | None,
    only_used: bool,
    sides: Sides,
) -> DrilledMember:
    u, v = (np.asarray(axis, float) for axis in section_axes(member))
    along_u = sorted({hole for hole, axis in bolts if abs(axis @ u) > abs(axis @ v)})
    along_v = sorted({hole for hole, axis in bolts if abs(axis @ v) >= abs(axis @ u)})
    first, other, normal = (along_u, along_v, u) if len(along_u) >= len(along_v) else (along_v, along_u, v)
    every = list(range(member.holes))
    # Of the two faces the one that looks to the front, the left or the top, as one stands before the frame.
    looks = min((sides.nearest(normal), sides.nearest(-normal)), key=lambda name: (_FIRST.get(name, 3), name))
    return DrilledMember(
        member.id,
        member.stock,
        member.holes,
        tuple(first if only_used else every),
        tuple(other if only_used else every),
        looks,
        stock.hole_mm if stock else None,
    )


_FIRST = {"front": 0, "left": 1, "top": 2}


def undrilled(cuts: CutList) -> set[str] | None:
    """Ids of the members that come from sticks that are not drilled; None where no stick is like that."""
    blank = [stick for plan in cuts.plans for stick in plan.sticks if not stick.holes_mm]
    return {piece.member for stick in blank for piece in stick.pieces} if blank else None


def drill_rows(drills: DrillList) -> list[tuple[str, ...]]:
    """A row for members that are drilled alike: labels, length, holes through each pair of faces, bit."""
    groups: dict[tuple, list[str]] = {}
    for m in drills.members:
        looks = m.looks if drills.only_used else ""
        groups.setdefault((m.holes, m.first_faces, m.other_faces, m.bit_mm, looks), []).append(m.member)
    return [
        (
            " ".join(ids),
            str(holes),
            _hole_words(first, holes),
            _hole_words(other, holes),
            "not known" if bit is None else bit_words(bit),
            looks,
        )
        for (holes, first, other, bit, looks), ids in groups.items()
    ]


def _hole_words(holes: Sequence[int], of: int) -> str:
    if len(holes) == of:
        return f"all, 1 to {of}"
    return ", ".join(str(hole + 1) for hole in holes) or "none"


def bit_words(bit_mm: float) -> str:
    """'9.5 mm (3/8 in)': an inch size only where a bit of it is as large to a tenth of a millimetre."""
    sixty_fourths = round(bit_mm / 25.4 * 64)
    if abs(sixty_fourths / 64 * 25.4 - bit_mm) > 0.1:
        return mm_text(bit_mm)
    top, bottom = sixty_fourths, 64
    while top % 2 == 0 and bottom > 1:
        top, bottom = top // 2, bottom // 2
    return f"{mm_text(bit_mm)} ({top}/{bottom} in)"


def place_rows(drills: DrillList) -> list[tuple[str, str, str]]:
    """For each hole number, from 1, its place from the end at hole 1: in mm, and in inches and fractions."""
    places = [(hole, drills.place_mm(hole)) for hole in range(drills.longest)]
    return [(str(hole + 1), tenth_text(mm), fine_inch_text(mm)) for hole, mm in places]


def tenth_text(mm: float) -> str:
    """Millimetres to a tenth, without the unit.

    >>> tenth_text(57.15), tenth_text(95.25), tenth_text(743.0)
    ('57.2', '95.3', '743')
    """
    return mm_text(mm).removesuffix(" mm")


def how_to_drill(drills: DrillList) -> list[str]:
    """Sentences that say how to mark out and drill."""
    half = drills.pitch_mm / 2
    bits = sorted({m.bit_mm for m in drills.members if m.bit_mm})
    label = (
        "Cut each member to its length first. Write its label on one face near one end: that is face 1, and "
        "the end where hole 1 is. Held with that end towards you, faces 2, 3 and 4 follow clockwise."
    )
    mark = (
        "Mark every hole from that one end, never from hole to hole, so that errors do not add up: the first "
        f"is half a pitch in, {mm_text(half)} ({fine_inch_text(half)}), each in the middle of the face."
    )
    drill = (
        "Drill through faces 1 and 3 and through faces 2 and 4 as the list says. A long bit wanders: mark "
        "both faces, drill from each to the middle, and let the bit run through once."
    )
    bit = [f"Bit: {listed(map(bit_words, bits))}; try it on waste with a bolt first."] if bits else []
    return [label, mark, drill, *bit]


def drill_csv(drills: DrillList) -> str:
    """A row for each hole."""
    rows = []
    for m in drills.members:
        for hole in sorted({*m.first_faces, *m.other_faces}):
            mm = drills.place_mm(hole)
            through = ("yes" if hole in faces else "no" for faces in (m.first_faces, m.other_faces))
            rows.append((m.member, m.stock, hole + 1, mm, fine_inch_text(mm), *through, m.bit_mm))
    return csv_text(CSV_COLUMNS, rows)


def drill_text(drills: DrillList) -> str:
    """The list for a terminal."""
    lines = ["Marking out and drilling", "", *(f"  - {text}" for text in how_to_drill(drills)), ""]
    lines += [f"  hole {n}: {mm} mm, {inches}" for n, mm, inches in place_rows(drills)]
    lines.append("")
    for ids, holes, first, other, bit, looks in drill_rows(drills):
        face = f"; face 1 looks to the {looks}" if looks else ""
        lines.append(
            f"  {ids} ({holes} holes): faces 1 and 3: {first}; faces 2 and 4: {other}; bit {bit}{face}"
        )
    return "\n".join(lines) + "\n"
