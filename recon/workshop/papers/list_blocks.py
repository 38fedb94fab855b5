"""Parts list and cut list as blocks of the papers."""

from __future__ import annotations

from collections.abc import Mapping

from recon.frame.length import both_text, inch_text, mm_text
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.confidence_text import unsure_members
from recon.workshop.cutting.cut_list import CutList, CutPlan
from recon.workshop.cutting.sticks_drawing import marks_words, sticks_sheet
from recon.workshop.formats import mass_text, money
from recon.workshop.papers.blocks import Block, Drawing, Heading, Paragraph, Table
from recon.workshop.parts.oversize import fit_words
from recon.workshop.parts.parts_list import HardwareLine, PartsList
from recon.workshop.wording import listed, plural

STICKS = 5  # to a picture, so that a page takes three


def parts_blocks(parts: PartsList, frame: Frame) -> list[Block]:
    """Tables of members, bolts, nuts and washers; what of it is owned; weight and cost; what to mind."""
    owned = parts.rack is not None
    priced = any(line.cost is not None for line in (*parts.members, *parts.hardware))
    blocks: list[Block] = []
    for stock in dict.fromkeys(m.stock for m in parts.members):
        lines = [m for m in parts.members if m.stock == stock]
        rows = [(str(m.count), str(m.holes), both_text(m.length_mm), " ".join(m.members)) for m in lines]
        blocks.append(Heading(f"Members: {lines[0].stock_name}"))
        blocks.append(
            _table(
                ("count", "holes", "length", "labels"),
                rows,
                lines,
                owned,
                priced,
                parts.currency,
                (0, 1),
                (3,),
            )
        )
    bolts = [h for h in parts.hardware if h.kind == "bolt"]
    if bolts:
        rows = [(str(h.count), h.name or "size not known", both_text(h.grip_mm), _told(h)) for h in bolts]
        blocks.append(Heading("Bolts"))
        blocks.append(
            _table(
                ("count", "bolt", "grip", "in the photos"),
                rows,
                bolts,
                owned,
                priced,
                parts.currency,
                (0,),
                (),
            )
        )
    rest = [h for h in parts.hardware if h.kind != "bolt"]
    if rest:
        rows = [
            (
                str(h.count),
                f"{h.kind} {h.name}",
                f"wrench {mm_text(h.flats_mm)} ({inch_text(h.flats_mm)})"
                if h.flats_mm
                else "one under the head, one under the nut",
            )
            for h in rest
        ]
        blocks.append(Heading("Nuts and washers"))
        blocks.append(_table(("count", "what", ""), rows, rest, owned, priced, parts.currency, (0,), ()))
    if parts.rack:
        blocks.append(Heading("From the rack"))
        blocks += [Paragraph(text, "list") for text in _rack_words(parts, frame)]
    unsure = unsure_members(frame)
    if unsure:
        verb = "is" if len(unsure) == 1 else "are"
        blocks.append(
            Paragraph(
                f"Measure before you cut: {listed(unsure)} {verb} not sure (see 'How sure this is').", "list"
            )
        )
    totals = _totals(parts, priced)
    blocks += [Heading("Together"), Paragraph(totals)] if totals else []
    return blocks + [Paragraph(note, "list") for note in parts.notes]


def _told(h: HardwareLine) -> str:
    return ", ".join(f"{n} {word}" for n, word in ((h.seen, "seen"), (h.assumed, "assumed")) if n)


def _table(columns, rows, lines, owned: bool, priced: bool, currency: str, numbers, marks) -> Table:
    """With columns for weight, for what is owned and for cost; a box to tick in each row."""
    more = (
        ["weight"] * any(line.mass_kg is not None for line in lines)
        + ["owned", "to get"] * owned
        + ["cost"] * priced
    )
    values = {
        "weight": lambda line: mass_text(None if line.mass_kg is None else line.mass_kg * line.count),
        "owned": lambda line: str(line.owned),
        "to get": lambda line: str(line.to_get),
        "cost": lambda line: money(None if line.cost is None else line.cost * line.to_get, currency),
    }
    full = tuple((*row, *(values[name](line) for name in more)) for row, line in zip(rows, lines))
    places = range(len(columns), len(columns) + len(more))
    return Table((*columns, *more), full, (*numbers, *places), marks, True)


def _rack_words(parts: PartsList, frame: Frame):
    exact = [id for id, fit in parts.rack.used.items() if not (fit.before or fit.after)]
    if exact:
        yield f"As they are: {listed(exact)}."
    for id, fit in parts.rack.used.items():
        if fit.before or fit.after:
            yield f"Longer: {fit_words(fit, frame.member(id))}."
    if not parts.rack.used:
        yield "No member fits whole."


def _totals(parts: PartsList, priced: bool) -> str:
    words = []
    if parts.members_mass_kg is not None:
        words.append(f"Members {mass_text(parts.members_mass_kg)}")
        words += [f"with bolts {mass_text(parts.mass_kg)}"] if parts.mass_kg is not None else []
    if priced and parts.cost is not None:
        words.append(f"{'cost' if words else 'Cost'} of what is to get {money(parts.cost, parts.currency)}")
    text = ", ".join(words) + "." if words else ""
    if parts.laps_without_bolt:
        text += f" {plural(parts.laps_without_bolt, 'lap')} of the frame {'has' if parts.laps_without_bolt == 1 else 'have'} no bolt."
    return text.strip()


def cut_blocks(cuts: CutList, stocks: Mapping[str, Stock], width: float) -> list[Block]:
    """What to buy, and each stick with its cuts as a picture `width` mm wide."""
    blocks: list[Block] = []
    number = 1
    sticks = [stick for plan in cuts.plans for stick in plan.sticks]
    if not sticks:
        blocks.append(Paragraph("Nothing is to be cut: all members come whole from the rack."))
    longest = max((stick.length_mm for stick in sticks), default=None)
    for plan in cuts.plans:
        blocks.append(Heading(stocks[plan.stock].name))
        blocks.append(Paragraph(_plan_words(plan, cuts.currency)))
        for first in range(0, len(plan.sticks), STICKS):
            blocks.append(
                Drawing(sticks_sheet(plan.sticks[first : first + STICKS], width, number + first, longest))
            )
        number += len(plan.sticks)
    if any(stick.cuts_mm for stick in sticks):
        blocks.append(Paragraph(marks_words(sticks), "note"))
    return blocks + [Paragraph(note, "list") for note in cuts.notes]


def _plan_words(plan: CutPlan, currency: str) -> str:
    buy = [f"{plural(n, 'stick')} of {both_text(mm)}" for mm, n in plan.buy]
    text = f"Buy {listed(buy)}" if buy else "Nothing to buy"
    text += f", for {money(plan.cost, currency)}" if buy and plan.cost is not None else ""
    own = sum(stick.owned for stick in plan.sticks)
    text += f"; {plural(own, 'stick')} of your own {'is' if own == 1 else 'are'} cut" if own else ""
    what = "cost" if plan.by_price else "length to buy"
    if buy and plan.optimal:
        text += f". No way of cutting has a lower {what}"
    elif buy:
        text += f". The {what} is at most {100 * (plan.amount / plan.bound - 1):.1f} % above the least there can be"
    used = plan.pieces_mm + plan.waste_mm
    return f"{text}. Waste and offcuts: {mm_text(plan.waste_mm)}, {100 * plan.waste_mm / used:.1f} % of the sticks used."
