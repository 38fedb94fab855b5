"""A build that is to be taken apart as a rack: its members, bolts, nuts and washers are what is owned."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping

from recon.errors import ReconError
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.parts.parts_list import parts_list
from recon.workshop.parts.rack import OwnedStick, Rack
from recon.workshop.wording import listed


def rack_of_frame(frame: Frame, stocks: Mapping[str, Stock], system: str | None = None) -> Rack:
    """What a frame gives when it is taken apart.

    Parameters
    ----------
    frame : Frame
    stocks : mapping of str to Stock
    system : str, optional
        Of its bolts: "metric" or "inch"; by the stock where None.

    Raises
    ------
    ReconError
        Where the stock of a member is not known, or the frame has no pitch.

    Examples
    --------
    >>> from recon.frame.model import Member
    >>> from recon.frame.stock import load_stocks
    >>> post = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12, stock="softwood-38")
    >>> rack_of_frame(Frame((post,), pitch_mm=38.1), load_stocks()).members
    {('softwood-38', 12): 1}
    """
    unknown = [m.id for m in frame.members if m.stock is None or m.stock not in stocks]
    if unknown:
        name = frame.name or "without a name"
        raise ReconError(
            f"The stock of {listed(unknown[:6])} is not known, so the build '{name}' is no rack; "
            "give its stock in the frame file."
        )
    members = Counter((m.stock or "", m.holes) for m in frame.members)
    hardware: Counter[tuple[str, str]] = Counter()
    for line in parts_list(frame, stocks, system=system).hardware:
        if line.name:
            hardware[line.kind, line.name] += line.count
    return Rack(dict(members), (), dict(hardware))


def joined_racks(racks: Iterable[Rack]) -> Rack:
    """All of several racks together.

    >>> both = joined_racks([Rack({("softwood-38", 12): 1}), Rack({("softwood-38", 12): 2})])
    >>> both.members
    {('softwood-38', 12): 3}
    """
    members: Counter[tuple[str, int]] = Counter()
    hardware: Counter[tuple[str, str]] = Counter()
    sticks: list[OwnedStick] = []
    for rack in racks:
        members.update(rack.members)
        hardware.update(rack.hardware)
        sticks += rack.sticks
    return Rack(dict(members), tuple(sticks), dict(hardware))
