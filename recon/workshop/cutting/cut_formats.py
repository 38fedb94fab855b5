"""The cut list as text, HTML with drawings, CSV and plain values for JSON."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict

from recon.frame.caution import CAUTION
from recon.frame.length import both_text, fine_inch_text, inch_text, mm_text
from recon.workshop.cutting.cut_list import CutList, CutPlan
from recon.workshop.cutting.lay_out import LENGTH_TOL_MM, CutStick
from recon.workshop.cutting.sticks_drawing import marks_words, sticks_sheet
from recon.workshop.drawing.vector import sheet_svg
from recon.workshop.formats import csv_text, heading, money, page, paragraph, table, wrapped
from recon.workshop.wording import listed, plural

CSV_COLUMNS = (
    "stick",
    "stock",
    "stick_length_mm",
    "from",
    "member",
    "holes",
    "start_mm",
    "end_mm",
    "length_in",
    "cut_after_hole",
    "cut_mm",
    "line_mm",
    "line_in",
    "kerf_side",
)
KERF_SIDES = {-1: "left", 0: "both", 1: "right"}
STICKS = 8  # to a drawing on the page, so that none is torn between two sheets of paper
DRAWING_MM = 180.0  # width of a drawing: A4 less the page's margins


def cut_csv(cuts: CutList) -> str:
    """A row for each piece.

    The columns from `cut_after_hole` on are of the cut at its end, and empty where the stick ends there:
    `cut_mm` is the middle of the kerf, `line_mm` the line to mark, and `kerf_side` the side of it, seen from
    the stick's left end, on which the kerf lies.
    """
    rows = []
    for number, stick in _numbered(cuts):
        for piece, k in zip(stick.pieces, _cuts_at_ends(stick)):
            line = None if k is None else stick.lines_mm[k]
            rows.append(
                (
                    number,
                    stick.stock,
                    stick.length_mm,
                    "rack" if stick.owned else "buy",
                    piece.member,
                    piece.holes,
                    piece.start_mm,
                    piece.end_mm,
                    inch_text(piece.end_mm - piece.start_mm),
                    None if k is None or not stick.after_hole else stick.after_hole[k],
                    None if k is None else stick.cuts_mm[k],
                    line,
                    None if line is None else fine_inch_text(line),
                    None if k is None else KERF_SIDES[stick.sides[k]],
                )
            )
    return csv_text(CSV_COLUMNS, rows)


def _cuts_at_ends(stick: CutStick) -> list[int | None]:
    """For each piece the number of the cut at its end, None where the stick ends there."""
    return [
        next((k for k, cut in enumerate(stick.cuts_mm) if cut >= piece.end_mm - 1e-6), None)
        for piece in stick.pieces
    ]


def _numbered(cuts: CutList) -> Iterator[tuple[int, CutStick]]:
    """Each stick with its number."""
    return enumerate((stick for plan in cuts.plans for stick in plan.sticks), 1)


def cut_dict(cuts: CutList) -> dict:
    """Plain values for JSON."""
    return {
        "kerf_mm": cuts.kerf_mm,
        "pitch_mm": cuts.pitch_mm,
        "currency": cuts.currency,
        "cost": cuts.cost,
        "plans": [_plan_dict(plan) for plan in cuts.plans],
        "notes": list(cuts.notes),
        "caution": CAUTION,
    }


def _plan_dict(plan: CutPlan) -> dict:
    data = asdict(plan)
    data["buy"] = [{"length_mm": mm, "count": n} for mm, n in plan.buy]
    return data


def cut_text(cuts: CutList, name: str = "") -> str:
    """The list of the frame of that name, for a terminal or a plain printer, with the caution once."""
    blocks = [_title(name)]
    for number, plan in _plan_starts(cuts):
        blocks.append(f"{plan.stock}\n" + wrapped(_plan_words(plan, cuts.currency), "  "))
        blocks += [
            "\n".join(wrapped(line, "  ") for line in _stick_lines(number + k, stick))
            for k, stick in enumerate(plan.sticks)
        ]
    blocks += ["\n".join(map(wrapped, cuts.notes)), wrapped(CAUTION)]
    return "\n\n".join(filter(None, blocks)) + "\n"


def cut_html(cuts: CutList, name: str = "") -> str:
    """The list of the frame of that name with its drawings, for the printer, with the caution once."""
    body = [paragraph(CAUTION, "caution")]
    longest = max((stick.length_mm for _, stick in _numbered(cuts)), default=None)
    for number, plan in _plan_starts(cuts):
        body += [
            heading(plan.stock),
            paragraph(_plan_words(plan, cuts.currency)),
            table(_stick_columns(plan), _stick_rows(plan, number), numbers=(0,)),
        ]
        for first in range(0, len(plan.sticks), STICKS):
            drawing = _drawing(plan.sticks[first : first + STICKS], number + first, longest)
            body.append(f"<figure>{drawing}</figure>")
    sticks = [stick for _, stick in _numbered(cuts)]
    notes = [marks_words(sticks)] if any(stick.cuts_mm for stick in sticks) else []
    return page(_title(name), body + [paragraph(note) for note in (*notes, *cuts.notes)])


def cut_svg(cuts: CutList) -> str:
    """All sticks in one drawing."""
    return _drawing([stick for _, stick in _numbered(cuts)])


def _drawing(sticks: Sequence[CutStick], first_number: int = 1, longest_mm: float | None = None) -> str:
    return sheet_svg(sticks_sheet(sticks, DRAWING_MM, first_number, longest_mm))


def _title(name: str) -> str:
    return f"Cut list: {name}" if name else "Cut list"


def _plan_starts(cuts: CutList) -> Iterator[tuple[int, CutPlan]]:
    """Each plan with the number of its first stick."""
    number = 1
    for plan in cuts.plans:
        yield number, plan
        number += len(plan.sticks)


# Words


def buy_words(plan: CutPlan, currency: str) -> str:
    """What is bought and what of one's own is cut: 'Buy 2 sticks of 2438 mm (96 in), for 19.60 EUR'."""
    buy = [f"{plural(n, 'stick')} of {both_text(mm)}" for mm, n in plan.buy]
    text = f"Buy {listed(buy)}" if buy else "Nothing to buy"
    text += f", for {money(plan.cost, currency)}" if buy and plan.cost is not None else ""
    owned = sum(stick.owned for stick in plan.sticks)
    return text + (
        f"; {plural(owned, 'stick')} of your own {'is' if owned == 1 else 'are'} cut" if owned else ""
    )


