"""The cut list: which stick every piece comes from, and where the saw goes.

Sticks are drilled along their whole length, so a piece of n holes is n pitches of a stick and every cut falls
midway between two holes: the saw takes half its kerf from each side, which leaves a sawn end short by half a
kerf and all holes on pitch. A stick then holds as many holes as have half a pitch on both sides, and kerf
takes no room. Sticks that are not drilled yet are cut to exact lengths, and there each cut takes its kerf out
of the stick.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from recon.errors import ReconError
from recon.frame.length import both_text, mm_text
from recon.frame.model import Frame, Member
from recon.frame.stock import Stock
from recon.workshop.cutting.cutting_stock import Packing, first_fit_decreasing, solve_cutting_stock
from recon.workshop.cutting.lay_out import LENGTH_TOL_MM, CutStick, lay_out_stick, usable_holes
from recon.workshop.cutting.patterns import StickKind
from recon.workshop.cutting.stick_groups import StickGroups, group_sticks
from recon.workshop.frame_size import known_pitch_mm
from recon.workshop.parts.parts_model import total
from recon.workshop.parts.prices import PriceList
from recon.workshop.parts.rack import OwnedStick, Rack, RackUse
from recon.workshop.wording import listed

KERF_MM = 3.2  # a usual saw blade, 1/8 in: common practice, no source
KERF_SHARE = 0.25  # of what lies between two holes; a saw that takes more is named: this project's choice
UNIT_MM = 0.1  # in which sticks that are not drilled are worked out; pieces and kerf are rounded up to it
SAME_SHARE = 5e-4  # lengths that are whole multiples of one length to within this share count as such


@dataclass(frozen=True)
class CutPlan:
    """The sticks of one stock.

    Attributes
    ----------
    stock : str
        Its id.
    sticks : tuple of CutStick
    buy : tuple of (float, int)
        Length in mm, and how many of it.
    by_price : bool
        Whether cost was made least, else the length bought.
    amount, bound, first_fit : float
        What is bought, what no plan can be below, and what the usual rule by hand would buy: in money where
        `by_price`, else in mm.
    optimal : bool
        Whether amount and bound are equal.
    cost : float or None
        Of what is bought; None where a price is not known.
    pieces_mm : float
        Length of all pieces together.
    waste_mm : float
        Of the sticks used, all that is in no piece; offcuts are part of it.
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

    @property
    def waste_share(self) -> float:
        """Of the length of the sticks used, the share that is in no piece."""
        return self.waste_mm / (self.pieces_mm + self.waste_mm)


@dataclass(frozen=True)
class CutList:
    """How all members are cut.

    Attributes
    ----------
    plans : tuple of CutPlan
        One for each stock.
    kerf_mm, pitch_mm : float
        As they were worked out with.
    currency : str
    notes : tuple of str
        Sentences for people.
    """

    plans: tuple[CutPlan, ...]
    kerf_mm: float
    pitch_mm: float
    currency: str
    notes: tuple[str, ...]

    @property
    def cost(self) -> float | None:
        """Of all sticks to buy; None where a price is not known."""
        return total((plan.cost, 1) for plan in self.plans)


@dataclass(frozen=True)
class _Job:
    """The members of one stock that are to be cut."""

    stock: Stock
    members: tuple[Member, ...]
    pitch_mm: float
    kerf_mm: float

    @cached_property
    def sizes(self) -> list[int]:
        """Numbers of holes that occur, the largest first."""
        return sorted({m.holes for m in self.members}, reverse=True)

    @cached_property
    def demand(self) -> list[int]:
        """How many members there are of each size."""
        count = Counter(m.holes for m in self.members)
        return [count[n] for n in self.sizes]


