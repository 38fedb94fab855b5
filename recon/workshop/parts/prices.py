"""A price list: what stock, bolts, nuts and washers cost.

A CSV or TOML file (see `recon.workshop.parts.list_files`) with the columns

    item      metre, stick, member, bolt, nut, washer or fitting
    id        a stock's id, or a bolt ('M8 x 90', '5/16 x 3 1/2 in'), or the thread of a nut or washer ('M8'),
              or what a fitting is called in the parts list ('castor 80')
    length    of a stick in mm (or '8 ft'), of a member in holes; empty for the others
    price     of one: a metre of drilled stock, a stick, a member, a bolt, a pack of bolts ...
    pack      how many bolts, nuts, washers or fittings come in one pack, whose price `price` then is; 1 where
              left out
    currency  may be left out; the same in every row
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from recon.errors import ReconError
from recon.frame.stock import Stock, find_stock
from recon.workshop.hardware.fasteners import bolt_name, parse_bolt, parse_small
from recon.workshop.parts.list_files import TableRow, read_rows

COLUMNS = ("item", "id", "length", "price", "pack", "currency")
ITEMS = ("metre", "stick", "member", "bolt", "nut", "washer", "fitting")

HARDWARE = ("bolt", "nut", "washer", "fitting")  # of the items those that are counted by their names


@dataclass(frozen=True)
class PriceList:
    """What one of each costs.

    Attributes
    ----------
    currency : str
    metre : mapping of str to float
        Of drilled stock, by stock id.
    stick : mapping of (str, float) to float
        By stock id and length in mm.
    member : mapping of (str, int) to float
        By stock id and number of holes.
    hardware : mapping of (str, str) to float
        By ("bolt", "M8 x 90"), ("nut", "M8"), ("washer", "M8") or ("fitting", "castor 80"): of one, also
        where they come in packs.
    pack : mapping of (str, str) to int
        How many come in one pack, of those that do not come singly.

    Examples
    --------
    >>> PriceList("EUR", metre={"softwood-38": 4.0}).of_member("softwood-38", 25, 40.0)
    4.0
    """

    currency: str = ""
    metre: Mapping[str, float] = field(default_factory=dict)
    stick: Mapping[tuple[str, float], float] = field(default_factory=dict)
    member: Mapping[tuple[str, int], float] = field(default_factory=dict)
    hardware: Mapping[tuple[str, str], float] = field(default_factory=dict)
    pack: Mapping[tuple[str, str], int] = field(default_factory=dict)

    def hardware_key(self, kind: str, name: str) -> tuple[str, str]:
        """What a bolt, nut or washer is listed as: a wide washer as a plain one where it is not itself."""
        key = kind, name
        plain = kind, name.removesuffix(" wide")
        return plain if key not in self.hardware and plain in self.hardware else key

    def of_hardware(self, kind: str, name: str) -> float | None:
        """Price of one bolt, nut or washer; None where it is not listed."""
        return self.hardware.get(self.hardware_key(kind, name))

    def of_member(self, stock: str, holes: int, pitch_mm: float) -> float | None:
        """Price of a member: its own, else by the metre; None where neither is listed."""
        if (stock, holes) in self.member:
            return self.member[stock, holes]
        return self.metre[stock] * holes * pitch_mm / 1000 if stock in self.metre else None


def load_prices(path: str | Path, stocks: Mapping[str, Stock]) -> PriceList:
    """The price list in a file.

    Raises
    ------
    ReconError
        Where the file cannot be read or a row makes no sense; it names file, row and remedy.
    """
    currency = ""
    found: dict[str, dict] = {"metre": {}, "stick": {}, "member": {}, "hardware": {}, "pack": {}}
    for row in read_rows(path, "price list", COLUMNS):
        item = row.one_of("item", ITEMS)
        price = row.number("price", "write a price as a plain number, such as 4.20")
        if "currency" in row.cells:
            if currency and row.cells["currency"] != currency:
                raise row.wrong(
                    f"'currency' is '{row.cells['currency']}', and '{currency}' above; keep to one currency."
                )
            currency = row.cells["currency"][:8]
        kind, key = _key(row, item, stocks)
        if key in found[kind]:
            raise row.wrong("the same item has a price already in a row above; remove one of them.")
        pack = row.count("pack", 1)
        if pack < 1 or (pack > 1 and kind != "hardware"):
            raise row.wrong(
                "'pack' is how many bolts, nuts, washers or fittings come in one pack: 1 or more, for these."
            )
        found[kind][key] = price / pack
        if pack > 1:
            found["pack"][key] = pack
    return PriceList(currency, **found)


def _key(row: TableRow, item: str, stocks: Mapping[str, Stock]) -> tuple[str, object]:
    if item in HARDWARE:
        return "hardware", (item, hardware_id(row, item))
    stock = stock_id(row, stocks)
    if item == "metre":
        return item, stock
    return item, (stock, row.mm("length") if item == "stick" else row.holes("length"))


def stock_id(row: TableRow, stocks: Mapping[str, Stock]) -> str:
    """The id of the row's stock.

    Raises
    ------
    ReconError
        Where it is not in the stock list.
    """
    try:
        return find_stock(
            dict(stocks), row.text("id", "write the id of a stock, as 'recon stocks' lists them")
        ).id
    except ReconError as error:
        raise error if str(error).startswith(row.where) else row.wrong(str(error)) from error


def hardware_id(row: TableRow, item: str) -> str:
    """The row's bolt, or the thread of its nut or washer, in the project's own writing, or a fitting's name.

    Raises
    ------
    ReconError
        Where it is not one that is sold.
    """
    if item == "fitting":
        return " ".join(row.text("id", "write what the fitting is called in the parts list").split())
    text = row.text(
        "id", "write a bolt like 'M8 x 90'" if item == "bolt" else "write a thread like M8 or 5/16"
    )
    try:
        return bolt_name(*parse_bolt(text)) if item == "bolt" else parse_small(text, item)
    except ReconError as error:
        raise row.wrong(str(error)) from error
