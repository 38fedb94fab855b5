"""The cut list: which stick every piece comes from, and where the saw goes.

Sticks are drilled along their whole length, so a piece of n holes is n pitches of a stick and every cut falls midway
between two holes: the saw takes half its kerf from each side, which leaves a sawn end short by half a kerf and all holes
on pitch. A stick then holds as many holes as have half a pitch on both sides, and kerf takes no room. Sticks that are
not drilled yet are cut to exact lengths, and there each cut takes its kerf out of the stick.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from recon.errors import ReconError
from recon.frame.length import both_text, mm_text
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.cutting.cutting_stock import Packing, StickKind, first_fit_decreasing, solve_cutting_stock
from recon.workshop.parts.prices import PriceList
from recon.workshop.parts.rack import OwnedStick, Rack, RackUse
from recon.workshop.wording import listed

KERF_MM = 3.2  # a usual saw blade, 1/8 in: common practice, no source
LENGTH_TOL_MM = 0.5  # lengths of sticks are told in whole mm: 8 ft is 2438.4 mm and listed as 2438
UNIT_MM = 0.1  # in which sticks that are not drilled are reckoned; pieces and kerf are rounded up to it
SAME_SHARE = 5e-4  # lengths that are whole multiples of one length to within this share count as such


@dataclass(frozen=True)
class Piece:
    """One member of the frame as it lies in a stick; from `start_mm` to `end_mm`, its true sawn ends."""

    member: str
    holes: int
    start_mm: float
    end_mm: float


@dataclass(frozen=True)
class CutStick:
    """A stick with its cuts. All positions from its start, mm; `cuts_mm` are the middles of the kerfs.

    holes_mm : centres of its holes, empty where it is not drilled.   after_hole : for each cut, how many of them come
    before it, so that the saw goes between that one and the next.   offcut_mm, offcut_holes : what is left at its end.
    """

    stock: str
    length_mm: float
    owned: bool
    holes_mm: tuple[float, ...]
    pieces: tuple[Piece, ...]
    cuts_mm: tuple[float, ...]
    after_hole: tuple[int, ...]
    offcut_mm: float
    offcut_holes: int


@dataclass(frozen=True)
class CutPlan:
    """The sticks of one stock.

    buy : (length mm, how many).   by_price : whether cost was made least, else the length bought.
    amount, bound, first_fit : what is bought, what no plan can be below, and what the usual rule by hand would buy: in
    money, else in mm.   optimal : amount = bound.   pieces_mm : length of all pieces.   waste_mm : of the sticks used,
    all that is in no piece; offcuts are part of it.
    """

    stock: str
    sticks: tuple[CutStick, ...]
    buy: tuple[tuple[float, int], ...]
    by_price: bool
    amount: float
    bound: float
    first_fit: float
    optimal: bool
    cost: float | None
    pieces_mm: float
    waste_mm: float


@dataclass(frozen=True)
class CutList:
    """All plans; `kerf_mm`, `pitch_mm` and `currency` as they were reckoned with; notes are sentences for people."""

    plans: tuple[CutPlan, ...]
    kerf_mm: float
    pitch_mm: float
    currency: str
    notes: tuple[str, ...]

    @property
    def cost(self) -> float | None:
        """Of all sticks to buy; None where a price is not known."""
        costs = [plan.cost for plan in self.plans]
        return None if None in costs else math.fsum(costs)


@dataclass(frozen=True)
class _Kind:
    """A kind of stick before it is packed; price None where it is not known, `by_stick` where it is that of a stick
    and not of so many metres."""

    stick: OwnedStick
    owned: bool
    price: float | None = None
    by_stick: bool = False


def cut_list(
    frame: Frame,
    stocks: Mapping[str, Stock],
    *,
    rack: Rack | None = None,
    used: RackUse | None = None,
    prices: PriceList | None = None,
    kerf_mm: float = KERF_MM,
    drilled: bool = True,
    first_hole_mm: float | None = None,
    trim_mm: float = 0.0,
    lengths_mm: Sequence[float] = (),
) -> CutList:
    """How to cut all members of a frame that do not come whole from the rack.

    used : what `use_rack` took whole; owned members left over are cut, and so are the rack's sticks, before any is bought.
    drilled, first_hole_mm, trim_mm : of sticks to buy; see `OwnedStick`.
    lengths_mm : those to buy; by default those with a price in `prices`, else those of the stock list.

    Raises ReconError where the frame has no pitch, a stock is not known, the saw would reach a hole, or a piece is
    longer than any stick.
    """
    if not frame.pitch_mm:
        raise ReconError(
            "The frame's pitch is not known, so nothing can be cut; give its stock, or one measured length."
        )
    rack, taken = rack or Rack(), used.used if used else {}
    groups: dict[str, list] = {}
    for m in frame.members:
        if m.id in taken:
            continue
        if m.stock not in stocks:
            raise ReconError(
                f"The stock of member {m.id} is not known, so it cannot be cut; give the frame's stock."
            )
        groups.setdefault(m.stock, []).append(m)
    notes, plans = [], []
    for id, members in sorted(groups.items()):
        stock = stocks[id]
        _check_kerf(stock, frame.pitch_mm, kerf_mm)
        kinds = _kinds(
            stock, frame.pitch_mm, rack, used, prices, lengths_mm, (first_hole_mm, drilled, trim_mm), notes
        )
        plans.append(_plan(stock, members, kinds, frame.pitch_mm, kerf_mm))
    if taken:
        notes.append(
            f"Whole from the rack, and so not cut: {listed(m.id for m in frame.members if m.id in taken)}."
        )
    if any(stick.holes_mm and stick.cuts_mm for plan in plans for stick in plan.sticks):
        notes.append(
            f"Cut midway between holes. The saw takes {mm_text(kerf_mm)}, half from each side, so each sawn end is "
            f"{mm_text(kerf_mm / 2)} short; the holes stay on pitch."
        )
    return CutList(tuple(plans), kerf_mm, frame.pitch_mm, prices.currency if prices else "", tuple(notes))


def _check_kerf(stock: Stock, pitch_mm: float, kerf_mm: float):
    between = pitch_mm - stock.hole_mm
    if not 0 <= kerf_mm < between:
        raise ReconError(
            f"A kerf of {mm_text(kerf_mm)} reaches the holes of {stock.id}: there are {mm_text(between)} between "
            "them; use a thinner saw blade."
        )


def _kinds(stock: Stock, pitch_mm, rack: Rack, used, prices, lengths_mm, bought, notes) -> list[_Kind]:
    """The kinds of stick there are: owned ones first, then those to buy."""
    kinds = [_Kind(stick, True) for stick in rack.sticks if stick.stock == stock.id and stick.count]
    for (id, holes), count in sorted(used.left.items() if used else ()):
        if id == stock.id:
            kinds.append(_Kind(OwnedStick(id, round(holes * pitch_mm, 4), count), True))
    priced = {mm: price for (id, mm), price in (prices.stick.items() if prices else ()) if id == stock.id}
    lengths = [round(float(mm), 4) for mm in lengths_mm or priced or stock.lengths_mm]
    without = [mm for mm in lengths if mm not in priced]
    if priced and without:
        notes.append(
            f"No price is known for sticks of {stock.id} of {', '.join(map(mm_text, without))}: left out."
        )
        lengths = [mm for mm in lengths if mm in priced]
    metre = prices.metre.get(stock.id) if prices else None
    for mm in sorted(set(lengths)):
        price = priced.get(mm, None if metre is None else metre * mm / 1000)
        kinds.append(_Kind(OwnedStick(stock.id, mm, 0, *bought), False, price, bool(priced)))
    return kinds


def usable_holes(stick: OwnedStick, pitch_mm: float, kerf_mm: float) -> tuple[int, int]:
    """The first usable hole of a drilled stick, counted from 0, and how many there are from it on: those with half a
    pitch on both sides, clear of the ends that are no good.  An end may be half a kerf short, as a sawn one is."""
    slack = kerf_mm / 2 + LENGTH_TOL_MM
    offset = pitch_mm / 2 if stick.first_hole_mm is None else stick.first_hole_mm
    first = max(0, math.ceil((stick.trim_mm - slack - offset + pitch_mm / 2) / pitch_mm - 1e-9))
    last = math.floor((stick.length_mm - stick.trim_mm + slack - offset - pitch_mm / 2) / pitch_mm + 1e-9)
    return first, max(0, last - first + 1)


def _plan(stock: Stock, members, kinds: list[_Kind], pitch_mm: float, kerf_mm: float) -> CutPlan:
    sizes = sorted({m.holes for m in members}, reverse=True)
    demand = Counter(m.holes for m in members)
    by_price = any(kind.by_stick for kind in kinds)
    unit, costs = _costs(kinds, by_price)
    ready = [_stick_kind(kind, sizes, pitch_mm, kerf_mm, cost) for kind, cost in zip(kinds, costs)]
    _check_fits(stock, members, sizes, kinds, ready, pitch_mm)
    wanted = [demand[n] for n in sizes]
    packing = solve_cutting_stock(wanted, ready)
    if any(packing.unmet):
        raise ReconError(
            f"The sticks of {stock.id} that you own do not give all pieces, and no length of it is known to buy; "
            "give lengths to buy, or own more."
        )
    by_hand = first_fit_decreasing(wanted, ready)
    first_fit = (
        by_hand.cost * unit
        if by_price
        else math.fsum(kinds[k].stick.length_mm * n for k, _, n in by_hand.patterns if not kinds[k].owned)
    )
    sticks = _lay_out(packing, members, sizes, kinds, pitch_mm, kerf_mm)
    buy = Counter(stick.length_mm for stick in sticks if not stick.owned)
    prices = {kind.stick.length_mm: kind.price for kind in kinds if not kind.owned}
    cost = (
        None if any(prices[mm] is None for mm in buy) else math.fsum(prices[mm] * n for mm, n in buy.items())
    )
    amount = packing.cost * unit if by_price else math.fsum(mm * n for mm, n in buy.items())
    bound = amount if packing.optimal else min(amount, packing.bound * unit)
    pieces_mm = sum(m.holes for m in members) * pitch_mm
    return CutPlan(
        stock.id,
        sticks,
        tuple(sorted(buy.items())),
        by_price,
        _mm(amount),
        _mm(bound),
        _mm(first_fit),
        packing.optimal,
        cost,
        _mm(pieces_mm),
        _mm(sum(s.length_mm for s in sticks) - pieces_mm),
    )


def _costs(kinds: list[_Kind], by_price: bool) -> tuple[float, list[int]]:
    """A unit of money or mm, and what a stick of each kind costs in it; 0 for those that are owned."""
    if by_price:
        return 0.01, [0 if kind.owned else max(1, round(100 * kind.price)) for kind in kinds]
    lengths = [kind.stick.length_mm for kind in kinds if not kind.owned]
    unit = _common_length(lengths)
    return unit, [0 if kind.owned else round(kind.stick.length_mm / unit) for kind in kinds]


def _common_length(lengths: list[float]) -> float:
    """The longest length that all are whole multiples of, nearly: 2438, 3048 and 3658 mm are 4, 5 and 6 times 2 ft."""
    for parts in range(1, 41):
        unit = min(lengths, default=1.0) / parts
        if all(abs(mm - round(mm / unit) * unit) <= SAME_SHARE * mm for mm in lengths):
            return unit
    return 1.0


def _stick_kind(kind: _Kind, sizes, pitch_mm, kerf_mm, cost: int) -> StickKind:
    stick, count = kind.stick, kind.stick.count if kind.owned else None
    if stick.drilled:
        return StickKind(usable_holes(stick, pitch_mm, kerf_mm)[1], tuple(sizes), cost, count)
    kerf = math.ceil(kerf_mm / UNIT_MM - 1e-6)
    room = math.floor((stick.length_mm + LENGTH_TOL_MM - 2 * stick.trim_mm) / UNIT_MM + 1e-6)
    # The last piece needs no cut where the stick ends with it: one kerf more of room, and a kerf with every piece.
    return StickKind(
        room + kerf, tuple(math.ceil(n * pitch_mm / UNIT_MM - 1e-6) + kerf for n in sizes), cost, count
    )


def _check_fits(stock: Stock, members, sizes, kinds, ready, pitch_mm):
    if not kinds:
        raise ReconError(
            f"No length of {stock.id} is known to buy and none is owned; give lengths to buy, or a price list."
        )
    for k, holes in enumerate(sizes):
        if all(kind.sizes[k] > kind.room for kind in ready):
            labels = ", ".join(m.id for m in members if m.holes == holes)
            longest = max(kind.stick.length_mm for kind in kinds)
            raise ReconError(
                f"Member {labels} has {holes} holes, {both_text(holes * pitch_mm)}, and the longest stick of "
                f"{stock.id}, {both_text(longest)}, does not give that; give longer ones to buy."
            )


def _lay_out(packing: Packing, members, sizes, kinds, pitch_mm, kerf_mm) -> tuple[CutStick, ...]:
    """The sticks with their pieces, the longest piece first, each piece given to a member in the members' order."""
    waiting = {n: [m.id for m in members if m.holes == n] for n in sizes}
    order = sorted(packing.patterns, key=lambda p: (not kinds[p[0]].owned, p[0], [-n for n in p[1]]))
    sticks = []
    for kind, counts, times in order:
        for _ in range(times):
            pieces = [(waiting[n].pop(0), n) for n, count in zip(sizes, counts) for _ in range(count)]
            lay = _lay_drilled if kinds[kind].stick.drilled else _lay_blank
            sticks.append(lay(kinds[kind], pieces, pitch_mm, kerf_mm))
    return tuple(sticks)


