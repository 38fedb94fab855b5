"""The parts list on paper: text, HTML, CSV and plain values for JSON."""

from __future__ import annotations

from dataclasses import asdict

from recon.frame.length import both_text, inch_text, mm_text
from recon.frame.model import Frame
from recon.workshop.cautions import CAUTION
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
from recon.workshop.parts.oversize import fit_words
from recon.workshop.parts.parts_list import HardwareLine, MemberLine, PartsList
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
)


def parts_csv(parts: PartsList) -> str:
    """A row for each line of the list. `cost` is that of what is to get; `where` the members' labels, or the laps."""

    def row(line, item, id, holes, length_mm, grip_mm, seen, assumed, where):
        each, cost = line.mass_kg, line.cost
        return (
            item,
            id,
            holes,
            length_mm,
            inch_text(length_mm) if length_mm else None,
            grip_mm,
            line.count,
            line.owned,
            line.to_get,
            seen,
            assumed,
            each,
            None if each is None else each * line.count,
            cost,
            None if cost is None else cost * line.to_get,
            where,
        )

    rows = [
        row(m, "member", m.stock, m.holes, m.length_mm, None, None, None, " ".join(m.members))
        for m in parts.members
    ]
    rows += [
        row(
            h,
            h.kind,
            h.name,
            None,
            None,
            h.grip_mm,
            h.seen if h.kind == "bolt" else None,
            h.assumed if h.kind == "bolt" else None,
            "; ".join(h.where),
        )
        for h in parts.hardware
    ]
    return csv_text(CSV_COLUMNS, rows)


def parts_dict(parts: PartsList) -> dict:
    """Plain values for JSON; holes are counted from 0 in `bolts[].through`, as in the frame file."""
    return {
        "name": parts.name,
        "pitch_mm": parts.pitch_mm,
        "currency": parts.currency,
        "mass_kg": parts.mass_kg,
        "members_mass_kg": parts.members_mass_kg,
        "cost": parts.cost,
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
                "three_way": bolt.three_way,
            }
            for bolt, f in parts.bolts
        ],
        "rack": None
        if parts.rack is None
        else {
            "used": {
                id: asdict(fit) | {"blocked_by": list(fit.blocked_by)}
                for id, fit in parts.rack.used.items()
            },
            "left": [
                {"stock": stock, "holes": holes, "count": n} for (stock, holes), n in parts.rack.left.items()
            ],
        },
        "notes": list(parts.notes),
        "caution": CAUTION,
    }


def parts_text(parts: PartsList, frame: Frame) -> str:
    """The list for a terminal or a plain printer, with the caution once."""
    blocks = [_title(parts)]
    for title, columns, rows, numbers in _tables(parts):
        blocks.append(title + "\n" + text_table(columns, rows, numbers))
    blocks += ["\n".join(wrapped(text, "  ") for text in _rack_sentences(parts, frame))] if parts.rack else []
    blocks.append("\n".join(wrapped(text) for text in (_totals(parts), *parts.notes)))
    return "\n\n".join(filter(None, [*blocks, wrapped(CAUTION)])) + "\n"


def parts_html(parts: PartsList, frame: Frame) -> str:
    """The list as a page for the printer, with the caution once."""
    body = [paragraph(CAUTION, "caution")]
    for title, columns, rows, numbers in _tables(parts):
        body += [heading(title), table(columns, rows, numbers)]
    if parts.rack:
        body += [heading("From the rack"), *map(paragraph, _rack_sentences(parts, frame))]
    body += [heading("Together"), *map(paragraph, (_totals(parts), *parts.notes))]
    return page(_title(parts), body)


def _title(parts: PartsList) -> str:
    return f"Parts list: {parts.name}" if parts.name else "Parts list"


