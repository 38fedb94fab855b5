"""Blocks of the papers as flowing content of a PDF."""

from __future__ import annotations

import io
from collections.abc import Sequence
from html import escape

from reportlab.lib.colors import black, white
from reportlab.lib.enums import TA_LEFT, TA_RIGHT
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.platypus import (
    Flowable,
    Image,
    KeepTogether,
    LongTable,
    PageBreak,
    Spacer,
    TableStyle,
)
from reportlab.platypus import Paragraph as Para
from reportlab.platypus import Table as Grid

from recon.workshop.drawing.pdf import BOLD, MARK, SANS, draw_sheet, runs, width_of
from recon.workshop.drawing.vector import Sheet
from recon.workshop.papers import blocks as doc

SIZE, CELL = 9.5, 8.5  # points
TICK = 6 * mm  # width of the column of boxes to tick
SHORT_TABLE = 8  # rows of a table that is not broken over pages
LEAST_ROWS = 3  # rows of a longer one that stay together at the end of a page and at the top of the next


class SheetFlowable(Flowable):
    """A drawing, made smaller where the page is."""

    def __init__(self, sheet: Sheet) -> None:
        super().__init__()
        self.sheet, self.share = sheet, 1.0

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Its size in a space of so many points, made smaller to fit; points."""
        across, up = self.sheet.width * mm, self.sheet.height * mm
        self.share = min(1.0, (width + 0.01) / across, (height + 0.01) / up)
        return self.share * self.sheet.width * mm, self.share * self.sheet.height * mm

    def draw(self) -> None:
        """Draw it on the canvas at the present place."""
        self.canv.scale(self.share, self.share)
        draw_sheet(self.canv, self.sheet)


class _TickBox(Flowable):
    """A square to tick."""

    def wrap(self, *_):
        return 3 * mm, 3 * mm

    def draw(self):
        self.canv.setLineWidth(0.6)
        self.canv.rect(0, -0.3 * mm, 2.8 * mm, 2.8 * mm)


class _Rows(LongTable):
    """A table that leaves no single row behind on a page, or alone on the next one."""

    def split(self, width: float, height: float) -> list[Flowable]:
        parts = super().split(width, height)
        if len(parts) == 2 and parts[1]._nrows - self.repeatRows < LEAST_ROWS < self._nrows - self.repeatRows:
            less = sum(self._rowHeights[: self._nrows - LEAST_ROWS])
            shorter = super().split(width, less + 0.01)
            return [shorter[0], PageBreak(), shorter[1]] if len(shorter) == 2 else parts
        return parts


# Styles


def _style(name: str, size: float = SIZE, **more: object) -> ParagraphStyle:
    return ParagraphStyle(
        name, fontName=SANS, fontSize=size, leading=1.32 * size, alignment=TA_LEFT, splitLongWords=1, **more
    )


_TEXT = _style("text", spaceAfter=1.6 * mm)
_NOTE = _style("note", 8.0, spaceAfter=1.2 * mm)
_LIST = _style("list", leftIndent=5 * mm, bulletIndent=0.6 * mm, spaceAfter=0.9 * mm)
_CAUTION = _style(
    "caution",
    borderColor=black,
    borderWidth=1.2,
    borderPadding=(2.2 * mm, 3 * mm, 2.2 * mm, 3 * mm),
    leftIndent=3 * mm,
    rightIndent=3 * mm,
    spaceBefore=5 * mm,
    spaceAfter=5 * mm,
)
_TITLE = ParagraphStyle("title", fontName=BOLD, fontSize=20, leading=25, spaceAfter=2 * mm)
_SECTION = ParagraphStyle(
    "section", fontName=BOLD, fontSize=14, leading=18, spaceBefore=8 * mm, spaceAfter=2.5 * mm
)
_HEADING = ParagraphStyle(
    "heading", fontName=BOLD, fontSize=10.5, leading=14, spaceBefore=3.5 * mm, spaceAfter=1.2 * mm
)
_CELL, _RIGHT = _style("cell", CELL), ParagraphStyle("right", parent=_style("cell", CELL), alignment=TA_RIGHT)
_CELL_MARK = ParagraphStyle("mark", parent=_CELL, fontName=MARK)


def _para(text: str, style: ParagraphStyle, bullet: str | None = None) -> Para:
    parts = runs(text, style.fontName)
    markup = "".join(
        escape(part) if face == style.fontName else f'<font name="{face}">{escape(part)}</font>'
        for face, part in parts
    )
    return Para(markup, style, bulletText=bullet)


def title_flow(title: str, first: bool) -> Flowable:
    """The title of a section; that of the cover, the first, is larger."""
    return _para(title, _TITLE if first else _SECTION)


def block_flow(block: doc.Block, width: float) -> list[Flowable]:
    """A block as content of a PDF, `width` mm wide."""
    match block:
        case doc.Paragraph():
            return _paragraph(block)
        case doc.Heading():
            return [_para(block.text, _HEADING)]
        case doc.Table():
            return _table(block, width)
        case doc.Drawing():
            return [SheetFlowable(block.sheet), Spacer(1, 2 * mm)]
        case doc.Picture():
            return _picture(block, width)
        case doc.StepBlock():
            return _step(block, width)


def _paragraph(block: doc.Paragraph) -> list[Flowable]:
    if block.kind == "list":
        return [_para(block.text, _LIST, "\u2013")]
    return [_para(block.text, {"text": _TEXT, "note": _NOTE, "caution": _CAUTION}[block.kind])]


def _picture(block: doc.Picture, width: float) -> list[Flowable]:
    image = ImageReader(io.BytesIO(block.png))
    across, high = image.getSize()
    share = min(width / across, block.height_mm / high)
    return [Image(io.BytesIO(block.png), share * across * mm, share * high * mm), Spacer(1, 3 * mm)]


# Tables


def _table(block: doc.Table, width: float) -> list[Flowable]:
    """Columns as wide as their text, the widest made narrower until they fit.

    Only cells that do not fit are broken.
    """
    ticks = int(block.tick)
    widths = _fitted(_natural_widths(block), width * mm - ticks * TICK)
    body = [
        [_TickBox()] * ticks + [_cell(block, k, text, widths[k]) for k, text in enumerate(row)]
        for row in block.rows
    ]
    grid = _Rows(
        [[""] * ticks + list(block.columns), *body],
        [TICK] * ticks + widths,
        repeatRows=1,
        splitInRow=1,  # labels of a thousand like members fill more than a page
        hAlign="LEFT",
        style=_table_style(block, ticks),
    )
    return [grid, Spacer(1, 2.5 * mm)]


def _face(block: doc.Table, column: int) -> str:
    return MARK if column in block.marks else SANS


def _natural_widths(block: doc.Table) -> list[float]:
    """Of the columns with no cell broken, points."""
    return [
        max([width_of(heading, BOLD, CELL), *(width_of(row[k], _face(block, k), CELL) for row in block.rows)])
        + 4.2 * mm
        for k, heading in enumerate(block.columns)
    ]


def _cell(block: doc.Table, column: int, text: str, width: float) -> str | Para:
    """Plain text where it fits and is all in one typeface, which is quicker to set; else a paragraph."""
    face = _face(block, column)
    parts = runs(text, face)
    if width_of(text, face, CELL) + 3 * mm <= width and len(parts) <= 1:
        return "".join(part for _, part in parts)
    return _para(text, _CELL_MARK if face == MARK else _RIGHT if column in block.numbers else _CELL)


def _table_style(block: doc.Table, shift: int) -> TableStyle:
    """Of a table whose columns begin `shift` places further to the right."""
    style = [
        ("FONT", (0, 0), (-1, 0), BOLD, CELL),
        ("FONT", (0, 1), (-1, -1), SANS, CELL),
        ("LEADING", (0, 0), (-1, -1), CELL * 1.3),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 1),
        ("RIGHTPADDING", (0, 0), (-1, -1), 2.2 * mm),
        ("TOPPADDING", (0, 0), (-1, -1), 1.6),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.2),
        ("LINEBELOW", (0, 0), (-1, 0), 0.9, black),
        ("LINEBELOW", (0, 1), (-1, -1), 0.25, black),
    ]
    style += [("FONT", (k + shift, 1), (k + shift, -1), MARK, CELL) for k in block.marks]
    style += [("ALIGN", (k + shift, 0), (k + shift, -1), "RIGHT") for k in block.numbers]
    return TableStyle(style)


def _fitted(natural: Sequence[float], limit: float) -> list[float]:
    """Widths that together are no more than `limit`: one bound for all of them, as large as can be."""
    if sum(natural) <= limit:
        return list(natural)
    low, high = limit / len(natural), max(natural)
    for _ in range(40):
        bound = (low + high) / 2
        low, high = (bound, high) if sum(min(w, bound) for w in natural) <= limit else (low, bound)
    return [min(w, low) for w in natural]


# Steps


def _step(block: doc.StepBlock, width: float) -> list[Flowable]:
    words = [_para(block.title, _HEADING), *(f for line in block.lines for f in _paragraph(line))]
    beside = width - block.sheet.width - 4
    long = sum(f.wrap(beside * mm, 1e6)[1] for f in words) > 1.5 * block.sheet.height * mm
    picture = SheetFlowable(block.sheet)
    if long:
        return [KeepTogether([words[0], picture]), *words[1:], Spacer(1, 4 * mm)]
    grid = Grid(
        [[picture, words]],
        [(block.sheet.width + 4) * mm, beside * mm],
        hAlign="LEFT",
        style=TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (0, 0), (-1, -1), 0),
                ("TOPPADDING", (0, 0), (-1, -1), 0),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 0),
                ("LINEBELOW", (0, 0), (-1, -1), 0.25, black),
                ("BACKGROUND", (0, 0), (-1, -1), white),
            ]
        ),
    )
    return [grid, Spacer(1, 2.5 * mm)]
