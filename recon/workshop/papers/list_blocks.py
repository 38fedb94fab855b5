"""Parts list and cut list as blocks of the papers."""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping, Sequence

from recon.frame.length import both_text
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.confidence_text import unsure_members
from recon.workshop.cutting.cut_formats import buy_words, waste_words
from recon.workshop.cutting.cut_list import CutList, CutPlan
from recon.workshop.cutting.sticks_drawing import marks_words, sticks_sheet
from recon.workshop.formats import mass_text
from recon.workshop.hardware.wrenches import tools_word
from recon.workshop.papers.blocks import Block, Drawing, Heading, Paragraph, Table
from recon.workshop.parts.parts_formats import (
    amount_columns,
    by_stock,
    rack_sentences,
    seen_words,
)
from recon.workshop.parts.parts_model import Line, PartsList
from recon.workshop.parts.shopping import COLUMNS, ShoppingList, shopping_rows
from recon.workshop.wording import listed, plural

STICKS = 5  # to a drawing, so that a page takes three drawings


def parts_blocks(parts: PartsList, frame: Frame) -> list[Block]:
    """Tables of members, bolts, nuts and washers; what of it is owned; weight and cost; what to mind."""
    blocks = [*_member_tables(parts), *_hardware_tables(parts)]
    if parts.rack:
        blocks.append(Heading("From the rack"))
        blocks += [Paragraph(text, "list") for text in rack_sentences(parts.rack, frame)]
    unsure = unsure_members(frame)
    if unsure:
        verb = "is" if len(unsure) == 1 else "are"
        text = f"Measure before you cut: {listed(unsure)} {verb} not sure (see 'How sure this is')."
        blocks.append(Paragraph(text, "list"))
    totals = _totals(parts)
    blocks += [Heading("Together"), Paragraph(totals)] if totals else []
    return blocks + [Paragraph(note, "list") for note in parts.notes]


def _member_tables(parts: PartsList) -> Iterator[Block]:
    for lines in by_stock(parts):
        yield Heading(f"Members: {lines[0].stock_name}")
        cells = [(str(m.count), str(m.holes), both_text(m.length_mm), " ".join(m.members)) for m in lines]
        yield _table(parts, ("count", "holes", "length", "labels"), cells, lines, (0, 1), (3,))


def _hardware_tables(parts: PartsList) -> Iterator[Block]:
    bolts = [h for h in parts.hardware if h.kind == "bolt"]
    if bolts:
        yield Heading("Bolts")
        sizes = [
            (h.name or "size not known", "" if h.grip_mm is None else both_text(h.grip_mm)) for h in bolts
        ]
        cells = [(str(h.count), *size, h.detail, seen_words(h)) for h, size in zip(bolts, sizes)]
        tool = tools_word(h.name for h in bolts)
        yield _table(parts, ("count", "bolt", "grip", tool, "how it is known"), cells, bolts, (0,))
    if others := parts.fasteners:
        yield Heading("Nuts and washers")
        rows = [(str(h.count), f"{h.kind} {h.name}", h.detail) for h in others]
        yield _table(parts, ("count", "what", ""), rows, others, (0,))
    if fittings := parts.fittings:
        yield Heading("Fittings")
        held = [(str(h.count), h.name, h.detail, "; ".join(h.where)) for h in fittings]
        yield _table(parts, ("count", "what", "", "bolted to"), held, fittings, (0,))


def _table(
    parts: PartsList,
    columns: Sequence[str],
    rows: Sequence[Sequence[str]],
    lines: Sequence[Line],
    numbers: tuple[int, ...],
    marks: tuple[int, ...] = (),
) -> Table:
    """With columns for weight and for what is owned; a box to tick in each row."""
    weight = any(line.mass_kg is not None for line in lines)
    extra, more = amount_columns(parts, lines, weight, cost=False)
    places = range(len(columns), len(columns) + len(extra))
    full = tuple((*row, *added) for row, added in zip(rows, more))
    return Table((*columns, *extra), full, (*numbers, *places), marks, True)


