"""What a parts list holds: lines of members and of hardware, with what they weigh and cost."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from recon.workshop.hardware.bolts import Bolt, Fastening
from recon.workshop.parts.rack import RackUse

FastenedBolt = tuple[Bolt, Fastening | None]  # a bolt, and what fastens it where its hole is known


@dataclass(frozen=True)
class MemberLine:
    """Members of one stock and length.

    Attributes
    ----------
    stock : str or None
        Its id; None where the frame does not name it.
    stock_name : str
    holes : int
    length_mm : float
    members : tuple of str
        Their ids.
    owned : int
        How many come from the rack whole.
    mass_kg, cost : float or None
        Of one; None where stock or price is not known.
    """

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
        """How many there are."""
        return len(self.members)

    @property
    def to_get(self) -> int:
        """How many are to be bought or cut."""
        return self.count - self.owned


@dataclass(frozen=True)
class HardwareLine:
    """Bolts of one name and grip, or nuts, or washers, or fittings that are alike.

    Attributes
    ----------
    kind : str
        "bolt", "nut", "washer" or "fitting".
    name : str
        'M8 x 90', for nuts and washers 'M8', of fittings what they are called; empty where a size is not
        known.
    count, owned : int
    grip_mm : float or None
        Of bolts.
    flats_mm : float or None
        Across the flats of head or nut.
    seen, assumed : int
        Bolts that were in photos, and those that were not and of which nobody says that they are there; the
        rest hold fittings.
    where : tuple of str
        For each bolt 'hole 3 of C on hole 1 of F', for each fitting 'F1: holes 4 and 6 of C'.
    mass_kg, cost : float or None
        Of one.
    said : int
        Bolts that were in no photo and of which a person says that they are there.
    detail : str
        The wrench of a bolt or nut, the size of a washer, in words.
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
    said: int = 0
    detail: str = ""

    @property
    def to_get(self) -> int:
        """How many are to be bought."""
        return self.count - self.owned


Line = MemberLine | HardwareLine


@dataclass(frozen=True)
class PartsList:
    """All parts of a frame.

    Attributes
    ----------
    name : str
        The frame's.
    pitch_mm : float
    members : tuple of MemberLine
        Those from the rack as long as they are there.
    hardware : tuple of HardwareLine
    bolts : tuple of (Bolt, Fastening or None)
        Each bolt with what fastens it, in order; None where its hole is not known.
    laps_without_bolt : int
        Laps that have none according to the frame file.
    currency : str
    rack : RackUse or None
        What is used of what is owned.
    notes : tuple of str
        Sentences about what could not be worked out, and what to mind.
    """

    name: str
    pitch_mm: float
    members: tuple[MemberLine, ...]
    hardware: tuple[HardwareLine, ...]
    bolts: tuple[FastenedBolt, ...]
    laps_without_bolt: int
    currency: str
    rack: RackUse | None
    notes: tuple[str, ...]

    @property
    def lines(self) -> tuple[Line, ...]:
        """Members first, then hardware."""
        return (*self.members, *self.hardware)

    @property
    def priced(self) -> bool:
        """Whether any price is known."""
        return any(line.cost is not None for line in self.lines)

    @property
    def mass_kg(self) -> float | None:
        """Of the whole frame with its bolts, and its fittings where they are known; None where a stock is
        not."""
        known = (line for line in self.lines if line.mass_kg is not None or line not in self.fittings)
        return total((line.mass_kg, line.count) for line in known)

    @property
    def fittings(self) -> tuple[HardwareLine, ...]:
        """The lines of fittings."""
        return tuple(line for line in self.hardware if line.kind == "fitting")

    @property
    def fasteners(self) -> tuple[HardwareLine, ...]:
        """The lines of nuts and washers."""
        return tuple(line for line in self.hardware if line.kind in ("nut", "washer"))

    @property
    def members_mass_kg(self) -> float | None:
        """Of the members alone."""
        return total((line.mass_kg, line.count) for line in self.members)

    @property
    def cost(self) -> float | None:
        """Of all that is not owned; None where a price is missing."""
        return total((line.cost, line.to_get) for line in self.lines if line.to_get)


def total(amounts: Iterable[tuple[float | None, int]]) -> float | None:
    """The sum of (each, how many); None where one of them is not known."""
    products = [None if each is None else each * n for each, n in amounts]
    known = [product for product in products if product is not None]
    return math.fsum(known) if len(known) == len(products) else None
