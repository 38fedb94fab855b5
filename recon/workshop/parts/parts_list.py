"""The parts list: members by stock and length, bolts by grip, nuts and washers; what they weigh and cost."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from recon.errors import ReconError
from recon.frame.length import both_text, mm_text
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.hardware.bolts import Bolt, Fastening, bolt_words, fasten, find_bolts, grip_mm
from recon.workshop.hardware.fasteners import (
    Thread,
    bolt_mass_kg,
    is_rod,
    least_length_mm,
    nut_mass_kg,
    thread_length_mm,
    washer_mass_kg,
)
from recon.workshop.hardware.sections import member_mass_kg
from recon.workshop.parts.oversize import Box
from recon.workshop.parts.prices import PriceList
from recon.workshop.parts.rack import Rack, RackUse, use_rack

PITCH_SHARE = (
    0.01  # a stock whose pitch is further off the frame's is told: 24 holes would be a quarter pitch out
)


@dataclass(frozen=True)
class MemberLine:
    """Members of one stock and length.  `mass_kg` and `cost` are of one, None where stock or price is not known;
    `owned` of them come from the rack whole."""

    stock: str | None
    stock_name: str
    holes: int
    length_mm: float
    members: tuple[str, ...]
    owned: int
    mass_kg: float | None
    cost: float | None

    @property
    def count(self) -> int:
        return len(self.members)

    @property
    def to_get(self) -> int:
        """To buy or to cut."""
        return self.count - self.owned


@dataclass(frozen=True)
class HardwareLine:
    """Bolts of one name and grip, or nuts, or washers.  kind : "bolt", "nut" or "washer".

    name : 'M8 x 90', or for nuts and washers 'M8'.   grip_mm : of bolts, else None.   flats_mm : the wrench.
    seen, assumed : bolts that were in photos, and those that were not.   where : 'hole 3 of C on hole 1 of F' each.
    mass_kg, cost : of one.
    """

    kind: str
    name: str
    count: int
    owned: int
    grip_mm: float | None
    flats_mm: float | None
    seen: int
    assumed: int
    where: tuple[str, ...]
    mass_kg: float | None
    cost: float | None

    @property
    def to_get(self) -> int:
        return self.count - self.owned


@dataclass(frozen=True)
class PartsList:
    """All parts of a frame.  bolts : each bolt with what fastens it (None where its hole is not known), in order.

    laps_without_bolt : laps that the frame file says have none.   rack : what of the user's own is used, or None.
    notes : sentences for people: what could not be told, and what to mind.
    """

    name: str
    pitch_mm: float
    members: tuple[MemberLine, ...]
    hardware: tuple[HardwareLine, ...]
    bolts: tuple[tuple[Bolt, Fastening | None], ...]
    laps_without_bolt: int
    currency: str
    rack: RackUse | None
    notes: tuple[str, ...]

    @property
    def mass_kg(self) -> float | None:
        """Of the whole frame with its bolts; None where a stock is not known."""
        return _total((line.mass_kg, line.count) for line in (*self.members, *self.hardware))

    @property
    def members_mass_kg(self) -> float | None:
        """Of the members alone."""
        return _total((line.mass_kg, line.count) for line in self.members)

    @property
    def cost(self) -> float | None:
        """Of all that is not owned; None where a price is missing."""
        return _total((line.cost, line.to_get) for line in (*self.members, *self.hardware) if line.to_get)


def _total(amounts) -> float | None:
    amounts = list(amounts)
    return None if any(each is None for each, _ in amounts) else math.fsum(each * n for each, n in amounts)


def parts_list(
    frame: Frame,
    stocks: Mapping[str, Stock],
    prices: PriceList | None = None,
    rack: Rack | None = None,
    *,
    system: str | None = None,
    thread: Thread | None = None,
    keep_out: Sequence[Box] = (),
    floor: bool = True,
) -> PartsList:
    """The parts of a frame.

    system : bolts "metric" or "inch"; by the stock where None.   thread : of all bolts, in place of the largest that
    passes the holes.   keep_out, floor : where longer members from the rack may not reach (`longer.surroundings`).

    Raises ReconError where the frame has no pitch, no listed bolt fits a hole, or `thread` passes no hole.
    """
    if not frame.pitch_mm:
        raise ReconError(
            "The frame's pitch is not known, so its parts have no lengths; give its stock, or one measured length."
        )
    use = use_rack(frame, rack, stocks, keep_out, floor) if rack else None
    owned = Counter(rack.hardware) if rack else Counter()
    by_id = {m.id: m for m in frame.members}
    # Each bolt is asked of its own few members: a frame has thousands of bolts and hundreds of members.
    bolts = tuple(
        (
            bolt,
            fasten(
                bolt,
                replace(frame, members=tuple(by_id[id] for id in sorted({id for id, _ in bolt.through}))),
                stocks,
                system,
                thread,
            ),
        )
        for bolt in find_bolts(frame)
    )
    members = _member_lines(frame, stocks, prices, use)
    hardware = _hardware_lines(bolts, frame, stocks, prices, owned)
    notes = [*_stock_notes(frame, stocks), *_bolt_notes(bolts), *_price_notes(members, hardware, prices)]
    return PartsList(
        frame.name,
        frame.pitch_mm,
        members,
        hardware,
        bolts,
        sum(j.bolt == "none" for j in frame.joints),
        prices.currency if prices else "",
        use,
        tuple(notes),
    )


def _member_lines(frame: Frame, stocks, prices, use: RackUse | None) -> tuple[MemberLine, ...]:
    groups: dict[tuple[str | None, int], list[str]] = {}
    for m in frame.members:
        groups.setdefault((m.stock, m.holes), []).append(m.id)
    lines = []
    for (id, holes), labels in sorted(
        groups.items(), key=lambda g: (g[0][0] is None, g[0][0] or "", -g[0][1])
    ):
        stock = stocks.get(id)
        lines.append(
            MemberLine(
                id,
                stock.name if stock else id or "stock not known",
                holes,
                round(holes * frame.pitch_mm, 3),
                tuple(labels),
                sum(label in use.used for label in labels) if use else 0,
                member_mass_kg(stock, holes, frame.pitch_mm) if stock else None,
                prices.of_member(id, holes, frame.pitch_mm) if prices and id else None,
            )
        )
    return tuple(lines)


def _hardware_lines(bolts, frame, stocks, prices, owned: Counter) -> tuple[HardwareLine, ...]:
    groups: dict = {}
    for bolt, fastening in bolts:
        grip = fastening.grip_mm if fastening else grip_mm(bolt, frame, stocks)
        groups.setdefault((fastening.name if fastening else "", grip), []).append((bolt, fastening))
    lines, nuts, washers = [], Counter(), Counter()
    for (name, grip), group in sorted(groups.items(), key=lambda g: (g[0][1], g[0][0])):
        fastening = group[0][1]
        seen = sum(bolt.seen for bolt, _ in group)
        if fastening:
            nuts[fastening.thread] += len(group) * (2 if is_rod(fastening.thread, fastening.length_mm) else 1)
            washers[fastening.thread] += 2 * len(group)
        lines.append(
            _line(
                "bolt",
                name,
                len(group),
                grip,
                fastening and fastening.thread.flats_mm,
                (seen, len(group) - seen),
                tuple(bolt_words(bolt) for bolt, _ in group),
                bolt_mass_kg(fastening.thread, fastening.length_mm) if fastening else None,
                prices,
                owned,
            )
        )
    for kind, counts, mass in (("nut", nuts, nut_mass_kg), ("washer", washers, washer_mass_kg)):
        for thread, n in sorted(counts.items(), key=lambda t: t[0].d_mm):
            flats = thread.flats_mm if kind == "nut" else None
            lines.append(_line(kind, thread.name, n, None, flats, (0, 0), (), mass(thread), prices, owned))
    return tuple(lines)


def _line(kind, name, count, grip, flats, seen, where, mass, prices, owned: Counter) -> HardwareLine:
    have = min(count, owned[kind, name])
    owned[kind, name] -= have
    return HardwareLine(
        kind,
        name,
        count,
        have,
        grip,
        flats,
        *seen,
        where,
        mass,
        prices.hardware.get((kind, name)) if prices else None,
    )


def _stock_notes(frame: Frame, stocks):
    unknown = [m.id for m in frame.members if m.stock not in stocks]
    if unknown:
        yield (
            f"The stock of {_some(unknown)} is not known, so there is no weight or price for "
            f"{'it' if len(unknown) == 1 else 'them'}; give the frame's stock."
        )
    for id in sorted({m.stock for m in frame.members if m.stock in stocks}):
        if abs(stocks[id].pitch_mm - frame.pitch_mm) > PITCH_SHARE * frame.pitch_mm:
            yield (
                f"The frame's pitch is {both_text(frame.pitch_mm)}, and {id} has {both_text(stocks[id].pitch_mm)}: its holes "
                "would not meet. Lengths here are by the frame's pitch; check which is right before you buy."
            )


def _bolt_notes(bolts):
    unknown = [bolt for bolt, fastening in bolts if fastening is None]
    if unknown:
        yield f"The holes' diameter is not known for {len(unknown)} bolts, so only their grip is told; give the frame's stock."
    for name in sorted(
        {
            f.name
            for _, f in bolts
            if f and f.length_mm - thread_length_mm(f.thread, f.length_mm) > f.grip_mm + 2 * f.thread.washer_mm
        }
    ):
        yield f"The plain shank of {name} may be longer than the grip: take it threaded further, or add washers."
    for name, most in sorted(
        {(f.name, round(f.length_mm - least_length_mm(f.grip_mm, f.thread), 1)) for _, f in bolts if f}
    ):
        if most > 15:
            yield f"{name} is the next length that is sold, and stands {mm_text(most)} further out than is needed."


def _price_notes(members, hardware, prices):
    if prices is None:
        return
    missing = [
        f"{line.holes}-hole members of {line.stock}"
        for line in members
        if line.cost is None and line.to_get and line.stock
    ]
    missing += [
        f"{line.kind} {line.name}" for line in hardware if line.cost is None and line.to_get and line.name
    ]
    if missing:
        yield f"The price list has no price for {_some(missing)}, so there is no total; sticks are priced in the cut list."


def _some(words: Sequence[str], most: int = 6) -> str:
    words = list(words)
    more = f" and {len(words) - most} more" if len(words) > most else ""
    return ", ".join(words[:most]) + more