def _totals(parts: PartsList) -> str:
    words = []
    if parts.members_mass_kg is not None:
        words.append(f"Members {mass_text(parts.members_mass_kg)}")
        what = "bolts and fittings" if parts.fittings else "bolts"
        words += [f"with {what} {mass_text(parts.mass_kg)}"] if parts.mass_kg is not None else []
    text = ", ".join(words) + "." if words else ""
    if parts.laps_without_bolt:
        verb = "has" if parts.laps_without_bolt == 1 else "have"
        text += f" {plural(parts.laps_without_bolt, 'lap')} of the frame {verb} no bolt."
    return text.strip()


def shopping_blocks(shopping: ShoppingList, stocks: Mapping[str, Stock], cuts: CutList | None) -> list[Block]:
    """All that is to be bought, with one total."""
    if not shopping.lines:
        return [Paragraph("Nothing is to be bought: all of it is on the rack.")]
    rows = shopping_rows(shopping)
    if not shopping.priced:
        rows = [row[:2] for row in rows]
    blocks: list[Block] = [
        Table(COLUMNS[: len(rows[0])], tuple(rows), (0, 2, 3)[: len(rows[0]) - 1], (), True)
    ]
    notes = [*_what_stocks_are(shopping, stocks, cuts), *shopping.notes]
    return blocks + [Paragraph(note, "list") for note in notes]


def _what_stocks_are(
    shopping: ShoppingList, stocks: Mapping[str, Stock], cuts: CutList | None
) -> Iterator[str]:
    """What to ask for in the shop: each id's stock, and whether it is bought without holes."""
    sticks = [(plan.stock, stick) for plan in (cuts.plans if cuts else ()) for stick in plan.sticks]
    for id in dict.fromkeys(line.id for line in shopping.lines if line.item in ("stick", "metre")):
        blank = any(of == id and not stick.owned and not stick.holes_mm for of, stick in sticks)
        own = "; bought without them, see 'Marking out and drilling'" if blank else ""
        yield f"{id}: {stocks[id].name}{own}."


def cut_blocks(
    cuts: CutList, stocks: Mapping[str, Stock], width: float, by_the_metre: Container[str] = ()
) -> list[Block]:
    """Each stick with its cuts in a drawing `width` mm wide.

    by_the_metre : ids of stocks that are bought cut to length, so that no sticks are bought of them.
    """
    blocks: list[Block] = []
    number = 1
    sticks = [stick for plan in cuts.plans for stick in plan.sticks]
    if not sticks:
        blocks.append(Paragraph("Nothing is to be cut: all members come whole from the rack."))
    longest = max((stick.length_mm for stick in sticks), default=None)
    for plan in cuts.plans:
        blocks.append(Heading(stocks[plan.stock].name))
        if plan.stock in by_the_metre:
            text = "Cheaper cut to length (see 'Shopping list'). Where you buy sticks in its place: "
            blocks.append(Paragraph(text))
        blocks.append(Paragraph(_plan_words(plan, cuts.currency)))
        blocks += [
            Drawing(sticks_sheet(plan.sticks[first : first + STICKS], width, number + first, longest))
            for first in range(0, len(plan.sticks), STICKS)
        ]
        number += len(plan.sticks)
    if any(stick.cuts_mm for stick in sticks):
        blocks.append(Paragraph(marks_words(sticks), "note"))
    return blocks + [Paragraph(note, "list") for note in cuts.notes]


def _plan_words(plan: CutPlan, currency: str) -> str:
    text = buy_words(plan, currency)
    what = "cost" if plan.by_price else "length to buy"
    if plan.buy and plan.optimal:
        text += f". No way of cutting has a lower {what}"
    elif plan.buy:
        above = 100 * (plan.amount / plan.bound - 1)
        text += f". The {what} is at most {above:.1f} % above the least there can be"
    return f"{text}. {waste_words(plan)}"
