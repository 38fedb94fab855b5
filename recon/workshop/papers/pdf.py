"""Papers as PDF: a cover, sections that start a page each, drawings on pages of their own."""

from __future__ import annotations

import io
from html import escape

from reportlab import rl_config
from reportlab.lib.colors import black, white
from reportlab.lib.enums import TA_LEFT, TA_RIGHT
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    Image,
    KeepTogether,
    LongTable,
    NextPageTemplate,
    PageBreak,
    PageTemplate,
    Spacer,
    TableStyle,
)
from reportlab.platypus import Paragraph as Para
from reportlab.platypus import Table as Grid

from recon.workshop.drawing.pdf import BOLD, MARK, SANS, draw_sheet, draw_text, faces, runs, width_of
from recon.workshop.drawing.view_sheet import PAPERS
from recon.workshop.papers import blocks as doc

SIDE, TOP, FOOT = 14.0, 17.0, 16.0  # mm of margin; ISO 5457 and binders want 10 to 20
ROOM = 130.0  # mm left on a page for which a section begins there
SIZE, CELL = 9.5, 8.5  # points


def print_area(paper: str, turned: bool = False) -> tuple[float, float]:
    """Width and height inside the margins of a page, mm; `turned` lies on its long side."""
    width, height = PAPERS[paper][:: -1 if turned else 1]
    return width - 2 * SIDE, height - TOP - FOOT


def papers_pdf(papers: doc.Document) -> bytes:
    """The PDF file.  Two calls with the same papers give the same bytes."""
    faces()
    out = io.BytesIO()
    template = BaseDocTemplate(
        out, pagesize=_page(papers.paper), title=papers.title, author="", invariant=1, lang="en"
    )
    template.addPageTemplates(
        [
            PageTemplate(
                "upright",
                [_frame(papers.paper, False)],
                onPageEnd=_margins(papers),
                pagesize=_page(papers.paper),
            ),
            PageTemplate(
                "turned",
                [_frame(papers.paper, True)],
                onPageEnd=_margins(papers),
                pagesize=_page(papers.paper)[::-1],
            ),
        ]
    )
    story = []
    for k, section in enumerate(papers.sections):
        last = papers.sections[k - 1].blocks[-1:]
        story += _section(
            section,
            papers.paper,
            k == 0,
            k < 2 or any(isinstance(b, doc.Drawing) and b.whole_page for b in last),
        )
    as_text, rl_config.useA85 = (
        rl_config.useA85,
        0,
    )  # pages as bytes: as text they take a fifth more room, and long to write
    try:
        template.build(story, canvasmaker=_Counting)
    finally:
        rl_config.useA85 = as_text
    return out.getvalue()


def _page(paper: str) -> tuple[float, float]:
    width, height = PAPERS[paper]
    return width * mm, height * mm


def _frame(paper: str, turned: bool) -> Frame:
    width, height = print_area(paper, turned)
    return Frame(SIDE * mm, FOOT * mm, width * mm, height * mm, 0, 0, 0, 0)


class _Counting(Canvas):
    """A canvas that knows at its end how many pages it has; each page shows that by a form.

    begun : titles of the sections that begin on this page.   under_way : of the one that goes on from the page before.
    """

    begun: list[str] = []
    under_way: list[str] = []

    def save(self):
        self.beginForm("pages")
        draw_text(self, 0, 0, str(self.getPageNumber() - 1), SANS, 8)
        self.endForm()
        super().save()


def _margins(papers: doc.Document):
    def draw(canvas, template):
        width, height = canvas._pagesize
        canvas.saveState()
        canvas.setFillGray(0)
        canvas.setStrokeGray(0)
        canvas.setLineWidth(0.2 * mm)
        title, most = papers.title, width - 2 * SIDE * mm - 60 * mm
        while width_of(title, SANS, 8) > most and len(title) > 2:
            title = title[:-2].rstrip() + "\u2026"
        draw_text(canvas, SIDE * mm, height - 11 * mm, title, SANS, 8)
        draw_text(canvas, width - SIDE * mm, height - 11 * mm, _told(papers, canvas), SANS, 8, "end")
        canvas.under_way, canvas.begun = canvas.begun[-1:] or canvas.under_way, []
        canvas.line(SIDE * mm, height - 13 * mm, width - SIDE * mm, height - 13 * mm)
        text = f"page {canvas.getPageNumber()} of "
        start = width - SIDE * mm - width_of(text + "000", SANS, 8)
        draw_text(canvas, start, 9 * mm, text, SANS, 8)
        canvas.translate(start + width_of(text, SANS, 8), 9 * mm)
        canvas.doForm("pages")
        canvas.restoreState()

    return draw


def _told(papers: doc.Document, canvas) -> str:
    return ", ".join(title for title in canvas.begun or canvas.under_way if title != papers.title)


class _Start(Flowable):
    """Begins a section: its title in the header and in the outline."""

    def __init__(self, title: str):
        super().__init__()
        self.title = title

    def wrap(self, *_):
        return 0, 0

    def draw(self):
        self.canv.begun = [*self.canv.begun, self.title]
        self.canv.bookmarkPage(self.title)
        self.canv.addOutlineEntry(self.title, self.title, 0)


