"""The cut list as text, HTML with drawings, CSV and plain values for JSON."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict

from recon.frame.caution import CAUTION
from recon.frame.length import both_text, inch_text, mm_text
from recon.workshop.cutting.cut_list import CutList, CutPlan
from recon.workshop.cutting.lay_out import CutStick
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
)
STICKS = 8  # to a drawing on the page, so that none is torn between two sheets of paper
DRAWING_MM = 180.0  # width of a drawing: A4 less the page's margins


def cut_csv(cuts: CutList) -> str:
    """A row for each piece.

    The columns `cut_mm` and `cut_after_hole` are of the cut at its end, and empty where the stick ends there.
    """
    rows = []
    for number, stick in _numbered(cuts):
        for piece, cut, hole in zip(stick.pieces, *_cuts_at_ends(stick)):
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
                    hole,
                    cut,
                )
            )
    return csv_text(CSV_COLUMNS, rows)


def _cuts_at_ends(stick: CutStick) -> tuple[list[float | None], list[int | None]]:
    """For each piece the cut at its end and the hole before it, None where there is none."""
    cuts: list[float | None] = []
    holes: list[int | None] = []
    for piece in stick.pieces:
        k = next((k for k, cut in enumerate(stick.cuts_mm) if cut >= piece.end_mm - 1e-6), None)
        cuts.append(None if k is None else stick.cuts_mm[k])
        holes.append(None if k is None or not stick.after_hole else stick.after_hole[k])
    return cuts, holes


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
    return text + f" Waste and offcuts: {mm_text(plan.waste_mm)}, {plan.waste_share:.1%} of the sticks used."


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
        yield ("   cut after hole: " if stick.holes_mm else "   cut at, mm: ") + _saw_words(stick)
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
    return "", "stick", "members and holes", "cut after hole" if drilled else "cut at, mm", "left over"


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
    """Where to saw: the holes of the stick to count off, or for one that is not drilled the places in mm."""
    if stick.holes_mm:
        return ", ".join(map(str, stick.after_hole))
    return ", ".join(mm_text(cut).removesuffix(" mm") for cut in stick.cuts_mm)
