"""Parts list and cut list as blocks of the papers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from recon.frame.length import both_text, mm_text
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.confidence_text import unsure_members
from recon.workshop.cutting.cut_formats import buy_words
from recon.workshop.cutting.cut_list import CutList, CutPlan
from recon.workshop.cutting.sticks_drawing import marks_words, sticks_sheet
from recon.workshop.formats import mass_text, money
from recon.workshop.papers.blocks import Block, Drawing, Heading, Paragraph, Table
from recon.workshop.parts.oversize import fit_words
from recon.workshop.parts.parts_formats import amount_columns, by_stock, seen_words, spanner_words
from recon.workshop.parts.parts_model import Line, PartsList
from recon.workshop.parts.rack import RackUse
from recon.workshop.wording import listed, plural

STICKS = 5  # to a drawing, so that a page takes three drawings


def parts_blocks(parts: PartsList, frame: Frame) -> list[Block]:
    """Tables of members, bolts, nuts and washers; what of it is owned; weight and cost; what to mind."""
    blocks = [*_member_tables(parts), *_hardware_tables(parts)]
    if parts.rack:
        blocks.append(Heading("From the rack"))
        blocks += [Paragraph(text, "list") for text in _rack_words(parts.rack, frame)]
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
        cells = [(str(h.count), *size, seen_words(h)) for h, size in zip(bolts, sizes)]
        yield _table(parts, ("count", "bolt", "grip", "how it is known"), cells, bolts, (0,))
    others = [h for h in parts.hardware if h.kind != "bolt"]
    if others:
        yield Heading("Nuts and washers")
        washers = "one under the head, one under the nut"
        rows = [(str(h.count), f"{h.kind} {h.name}", spanner_words(h) or washers) for h in others]
        yield _table(parts, ("count", "what", ""), rows, others, (0,))


def _table(
    parts: PartsList,
    columns: Sequence[str],
    rows: Sequence[Sequence[str]],
    lines: Sequence[Line],
    numbers: tuple[int, ...],
    marks: tuple[int, ...] = (),
) -> Table:
    """With columns for weight, for what is owned and for cost; a box to tick in each row."""
    extra, more = amount_columns(parts, lines, weight=any(line.mass_kg is not None for line in lines))
    places = range(len(columns), len(columns) + len(extra))
    full = tuple((*row, *added) for row, added in zip(rows, more))
    return Table((*columns, *extra), full, (*numbers, *places), marks, True)


def _rack_words(use: RackUse, frame: Frame) -> Iterator[str]:
    if use.exact:
        yield f"As they are: {listed(use.exact)}."
    for id, fit in use.longer.items():
        yield f"Longer: {fit_words(fit, frame.member(id))}."
    if not use.used:
        yield "No member fits whole."


def _totals(parts: PartsList) -> str:
    words = []
    if parts.members_mass_kg is not None:
        words.append(f"Members {mass_text(parts.members_mass_kg)}")
        words += [f"with bolts {mass_text(parts.mass_kg)}"] if parts.mass_kg is not None else []
    if parts.priced and parts.cost is not None:
        words.append(f"{'cost' if words else 'Cost'} of what is to get {money(parts.cost, parts.currency)}")
    text = ", ".join(words) + "." if words else ""
    if parts.laps_without_bolt:
        verb = "has" if parts.laps_without_bolt == 1 else "have"
        text += f" {plural(parts.laps_without_bolt, 'lap')} of the frame {verb} no bolt."
    return text.strip()


def cut_blocks(cuts: CutList, stocks: Mapping[str, Stock], width: float) -> list[Block]:
    """What to buy, and each stick with its cuts in a drawing `width` mm wide."""
    blocks: list[Block] = []
    number = 1
    sticks = [stick for plan in cuts.plans for stick in plan.sticks]
    if not sticks:
        blocks.append(Paragraph("Nothing is to be cut: all members come whole from the rack."))
    longest = max((stick.length_mm for stick in sticks), default=None)
    for plan in cuts.plans:
        blocks.append(Heading(stocks[plan.stock].name))
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
    waste = f"{mm_text(plan.waste_mm)}, {100 * plan.waste_share:.1f} % of the sticks used"
    return f"{text}. Waste and offcuts: {waste}."
