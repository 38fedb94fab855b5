"""Papers as PDF: a cover, sections that follow one another, drawings on pages of their own."""

from __future__ import annotations

import io
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from itertools import takewhile

from reportlab import rl_config
from reportlab.lib.units import mm
from reportlab.lib.utils import asBytes
from reportlab.pdfbase.pdfdoc import PDFZCompress
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    KeepTogether,
    NextPageTemplate,
    PageBreak,
    PageTemplate,
)

from recon.workshop.drawing.paper import PAPERS
from recon.workshop.drawing.pdf import SANS, draw_text, faces, width_of
from recon.workshop.papers import blocks as doc
from recon.workshop.papers.memory import without_collections
from recon.workshop.papers.pdf_blocks import SHORT_TABLE, SheetFlowable, block_flow, title_flow

SIDE, TOP, FOOT = 14.0, 17.0, 16.0  # mm of margin; ISO 5457 and binders want 10 to 20
FOOT_LINE = 9.0  # mm from the lower edge: page numbers
AT_TOP = 12.0  # mm below the top margin within which a section counts as beginning on top of its page
# Level of zlib: papers of 305 members are packed in a third of the time of the usual one, to 6 % more bytes.
PACKED = 4
ROOM = 100.0  # mm left on a page for which a section begins there
OVER_PICTURE = 50.0  # mm for a section's title, a few lines and a heading over its first picture
HEADED = 28.0  # mm left for which a heading with much below it stands there: itself and about three rows
FEW_SENTENCES = 6  # below a heading that stay with it on one page


def print_area(paper: str, turned: bool = False) -> tuple[float, float]:
    """Width and height inside the margins of a page, mm.

    Parameters
    ----------
    paper : str
        Name in `recon.workshop.drawing.paper.PAPERS`.
    turned : bool
        Whether it lies on its long side.

    Examples
    --------
    >>> print_area("a4"), print_area("a4", turned=True)
    ((182.0, 264.0), (269.0, 177.0))
    """
    width, height = PAPERS[paper].size_mm[:: -1 if turned else 1]
    return width - 2 * SIDE, height - TOP - FOOT


@without_collections()
def papers_pdf(papers: doc.Document) -> bytes:
    """The PDF file.  Two calls with the same papers give the same bytes.

    Examples
    --------
    >>> title = doc.Document("Gate", "a4", (doc.Section("Gate", (doc.Heading("Members"),)),))
    >>> papers_pdf(title)[:5]
    b'%PDF-'
    """
    faces()
    out = io.BytesIO()
    size = _page(papers.paper)
    template = BaseDocTemplate(out, pagesize=size, title=papers.title, author="", invariant=1, lang="en")
    template.addPageTemplates(
        [
            PageTemplate(name, [_frame(papers.paper, turned)], onPageEnd=_margins(papers), pagesize=pagesize)
            for name, turned, pagesize in (("upright", False, size), ("turned", True, size[::-1]))
        ]
    )
    story: list[Flowable] = []
    for k, section in enumerate(papers.sections):
        last = papers.sections[k - 1].blocks[-1:]
        new_page = any(doc.is_page_drawing(b) for b in last)
        story += _section(section, papers.paper, k == 0, new_page)
    with _pages_as_bytes():
        template.build(story, canvasmaker=_CountingCanvas)
    return out.getvalue()


@contextmanager
def _pages_as_bytes() -> Iterator[None]:
    """Pages are written as bytes, packed quickly: as text they take a fifth more room, and long to write."""
    as_text, rl_config.useA85 = rl_config.useA85, 0
    PDFZCompress.encode = _packed
    try:
        yield
    finally:
        rl_config.useA85 = as_text
        vars(PDFZCompress).pop("encode", None)


def _packed(text: str | bytes) -> bytes:
    return zlib.compress(asBytes(text), PACKED)


def _page(paper: str) -> tuple[float, float]:
    """Width and height of an upright page, points."""
    width, height = PAPERS[paper].size_mm
    return width * mm, height * mm


def _frame(paper: str, turned: bool) -> Frame:
    width, height = print_area(paper, turned)
    return Frame(SIDE * mm, FOOT * mm, width * mm, height * mm, 0, 0, 0, 0)


# Margins


class _CountingCanvas(Canvas):
    """A canvas that knows at its end how many pages it has; each page shows that by a form.

    begun : titles of the sections that begin on this page.   continued : of the one from the page before, if
    some of it is on this page.   pages : how many pages each section has so far.
    """

    def __init__(self, *args, **more):
        super().__init__(*args, **more)
        self.begun: list[str] = []
        self.continued: list[str] = []
        self.pages: dict[str, int] = {}

    def begin_section(self, title: str) -> None:
        """Note that a section begins at the present place."""
        at = self.absolutePosition(0, 0)[1]
        if at > self._pagesize[1] - (TOP + AT_TOP) * mm:
            self.continued = []
        self.begun.append(title)

    def save(self):
        self._form("pages", self.getPageNumber() - 1)
        for k, count in enumerate(self.pages.values()):
            self._form(f"part-{k}", count)
        super().save()

    def _form(self, name: str, number: int) -> None:
        self.beginForm(name)
        draw_text(self, 0, 0, str(number), SANS, 8)
        self.endForm()


