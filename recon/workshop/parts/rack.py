"""The rack: what the user owns, and how much of a frame it makes before anything is bought or cut.

A CSV or TOML file (see `recon.workshop.parts.list_files`) with the columns

    item        member, stick, bolt, nut or washer
    id          a stock's id, or a bolt ('M8 x 90', '5/16 x 3 1/2 in'), or the thread of a nut or washer
    length      of a member in holes, of a stick in mm (or '8 ft'); empty for the others
    count       how many; 1 where it is left out
    first_hole  of a stick: from its end to the centre of its first hole, mm; half a pitch where it is left out
    drilled     of a stick: yes or no; yes where it is left out
    trim        of a stick: length at each end that is no good (splits, dents), mm
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import LinearConstraint, milp
from scipy.sparse import csr_array

from recon.frame.joints import collisions
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.parts.list_files import read_rows
from recon.workshop.parts.oversize import Box, OversizeFit, lengthened, oversize_fits, surroundings
from recon.workshop.parts.prices import hardware_id, stock_id

COLUMNS = ("item", "id", "length", "count", "first_hole", "drilled", "trim")
ITEMS = ("member", "stick", "bolt", "nut", "washer")
ONLY_STICKS = ("first_hole", "drilled", "trim")
MAX_ROUNDS = 100  # each forbids a pair of members that would collide; far more than frames have ever needed


@dataclass(frozen=True)
class OwnedStick:
    """Sticks of one kind.  first_hole_mm : None is half a pitch; without meaning where `drilled` is False."""

    stock: str
    length_mm: float
    count: int = 1
    first_hole_mm: float | None = None
    drilled: bool = True
    trim_mm: float = 0.0


@dataclass(frozen=True)
class Rack:
    """members : (stock id, holes) -> how many.   hardware : ("bolt", "M8 x 90") and the like -> how many."""

    members: Mapping[tuple[str, int], int] = field(default_factory=dict)
    sticks: tuple[OwnedStick, ...] = ()
    hardware: Mapping[tuple[str, str], int] = field(default_factory=dict)


@dataclass(frozen=True)
class RackUse:
    """What of a rack goes into a frame.

    used : member id -> how the owned member lies in its place (`before` and `after` are 0 where its length is right).
    considered : for members that no owned one of their length is left for, where a longer one would stick out, and into what.
    left : (stock id, holes) -> owned members that are left over; they can be cut.
    """

    used: Mapping[str, OversizeFit]
    considered: tuple[OversizeFit, ...]
    left: Mapping[tuple[str, int], int]


def load_rack(path, stocks: Mapping[str, Stock]) -> Rack:
    """The rack in a file.  Raises ReconError, naming file, row and remedy, where it holds nonsense."""
    members, hardware, sticks = Counter(), Counter(), []
    for row in read_rows(path, "rack", COLUMNS):
        item, count = row.one_of("item", ITEMS), row.count("count", 1)
        if item != "stick":
            for name in ONLY_STICKS:
                if name in row.cells:
                    raise row.wrong(f"'{name}' is for sticks; leave it empty for a {item}.")
        if item in ("bolt", "nut", "washer"):
            hardware[item, hardware_id(row, item)] += count
        elif item == "member":
            members[stock_id(row, stocks), row.holes("length")] += count
        else:
            sticks.append(_stick(row, stock_id(row, stocks), count))
    return Rack(dict(members), tuple(sticks), dict(hardware))


def _stick(row, stock: str, count: int) -> OwnedStick:
    length, trim = row.mm("length"), row.mm("trim", 0) if "trim" in row.cells else 0.0
    first = row.mm("first_hole", 0) if "first_hole" in row.cells else None
    drilled = row.one_of("drilled", ("yes", "no")) == "yes" if "drilled" in row.cells else True
    if first is not None and not drilled:
        raise row.wrong(
            "'first_hole' is given for a stick that is not drilled; leave it empty, or write yes under 'drilled'."
        )
    if first is not None and first >= length:
        raise row.wrong(
            f"'first_hole' is {first:g} mm, but the stick is {length:g} mm long; measure from its end."
        )
    if 2 * trim >= length:
        raise row.wrong(
            f"'trim' is {trim:g} mm at each end, which leaves nothing of {length:g} mm; leave this stick out."
        )
    return OwnedStick(stock, length, count, first, drilled, trim)


def use_rack(
    frame: Frame, rack: Rack, stocks: Mapping[str, Stock], keep_out: Sequence[Box] = (), floor: bool = True
) -> RackUse:
    """Owned members into the frame, so that the least length is left to buy or to cut.

    Exact lengths and longer ones where nothing is in the way (`recon.workshop.parts.oversize`), chosen together: an integer
    program that first covers as many holes of the frame as can be, then lets as little as can be stick out. Members
    that would stick out into one another are found afterwards and forbidden, until none are left.

    keep_out, floor : see `surroundings`.
    """
    owned = {(stock, holes): n for (stock, holes), n in rack.members.items() if n}
    around = surroundings(frame, stocks, keep_out, floor)
    options: list[tuple[str, str, OversizeFit]] = []  # member, stock, how it lies
    tried: dict[str, list[OversizeFit]] = {}
    for m in frame.members:
        for stock, holes in sorted(owned, key=str):
            if stock == m.stock and holes >= m.holes:
                for fit in oversize_fits(around, m, holes):
                    (options.append((m.id, stock, fit)) if fit.free else None)
                    if holes > m.holes:
                        tried.setdefault(m.id, []).append(fit)
    chosen = _choose(frame, options, owned)
    used = {options[k][0]: options[k][2] for k in chosen}
    taken = Counter((options[k][1], options[k][2].holes) for k in chosen)
    left = {kind: n - taken[kind] for kind, n in owned.items() if n > taken[kind]}
    considered = [fit for m in frame.members for fit in _worth_listing(used.get(m.id), tried.get(m.id, []))]
    return RackUse(used, tuple(considered), left)


def _worth_listing(used: OversizeFit | None, tried: list[OversizeFit]) -> list[OversizeFit]:
    """Of a member that a longer one stands for, the ways that one could lie; of a member that none is left for, what
    blocks the shortest: it blocks all longer ones too."""
    if used is not None:
        return [fit for fit in tried if fit.holes == used.holes and (used.before or used.after)]
    for holes in sorted({fit.holes for fit in tried}):
        ways = [fit for fit in tried if fit.holes == holes]
        if not any(fit.free for fit in ways):
            return ways
    return []


def _choose(frame: Frame, options, owned) -> list[int]:
    """Indices of the options taken."""
    if not options:
        return []
    at = {m.id: m for m in frame.members}
    surplus = np.array([fit.holes - at[id].holes for id, _, fit in options], float)
    value = (1 + surplus.sum()) * np.array([at[id].holes for id, _, _ in options], float) - surplus
    ids, kinds = {m.id: k for k, m in enumerate(frame.members)}, {kind: k for k, kind in enumerate(owned)}
    rows = [ids[id] for id, _, _ in options] + [
        len(ids) + kinds[stock, fit.holes] for _, stock, fit in options
    ]
    limit = [1.0] * len(ids) + [float(n) for n in owned.values()]
    columns = list(range(len(options))) * 2
    for _ in range(MAX_ROUNDS):
        matrix = csr_array((np.ones(len(rows)), (rows, columns)), shape=(len(limit), len(options)))
        result = milp(
            -value,
            constraints=LinearConstraint(matrix, -np.inf, limit),
            integrality=np.ones(len(options)),
            bounds=(0, 1),
            options={"mip_rel_gap": 0},
        )
        chosen = [int(k) for k in np.nonzero(result.x > 0.5)[0]]
        longer = {options[k][0]: k for k in chosen if surplus[k]}
        clashes = collisions(
            [lengthened(at[id], options[k][2].before, options[k][2].after) for id, k in longer.items()]
        )
        if not clashes:
            return chosen
        for a, b, _ in clashes:
            rows += [len(limit)] * 2
            columns += [longer[a], longer[b]]
            limit.append(1.0)
    return [k for k in chosen if not surplus[k]]
