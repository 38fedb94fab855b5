"""Labels for members, as sheets to print and cut or peel: what each is, and the same as a QR code."""

from __future__ import annotations

import io
import re
from collections.abc import Mapping
from dataclasses import dataclass

import segno
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from recon.errors import ReconError
from recon.frame.length import both_text, inch_text, mm_text
from recon.frame.model import Frame, Member
from recon.frame.stock import Stock
from recon.workshop.drawing.paper import PAPERS
from recon.workshop.drawing.pdf import BOLD, MARK_BOLD, SANS, draw_text, faces, width_of
from recon.workshop.hardware.fitting_bolts import all_bolts
from recon.workshop.sides import Sides
from recon.workshop.wording import plural

# Of the eight masks that a QR code may have (ISO/IEC 18004) the one with the least penalty on 13 of 21 labels
# of a made-up frame. Every mask reads alike; to try them all for each label takes five times as long.
MASK = 2
QUIET = 4  # modules left white round a QR code: ISO/IEC 18004, from memory
PAD, QR_MM = 2.5, 21.0  # mm: round what is on a label, and width of a QR code with its white border


@dataclass(frozen=True)
class LabelGrid:
    """How labels lie on a sheet: columns and rows, and the size of one, mm; the grid is in the middle."""

    columns: int
    rows: int
    width: float
    height: float


# Sheets of self-adhesive labels that are sold: common practice, no source.
GRIDS = {"a4": LabelGrid(3, 8, 70.0, 36.0), "letter": LabelGrid(3, 10, 66.7, 25.4)}
OTHER_GRID = LabelGrid(3, 8, 60.0, 30.0)


def label_text(member: Member, frame: Frame) -> str:
    """What a member's QR code says: the frame's name, the member, its holes and its length.

    Examples
    --------
    >>> label_text(Member("C", (0, 0, 0), (0, 0, 1), 12), Frame((), pitch_mm=38.1, name="gate"))
    'gate C 12 holes 457.2 mm (18 in)'
    """
    length = f" {both_text(member.holes * frame.pitch_mm)}" if frame.pitch_mm else ""
    return f"{frame.name or 'frame'} {member.id} {plural(member.holes, 'hole')}{length}"


def labels_pdf(frame: Frame, stocks: Mapping[str, Stock], paper: str = "a4") -> bytes:
    """Sheets of labels, one label a member, in the frame's order.

    Parameters
    ----------
    frame : Frame
    stocks : mapping of str to Stock
    paper : str
        Name in `recon.workshop.drawing.paper.PAPERS`.

    Raises
    ------
    ReconError
        Where the frame has no members.

    Examples
    --------
    >>> labels_pdf(Frame((Member("A", (0, 0, 0), (0, 0, 1), 8),)), {})[:5]
    b'%PDF-'
    """
    if not frame.members:
        raise ReconError("The frame has no members, so there is nothing to label.")
    faces()
    grid, (across, high) = GRIDS.get(paper, OTHER_GRID), PAPERS[paper].size_mm
    left, top = (across - grid.columns * grid.width) / 2, high - (high - grid.rows * grid.height) / 2
    out = io.BytesIO()
    title = f"Labels of {frame.name}" if frame.name else "Labels"
    canvas = Canvas(out, pagesize=(across * mm, high * mm), invariant=1, lang="en")
    canvas.setTitle(title)
    sides, bolted = Sides(frame.members), _bolted(frame)
    for k, member in enumerate(frame.members):
        row, column = divmod(k % (grid.columns * grid.rows), grid.columns)
        if k and not (row or column):
            canvas.showPage()
        canvas.saveState()
        canvas.translate((left + column * grid.width) * mm, (top - (row + 1) * grid.height) * mm)
        _label(canvas, grid, member, frame, _lines(member, frame, stocks, sides, bolted))
        canvas.restoreState()
    canvas.save()
    return out.getvalue()


def _bolted(frame: Frame) -> dict[str, list[int]]:
    """The holes with a bolt of each member, counted from 1, in order."""
    found: dict[str, set[int]] = {}
    for bolt in all_bolts(frame):
        for id, hole in bolt.through:
            found.setdefault(id, set()).add(hole + 1)
    return {id: sorted(holes) for id, holes in found.items()}


def _lines(
    member: Member, frame: Frame, stocks: Mapping[str, Stock], sides: Sides, bolted: Mapping[str, list[int]]
) -> list[str]:
    """What stands beside the label, a line each."""
    mm = member.holes * frame.pitch_mm if frame.pitch_mm else None
    holes = " ".join(map(str, bolted.get(member.id, [])))
    end = sides.nearest([-x for x in member.direction])
    known = member.stock if member.stock in stocks else ""
    lines = [
        ", ".join(filter(None, [plural(member.holes, "hole"), mm_text(mm) if mm else ""])),
        ", ".join(filter(None, [inch_text(mm) if mm else "", known])),
        f"hole 1: {end} end",
        f"bolts in {holes}" if holes else "no bolts",
        frame.name,
    ]
    return [line for line in lines if line]


def _label(canvas: Canvas, grid: LabelGrid, member: Member, frame: Frame, lines: list[str]) -> None:
    """One label, its lower left corner at the origin."""
    qr = min(QR_MM, grid.height - 2 * PAD)
    room = grid.width - qr - 3 * PAD
    size = 22.0
    while width_of(member.id, MARK_BOLD, size) > room * mm:
        size *= 0.9
    y = (grid.height - PAD) * mm - 0.8 * size
    draw_text(canvas, PAD * mm, y, member.id, MARK_BOLD, size)
    for k, line in enumerate(lines):
        y -= 8.5 if k else 10.0
        if y < PAD * mm * 0.6:
            break
        text, face = line, BOLD if k == 0 else SANS
        while width_of(text, face, 7) > room * mm and len(text) > 2:
            text = text[:-2].rstrip() + "\u2026"
        draw_text(canvas, PAD * mm, y, text, face, 7)
    low = (grid.height - qr) / 2
    _draw_qr(canvas, label_text(member, frame), (grid.width - PAD - qr) * mm, low * mm, qr * mm)


def code_rows(text: str) -> tuple[bytes, ...]:
    """The rows of a QR code, 1 for what is dark.

    >>> len(code_rows("Gate A 12 holes"))
    25
    """
    return tuple(map(bytes, segno.make(text, error="m", micro=False, mask=MASK).matrix))


def _draw_qr(canvas: Canvas, text: str, x: float, y: float, size: float) -> None:
    """The QR code of a text in a square of `size` points with its lower left corner at (x, y)."""
    rows = code_rows(text)
    cell = size / (len(rows) + 2 * QUIET)
    # As PDF operators, a rectangle for each run of dark cells: the canvas' own path objects take as long as
    # the codes themselves.
    runs = []
    for r, row in enumerate(rows):
        low = y + size - (QUIET + r + 1) * cell
        for dark in re.finditer(rb"\x01+", row):
            at, wide = x + (QUIET + dark.start()) * cell, len(dark[0]) * cell
            runs.append(f"{at:.3f} {low:.3f} {wide:.3f} {cell:.3f} re")
    canvas.addLiteral("\n".join([*runs, "f"]))
