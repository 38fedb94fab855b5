"""What papers are made of before they are PDF or HTML: sections of text, tables and drawings."""

from __future__ import annotations

from dataclasses import dataclass

from recon.workshop.drawing.vector import Sheet


@dataclass(frozen=True)
class Paragraph:
    """A paragraph of text.

    Attributes
    ----------
    text : str
    kind : str
        "text", "caution" (in a box), "note" (smaller) or "list" (with a dash).
    """

    text: str
    kind: str = "text"


@dataclass(frozen=True)
class Heading:
    """The heading of a part of a section."""

    text: str


@dataclass(frozen=True)
class Table:
    """Text in columns.

    Attributes
    ----------
    columns : tuple of str
        Their headings.
    rows : tuple of tuple of str
        A cell for each column.
    numbers : tuple of int
        Places of the columns that are aligned to the right.
    marks : tuple of int
        Places of the columns with members' labels and hole numbers, in a typeface that tells I from 1.
    tick : bool
        Whether a box to tick off stands before each row.
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: tuple[int, ...] = ()
    marks: tuple[int, ...] = ()
    tick: bool = False


@dataclass(frozen=True)
class Drawing:
    """A drawing in its own size.

    Attributes
    ----------
    sheet : Sheet
    whole_page : bool
        Whether it is alone on a page, turned as the sheet is.
    """

    sheet: Sheet
    whole_page: bool = False


@dataclass(frozen=True)
class Picture:
    """A picture in pixels, as wide as the page but at most `height_mm` high.

    Attributes
    ----------
    png : bytes
        A PNG or JPEG file.
    text : str
        What it shows, for those who cannot see it.
    height_mm : float
    """

    png: bytes
    text: str
    height_mm: float = 130.0


@dataclass(frozen=True)
class StepBlock:
    """One build step: a picture with words beside it."""

    title: str
    lines: tuple[Paragraph, ...]
    sheet: Sheet


Block = Paragraph | Heading | Table | Drawing | Picture | StepBlock


@dataclass(frozen=True)
class Section:
    """A titled part of a document."""

    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True)
class Document:
    """A whole document.

    Attributes
    ----------
    title : str
    paper : str
        Name in `recon.workshop.drawing.paper.PAPERS`.
    sections : tuple of Section
        The first is the cover.
    date : str
        Of the build; empty where it is not said.
    """

    title: str
    paper: str
    sections: tuple[Section, ...]
    date: str = ""

    @property
    def dated_title(self) -> str:
        """The title, with the date where there is one."""
        return f"{self.title}, {self.date}" if self.date else self.title


def is_page_drawing(block: Block) -> bool:
    """Whether the block is a drawing on a page of its own."""
    return isinstance(block, Drawing) and block.whole_page