def _lay_drilled(kind: _Kind, pieces, pitch_mm, kerf_mm) -> CutStick:
    stick = kind.stick
    offset = pitch_mm / 2 if stick.first_hole_mm is None else stick.first_hole_mm
    first, count = usable_holes(stick, pitch_mm, kerf_mm)
    number = math.floor((stick.length_mm - offset) / pitch_mm + 1e-9) + 1
    edge = offset + (first - 0.5) * pitch_mm

    # An end of the stick that is half a kerf off at most is as good as sawn.
    def is_end(mm):
        return mm <= kerf_mm / 2 + LENGTH_TOL_MM or mm >= stick.length_mm - kerf_mm / 2 - LENGTH_TOL_MM

    cuts, after, laid, hole = [], [], [], first
    if not is_end(edge):
        cuts, after = [edge], [first]
    for member, holes in pieces:
        start, edge, hole = edge, edge + holes * pitch_mm, hole + holes
        laid.append(
            Piece(
                member,
                holes,
                _mm(max(0.0, start if is_end(start) else start + kerf_mm / 2)),
                _mm(min(stick.length_mm, edge if is_end(edge) else edge - kerf_mm / 2)),
            )
        )
        if not is_end(edge):
            cuts.append(edge)
            after.append(hole)
    offcut = 0.0 if is_end(edge) else stick.length_mm - edge - kerf_mm / 2
    return CutStick(
        stick.stock,
        stick.length_mm,
        kind.owned,
        tuple(_mm(offset + k * pitch_mm) for k in range(number)),
        tuple(laid),
        tuple(map(_mm, cuts)),
        tuple(after),
        _mm(offcut),
        first + count - hole,
    )


def _lay_blank(kind: _Kind, pieces, pitch_mm, kerf_mm) -> CutStick:
    stick = kind.stick
    cuts, laid, at = [stick.trim_mm - kerf_mm / 2] if stick.trim_mm else [], [], stick.trim_mm
    for member, holes in pieces:
        end = at + holes * pitch_mm
        laid.append(Piece(member, holes, _mm(at), _mm(min(end, stick.length_mm))))
        if end < stick.length_mm - LENGTH_TOL_MM:
            cuts.append(end + kerf_mm / 2)
        at = end + kerf_mm
    return CutStick(
        stick.stock,
        stick.length_mm,
        kind.owned,
        (),
        tuple(laid),
        tuple(_mm(c) for c in cuts if c > 0),
        (),
        _mm(max(0.0, stick.length_mm - at)),
        0,
    )


def _mm(value: float) -> float:
    return round(value, 3) + 0.0
