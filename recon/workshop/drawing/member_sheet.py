"""A member with its four faces unrolled: every hole with its number, and the laps where their bolts are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from recon.frame.length import both_text
from recon.frame.model import Frame, Member, axis_of, section_axes
from recon.workshop.drawing.vector import FINE, OUTLINE, Area, Disc, Item, Lines, Sheet, Text, text_width
from recon.workshop.hardware.bolts import Bolt
from recon.workshop.sides import Sides
from recon.workshop.wording import plural

LETTERS = 2.2  # mm, size of hole numbers and tags; 6 points are 2.12 mm
TITLE, NAMES = 3.2, 2.4  # mm, sizes of the title and of the names of faces
ASIDE = 22.0  # mm left of the faces, for their names
WIDEST, NARROWEST = 9.0, 4.2  # mm per pitch: no larger than needed, and room for two figures
FACE = 7.6  # mm, height of a face: for a hole with a tag over or under it, clear of the lines
HEAD, NUMBERS, GAP = 5.2, 3.6, 2.0  # mm: for the title, for a row of numbers, between rows
ROW, ROWS = NUMBERS + 4 * FACE + GAP, 5  # mm of a row, and rows to a sheet: less than a page


@dataclass(frozen=True)
class _Lap:
    """What lies on a face of a member at one of its holes: another member's id and its hole from 0.

    Of a fitting the label alone, and no hole.
    """

    member: str
    hole: int | None = None

    @property
    def tag(self) -> str:
        """'C3', with holes counted from 1; of a fitting 'F1'."""
        return self.member if self.hole is None else f"{self.member}{self.hole + 1}"


@dataclass(frozen=True)
class UnrolledFaces:
    """The four faces of a member, each the neighbour of the one before.

    Attributes
    ----------
    names : tuple of str
        'front', 'top', ... as they are in the finished frame.
    bolts : tuple of dict of int to _Lap or None
        Of each face: hole, counted from 0, that a bolt comes out of there -> what lies on it there, or None.
    """

    names: tuple[str, ...]
    bolts: tuple[dict[int, _Lap | None], ...]


def unrolled(member: Member, frame: Frame, bolts: Sequence[Bolt], sides: Sides) -> UnrolledFaces:
    """The faces of a member with the bolts through them.

    Parameters
    ----------
    member : Member
    frame : Frame
    bolts : sequence of Bolt
        Those that go through the member, at least.
    sides : Sides
        Of the frame.

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> from recon.workshop.hardware.bolts import find_bolts
    >>> pair = Member("A", (0, 0, 0), (0, 0, 1), 8), Member("B", (-2, -1, 3), (1, 0, 0), 6)
    >>> frame = Frame(pair, find_joints(pair))
    >>> faces = unrolled(pair[0], frame, find_bolts(frame), Sides(pair))
    >>> {n: [h + 1 for h in b] for n, b in zip(faces.names, faces.bolts) if b}
    {'back': [4], 'front': [4]}
    """
    u, v = section_axes(member)
    normals = (u, v, -u, -v)
    found: list[dict[int, _Lap | None]] = [{} for _ in normals]
    for bolt in bolts:
        place = next((k for k, (id, _) in enumerate(bolt.through) if id == member.id), None)
        if place is None:
            continue
        hole = bolt.through[place][1]
        for step in (-1, 1):
            out = step * np.asarray(bolt.axis, float)
            face = int(np.argmax([float(out @ n) for n in normals]))
            beside = place + step
            there = bolt.through[beside] if 0 <= beside < len(bolt.through) else None
            beyond = _Lap(bolt.fitting.id) if bolt.fitting and step < 0 else None
            found[face][hole] = _Lap(*there) if there else beyond
    return UnrolledFaces(tuple(sides.nearest(n) for n in normals), tuple(found))


def member_sheets(
    member: Member, frame: Frame, bolts: Sequence[Bolt], sides: Sides, width: float, stock: str = ""
) -> list[Sheet]:
    """A member's faces one under another, hole 1 at the left.

    A black hole takes a bolt to the member that its tag names; a ringed one is where that bolt comes out or
    goes in on the other side.  Long members go on in further rows, and further sheets.

    Parameters
    ----------
    member : Member
    frame : Frame
    bolts : sequence of Bolt
        Those that go through the member, at least.
    sides : Sides
        Of the frame.
    width : float
        Of the sheets, mm.
    stock : str
        What the member is made of, for its title.
    """
    room = width - ASIDE - 1
    rows = -(-member.holes // int(room // NARROWEST))
    per_row = -(-member.holes // rows)
    step = min(WIDEST, room / per_row)
    faces = unrolled(member, frame, bolts, sides)
    title = _title(member, frame, sides, stock)
    sheets = []
    for start in range(0, rows, ROWS):
        here = range(start, min(start + ROWS, rows))
        height = HEAD + len(here) * ROW
        items: list[Item] = [Text((0.0, height - TITLE), title, TITLE, "start", True)]
        for k, row in enumerate(here):
            holes = range(row * per_row, min((row + 1) * per_row, member.holes))
            items += _row(faces, holes, step, height - HEAD - k * ROW)
        sheets.append(Sheet(width, height, tuple(items), f"Member {member.id}"))
    return sheets


def _title(member: Member, frame: Frame, sides: Sides, stock: str) -> str:
    length = f", {both_text(member.holes * frame.pitch_mm)}" if frame.pitch_mm else ""
    way = np.asarray(member.direction, float)
    slant = ", at an angle" if axis_of(member) is None else ""
    what = f"{plural(member.holes, 'hole')}{length}{', ' + stock if stock else ''}{slant}"
    return f"{member.id}: {what}; hole 1 at {sides.nearest(-way)}"


def _row(faces: UnrolledFaces, holes: range, step: float, top: float) -> list[Item]:
    """Some of the holes of all four faces, below y = `top`."""
    items: list[Item] = []
    right = ASIDE + len(holes) * step
    at = {hole: ASIDE + (k + 0.5) * step for k, hole in enumerate(holes)}
    for hole, x in at.items():
        items.append(Text((x, top - NUMBERS / 2), str(hole + 1), LETTERS, mark=True))
    for k, (name, bolts) in enumerate(zip(faces.names, faces.bolts)):
        low = top - NUMBERS - (k + 1) * FACE
        box = ((ASIDE, low), (right, low), (right, low + FACE), (ASIDE, low + FACE))
        items += [Area(box, 1.0, FINE), Text((ASIDE - 2, low + FACE / 2), name, NAMES, "end")]
        taken = -1e9
        for hole, x in at.items():
            y, tag = low + FACE / 2, ""
            if hole in bolts:
                lap = bolts[hole]
                tag = lap.tag if lap else ""
            items += _hole((x, y), hole in bolts, bool(tag), min(1.3, 0.3 * step))
            if tag:
                half = text_width(tag, LETTERS) / 2
                up = x - half <= taken
                items.append(Text((x, y + (2.3 if up else -2.3)), tag, LETTERS, mark=True))
                taken = taken if up else x + half
    low = top - NUMBERS - 4 * FACE
    outline = ((ASIDE, low), (right, low), (right, top - NUMBERS), (ASIDE, top - NUMBERS))
    return [*items, Area(outline, "none", OUTLINE)]


def _hole(at: tuple[float, float], bolted: bool, lapped: bool, radius: float) -> list[Item]:
    """A hole: open, with a bolt to another member, or where only the bolt's head or nut is."""
    if not bolted:
        return [Disc(at, 0.7 * radius, "white", FINE)]
    if lapped:
        return [Disc(at, radius, "black", FINE)]
    x, y = at
    cross = ((x - radius, y), (x + radius, y)), ((x, y - radius), (x, y + radius))
    return [Disc(at, radius, "white", OUTLINE), Lines(cross, FINE)]


def bolts_by_member(bolts: Sequence[Bolt]) -> Mapping[str, list[Bolt]]:
    """The bolts through each member, by its id."""
    found: dict[str, list[Bolt]] = {}
    for bolt in bolts:
        for id, _ in bolt.through:
            found.setdefault(id, []).append(bolt)
    return found


MEMBER_NOTE = (
    "Each member's four faces side by side, as if they were unrolled, under the numbers of its holes. Faces "
    "are named as they are in the finished frame. Black: a bolt goes in here to the member and hole, or to "
    "the fitting, that the tag names. Ring with a cross: the same bolt's head or nut, on the other side. "
    "White: no bolt."
)
