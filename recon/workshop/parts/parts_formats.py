"""The parts list as text, HTML, CSV and plain values for JSON."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, replace
from typing import NamedTuple

from recon.frame.caution import CAUTION
from recon.frame.length import both_text, inch_text, mm_text
from recon.frame.model import Frame
from recon.workshop.confidence_text import unseen_bolts
from recon.workshop.formats import (
    csv_text,
    heading,
    mass_text,
    money,
    page,
    paragraph,
    table,
    text_table,
    wrapped,
)
from recon.workshop.hardware.wrenches import tools_word
from recon.workshop.parts.oversize import fit_words, taken_words
from recon.workshop.parts.parts_model import HardwareLine, Line, MemberLine, PartsList
from recon.workshop.parts.rack import RackUse
from recon.workshop.parts.shopping import COLUMNS, ShoppingList, shopping_dict, shopping_rows
from recon.workshop.wording import listed, plural

CSV_COLUMNS = (
    "item",
    "id",
    "holes",
    "length_mm",
    "length_in",
    "grip_mm",
    "count",
    "owned",
    "to_get",
    "seen",
    "assumed",
    "mass_kg_each",
    "mass_kg",
    "cost_each",
    "cost",
    "where",
    "said",
)


def parts_csv(parts: PartsList, shopping: ShoppingList | None = None) -> str:
    """A row for each line of the list.

    The column `cost` is that of what is to get, and empty for members where the shopping list buys their
    stock in sticks; `where` holds the members' labels, or the laps.
    """
    in_sticks = {line.id for line in shopping.lines if line.item == "stick"} if shopping else set()
    lines = (
        replace(line, cost=None) if isinstance(line, MemberLine) and line.stock in in_sticks else line
        for line in parts.lines
    )
    return csv_text(CSV_COLUMNS, map(_csv_row, lines))


def _csv_row(line: Line) -> tuple[object, ...]:
    own: tuple[object, ...]
    if isinstance(line, MemberLine):
        own = ("member", line.stock, line.holes, line.length_mm, inch_text(line.length_mm), None)
        seen: tuple[int | None, int | None] = (None, None)
        where = " ".join(line.members)
    else:
        own = (line.kind, line.name, None, None, None, line.grip_mm)
        seen = (line.seen, line.assumed) if line.kind == "bolt" else (None, None)
        where = "; ".join(line.where)
    return (
        *own,
        line.count,
        line.owned,
        line.to_get,
        *seen,
        line.mass_kg,
        _times(line.mass_kg, line.count),
        line.cost,
        _times(line.cost, line.to_get),
        where,
        line.said if isinstance(line, HardwareLine) and line.kind == "bolt" else None,
    )


def _times(each: float | None, count: int) -> float | None:
    return None if each is None else each * count


def parts_dict(parts: PartsList, shopping: ShoppingList | None = None) -> dict:
    """Plain values for JSON; holes are counted from 0 in `bolts[].through`, as in the frame file.

    Where it is known what is bought, `cost` is what is to pay for that.
    """
    return {
        "name": parts.name,
        "pitch_mm": parts.pitch_mm,
        "currency": parts.currency,
        "mass_kg": parts.mass_kg,
        "members_mass_kg": parts.members_mass_kg,
        "cost": shopping.total if shopping else parts.cost,
        "shopping": shopping_dict(shopping) if shopping else None,
        "laps_without_bolt": parts.laps_without_bolt,
        "members": [
            asdict(m) | {"count": m.count, "to_get": m.to_get, "members": list(m.members)}
            for m in parts.members
        ],
        "hardware": [asdict(h) | {"to_get": h.to_get, "where": list(h.where)} for h in parts.hardware],
        "bolts": [
            {
                "through": [list(t) for t in bolt.through],
                "name": f.name if f else None,
                "grip_mm": f.grip_mm if f else None,
                "seen": bolt.seen,
                "said": bolt.said,
                "three_way": bolt.three_way,
                "fitting": bolt.fitting.id if bolt.fitting else None,
            }
            for bolt, f in parts.bolts
        ],
        "rack": None if parts.rack is None else _rack_dict(parts.rack),
        "notes": list(parts.notes),
        "caution": CAUTION,
    }


def _rack_dict(use: RackUse) -> dict:
    return {
        "used": {id: asdict(fit) | {"blocked_by": list(fit.blocked_by)} for id, fit in use.used.items()},
        "left": [{"stock": stock, "holes": holes, "count": n} for (stock, holes), n in use.left.items()],
    }


def parts_text(parts: PartsList, frame: Frame, shopping: ShoppingList | None = None) -> str:
    """The list for a terminal or a plain printer, with the caution once, and with what is to be bought.

    Examples
    --------
    >>> from recon.frame.model import Frame, Member
    >>> from recon.workshop.parts.parts_list import parts_list
    >>> frame = Frame((Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12),), pitch_mm=38.1)
    >>> print(parts_text(parts_list(frame, {}), frame).split("\\n\\n")[1])
    Members, stock not known
      count  holes  length            members  weight
          1     12  457.2 mm (18 in)  A
    """
    blocks = [_title(parts)]
    for title, columns, rows, numbers in _tables(parts, shopping):
        blocks.append(title + "\n" + text_table(columns, rows, numbers))
    if parts.rack:
        blocks.append("\n".join(wrapped(text, "  ") for text in rack_sentences(parts.rack, frame)))
    notes = shopping.notes if shopping and shopping.priced else ()
    blocks.append("\n".join(wrapped(text) for text in (_totals(parts, shopping), *parts.notes, *notes)))
    return "\n\n".join(filter(None, [*blocks, wrapped(CAUTION)])) + "\n"


def parts_html(parts: PartsList, frame: Frame, shopping: ShoppingList | None = None) -> str:
    """The list as a page for the printer, with the caution once, and with what is to be bought."""
    body = [paragraph(CAUTION, "caution")]
    for title, columns, rows, numbers in _tables(parts, shopping):
        body += [heading(title), table(columns, rows, numbers)]
    if parts.rack:
        body += [heading("From the rack"), *map(paragraph, rack_sentences(parts.rack, frame))]
    body += [heading("Together"), *map(paragraph, (_totals(parts, shopping), *parts.notes))]
    if shopping and shopping.priced:
        body += map(paragraph, shopping.notes)
    return page(_title(parts), body)


def _title(parts: PartsList) -> str:
    return f"Parts list: {parts.name}" if parts.name else "Parts list"


# Tables


class _TextTable(NamedTuple):
    title: str
    columns: list[str]
    rows: list[list[str]]
    numbers: tuple[int, ...]


def _tables(parts: PartsList, shopping: ShoppingList | None) -> Iterator[_TextTable]:
    for lines in by_stock(parts):
        cells = [[str(m.count), str(m.holes), both_text(m.length_mm), ", ".join(m.members)] for m in lines]
        title = f"Members, {lines[0].stock_name}"
        yield _table(parts, title, ["count", "holes", "length", "members"], cells, lines, (0, 1))
    bolts = [h for h in parts.hardware if h.kind == "bolt"]
    if bolts:
        cells = [
            [
                str(h.count),
                h.name or "not known",
                "" if h.grip_mm is None else mm_text(h.grip_mm),
                h.detail,
                seen_words(h),
            ]
            for h in bolts
        ]
        columns = ["count", "bolt", "grip", tools_word(h.name for h in bolts), "how it is known"]
        yield _table(parts, "Bolts", columns, cells, bolts, (0,))
    if others := parts.fasteners:
        cells = [[str(h.count), f"{h.kind} {h.name}", h.detail] for h in others]
        yield _table(parts, "Nuts and washers", ["count", "what", ""], cells, others, (0,))
    if fittings := parts.fittings:
        cells = [[str(h.count), h.name, h.detail, "; ".join(h.where)] for h in fittings]
        yield _table(parts, "Fittings", ["count", "what", "", "bolted to"], cells, fittings, (0,))
    if shopping and shopping.lines:
        kept = len(COLUMNS) if shopping.priced else 2
        rows = [list(row[:kept]) for row in shopping_rows(shopping)]
        yield _TextTable("To buy", list(COLUMNS[:kept]), rows, (0, 2, 3)[: kept - 1])


def _table(
    parts: PartsList,
    title: str,
    columns: list[str],
    cells: list[list[str]],
    lines: Sequence[Line],
    numbers: tuple[int, ...],
) -> _TextTable:
    extra, more = amount_columns(parts, lines, cost=False)
    return _TextTable(title, columns + extra, [row + added for row, added in zip(cells, more)], numbers)


def by_stock(parts: PartsList) -> list[list[MemberLine]]:
    """The lines of members, those of one stock together."""
    stocks = dict.fromkeys(m.stock for m in parts.members)
    return [[m for m in parts.members if m.stock == stock] for stock in stocks]


def amount_columns(
    parts: PartsList, lines: Sequence[Line], weight: bool = True, cost: bool = True
) -> tuple[list[str], list[list[str]]]:
    """Columns for weight, what is owned and cost, of those that the parts list can fill.

    Returns
    -------
    columns : list of str
    rows : list of list of str
        Their cells for each of the lines.
    """
    owned, priced = parts.rack is not None, parts.priced and cost
    columns = ["weight"] * weight + ["owned", "to get"] * owned + ["cost"] * priced
    rows = [
        [mass_text(_times(line.mass_kg, line.count))] * weight
        + [str(line.owned), str(line.to_get)] * owned
        + [money(_times(line.cost, line.to_get), parts.currency)] * priced
        for line in lines
    ]
    return columns, rows


# Words


def seen_words(line: HardwareLine) -> str:
    """How the bolts are known: '3 seen, 2 said, 1 assumed, 4 for fittings'."""
    others = line.count - line.seen - line.said - line.assumed
    counts = (
        (line.seen, "seen"),
        (line.said, "said"),
        (line.assumed, "assumed"),
        (others, "for fittings"),
    )
    return ", ".join(f"{n} {word}" for n, word in counts if n)


def _totals(parts: PartsList, shopping: ShoppingList | None) -> str:
    count = sum(m.count for m in parts.members)
    text = f"{plural(count, 'member')}, {plural(len(parts.bolts), 'bolt')}"
    if parts.laps_without_bolt:
        text += f", {plural(parts.laps_without_bolt, 'lap')} without a bolt"
    if parts.members_mass_kg is not None:
        text += f"; members {mass_text(parts.members_mass_kg)}"
        what = "bolts and fittings" if parts.fittings else "bolts"
        text += f", with {what} {mass_text(parts.mass_kg)}" if parts.mass_kg is not None else ""
    if shopping and shopping.total is not None:
        text += f"; to pay {money(shopping.total, shopping.currency)}"
    text += "."
    return " ".join([text, *unseen_bolts([bolt for bolt, _ in parts.bolts if not bolt.fitting])])


def rack_sentences(use: RackUse, frame: Frame) -> Iterator[str]:
    """What of the rack goes into the frame, what else was looked at, and what would allow it.

    Parameters
    ----------
    use : RackUse
    frame : Frame
        As it is planned.
    """
    if use.exact:
        yield f"From the rack as they are: {listed(use.exact)}."
    for text in taken_words(use.longer.values()):
        yield f"From the rack, longer: {text}"
    if use.longer:
        yield "Bolts, drawings and steps count the holes of these longer members, from their own ends."
    others = [fit for fit in use.considered if use.used.get(fit.member) != fit]
    for text in fit_words(others):
        yield f"Looked at too: {text}."
    allowed = [fit.overhang for fit in others if fit.free and fit.member not in use.used]
    if allowed:
        yield f"Only what you allow is taken longer: --overhang {min(allowed)} allows the shortest of these."
    if not (use.used or others):
        yield "From the rack: no member fits whole."