@dataclass(frozen=True)
class _Kind:
    """A kind of stick before it is packed; price None where it is not known.

    by_stick : whether the price is that of a stick and not of so many metres.
    """

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

    Parameters
    ----------
    frame : Frame
    stocks : mapping of str to Stock
    rack : Rack, optional
        What is owned: its sticks are cut before any is bought.
    used : RackUse, optional
        What `use_rack` took whole; owned members left over are cut like sticks.
    prices : PriceList, optional
    kerf_mm : float
        What the saw takes.
    drilled, first_hole_mm, trim_mm
        Of sticks to buy: see `recon.workshop.parts.rack.OwnedStick`.
    lengths_mm : sequence of float
        Of sticks to buy; by default those with a price in `prices`, else those of the stock list.

    Returns
    -------
    CutList

    Raises
    ------
    ReconError
        Where the frame has no pitch, a stock is not known, the saw would reach a hole, or a piece is longer
        than any stick.

    Examples
    --------
    >>> from recon.frame.model import Frame, Member
    >>> from recon.frame.stock import load_stocks
    >>> posts = [Member(id, (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12, stock="softwood-38") for id in "ABCD"]
    >>> cuts = cut_list(Frame(tuple(posts), pitch_mm=38.1), load_stocks(), lengths_mm=[2438.0])
    >>> cuts.plans[0].buy, cuts.plans[0].optimal
    (((2438.0, 1),), True)
    """
    pitch_mm = known_pitch_mm(frame, "nothing can be cut")
    rack, taken = rack or Rack(), used.used if used else {}
    to_buy = OwnedStick("", 0.0, 0, first_hole_mm, drilled, trim_mm)
    notes: list[str] = []
    plans = []
    for id, members in sorted(_by_stock(frame, stocks, taken).items()):
        job = _Job(stocks[id], tuple(members), pitch_mm, kerf_mm)
        notes += _check_kerf(job)
        kinds = _owned_kinds(job, rack, used) + _kinds_to_buy(job, to_buy, prices, lengths_mm, notes)
        plans.append(_plan(job, kinds))
    if taken:
        notes.append(
            f"Whole from the rack, and so not cut: {listed(m.id for m in frame.members if m.id in taken)}."
        )
    if any(stick.holes_mm and stick.cuts_mm for plan in plans for stick in plan.sticks):
        notes.append(_midway_words(kerf_mm))
    if any(1 in stick.sides for plan in plans for stick in plan.sticks):
        notes.append(
            "Sticks that are not drilled: mark all lines from the stick's left end, then saw with the kerf "
            f"of {mm_text(kerf_mm)} on the right of each line, so that the piece on its left keeps its "
            "length; every kerf is counted in the lines after it."
            if kerf_mm
            else "Sticks that are not drilled: mark all lines from the stick's left end, and cut on each."
        )
    if any(-1 in stick.sides for plan in plans for stick in plan.sticks):
        notes.append("The first line cuts off an end that is no good: there the kerf lies on the left.")
    return CutList(tuple(plans), kerf_mm, pitch_mm, prices.currency if prices else "", tuple(notes))


def _midway_words(kerf_mm: float) -> str:
    """How to saw drilled sticks, by what the saw takes."""
    where = "Drilled sticks: the line is midway between two holes; "
    if not kerf_mm:
        return where + "cut on it: nothing is lost, and each member is as long as its holes say."
    return (
        f"{where}saw on it, so that the kerf of {mm_text(kerf_mm)} lies half on each side. Each sawn end is "
        f"{mm_text(kerf_mm / 2)} short; the holes stay on pitch."
    )


def _by_stock(
    frame: Frame, stocks: Mapping[str, Stock], taken: Mapping[str, object]
) -> dict[str, list[Member]]:
    """The members that are not taken whole, by the id of their stock."""
    groups: dict[str, list[Member]] = {}
    for m in frame.members:
        if m.id in taken:
            continue
        if m.stock is None or m.stock not in stocks:
            raise ReconError(
                f"The stock of member {m.id} is not known, so it cannot be cut; give the frame's stock."
            )
        groups.setdefault(m.stock, []).append(m)
    return groups


def _check_kerf(job: _Job) -> list[str]:
    """A sentence where the saw leaves little at the holes.

    Raises
    ------
    ReconError
        Where it reaches them.
    """
    between = job.pitch_mm - job.stock.hole_mm
    if not 0 <= job.kerf_mm < between:
        raise ReconError(
            f"A kerf of {mm_text(job.kerf_mm)} reaches the holes of {job.stock.id}: there are "
            f"{mm_text(between)} "
            "between them; use a thinner saw blade."
        )
    if job.kerf_mm <= KERF_SHARE * between:
        return []
    left = (between - job.kerf_mm) / 2
    text = (
        f"A kerf of {mm_text(job.kerf_mm)} leaves {mm_text(left)} at the end holes of {job.stock.id}, of "
        f"{mm_text(between / 2)} that would be there without: use a thinner saw blade."
    )
    return [text]


# Kinds of stick


def _owned_kinds(job: _Job, rack: Rack, used: RackUse | None) -> list[_Kind]:
    """Sticks of the rack, and members of it that are left over."""
    kinds = [_Kind(stick, True) for stick in rack.sticks if stick.stock == job.stock.id and stick.count]
    for (id, holes), count in sorted(used.left.items() if used else ()):
        if id == job.stock.id:
            kinds.append(_Kind(OwnedStick(id, round(holes * job.pitch_mm, 4), count), True))
    return kinds


def _kinds_to_buy(
    job: _Job,
    to_buy: OwnedStick,
    prices: PriceList | None,
    lengths_mm: Sequence[float],
    notes: list[str],
) -> list[_Kind]:
    """Sticks like `to_buy` of each length; a note says which are left out for want of a price."""
    id = job.stock.id
    priced = {mm: price for (stock, mm), price in (prices.stick.items() if prices else ()) if stock == id}
    lengths = [round(float(mm), 4) for mm in lengths_mm or priced or job.stock.lengths_mm]
    without = [mm for mm in lengths if mm not in priced]
    if priced and without:
        notes.append(f"No price is known for sticks of {id} of {', '.join(map(mm_text, without))}: left out.")
        lengths = [mm for mm in lengths if mm in priced]
    metre = prices.metre.get(id) if prices else None
    kinds = []
    for mm in sorted(set(lengths)):
        price = priced.get(mm, None if metre is None else metre * mm / 1000)
        kinds.append(_Kind(replace(to_buy, stock=id, length_mm=mm), False, price, bool(priced)))
    return kinds


# The plan of one stock


def _plan(job: _Job, kinds: Sequence[_Kind]) -> CutPlan:
    by_price = any(kind.by_stick for kind in kinds)
    unit, costs = _costs(kinds, by_price)
    ready = [_stick_kind(kind, job, cost) for kind, cost in zip(kinds, costs)]
    _check_fits(job, kinds, ready)
    groups = group_sticks(ready, [kind.stick.length_mm for kind in kinds], job.stock.id)
    packing = groups.ungrouped(solve_cutting_stock(job.demand, groups.kinds))
    if any(packing.unmet):
        raise ReconError(
            f"The sticks of {job.stock.id} that you own do not give all pieces, and no length of it is known "
            "to "
            "buy; give lengths to buy, or own more."
        )
    sticks = _lay_out(packing, job, kinds)
    bought = Counter(stick.length_mm for stick in sticks if not stick.owned)
    prices = {kind.stick.length_mm: kind.price for kind in kinds if not kind.owned}
    amount = packing.cost * unit if by_price else math.fsum(mm * n for mm, n in bought.items())
    pieces_mm = sum(m.holes for m in job.members) * job.pitch_mm
    return CutPlan(
        stock=job.stock.id,
        sticks=sticks,
        buy=tuple(sorted(bought.items())),
        by_price=by_price,
        amount=_round_mm(amount),
        bound=_round_mm(amount if packing.optimal else min(amount, packing.bound * unit)),
        first_fit=_round_mm(_by_hand(job, kinds, groups, unit if by_price else None)),
        optimal=packing.optimal,
        cost=total((prices[mm], n) for mm, n in bought.items()),
        pieces_mm=_round_mm(pieces_mm),
        # 8 ft is listed as 2438 mm and gives 64 pitches of 38.1 mm, 2438.4 mm: that is no waste.
        waste_mm=_round_mm(max(0.0, sum(s.length_mm for s in sticks) - pieces_mm)),
    )


def _round_mm(value: float) -> float:
    return round(value, 3) + 0.0


def _by_hand(job: _Job, kinds: Sequence[_Kind], groups: StickGroups, unit_price: float | None) -> float:
    """What the usual rule by hand would buy: in money where `unit_price` is known, else in mm."""
    packing = groups.ungrouped(first_fit_decreasing(job.demand, groups.kinds))
    if unit_price is not None:
        return packing.cost * unit_price
    return math.fsum(kinds[k].stick.length_mm * n for k, _, n in packing.patterns if not kinds[k].owned)


def _costs(kinds: Sequence[_Kind], by_price: bool) -> tuple[float, list[int]]:
    """A unit of money or mm, and what a stick of each kind costs in it; 0 for those that are owned."""
    if by_price:
        return 0.01, [
            0 if kind.owned or kind.price is None else max(1, round(100 * kind.price)) for kind in kinds
        ]
    unit = _common_length([kind.stick.length_mm for kind in kinds if not kind.owned])
    return unit, [0 if kind.owned else round(kind.stick.length_mm / unit) for kind in kinds]


def _common_length(lengths: Sequence[float]) -> float:
    """The longest length that all are whole multiples of, nearly; 1 mm where there is none.

    2438, 3048 and 3658 mm are 4, 5 and 6 times 2 ft.
    """
    for parts in range(1, 41):
        unit = min(lengths, default=1.0) / parts
        if all(abs(mm - round(mm / unit) * unit) <= SAME_SHARE * mm for mm in lengths):
            return unit
    return 1.0


def _stick_kind(kind: _Kind, job: _Job, cost: int) -> StickKind:
    stick, count = kind.stick, kind.stick.count if kind.owned else None
    if stick.drilled:
        return StickKind(usable_holes(stick, job.pitch_mm, job.kerf_mm)[1], tuple(job.sizes), cost, count)
    kerf = math.ceil(job.kerf_mm / UNIT_MM - 1e-6)
    room = math.floor((stick.length_mm + LENGTH_TOL_MM - 2 * stick.trim_mm) / UNIT_MM + 1e-6)
    sizes = [math.ceil(n * job.pitch_mm / UNIT_MM - 1e-6) for n in job.sizes]
    # The last piece needs no cut where the stick ends with it: one kerf more of room, and a kerf with every
    # piece.
    return StickKind(room + kerf, tuple(size + kerf for size in sizes), cost, count)


def _check_fits(job: _Job, kinds: Sequence[_Kind], ready: Sequence[StickKind]) -> None:
    if not kinds:
        raise ReconError(
            f"No length of {job.stock.id} is known to buy and none is owned; give lengths to buy, or a price "
            "list."
        )
    for k, holes in enumerate(job.sizes):
        if all(kind.sizes[k] > kind.room for kind in ready):
            labels = [m.id for m in job.members if m.holes == holes]
            who = f"Members {listed(labels)} have" if len(labels) > 1 else f"Member {labels[0]} has"
            longest = max(kind.stick.length_mm for kind in kinds)
            raise ReconError(
                f"{who} {holes} holes, {both_text(holes * job.pitch_mm)}, and the longest "
                "stick of "
                f"{job.stock.id}, {both_text(longest)}, does not give that; give longer ones to buy."
            )


def _lay_out(packing: Packing, job: _Job, kinds: Sequence[_Kind]) -> tuple[CutStick, ...]:
    """The sticks with their pieces, the longest piece first; members take pieces in their order."""
    waiting = {n: [m.id for m in job.members if m.holes == n] for n in job.sizes}
    order = sorted(packing.patterns, key=lambda p: (not kinds[p[0]].owned, p[0], [-n for n in p[1]]))
    sticks = []
    for kind, counts, times in order:
        for _ in range(times):
            pieces = [(waiting[n].pop(0), n) for n, count in zip(job.sizes, counts) for _ in range(count)]
            stick, owned = kinds[kind].stick, kinds[kind].owned
            sticks.append(lay_out_stick(stick, owned, pieces, job.pitch_mm, job.kerf_mm))
    return tuple(sticks)
