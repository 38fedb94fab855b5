"""The parts list: members by stock and length, bolts by grip, nuts, washers, fittings; weights and costs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from recon.frame.length import both_text, mm_text
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.frame_size import known_pitch_mm, stock_of
from recon.workshop.hardware.bolts import Fastening, bolt_words, fasten, grip_mm
from recon.workshop.hardware.fasteners import (
    HALF_UNIT_MM,
    bolt_mass_kg,
    is_rod,
    least_length_mm,
    nut_mass_kg,
    thread_length_mm,
    thread_of,
    washer_mass_kg,
)
from recon.workshop.hardware.fitting_bolts import bolts_to_buy
from recon.workshop.hardware.sections import member_mass_kg
from recon.workshop.hardware.threads import Thread, find_thread
from recon.workshop.hardware.wrenches import head_wrench, nut_wrench
from recon.workshop.parts.fitting_lines import fitting_lines, fitting_notes
from recon.workshop.parts.oversize import Box
from recon.workshop.parts.parts_model import FastenedBolt, HardwareLine, MemberLine, PartsList
from recon.workshop.parts.prices import PriceList
from recon.workshop.parts.rack import Rack, RackUse, as_built, use_rack
from recon.workshop.wording import listed

# A stock whose pitch is further off the frame's is named: 24 holes would be a quarter of a pitch out.
PITCH_SHARE = 0.01
STANDS_OUT_MM = (
    15.0  # of a bolt beyond what is needed, from which it is worth a sentence: this project's choice
)

# What bolts of each system are called, with their standards.
STANDARDS = {
    "metric": "hexagon head bolts (ISO 4014)",
    "inch": "hex cap screws (ASME B18.2.1)",
}

Stocks = Mapping[str, Stock]


def parts_list(
    frame: Frame,
    stocks: Stocks,
    prices: PriceList | None = None,
    rack: Rack | None = None,
    *,
    system: str | None = None,
    thread: Thread | None = None,
    keep_out: Sequence[Box] = (),
    floor: bool = True,
    overhang: int = 0,
    lock_nuts: bool = False,
) -> PartsList:
    """The parts of a frame.

    Parameters
    ----------
    frame : Frame
    stocks : mapping of str to Stock
    prices : PriceList, optional
    rack : Rack, optional
        What is owned.
    system : str, optional
        Of bolts: "metric" or "inch"; by the stock where None.
    thread : Thread, optional
        Of all bolts, in place of the largest that passes the holes.
    keep_out, floor, overhang
        Where longer members from the rack may not reach, and by how many holes they may stick out: see
        `recon.workshop.parts.rack.use_rack`.

    lock_nuts : bool
        Whether nuts have a nylon insert.

    Returns
    -------
    PartsList

    Raises
    ------
    ReconError
        Where the frame has no pitch, no listed bolt fits a hole, or `thread` passes no hole.

    Examples
    --------
    >>> from recon.frame.model import Frame, Member
    >>> post = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12)
    >>> parts = parts_list(Frame((post,), pitch_mm=38.1), {})
    >>> [(line.count, line.holes, line.length_mm) for line in parts.members]
    [(1, 12, 457.2)]
    """
    pitch_mm = known_pitch_mm(frame, "its parts have no lengths")
    use = use_rack(frame, rack, stocks, keep_out, floor, overhang) if rack else None
    frame = as_built(frame, use)
    bolts = _fastened(frame, stocks, system, thread, lock_nuts)
    members = _member_lines(frame, pitch_mm, stocks, prices, use)
    hardware = _hardware_lines(bolts, frame, stocks, prices, Counter(rack.hardware) if rack else Counter())
    notes = [
        *_stock_notes(frame, pitch_mm, stocks),
        *_bolt_notes(bolts, frame, stocks),
        *fitting_notes(frame),
    ]
    return PartsList(
        frame.name,
        pitch_mm,
        members,
        hardware,
        bolts,
        sum(j.bolt == "none" for j in frame.joints),
        prices.currency if prices else "",
        use,
        tuple(notes),
    )


def _fastened(
    frame: Frame, stocks: Stocks, system: str | None, thread: Thread | None, lock: bool
) -> tuple[FastenedBolt, ...]:
    """Each bolt with what fastens it."""
    by_id = {m.id: m for m in frame.members}
    fastened = []
    bolts, shared = bolts_to_buy(frame)
    for bolt in bolts:
        plates = sum(f.plate_mm for f in shared.get(bolt, ()))
        # With its own few members alone: a frame has thousands of bolts and hundreds of members.
        own = tuple(by_id[id] for id in sorted({id for id, _ in bolt.through}))
        alone = replace(frame, members=own)
        fastened.append((bolt, fasten(bolt, alone, stocks, system, thread, lock, plates)))
    return tuple(fastened)


def _member_lines(
    frame: Frame, pitch_mm: float, stocks: Stocks, prices: PriceList | None, use: RackUse | None
) -> tuple[MemberLine, ...]:
    groups: dict[tuple[str | None, int], list[str]] = {}
    for m in frame.members:
        groups.setdefault((m.stock, m.holes), []).append(m.id)
    lines = []
    for (id, holes), labels in sorted(
        groups.items(), key=lambda g: (g[0][0] is None, g[0][0] or "", -g[0][1])
    ):
        stock = None if id is None else stocks.get(id)
        lines.append(
            MemberLine(
                id,
                stock.name if stock else id or "stock not known",
                holes,
                round(holes * pitch_mm, 3),
                tuple(labels),
                sum(label in use.used for label in labels) if use else 0,
                member_mass_kg(stock, holes, pitch_mm) if stock else None,
                prices.of_member(id, holes, pitch_mm) if prices and id else None,
            )
        )
    return tuple(lines)


def _hardware_lines(
    bolts: Sequence[FastenedBolt],
    frame: Frame,
    stocks: Stocks,
    prices: PriceList | None,
    owned: Counter[tuple[str, str]],
) -> tuple[HardwareLine, ...]:
    """Bolts by grip, then nuts, washers, fittings; what is `owned` is taken for them in that order."""
    groups: dict[tuple[str, float], list[FastenedBolt]] = {}
    for bolt, fastening in bolts:
        grip = fastening.grip_mm if fastening else grip_mm(bolt, frame, stocks)
        groups.setdefault((fastening.name if fastening else "", grip), []).append((bolt, fastening))
    lines = []
    nuts: Counter[str] = Counter()
    washers: Counter[str] = Counter()
    for (name, grip), group in sorted(groups.items(), key=lambda g: (g[0][1], g[0][0])):
        for _, fastening in group:
            if fastening:
                nuts += fastening.nuts
                washers += fastening.washers
        lines.append(_bolt_line(name, grip, group))
    lines += [_nut_line(name, n) for name, n in sorted(nuts.items(), key=_by_size)]
    lines += [_washer_line(name, n) for name, n in sorted(washers.items(), key=_by_size)]
    lines += fitting_lines(frame.fittings)
    return tuple(_owned_and_priced(line, prices, owned) for line in lines)


def _by_size(item: tuple[str, int]) -> tuple[float, str]:
    return thread_of(item[0]).d_mm, item[0]


def _bolt_line(name: str, grip_mm: float, group: Sequence[FastenedBolt]) -> HardwareLine:
    """Bolts of one name and grip, as if none of them were owned or had a price."""
    fastening = group[0][1]
    known = Counter(bolt.known for bolt, _ in group)
    return HardwareLine(
        "bolt",
        name,
        count=len(group),
        owned=0,
        grip_mm=grip_mm,
        flats_mm=fastening.thread.head_flats_mm if fastening else None,
        seen=known["seen"],
        assumed=known["assumed"],
        said=known["said"],
        where=tuple(bolt_words(bolt) for bolt, _ in group),
        mass_kg=bolt_mass_kg(fastening.thread, fastening.length_mm) if fastening else None,
        cost=None,
        detail=head_wrench(fastening.thread, fastening.length_mm) if fastening else "",
    )


def _nut_line(name: str, count: int) -> HardwareLine:
    """Nuts of one name, as if none of them were owned or had a price."""
    thread = thread_of(name)
    kind = "with nylon insert, " if name.endswith(" lock") else ""
    return _small_line("nut", name, count, thread.nut_flats_mm, nut_mass_kg(thread), kind + nut_wrench(name))


def _washer_line(name: str, count: int) -> HardwareLine:
    """Washers of one name, likewise."""
    wide = name.endswith(" wide")
    washer = thread_of(name).washer("wide" if wide else "plain")
    across = f"{both_text(washer.outside_mm) if '/' in name else mm_text(washer.outside_mm)} across"
    detail = f"{across}; under each head and nut on {'wood' if wide else 'metal'}"
    return _small_line("washer", name, count, None, washer_mass_kg(washer), detail)


def _small_line(
    kind: str, name: str, count: int, flats_mm: float | None, mass_kg: float, detail: str
) -> HardwareLine:
    """Nuts or washers of one name, as if none of them were owned or had a price."""
    return HardwareLine(
        kind,
        name,
        count=count,
        owned=0,
        grip_mm=None,
        flats_mm=flats_mm,
        seen=0,
        assumed=0,
        where=(),
        mass_kg=mass_kg,
        cost=None,
        detail=detail,
    )


def _owned_and_priced(
    line: HardwareLine, prices: PriceList | None, owned: Counter[tuple[str, str]]
) -> HardwareLine:
    """The line with what of it is owned, which is taken from `owned`, and its price."""
    key = (line.kind, line.name)
    have = min(line.count, owned[key])
    owned[key] -= have
    return replace(line, owned=have, cost=prices.of_hardware(*key) if prices else None)


# Notes


def _stock_notes(frame: Frame, pitch_mm: float, stocks: Stocks) -> Iterator[str]:
    unknown = [m.id for m in frame.members if stock_of(m, stocks) is None]
    if unknown:
        yield (
            f"The stock of {_some(unknown)} is not known, so there is no weight or price for "
            f"{'it' if len(unknown) == 1 else 'them'}; give the frame's stock."
        )
    for id in sorted({m.stock for m in frame.members if m.stock is not None and m.stock in stocks}):
        if abs(stocks[id].pitch_mm - pitch_mm) > PITCH_SHARE * pitch_mm:
            yield (
                f"The frame's pitch is {both_text(pitch_mm)}, and {id} has {both_text(stocks[id].pitch_mm)}: "
                "its "
                "holes would not meet. Lengths here are by the frame's pitch; check which is right before "
                "you buy."
            )


def _bolt_notes(bolts: Sequence[FastenedBolt], frame: Frame, stocks: Stocks) -> Iterator[str]:
    unknown = sum(fastening is None for _, fastening in bolts)
    if unknown:
        yield (
            f"The holes' diameter is not known for {unknown} bolts, so only their grip is given; give the "
            "frame's "
            "stock."
        )
    known = [f for _, f in bolts if f]
    if kinds := {STANDARDS[f.thread.system] for f in known}:
        yield f"Bolts are {listed(sorted(kinds))}."
    for name in sorted({f.name for f in known if _plain_shank_mm(f) > f.grip_mm + _washers_mm(f)}):
        yield (
            f"The plain shank of {name} may be longer than the grip: take it threaded further, or add "
            "washers."
        )
    beyond = {
        (f.name, round(f.length_mm - least_length_mm(f.grip_mm, f.thread, f.series, f.lock), 1))
        for f in known
        if not is_rod(f.thread, f.length_mm)
    }
    for name, most in sorted(beyond):
        if most > STANDS_OUT_MM:
            yield (
                f"{name} is the next length that is sold, and stands {mm_text(most)} further out than is "
                "needed."
            )
    yield from _rod_notes(known)
    yield from _clearance_notes(bolts, frame, stocks)
    if known and not any(f.lock for f in known):
        yield (
            "Where the frame rolls or shakes, take nuts with nylon insert. They are higher: make these lists "
            "with lock nuts chosen, so that the bolts are long enough."
        )


def _rod_notes(fastenings: Sequence[Fastening]) -> Iterator[str]:
    for name in sorted({f.name for f in fastenings if is_rod(f.thread, f.length_mm)}):
        longest = next(f.thread.longest_mm for f in fastenings if f.name == name)
        yield (
            f"No bolt of this thread longer than {both_text(longest)} is commonly sold, so {name} is cut "
            "from threaded rod, with a nut and a washer at each end."
        )


def _clearance_notes(bolts: Sequence[FastenedBolt], frame: Frame, stocks: Stocks) -> Iterator[str]:
    """That bolts fit closely in the holes of a stock, and that thin tube can be crushed."""
    at = {m.id: m for m in frame.members}
    close: dict[tuple[str, str], Stock] = {}
    tubes: dict[str, Stock] = {}
    for bolt, f in bolts:
        for id, _ in bolt.through:
            stock = stock_of(at[id], stocks)
            if stock and f and f.thread.clearance_mm[1] > stock.hole_mm + HALF_UNIT_MM:
                close[f.thread.name, stock.id] = stock
            if stock and stock.wall_mm:
                tubes[stock.id] = stock
    for (name, id), stock in sorted(close.items()):
        normal = find_thread(name).clearance_mm[1]
        yield (
            f"{name} fits closely in the {mm_text(stock.hole_mm)} holes of {id} (a normal fit is "
            f"{mm_text(normal)}): every hole must be true to its place, or be drilled larger."
        )
    if tubes:
        yield (
            f"Tube is crushed by a bolt that is tightened hard ({listed(sorted(tubes))}): tighten until the "
            "washer no longer turns by hand, and a quarter turn more, or put a spacer sleeve inside."
        )


def _washers_mm(fastening: Fastening) -> float:
    """Thickness of both washers."""
    return sum(fastening.thread.washer(series).thick_mm for series in fastening.series)


def _plain_shank_mm(fastening: Fastening) -> float:
    """Length under the head that has no thread."""
    return fastening.length_mm - thread_length_mm(fastening.thread, fastening.length_mm)


def _some(words: Sequence[str], most: int = 6) -> str:
    """The first few, and how many more there are."""
    more = f" and {len(words) - most} more" if len(words) > most else ""
    return ", ".join(words[:most]) + more