def _margins(papers: doc.Document) -> Callable[[_CountingCanvas, PageTemplate], None]:
    """What draws title, sections and page number of a page."""

    def draw(canvas: _CountingCanvas, template: PageTemplate) -> None:
        width, height = canvas._pagesize
        canvas.saveState()
        canvas.setFillGray(0)
        canvas.setStrokeGray(0)
        canvas.setLineWidth(0.2 * mm)
        title, most = papers.dated_title, width - 2 * SIDE * mm - 60 * mm
        while width_of(title, SANS, 8) > most and len(title) > 2:
            title = title[:-2].rstrip() + "\u2026"
        parts = [*canvas.continued, *canvas.begun]
        here = ", ".join(t for t in canvas.begun or canvas.continued if t != papers.title)
        draw_text(canvas, SIDE * mm, height - 11 * mm, title, SANS, 8)
        draw_text(canvas, width - SIDE * mm, height - 11 * mm, here, SANS, 8, "end")
        canvas.continued, canvas.begun = parts[-1:], []
        canvas.line(SIDE * mm, height - 13 * mm, width - SIDE * mm, height - 13 * mm)
        text = f"page {canvas.getPageNumber()} of "
        start = width - SIDE * mm - width_of(text + "000", SANS, 8)
        draw_text(canvas, start, FOOT_LINE * mm, text, SANS, 8)
        _count(canvas, start + width_of(text, SANS, 8), "pages")
        _parts(canvas, parts, start - 6 * mm)
        canvas.restoreState()

    return draw


def _count(canvas: _CountingCanvas, x: float, form: str) -> None:
    """A number that is known at the end, at the foot of the page."""
    canvas.saveState()
    canvas.translate(x, FOOT_LINE * mm)
    canvas.doForm(form)
    canvas.restoreState()


def _parts(canvas: _CountingCanvas, parts: list[str], most: float) -> None:
    """'Parts list 1 of 2' for each part on this page, at the foot, as far as there is room (points)."""
    x = SIDE * mm
    for title in parts:
        canvas.pages[title] = canvas.pages.get(title, 0) + 1
        text = f"{title}: page {canvas.pages[title]} of "
        wide = width_of(text, SANS, 8)
        if x + wide + 6 * mm > most:
            continue
        draw_text(canvas, x, FOOT_LINE * mm, text, SANS, 8)
        _count(canvas, x + wide, f"part-{list(canvas.pages).index(title)}")
        x += wide + 10 * mm


# Sections


class _SectionStart(Flowable):
    """Begins a section: its title in the header and in the outline."""

    def __init__(self, title: str) -> None:
        super().__init__()
        self.title = title

    def wrap(self, *_):
        return 0, 0

    def draw(self):
        self.canv.begin_section(self.title)
        self.canv.bookmarkPage(self.title)
        self.canv.addOutlineEntry(self.title, self.title, 0)


def _section(section: doc.Section, paper: str, first: bool, new_page: bool) -> list[Flowable]:
    """A section's content; it begins a page where `new_page`, else where little room is left."""
    width = print_area(paper)[0]
    started = not all(doc.is_page_drawing(b) for b in section.blocks)
    flow: list[Flowable] = []
    if started:
        if not first:
            flow += [
                NextPageTemplate("upright"),
                PageBreak() if new_page else CondPageBreak(_room(section) * mm),
            ]
        flow += [_SectionStart(section.title), title_flow(section.title, first)]
    for group in _groups(section.blocks):
        first_of = group[0]
        if isinstance(first_of, doc.Drawing) and first_of.whole_page:
            turned = first_of.sheet.width > first_of.sheet.height
            flow += [NextPageTemplate("turned" if turned else "upright"), PageBreak()]
            flow += [] if started else [_SectionStart(section.title)]
            flow.append(SheetFlowable(first_of.sheet))
            started = True
        elif len(group) > 1 or _is_short_table(first_of):
            flow.append(KeepTogether([f for block in group for f in block_flow(block, width)]))
        else:
            headed = [CondPageBreak(HEADED * mm)] if isinstance(first_of, doc.Heading) else []
            flow += headed + block_flow(first_of, width)
    return flow


def _is_short_table(block: doc.Block) -> bool:
    return isinstance(block, doc.Table) and len(block.rows) <= SHORT_TABLE


def _room(section: doc.Section) -> float:
    """Mm left on a page for which the section begins there: enough for a picture that it begins with."""
    pictures = [block.height_mm for block in section.blocks[:3] if isinstance(block, doc.Picture)]
    return max([ROOM, *(height + OVER_PICTURE for height in pictures)])


def _groups(blocks: Sequence[doc.Block]) -> Iterator[list[doc.Block]]:
    """What stays together on a page: a heading with its short table, its picture or its few sentences."""
    at = 0
    while at < len(blocks):
        group = [blocks[at]]
        if isinstance(blocks[at], doc.Heading):
            below = list(takewhile(lambda b: isinstance(b, doc.Paragraph), blocks[at + 1 :]))
            first = blocks[at + 1] if at + 1 < len(blocks) else None
            if first is not None and (_is_short_table(first) or isinstance(first, doc.Picture)):
                below = [first]
            group += below if len(below) <= FEW_SENTENCES else []
        yield group
        at += len(group)