def _plan_words(plan: CutPlan, currency: str) -> str:
    text = buy_words(plan, currency)
    text += f". {_bound_words(plan, currency)}" if plan.buy else "."
    return f"{text} {waste_words(plan)}"


def waste_words(plan: CutPlan) -> str:
    """'Waste and offcuts: 120 mm, 4.9 % of the sticks used.', 'Nothing is wasted.'"""
    if plan.waste_mm < LENGTH_TOL_MM:
        return "Nothing is wasted."
    share = f"{100 * plan.waste_share:.1f} % of the sticks used"
    return f"Waste and offcuts: {mm_text(plan.waste_mm)}, {share}."


def _bound_words(plan: CutPlan, currency: str) -> str:
    def amount_text(amount: float) -> str:
        return money(amount, currency) if plan.by_price else mm_text(amount)

    what = "cost" if plan.by_price else "length to buy"
    by_hand = (
        f" (the longest piece first into the first stick that has room: {amount_text(plan.first_fit)})"
        if plan.first_fit > plan.amount
        else ""
    )
    if plan.optimal:
        return f"No way of cutting has a lower {what}{by_hand}."
    above = f"{plan.amount / plan.bound - 1:.1%}"
    return (
        f"The {what}, {amount_text(plan.amount)}, is at most {above} above the least there can be{by_hand}."
    )


def _stick_lines(number: int, stick: CutStick) -> Iterator[str]:
    yield f"{number}  {both_text(stick.length_mm)}, {'from the rack' if stick.owned else 'to buy'}"
    yield "   members and holes: " + _pieces_words(stick)
    if stick.cuts_mm:
        yield ("   cut after hole: " if stick.holes_mm else "   line at: ") + _saw_words(stick)
    if stick.offcut_mm > 1:
        yield "   left over: " + _rest_words(stick)


def _pieces_words(stick: CutStick) -> str:
    """'A 12, B 7', each pair held together by a no-break space."""
    return ", ".join(f"{p.member}\u00a0{p.holes}" for p in stick.pieces)


def _rest_words(stick: CutStick) -> str:
    holes = f", {plural(stick.offcut_holes, 'hole')}" if stick.offcut_holes else ""
    return mm_text(stick.offcut_mm) + holes if stick.offcut_mm > 1 else ""


def _stick_columns(plan: CutPlan) -> tuple[str, ...]:
    drilled = any(stick.holes_mm for stick in plan.sticks)
    return (
        "",
        "stick",
        "members and holes",
        "cut after hole" if drilled else "line at, kerf right of it",
        "left over",
    )


def _stick_rows(plan: CutPlan, number: int) -> list[tuple[str, ...]]:
    return [
        (
            str(number + k),
            both_text(stick.length_mm).replace(" ", "\u00a0") + (", from the rack" if stick.owned else ""),
            _pieces_words(stick),
            _saw_words(stick),
            _rest_words(stick),
        )
        for k, stick in enumerate(plan.sticks)
    ]


def _saw_words(stick: CutStick) -> str:
    """Where to saw: the holes of the stick to count off, or for one that is not drilled the lines to mark."""
    if stick.holes_mm:
        return ", ".join(map(str, stick.after_hole))
    kerf = {1: "", -1: " (kerf left)", 0: ""}
    words = (
        f"{mm_text(mm)} ({fine_inch_text(mm)}){kerf[side]}" for mm, side in zip(stick.lines_mm, stick.sides)
    )
    return ", ".join(words)
