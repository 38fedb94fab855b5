"""Typefaces, text and drawings in PDF.

The typefaces are those that matplotlib ships (Latin, Greek, Cyrillic and more).  Chinese, Japanese and Korean
letters are set in those that PDF readers bring for them (ISO 32000-1, 9.7.5: predefined CMaps); what none has
becomes U+FFFD.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache, lru_cache
from itertools import groupby
from pathlib import Path as FilePath
from weakref import WeakKeyDictionary

import matplotlib
from reportlab.lib.rl_accel import fp_str
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
    Path,
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


class _Face(TTFont):
    """A typeface that measures each text once: paragraphs measure the same words again and again."""

    def __init__(self, name: str, file: str) -> None:
        super().__init__(name, file)
        widths, default = self.face.charWidths, self.face.defaultWidth
        self._width = lru_cache(maxsize=8192)(lambda text: sum(widths.get(ord(c), default) for c in text))

    def stringWidth(self, text: str | bytes, size: float, encoding: str = "utf8") -> float:
        """Width of a text, in the unit of `size`."""
        return 0.001 * size * self._width(text if isinstance(text, str) else text.decode(encoding))


@cache
def faces() -> dict[str, frozenset[int]]:
    """Registers the typefaces, once; the code points that each has."""
    folder = FilePath(matplotlib.get_data_path()) / "fonts" / "ttf"
    known = {}
    for name, file in _FILES.items():
        face = _Face(name, str(folder / f"{file}.ttf"))
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
    return list(_runs(text, face))


@lru_cache(maxsize=8192)  # hole numbers and labels come again and again
def _runs(text: str, face: str) -> tuple[tuple[str, str], ...]:
    known = faces()[face]
    text = "".join(c if c.isprintable() else " " if c.isspace() else UNKNOWN for c in text)
    if all(ord(c) in known for c in text):
        return ((face, text),) if text else ()
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
    return tuple((name, part) if name else (face, UNKNOWN * len(part)) for name, part in parts)


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
    parts = runs(text, face)
    for name, part in parts:
        canvas.addLiteral(f"BT 1 0 0 1 {fp_str(x, y)} Tm{_shown(canvas, part, name, size)}")
        if len(parts) > 1:
            x += pdfmetrics.stringWidth(part, name, size)


# Of each canvas, what shows a text in a typeface and size: the same few come again and again.
_SHOWN: WeakKeyDictionary[Canvas, dict[tuple[str, str, float], str]] = WeakKeyDictionary()


def _shown(canvas: Canvas, text: str, face: str, size: float) -> str:
    """The operators that show a text of one typeface at the text's origin, and end the text object."""
    known = _SHOWN.setdefault(canvas, {})
    key = text, face, size
    if key not in known:
        canvas.setFont(face, size)
        written = canvas.beginText(0, 0)
        written.textLine(text)
        known[key] = written.getCode().removeprefix("BT 1 0 0 1 0 0 Tm")
    return known[key]


def draw_sheet(canvas: Canvas, sheet: Sheet) -> None:
    """The drawing with its lower left corner at the canvas' origin."""
    canvas.saveState()
    canvas.setLineCap(1)
    canvas.setLineJoin(1)
    _Drawing(canvas).draw(sheet.items)
    canvas.restoreState()


class _Drawing:
    """Items as PDF operators (ISO 32000-1, 8.4 and 8.5), written only where the graphics state changes.

    A frame of 300 members has half a million lines, and the canvas' own path objects take a minute.
    """

    def __init__(self, canvas: Canvas) -> None:
        self._canvas = canvas
        self._pen: Pen | None = None
        self._fill: float | None = None
        self._out: list[str] = []

    def draw(self, items: Iterable[Item]) -> None:
        """Draw the items in order."""
        for item in items:
            match item:
                case Lines():
                    self._lines(item)
                case Disc():
                    self._disc(item)
                case Area():
                    self._area(item)
                case Text():
                    self._text(item)
        self._write()

    def _write(self) -> None:
        if self._out:
            self._canvas.addLiteral("\n".join(self._out))
            self._out = []

    def _take(self, pen: Pen) -> None:
        if pen == self._pen:
            return
        dash = " ".join(f"{d * mm:.4g}" for d in pen.dash)
        cap = 0 if pen.dash else 1
        self._out.append(f"{pen.width * mm:.4g} w {pen.grey:.4g} G [{dash}] 0 d {cap} J")
        self._pen = pen

    def _fill_with(self, grey: float) -> None:
        if grey != self._fill:
            self._out.append(f"{grey:.4g} g")
            self._fill = grey

    def _lines(self, item: Lines) -> None:
        self._take(item.pen)
        self._out.append(_paths(item.paths) + " S")

    def _disc(self, item: Disc) -> None:
        self._take(item.pen)
        if item.fill != "none":
            self._fill_with(0.0 if item.fill == "black" else 1.0)
        self._out.append(f"{_circle(item.at, item.radius)} {'s' if item.fill == 'none' else 'b'}")

    def _area(self, item: Area) -> None:
        if item.fill == "hatch":
            self._lines(Lines(hatching(item.points), HATCH))
        grey = None if isinstance(item.fill, str) else item.fill
        if grey is not None:
            self._fill_with(grey)
        if item.pen is not None:
            self._take(item.pen)
        # Close with fill, stroke, both or neither.
        filled = grey is not None
        ending = ("b" if filled else "s") if item.pen is not None else ("h f" if filled else "n")
        self._out.append(f"{_paths([item.points])} {ending}")

    def _text(self, item: Text) -> None:
        if item.plate:
            left, bottom, right, top = (x * mm for x in item.box)
            self._fill_with(1.0)
            self._out.append(f"{left:.2f} {bottom:.2f} {right - left:.2f} {top - bottom:.2f} re f")
        self._fill_with(0.0)
        self._write()
        face = (MARK_BOLD if item.bold else MARK) if item.mark else (BOLD if item.bold else SANS)
        x, y = item.at[0] * mm, (item.at[1] - item.size * CAP / 2) * mm
        draw_text(self._canvas, x, y, item.text, face, item.size * mm, item.anchor)


def _paths(paths: Iterable[Path]) -> str:
    """Polylines as operators: move to the first point of each, lines to the others."""
    paths = list(paths)
    template = "\n".join([_polyline(len(path)) for path in paths])
    return template % tuple([c * mm for path in paths for point in path for c in point])


@lru_cache(maxsize=64)
def _polyline(points: int) -> str:
    return _MOVE + _LINE * (points - 1)


_MOVE, _LINE = "%.2f %.2f m", " %.2f %.2f l"
_CURVES = _MOVE + 4 * " %.2f %.2f %.2f %.2f %.2f %.2f c"
# A quarter of a circle as a Bezier curve has its inner points this share of the radius away, which is off by
# less than 0.03 % of it: 4/3 (sqrt 2 - 1).
_BEND = 4 / 3 * (2**0.5 - 1)


def _circle(at: Point, radius: float) -> str:
    """A circle as operators: four curves from its right."""
    x, y, r = at[0] * mm, at[1] * mm, radius * mm
    left, right, low, high, k = x - r, x + r, y - r, y + r, _BEND * r
    return _CURVES % (
        *(right, y, right, y + k, x + k, high, x, high, x - k, high, left, y + k, left, y),
        *(left, y - k, x - k, low, x, low, x + k, low, right, y - k, right, y),
    )
