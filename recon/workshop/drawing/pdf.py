"""Typefaces, text and drawings in PDF.

The typefaces are those that matplotlib ships (Latin, Greek, Cyrillic and more).  Chinese, Japanese and Korean
letters are set in those that PDF readers bring for them (ISO 32000-1, 9.7.5: predefined CMaps); what none has
becomes U+FFFD.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from itertools import groupby
from pathlib import Path

import matplotlib
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.cidfonts import UnicodeCIDFont
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from recon.workshop.drawing.vector import (
    CAP,
    HATCH,
    Area,
    Disc,
    Item,
    Lines,
    Pen,
    Point,
    Sheet,
    Text,
    hatching,
)

SANS, BOLD, MARK, MARK_BOLD = "Frame-Sans", "Frame-Sans-Bold", "Frame-Mono", "Frame-Mono-Bold"
_FILES = {
    SANS: "DejaVuSans",
    BOLD: "DejaVuSans-Bold",
    MARK: "DejaVuSansMono",
    MARK_BOLD: "DejaVuSansMono-Bold",
}
_HANGUL, _KANA, _HAN = "HYSMyeongJo-Medium", "HeiseiKakuGo-W5", "STSong-Light"
UNKNOWN = "\ufffd"


@cache
def faces() -> dict[str, frozenset[int]]:
    """Registers the typefaces, once; the code points that each has."""
    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    known = {}
    for name, file in _FILES.items():
        face = TTFont(name, str(folder / f"{file}.ttf"))
        pdfmetrics.registerFont(face)
        known[name] = frozenset(face.face.charToGlyph)
    pdfmetrics.registerFontFamily(SANS, normal=SANS, bold=BOLD, italic=SANS, boldItalic=BOLD)
    for name in (_HANGUL, _KANA, _HAN):
        pdfmetrics.registerFont(UnicodeCIDFont(name))
    return known


def runs(text: str, face: str) -> list[tuple[str, str]]:
    """The text in stretches of one typeface each: (typeface, stretch).

    Examples
    --------
    >>> runs("A 12", SANS)
    [('Frame-Sans', 'A 12')]
    """
    known = faces()[face]
    text = "".join(c if c.isprintable() else " " if c.isspace() else UNKNOWN for c in text)
    if all(ord(c) in known for c in text):
        return [(face, text)] if text else []
    japanese = any(0x3040 <= ord(c) <= 0x30FF for c in text)

    def face_of(c: str) -> str:
        code = ord(c)
        if code in known:
            return face
        if 0xAC00 <= code <= 0xD7A3:
            return _HANGUL
        if 0x3000 <= code <= 0x9FFF or 0xFF00 <= code <= 0xFFEF:
            return _KANA if japanese else _HAN
        return ""

    parts = [(name, "".join(group)) for name, group in groupby(text, face_of)]
    return [(name, part) if name else (face, UNKNOWN * len(part)) for name, part in parts]


def width_of(text: str, face: str, size: float) -> float:
    """Width of a line of text, in the unit of `size`."""
    return sum(pdfmetrics.stringWidth(part, name, size) for name, part in runs(text, face))


def draw_text(
    canvas: Canvas, x: float, y: float, text: str, face: str, size: float, anchor: str = "start"
) -> None:
    """A line of text on the canvas.

    Parameters
    ----------
    canvas : Canvas
    x, y : float
        Its start, middle or end, as `anchor` says, and its baseline, points.
    text, face : str
    size : float
        Points.
    anchor : str
        "start", "middle" or "end".
    """
    if anchor != "start":
        x -= width_of(text, face, size) * (0.5 if anchor == "middle" else 1.0)
    for name, part in runs(text, face):
        canvas.setFont(name, size)
        canvas.drawString(x, y, part)
        x += pdfmetrics.stringWidth(part, name, size)


def draw_sheet(canvas: Canvas, sheet: Sheet) -> None:
    """The drawing with its lower left corner at the canvas' origin."""
    canvas.saveState()
    canvas.setLineCap(1)
    canvas.setLineJoin(1)
    for item in sheet.items:
        _draw(canvas, item)
    canvas.restoreState()


def _draw(canvas: Canvas, item: Item) -> None:
    match item:
        case Lines():
            _lines(canvas, item)
        case Disc():
            _disc(canvas, item)
        case Area():
            _area(canvas, item)
        case Text():
            _text(canvas, item)


def _take(canvas: Canvas, pen: Pen) -> None:
    canvas.setLineWidth(pen.width * mm)
    canvas.setStrokeGray(pen.grey)
    canvas.setDash([d * mm for d in pen.dash] if pen.dash else [])
    canvas.setLineCap(0 if pen.dash else 1)


def _lines(canvas: Canvas, item: Lines) -> None:
    _take(canvas, item.pen)
    # As PDF operators: a frame of 300 members has half a million lines, and the canvas' own path objects take
    # a minute.
    canvas.addLiteral("\n".join(_path(path) for path in item.paths) + " S")


def _path(points: Iterable[Point]) -> str:
    """A polyline as PDF operators: move to its first point, lines to the others."""
    first, *others = (f"{x * mm:.2f} {y * mm:.2f}" for x, y in points)
    return " ".join([f"{first} m", *(f"{at} l" for at in others)])


def _disc(canvas: Canvas, item: Disc) -> None:
    _take(canvas, item.pen)
    canvas.setFillGray(0.0 if item.fill == "black" else 1.0)
    canvas.circle(item.at[0] * mm, item.at[1] * mm, item.radius * mm, stroke=1, fill=int(item.fill != "none"))


def _area(canvas: Canvas, item: Area) -> None:
    if item.fill == "hatch":
        _lines(canvas, Lines(hatching(item.points), HATCH))
    filled = not isinstance(item.fill, str)
    if filled:
        canvas.setFillGray(item.fill)
    if item.pen is not None:
        _take(canvas, item.pen)
    # Operators of ISO 32000-1, 8.5.3: close with fill, stroke, both or neither.
    ending = ("b" if filled else "s") if item.pen is not None else ("h f" if filled else "n")
    canvas.addLiteral(f"{_path(item.points)} {ending}")


def _text(canvas: Canvas, item: Text) -> None:
    if item.plate:
        left, bottom, right, top = item.box
        canvas.setFillGray(1.0)
        canvas.rect(left * mm, bottom * mm, (right - left) * mm, (top - bottom) * mm, stroke=0, fill=1)
    canvas.setFillGray(0.0)
    face = (MARK_BOLD if item.bold else MARK) if item.mark else (BOLD if item.bold else SANS)
    x, y = item.at[0] * mm, (item.at[1] - item.size * CAP / 2) * mm
    draw_text(canvas, x, y, item.text, face, item.size * mm, item.anchor)