class _Drawn(Flowable):
    """A drawing, made smaller where the page is."""

    def __init__(self, sheet):
        super().__init__()
        self.sheet, self.share = sheet, 1.0

    def wrap(self, width, height):
        self.share = min(
            1.0, (width + 0.01) / (self.sheet.width * mm), (height + 0.01) / (self.sheet.height * mm)
        )
        return self.share * self.sheet.width * mm, self.share * self.sheet.height * mm

    def draw(self):
        self.canv.scale(self.share, self.share)
        draw_sheet(self.canv, self.sheet)


# Blocks


def _style(name: str, size: float = SIZE, **more) -> ParagraphStyle:
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


def _section(section: doc.Section, paper: str, first: bool, after_drawings: bool) -> list:
    width = print_area(paper)[0]
    drawings_only = all(isinstance(b, doc.Drawing) and b.whole_page for b in section.blocks)
    flow: list = []
    if not drawings_only:
        flow += (
            []
            if first
            else [NextPageTemplate("upright"), PageBreak() if after_drawings else CondPageBreak(ROOM * mm)]
        )
        flow += [_Start(section.title), _para(section.title, _TITLE if first else _SECTION)]
    started = not drawings_only
    for block in section.blocks:
        if isinstance(block, doc.Drawing) and block.whole_page:
            turned = block.sheet.width > block.sheet.height
            flow += [NextPageTemplate("turned" if turned else "upright"), PageBreak()]
            flow += [] if started else [_Start(section.title)]
            flow.append(_Drawn(block.sheet))
            started = True
        else:
            flow += _BLOCKS[type(block)](block, width)
    return flow


def _paragraph(block: doc.Paragraph, width: float) -> list:
    if block.kind == "list":
        return [_para(block.text, _LIST, "\u2013")]
    return [_para(block.text, {"text": _TEXT, "note": _NOTE, "caution": _CAUTION}[block.kind])]


def _heading(block: doc.Heading, width: float) -> list:
    return [_para(block.text, _HEADING)]


def _drawing(block: doc.Drawing, width: float) -> list:
    return [_Drawn(block.sheet), Spacer(1, 2 * mm)]


def _photo(block: doc.Picture, width: float) -> list:
    image = ImageReader(io.BytesIO(block.png))
    across, high = image.getSize()
    share = min(width / across, block.height_mm / high)
    return [Image(io.BytesIO(block.png), share * across * mm, share * high * mm), Spacer(1, 3 * mm)]


def _table(block: doc.Table, width: float) -> list:
    """Columns as wide as their text, the widest made narrower until they fit; only cells that do not fit are broken."""

    def face(k):
        return MARK if k in block.marks else SANS

    columns = len(block.columns)
    natural = [
        max(
            [width_of(block.columns[k], BOLD, CELL), *(width_of(row[k], face(k), CELL) for row in block.rows)]
        )
        + 4.2 * mm
        for k in range(columns)
    ]
    limit = width * mm - (6 * mm if block.tick else 0)
    widths = _fitted(natural, limit)

    def cell(k, text):
        fits = width_of(text, face(k), CELL) + 3 * mm <= widths[k]
        if fits and len(runs(text, face(k))) <= 1:
            return "".join(part for _, part in runs(text, face(k)))
        return _para(text, _CELL_MARK if k in block.marks else _RIGHT if k in block.numbers else _CELL)

    body = [
        [*([_Box()] if block.tick else []), *(cell(k, text) for k, text in enumerate(row))]
        for row in block.rows
    ]
    shift = int(block.tick)
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
    head = [""] * shift + list(block.columns)
    grid = LongTable(
        [head, *body],
        ([6 * mm] if block.tick else []) + widths,
        repeatRows=1,
        hAlign="LEFT",
        style=TableStyle(style),
    )
    return [grid, Spacer(1, 2.5 * mm)]


def _fitted(natural: list[float], limit: float) -> list[float]:
    """Widths that together are no more than `limit`: one bound for all of them, as large as can be."""
    if sum(natural) <= limit:
        return natural
    low, high = limit / len(natural), max(natural)
    for _ in range(40):
        bound = (low + high) / 2
        low, high = (bound, high) if sum(min(w, bound) for w in natural) <= limit else (low, bound)
    return [min(w, low) for w in natural]


class _Box(Flowable):
    """A square to tick."""

    def wrap(self, *_):
        return 3 * mm, 3 * mm

    def draw(self):
        self.canv.setLineWidth(0.6)
        self.canv.rect(0, -0.3 * mm, 2.8 * mm, 2.8 * mm)


def _step(block: doc.StepBlock, width: float) -> list:
    words = [_para(block.title, _HEADING), *(f for line in block.lines for f in _paragraph(line, width))]
    beside = width - block.sheet.width - 4
    long = sum(f.wrap(beside * mm, 1e6)[1] for f in words) > 1.5 * block.sheet.height * mm
    picture = _Drawn(block.sheet)
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


_BLOCKS = {
    doc.Paragraph: _paragraph,
    doc.Heading: _heading,
    doc.Drawing: _drawing,
    doc.Picture: _photo,
    doc.Table: _table,
    doc.StepBlock: _step,
}
