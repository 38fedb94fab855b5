"""Sticks with their cuts, drawn to scale: what a cut list shows."""

from __future__ import annotations

from collections.abc import Sequence

from recon.frame.length import both_text, fine_inch_text, mm_text
from recon.workshop.cutting.lay_out import CutStick
from recon.workshop.drawing.vector import (
    FINE,
    OUTLINE,
    Area,
    Disc,
    Item,
    Lines,
    Pen,
    Point,
    Sheet,
    Text,
    text_width,
)
from recon.workshop.wording import plural

MARGIN, ROW, BAR = 3.0, 18.5, 6.0  # mm: beside the longest stick, from stick to stick, height of a stick
TEXT, SMALL = 2.7, 2.2  # mm; 6 points are 2.12 mm
SAW = Pen(0.5)


def sticks_sheet(
    sticks: Sequence[CutStick], width: float, first_number: int = 1, longest_mm: float | None = None
) -> Sheet:
    """The sticks one under another.

    Pieces carry the member's label and its number of holes; a thick line with a triangle is a cut, with its
    distance from the left end and the hole after which it comes (`marks_words`); what is hatched is left
    over.

    Parameters
    ----------
    sticks : sequence of CutStick
    width : float
        Of the sheet, mm.
    first_number : int
        Of the first stick.
    longest_mm : float, optional
        Length that takes the whole width; by default that of the longest.

    Examples
    --------
    >>> from recon.workshop.cutting.lay_out import lay_out_stick
    >>> from recon.workshop.parts.rack import OwnedStick
    >>> stick = lay_out_stick(OwnedStick("softwood-38", 381.0), True, [("A", 4), ("B", 6)], 38.1, 3.2)
    >>> sheet = sticks_sheet([stick], 180.0)
    >>> sheet.width, sheet.height
    (180.0, 18.5)
    """
    scale = (width - 2 * MARGIN) / (longest_mm or max((s.length_mm for s in sticks), default=1.0))
    height = ROW * len(sticks)
    items: list[Item] = []
    for k, stick in enumerate(sticks):
        items += _stick(stick, first_number + k, height - ROW * k, scale, width)
    return Sheet(width, height, tuple(items), "Sticks with their cuts")


def marks_words(sticks: Sequence[CutStick]) -> str:
    """What the numbers, the triangles and the hatching in the picture mean."""
    drilled, blank = (
        any(bool(s.after_hole) == state and s.cuts_mm for s in sticks) for state in (True, False)
    )
    numbers = "millimetres and inches" if blank else "millimetres"
    holes = " | the number of holes to its left" if drilled else ""
    kerf = " A triangle points to the side of the line on which the kerf lies." if blank else ""
    return f"At each line to saw: {numbers} from the stick's left end{holes}.{kerf} Hatched: left over."


def _stick(stick: CutStick, number: int, top: float, scale: float, width: float) -> list[Item]:
    y = top - 6.0 - BAR

    def box(start: float, end: float) -> tuple[Point, ...]:
        corners = ((start, 0.0), (end, 0.0), (end, BAR), (start, BAR))
        return tuple((MARGIN + x * scale, y + dy) for x, dy in corners)

    items: list[Item] = [
        Text((MARGIN, top - 2.6), _title(stick, number), TEXT, "start", True),
        Area(box(0, stick.length_mm), "hatch", None),
    ]
    items += [Area(box(p.start_mm, p.end_mm), 1.0, FINE) for p in stick.pieces]
    step = stick.holes_mm[1] - stick.holes_mm[0] if len(stick.holes_mm) > 1 else 0.0
    radius = min(0.5, 0.28 * scale * step)
    items += [Disc((MARGIN + x * scale, y + 1.3), radius, "white", Pen(0.12)) for x in stick.holes_mm]
    items += [
        _label(p.member, p.holes, MARGIN + p.start_mm * scale, MARGIN + p.end_mm * scale, y)
        for p in stick.pieces
    ]
    items.append(Area(box(0, stick.length_mm), "none", OUTLINE))
    return items + _cuts(stick, y, scale, width)


def _title(stick: CutStick, number: int) -> str:
    where = "from the rack" if stick.owned else "to buy"
    title = f"{number}   {stick.stock}, {both_text(stick.length_mm)}, {where}"
    if stick.offcut_mm > 1:
        holes = f", {plural(stick.offcut_holes, 'hole')}" if stick.offcut_holes else ""
        title += f"; left over {mm_text(stick.offcut_mm)}{holes}"
    return title


def _label(member: str, holes: int, left: float, right: float, y: float) -> Text:
    """The member and its length as far as there is room, else the label alone."""
    at = ((left + right) / 2, y + 3.8)
    for text in (f"{member}: {plural(holes, 'hole')}", f"{member}: {holes}", f"{member}:{holes}"):
        if text_width(text, TEXT) <= right - left - 0.6:
            return Text(at, text, TEXT, "middle", True, False, True)
    size = min(TEXT, max((right - left - 0.4) / text_width(member, 1.0), SMALL))
    return Text(at, member, size, "middle", True, False, True)


def _cuts(stick: CutStick, y: float, scale: float, width: float) -> list[Item]:
    """A line and a triangle for each cut, with its numbers under it, within the sheet's `width`."""
    marks = stick.lines_mm or stick.cuts_mm
    sides = stick.sides or (0,) * len(marks)
    places = [MARGIN + mark * scale for mark in marks]
    texts = [mm_text(mark).removesuffix(" mm") for mark in marks]
    if stick.after_hole:
        # Where the cuts are too close together for both numbers, the count of holes: it is what the saw goes
        # by.
        full = [f"{text} | {hole}" for text, hole in zip(texts, stick.after_hole)]
        short = [f"| {hole}" for hole in stick.after_hole]
        texts = full if _lines(places, full)[1] else short
    else:
        full = [f"{text} ({fine_inch_text(mark)})" for text, mark in zip(texts, marks)]
        texts = full if _lines(places, full)[1] else texts
    items: list[Item] = []
    for x, text, side, line in zip(places, texts, sides, _lines(places, texts)[0]):
        arrow = ((x, y - 0.5), (x - 0.9, y - 2), (x + 0.9, y - 2))
        if side:
            arrow = ((x, y - 0.5), (x, y - 2), (x + 1.6 * side, y - 1.25))
        items += [Lines((((x, y - 0.8), (x, y + BAR + 0.8)),), SAW), Area(arrow, 0.0, None)]
        half = text_width(text, SMALL) / 2
        inside = min(max(x, half), width - half)
        items.append(Text((inside, y - 3.4 - 2.3 * line), text, SMALL))
    return items


def _lines(places: Sequence[float], texts: Sequence[str]) -> tuple[list[int], bool]:
    """The line of each text, 0 or 1, so that it does not touch the one before; whether that came out."""
    lines, ends, free = [], [-1e9, -1e9], True
    for x, text in zip(places, texts):
        half = text_width(text, SMALL) / 2
        line = 0 if x - half > ends[0] + 0.5 else 1
        free &= x - half > ends[line]
        ends[line] = x + half
        lines.append(line)
    return lines, free