def _tables(parts: PartsList):
    """(title, columns, rows of text, columns that hold numbers) of each table."""
    owned, priced = (
        parts.rack is not None,
        any(line.cost is not None for line in (*parts.members, *parts.hardware)),
    )
    for stock in dict.fromkeys(m.stock for m in parts.members):
        lines = [m for m in parts.members if m.stock == stock]
        columns, rows = ["count", "holes", "length", "members"], [_member_row(m) for m in lines]
        yield (
            f"Members, {lines[0].stock_name}",
            *_with(columns, rows, lines, owned, priced, parts.currency),
            (0, 1),
        )
    bolts = [h for h in parts.hardware if h.kind == "bolt"]
    if bolts:
        rows = [[str(h.count), h.name or "not known", mm_text(h.grip_mm), _seen(h)] for h in bolts]
        yield (
            "Bolts",
            *_with(["count", "bolt", "grip", "in the photos"], rows, bolts, owned, priced, parts.currency),
            (0,),
        )
    rest = [h for h in parts.hardware if h.kind != "bolt"]
    if rest:
        rows = [
            [
                str(h.count),
                f"{h.kind} {h.name}",
                f"wrench {mm_text(h.flats_mm)} ({inch_text(h.flats_mm)})" if h.flats_mm else "two to a bolt",
            ]
            for h in rest
        ]
        yield (
            "Nuts and washers",
            *_with(["count", "what", ""], rows, rest, owned, priced, parts.currency),
            (0,),
        )


def _member_row(m: MemberLine) -> list[str]:
    return [str(m.count), str(m.holes), both_text(m.length_mm), ", ".join(m.members)]


def _seen(h: HardwareLine) -> str:
    return ", ".join(f"{n} {word}" for n, word in ((h.seen, "seen"), (h.assumed, "assumed")) if n)


def _with(columns, rows, lines, owned: bool, priced: bool, currency: str):
    """Columns and rows with what they weigh, what of them is owned and what the rest costs."""
    extra = ["weight"] + ["owned", "to get"] * owned + ["cost"] * priced
    more = [
        [mass_text(None if line.mass_kg is None else line.mass_kg * line.count)]
        + [str(line.owned), str(line.to_get)] * owned
        + [money(None if line.cost is None else line.cost * line.to_get, currency)] * priced
        for line in lines
    ]
    return columns + extra, [row + cells for row, cells in zip(rows, more)]


def _totals(parts: PartsList) -> str:
    count = sum(m.count for m in parts.members)
    text = f"{plural(count, 'member')}, {plural(len(parts.bolts), 'bolt')}"
    if parts.laps_without_bolt:
        text += f", {plural(parts.laps_without_bolt, 'lap')} without a bolt"
    if parts.members_mass_kg is not None:
        text += f"; members {mass_text(parts.members_mass_kg)}"
        text += f", with bolts {mass_text(parts.mass_kg)}" if parts.mass_kg is not None else ""
    if parts.cost is not None and any(line.cost is not None for line in (*parts.members, *parts.hardware)):
        text += f"; cost {money(parts.cost, parts.currency)}"
    assumed = sum(not bolt.seen for bolt, _ in parts.bolts)
    return (
        text
        + "."
        + (
            f" {plural(assumed, 'bolt')} of these {'was' if assumed == 1 else 'were'} in no photo and "
            f"{'is' if assumed == 1 else 'are'} assumed."
            if 0 < assumed < len(parts.bolts)
            else ""
        )
    )


def _rack_sentences(parts: PartsList, frame: Frame):
    exact = [id for id, fit in parts.rack.used.items() if not (fit.before or fit.after)]
    if exact:
        yield f"From the rack as they are: {listed(exact)}."
    for id, fit in parts.rack.used.items():
        if fit.before or fit.after:
            yield f"From the rack, longer: {fit_words(fit, frame.member(id))}."
    tried = [fit for fit in parts.rack.considered if parts.rack.used.get(fit.member) != fit]
    for fit in tried:
        yield f"Looked at too: {fit_words(fit, frame.member(fit.member))}."
    if not (parts.rack.used or tried):
        yield "From the rack: no member fits whole."
