"""What papers are made of before they are PDF or HTML: sections of text, tables and drawings."""

from __future__ import annotations

from dataclasses import dataclass

from recon.workshop.drawing.vector import Sheet


@dataclass(frozen=True)
class Paragraph:
    """kind : "text", "caution" (in a box), "note" (smaller) or "list" (with a dash)."""

    text: str
    kind: str = "text"


@dataclass(frozen=True)
class Heading:
    """Of a part of a section."""

    text: str


@dataclass(frozen=True)
class Table:
    """Text in columns.  numbers : places of the columns that stand to the right.   marks : of those with members' labels
    and hole numbers, in the face that tells I from 1.   tick : a box to tick off before each row."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: tuple[int, ...] = ()
    marks: tuple[int, ...] = ()
    tick: bool = False


@dataclass(frozen=True)
class Drawing:
    """A drawing in its own size.  whole_page : alone on a page, turned as the sheet is."""

    sheet: Sheet
    whole_page: bool = False


@dataclass(frozen=True)
class Picture:
    """A PNG, as wide as the page but at most `height_mm` high."""

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
    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True)
class Document:
    """title : of the whole.   paper : name in `view_sheet.PAPERS`."""

    title: str
    paper: str
    sections: tuple[Section, ...]
