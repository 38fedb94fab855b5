"""One list of all that is to be bought for a frame, with one total.

Drilled stock is sold by the stick, by the metre and cut to length; of each stock that is taken which costs
least.  Bolts, nuts and washers are bought in whole packs where the price list names packs.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from recon.errors import ReconError
from recon.frame.length import both_text, mm_text
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.cutting.cut_list import CutList, cut_list
from recon.workshop.formats import csv_text, money
from recon.workshop.parts.parts_model import MemberLine, PartsList, total
from recon.workshop.parts.prices import PriceList
from recon.workshop.parts.rack import Rack
from recon.workshop.wording import listed, plural

CSV_COLUMNS = ("item", "id", "length_mm", "holes", "needed", "pack", "buy", "price", "cost", "currency")


@dataclass(frozen=True)
class ShoppingLine:
    """One thing to buy.

    Attributes
    ----------
    item : str
        "stick", "metre", "member", "bolt", "nut", "washer" or "fitting", as in a price list.
    id : str
        A stock's id, or the bolt, or the thread of a nut or washer, or a fitting's name.
    name : str
        For people: 'stick of softwood-38, 2438.4 mm (96 in)'.
    needed : float
        How many are used: metres of a metre, else pieces.
    pack : int
        How many come in one pack.
    price : float or None
        Of one pack.
    length_mm : float or None
        Of a stick.
    holes : int or None
        Of a member.
    """

    item: str
    id: str
    name: str
    needed: float
    pack: int = 1
    price: float | None = None
    length_mm: float | None = None
    holes: int | None = None

    @property
    def buy(self) -> float:
        """How many packs to buy; metres of a metre."""
        return self.needed if self.item == "metre" else math.ceil(self.needed / self.pack)

    @property
    def cost(self) -> float | None:
        """Of all that is bought."""
        return None if self.price is None else self.buy * self.price


@dataclass(frozen=True)
class ShoppingList:
    """All that is to be bought.

    Attributes
    ----------
    lines : tuple of ShoppingLine
    currency : str
    priced : bool
        Whether there is a price list.
    by_the_metre : tuple of str
        Ids of the stocks that are cheaper by the metre or cut to length than by the stick.
    notes : tuple of str
        Sentences about what was compared, and what has no price.
    """

    lines: tuple[ShoppingLine, ...]
    currency: str
    priced: bool
    by_the_metre: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def total(self) -> float | None:
        """To pay for all of it; None where there is no price list or a price is missing."""
        return total((line.cost, 1) for line in self.lines) if self.priced else None


def shopping_list(
    parts: PartsList, cuts: CutList | None, stocks: Mapping[str, Stock], prices: PriceList | None = None
) -> ShoppingList:
    """What to buy for a frame.

    Parameters
    ----------
    parts : PartsList
        With the same prices and rack.
    cuts : CutList or None
        With the same prices and rack; None where the members cannot be cut from sticks.
    stocks : mapping of str to Stock
    prices : PriceList, optional

    Examples
    --------
    >>> from recon.frame.model import Frame, Member
    >>> from recon.frame.stock import load_stocks
    >>> from recon.workshop.parts.parts_list import parts_list
    >>> posts = [Member(id, (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12, stock="softwood-38") for id in "ABCD"]
    >>> frame, stocks = Frame(tuple(posts), pitch_mm=38.1), load_stocks()
    >>> prices = PriceList("EUR", {"softwood-38": 4.0}, {("softwood-38", 2438.0): 9.0})
    >>> cuts = cut_list(frame, stocks, prices=prices)
    >>> found = shopping_list(parts_list(frame, stocks, prices), cuts, stocks, prices)
    >>> found.by_the_metre, round(found.total, 2)
    (('softwood-38',), 7.32)
    """
    lines: list[ShoppingLine] = []
    notes: list[str] = []
    by_the_metre: list[str] = []
    for stock in dict.fromkeys(m.stock for m in parts.members):
        wanted = [m for m in parts.members if m.stock == stock and m.to_get]
        if not wanted:
            continue
        sticks = _sticks(stock, cuts, prices) if stock else None
        pieces = _pieces(wanted, prices)
        chosen = _cheaper(sticks, pieces)
        if stock and chosen is pieces and sticks is not None:
            by_the_metre.append(stock)
        notes += _compared(stock or "", sticks, pieces, chosen, parts.currency)
        lines += chosen
    lines += _hardware(parts, prices)
    notes += _without_price(lines) if prices else ()
    return ShoppingList(tuple(lines), parts.currency, prices is not None, tuple(by_the_metre), tuple(notes))


def shopping_for(
    frame: Frame,
    stocks: Mapping[str, Stock],
    parts: PartsList,
    prices: PriceList | None = None,
    rack: Rack | None = None,
) -> ShoppingList:
    """The shopping list of a frame whose parts are known; members are cut as `cut_list` does by default."""
    try:
        cuts = cut_list(frame, stocks, rack=rack, used=parts.rack, prices=prices)
    except ReconError:
        cuts = None
    return shopping_list(parts, cuts, stocks, prices)


# Stock


def _sticks(stock: str, cuts: CutList | None, prices: PriceList | None) -> list[ShoppingLine] | None:
    """The sticks of a stock that the cut list buys; None where they are not known."""
    plan = next((plan for plan in cuts.plans if plan.stock == stock), None) if cuts else None
    if plan is None:
        return None
    found = []
    for mm, count in plan.buy:
        price = _stick_price(prices, stock, mm) if prices else None
        name = f"stick of {stock}, {both_text(mm)}"
        found.append(ShoppingLine("stick", stock, name, count, 1, price, mm))
    return found


def _stick_price(prices: PriceList, stock: str, mm: float) -> float | None:
    """Of a stick: its own, else by the metre."""
    own = next(
        (p for (id, length), p in prices.stick.items() if id == stock and abs(length - mm) < 0.1), None
    )
    metre = prices.metre.get(stock)
    return own if own is not None else None if metre is None else metre * mm / 1000


def _pieces(wanted: list[MemberLine], prices: PriceList | None) -> list[ShoppingLine]:
    """Members bought cut to length, and what has no price of its own by the metre."""
    found, metres = [], 0.0
    for m in wanted:
        own = prices.member.get((m.stock or "", m.holes)) if prices else None
        metre = prices.metre.get(m.stock or "") if prices else None
        if own is None and metre is not None:
            metres += m.to_get * m.length_mm / 1000
            continue
        name = f"member of {m.stock_name}, {plural(m.holes, 'hole')}, {both_text(m.length_mm)}"
        found.append(ShoppingLine("member", m.stock or "", name, m.to_get, 1, own, holes=m.holes))
    if metres and prices:
        stock = wanted[0].stock or ""
        lengths = listed(f"{m.to_get} of {mm_text(m.length_mm)}" for m in wanted)
        name = f"metres of {stock}, cut to length: {lengths}"
        found.append(ShoppingLine("metre", stock, name, metres, 1, prices.metre[stock]))
    return found


def _cost(lines: list[ShoppingLine] | None) -> float:
    """Of lines; endless where a price is missing."""
    known = None if lines is None else total((line.cost, 1) for line in lines)
    return math.inf if known is None else known


def _cheaper(sticks: list[ShoppingLine] | None, pieces: list[ShoppingLine]) -> list[ShoppingLine]:
    """Sticks, which are usual where neither costs less, or pieces."""
    if sticks is None:
        return pieces
    return pieces if _cost(pieces) < _cost(sticks) - 1e-9 else sticks


def _compared(
    stock: str,
    sticks: list[ShoppingLine] | None,
    pieces: list[ShoppingLine],
    chosen: list[ShoppingLine],
    currency: str,
) -> Iterator[str]:
    """What the other way to buy a stock would cost."""
    by_stick, by_piece = _cost(sticks), _cost(pieces)
    if math.inf in (by_stick, by_piece) or abs(by_stick - by_piece) < 0.005:
        return
    other = f"cut to length it would be {money(by_piece, currency)}"
    if chosen is pieces:
        other = f"in sticks it would be {money(by_stick, currency)}"
    yield f"{stock}: {money(min(by_stick, by_piece), currency)}; {other}."


# Bolts, nuts, washers and fittings


def _hardware(parts: PartsList, prices: PriceList | None) -> Iterator[ShoppingLine]:
    """A line for each name, whatever the grips."""
    count: dict[tuple[str, str], int] = {}
    for line in parts.hardware:
        if line.to_get:
            count[line.kind, line.name] = count.get((line.kind, line.name), 0) + line.to_get
    for (kind, name), n in count.items():
        each = prices.of_hardware(kind, name) if prices else None
        pack = prices.pack.get(prices.hardware_key(kind, name), 1) if prices else 1
        words = f"{kind} {name}" if name else f"{kind}, size not known"
        words = name if kind == "fitting" else words
        yield ShoppingLine(kind, name, words, n, pack, None if each is None else round(each * pack, 6))


def _without_price(lines: list[ShoppingLine]) -> Iterator[str]:
    missing = [line.name for line in lines if line.price is None]
    if missing:
        known = math.fsum(line.cost or 0.0 for line in lines)
        rest = f"; the rest comes to {known:.2f}" if known else ""
        yield f"The price list has no price for {listed(missing)}, so there is no total{rest}."


# Forms

COLUMNS = ("buy", "what", "price", "cost")


def shopping_rows(shopping: ShoppingList) -> list[tuple[str, ...]]:
    """A row for each line under COLUMNS, and a last one with the total where it is known."""
    rows: list[tuple[str, ...]] = []
    for line in shopping.lines:
        count = f"{line.buy:.2f} m" if line.item == "metre" else f"{line.buy:g}"
        pack = (
            f", {plural(int(line.buy), 'pack')} of {line.pack} for {line.needed:g}" if line.pack > 1 else ""
        )
        price, cost = money(line.price, shopping.currency), money(line.cost, shopping.currency)
        rows.append((count, line.name + pack, price, cost))
    if shopping.total is not None:
        rows.append(("", "To pay", "", money(shopping.total, shopping.currency)))
    return rows


def shopping_csv(shopping: ShoppingList) -> str:
    """A row for each line."""
    return csv_text(CSV_COLUMNS, (_plain(line, shopping) for line in shopping.lines))


def shopping_dict(shopping: ShoppingList) -> dict:
    """Plain values for JSON."""
    return {
        "lines": [dict(zip(CSV_COLUMNS, _plain(line, shopping))) for line in shopping.lines],
        "total": shopping.total,
        "currency": shopping.currency,
        "by_the_metre": list(shopping.by_the_metre),
        "notes": list(shopping.notes),
    }


def _plain(line: ShoppingLine, shopping: ShoppingList) -> tuple[object, ...]:
    own = (line.item, line.id, line.length_mm, line.holes, line.needed, line.pack)
    return (*own, line.buy, line.price, line.cost, shopping.currency)
