"""Marking out and drilling as blocks of the papers."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence

from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.cutting.drilling import drill_list, drill_rows, how_to_drill, place_rows
from recon.workshop.cutting.jig_sheet import jig_sheet
from recon.workshop.frame_size import stock_of
from recon.workshop.papers.blocks import Block, Drawing, Heading, Paragraph, Table

BESIDE = 4  # times that the columns of a long table stand side by side: they fill the width of a page


def drill_blocks(
    frame: Frame,
    stocks: Mapping[str, Stock],
    only_used: bool,
    size: tuple[float, float],
    only: Collection[str] | None = None,
) -> Iterator[Block]:
    """How to mark out and drill, where each hole is, which of them, and a jig at full size for each stock.

    Parameters
    ----------
    frame : Frame
    stocks : mapping of str to Stock
    only_used : bool
        Leave out holes that hold no bolt.
    size : (width, height)
        Of the print area of an upright page, mm.
    only : collection of str, optional
        Ids of the members to drill; all where None.
    """
    drills = drill_list(frame, stocks, only_used, only=only)
    for text in how_to_drill(drills):
        yield Paragraph(text, "list")
    yield Heading("Which holes")
    columns = ("members", "holes", "faces 1 and 3", "faces 2 and 4", "bit", "face 1 looks to")
    rows = tuple(drill_rows(drills))
    kept = len(columns) if only_used else len(columns) - 1
    yield Table(columns[:kept], tuple(row[:kept] for row in rows), (1,), (0,), True)
    yield Heading("Where they are, from the end at hole 1")
    yield _side_by_side(("hole", "mm", "inches"), place_rows(drills), (0, 1))
    chosen = [m for m in frame.members if only is None or m.id in only]
    sections = dict.fromkeys((s.width_mm, s.hole_mm) for m in chosen if (s := stock_of(m, stocks)))
    for width_mm, hole_mm in sections:  # stocks that are alike share a jig
        yield Drawing(jig_sheet(drills.pitch_mm, width_mm, hole_mm, size), True)


def _side_by_side(columns: Sequence[str], rows: Sequence[Sequence[str]], numbers: Sequence[int]) -> Table:
    """A long table of few columns as one of BESIDE times as many, read downwards first."""
    high = -(-len(rows) // BESIDE)
    empty = ("",) * len(columns)
    parts = [rows[k * high : (k + 1) * high] for k in range(BESIDE)]
    wide = (sum((tuple(part[n]) if n < len(part) else empty for part in parts), ()) for n in range(high))
    places = tuple(k * len(columns) + n for k in range(BESIDE) for n in numbers)
    return Table(tuple(columns) * BESIDE, tuple(wide), places)
