"""What can be built from what is there: several frames against one rack, ranked by what is missing."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass

from recon.frame.length import both_text
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.cutting.cut_list import KERF_MM
from recon.workshop.cutting.cutting_stock import solve_cutting_stock
from recon.workshop.cutting.lay_out import usable_holes
from recon.workshop.cutting.patterns import StickKind
from recon.workshop.parts.parts_list import parts_list
from recon.workshop.parts.rack import OwnedStick, Rack
from recon.workshop.wording import listed, plural


@dataclass(frozen=True)
class Buildable:
    """How far a rack goes for one frame.

    Attributes
    ----------
    name : str
    members : int
        Of the frame.
    whole, cut : int
        Members that are there whole, and that owned sticks or longer members give when they are cut.
    missing : tuple of (str, int, int)
        Stock id, holes and count of members that are not there.
    missing_mm : float
        Their length together.
    hardware : tuple of (str, str, int)
        Kind, name and count of bolts, nuts and washers that are not there.
    """

    name: str
    members: int
    whole: int
    cut: int
    missing: tuple[tuple[str, int, int], ...]
    missing_mm: float
    hardware: tuple[tuple[str, str, int], ...]

    @property
    def complete(self) -> bool:
        """Whether all is there."""
        return not self.missing and not self.hardware


def what_is_missing(
    frame: Frame, stocks: Mapping[str, Stock], rack: Rack, overhang: int = 0, floor: bool = True
) -> Buildable:
    """How far a rack goes for a frame.

    Parameters
    ----------
    frame : Frame
    stocks : mapping of str to Stock
    rack : Rack
    overhang, floor
        As for `recon.workshop.parts.rack.use_rack`.

    Examples
    --------
    >>> from recon.frame.model import Member
    >>> from recon.frame.stock import load_stocks
    >>> posts = [Member(id, (x, 0, 0), (0, 0, 1), 12, stock="softwood-38") for id, x in (("A", 0), ("B", 9))]
    >>> rack = Rack({("softwood-38", 12): 1, ("softwood-38", 20): 1})
    >>> found = what_is_missing(Frame(tuple(posts), pitch_mm=38.1), load_stocks(), rack)
    >>> found.whole, found.cut, found.complete
    (1, 1, True)
    """
    parts = parts_list(frame, stocks, rack=rack, overhang=overhang, floor=floor)
    used = parts.rack.used if parts.rack else {}
    wanted = Counter((m.stock or "", m.holes) for m in frame.members if m.id not in used)
    owned = parts.rack.left if parts.rack else {}
    cut = sum(
        (_cut(stock, wanted, owned, rack, parts.pitch_mm) for stock in {s for s, _ in wanted}), Counter()
    )
    missing = wanted - cut
    hardware: Counter[tuple[str, str]] = Counter()
    for line in parts.hardware:
        if line.to_get and line.name:
            hardware[line.kind, line.name] += line.to_get
    return Buildable(
        frame.name,
        len(frame.members),
        len(used),
        cut.total(),
        tuple((stock, holes, n) for (stock, holes), n in sorted(missing.items())),
        round(sum(holes * n for (_, holes), n in missing.items()) * parts.pitch_mm, 3),
        tuple((kind, name, n) for (kind, name), n in hardware.items()),
    )


def _cut(
    stock: str,
    wanted: Mapping[tuple[str, int], int],
    owned: Mapping[tuple[str, int], int],
    rack: Rack,
    pitch_mm: float,
) -> Counter[tuple[str, int]]:
    """Members of a stock that owned sticks and members left over give, so that the least length is missing.

    What is missing costs its length in holes, in sticks of exactly that length.
    """
    sizes = tuple(sorted((holes for s, holes in wanted if s == stock), reverse=True))
    kinds = [StickKind(holes, sizes, 0, n) for (s, holes), n in owned.items() if s == stock and n]
    kinds += [
        _stick_kind(stick, sizes, pitch_mm) for stick in rack.sticks if stick.stock == stock and stick.count
    ]
    there = len(kinds)
    kinds += [StickKind(size, sizes, size) for size in sizes]
    packing = solve_cutting_stock([wanted[stock, size] for size in sizes], kinds)
    found: Counter[tuple[str, int]] = Counter()
    for kind, pieces, times in packing.patterns:
        if kind < there:
            found.update({(stock, size): n * times for size, n in zip(sizes, pieces) if n})
    return Counter({key: min(n, wanted[key]) for key, n in found.items()})


def _stick_kind(stick: OwnedStick, sizes: tuple[int, ...], pitch_mm: float) -> StickKind:
    """An owned stick: in holes where it is drilled, else in tenths of a mm with a kerf to each piece."""
    if stick.drilled:
        return StickKind(usable_holes(stick, pitch_mm, KERF_MM)[1], sizes, 0, stick.count)
    kerf = math.ceil(KERF_MM * 10)
    lengths = tuple(math.ceil(size * pitch_mm * 10 - 1e-6) + kerf for size in sizes)
    return StickKind(int((stick.length_mm - 2 * stick.trim_mm) * 10) + kerf, lengths, 0, stick.count)


def ranked(found: Iterable[Buildable]) -> list[Buildable]:
    """Those first of which least is missing: length of members, then number of bolts, nuts and washers."""
    return sorted(found, key=lambda b: (b.missing_mm, sum(n for *_, n in b.hardware), b.name))


def buildable_text(found: Iterable[Buildable]) -> str:
    """The ranking for a person."""
    lines = []
    for number, b in enumerate(ranked(found), 1):
        have = [f"{b.whole} whole" if b.whole else "", f"{b.cut} cut from what is there" if b.cut else ""]
        words = f"of {plural(b.members, 'member')}: {listed(filter(None, have)) or 'none are there'}"
        lines.append(f"{number}. {b.name}: {words}.")
        if b.complete:
            lines.append("   All is there.")
            continue
        members = [f"{n} of {holes} holes {stock}" for stock, holes, n in b.missing]
        if members:
            lines.append(f"   Members missing, {both_text(b.missing_mm)}: {listed(members)}.")
        small = [
            f"{n} {name}" if kind == "fitting" else f"{plural(n, kind)} {name}"
            for kind, name, n in b.hardware
        ]
        if small:
            lines.append(f"   To get: {listed(small)}.")
    return "\n".join(lines) + "\n"


def buildable_dict(found: Iterable[Buildable]) -> dict:
    """Plain values for JSON, ranked."""
    return {"frames": [asdict(b) | {"complete": b.complete} for b in ranked(found)]}
