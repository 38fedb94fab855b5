"""The rack: what the user owns, and how much of a frame it makes before anything is bought or cut.

A CSV or TOML file (see `recon.workshop.parts.list_files`) with the columns

    item        member, stick, bolt, nut, washer or fitting
    id          a stock's id, or a bolt ('M8 x 90', '5/16 x 3 1/2 in'), or the thread of a nut or washer, or
                what a fitting is called in the parts list
    length      of a member in holes, of a stick in mm (or '8 ft'); empty for the others
    count       how many; 1 where it is left out
    first_hole  of a stick: from its end to the centre of its first hole, mm; half a pitch where left out
    drilled     of a stick: yes or no; yes where it is left out
    trim        of a stick: length at each end that is no good (splits, dents), mm
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
from scipy.optimize import LinearConstraint, milp
from scipy.sparse import csr_array

from recon.frame.joints import collisions
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.parts.list_files import TableRow, read_rows
from recon.workshop.parts.oversize import Box, OversizeFit, lengthened, oversize_fits, surroundings
from recon.workshop.parts.prices import HARDWARE, hardware_id, stock_id

COLUMNS = ("item", "id", "length", "count", "first_hole", "drilled", "trim")
ITEMS = ("member", "stick", *HARDWARE)
ONLY_STICKS = ("first_hole", "drilled", "trim")
MAX_ROUNDS = 100  # each forbids a pair of members that would collide; far more than frames have ever needed


@dataclass(frozen=True)
class OwnedStick:
    """Sticks of one kind.

    Attributes
    ----------
    stock : str
        Id in the stock list.
    length_mm : float
    count : int
    first_hole_mm : float or None
        From its end to the centre of its first hole; None is half a pitch.  It has no meaning where it is not
        drilled.
    drilled : bool
    trim_mm : float
        Length at each end that is no good.
    """

    stock: str
    length_mm: float
    count: int = 1
    first_hole_mm: float | None = None
    drilled: bool = True
    trim_mm: float = 0.0


@dataclass(frozen=True)
class Rack:
    """What is owned.

    Attributes
    ----------
    members : mapping of (str, int) to int
        How many, by stock id and number of holes.
    sticks : tuple of OwnedStick
    hardware : mapping of (str, str) to int
        How many, by ("bolt", "M8 x 90") and the like.
    """

    members: Mapping[tuple[str, int], int] = field(default_factory=dict)
    sticks: tuple[OwnedStick, ...] = ()
    hardware: Mapping[tuple[str, str], int] = field(default_factory=dict)


@dataclass(frozen=True)
class RackUse:
    """What of a rack goes into a frame.

    Attributes
    ----------
    used : mapping of str to OversizeFit
        By member id, how the owned member lies in its place; it sticks out nowhere where its length is right.
    considered : tuple of OversizeFit
        For members that no owned one of their length is left for: where a longer one sticks out, and into
        what.
    left : mapping of (str, int) to int
        Owned members that are left over and can be cut, by stock id and number of holes.
    """

    used: Mapping[str, OversizeFit]
    considered: tuple[OversizeFit, ...]
    left: Mapping[tuple[str, int], int]

    @property
    def exact(self) -> list[str]:
        """Ids of the members that an owned one of their own length is used for."""
        return [id for id, fit in self.used.items() if not (fit.before or fit.after)]

    @property
    def longer(self) -> dict[str, OversizeFit]:
        """How longer owned members lie in their places, by member id."""
        return {id: fit for id, fit in self.used.items() if fit.before or fit.after}


def load_rack(path: str | Path, stocks: Mapping[str, Stock]) -> Rack:
    """The rack in a file.

    Raises
    ------
    ReconError
        Where the file cannot be read or a row makes no sense; it names file, row and remedy.
    """
    members: Counter[tuple[str, int]] = Counter()
    hardware: Counter[tuple[str, str]] = Counter()
    sticks: Counter[OwnedStick] = Counter()
    for row in read_rows(path, "rack", COLUMNS):
        item, count = row.one_of("item", ITEMS), row.count("count", 1)
        if item != "stick":
            for name in ONLY_STICKS:
                if name in row.cells:
                    raise row.wrong(f"'{name}' is for sticks; leave it empty for a {item}.")
        if item in HARDWARE:
            hardware[item, hardware_id(row, item)] += count
        elif item == "member":
            members[stock_id(row, stocks), row.holes("length")] += count
        else:
            sticks[_stick(row, stock_id(row, stocks))] += count
    owned = tuple(replace(stick, count=count) for stick, count in sticks.items())
    return Rack(dict(members), owned, dict(hardware))


def _stick(row: TableRow, stock: str) -> OwnedStick:
    length, trim = row.mm("length"), row.mm("trim", 0) if "trim" in row.cells else 0.0
    first = row.mm("first_hole", 0) if "first_hole" in row.cells else None
    drilled = row.one_of("drilled", ("yes", "no")) == "yes" if "drilled" in row.cells else True
    if first is not None and not drilled:
        raise row.wrong(
            "'first_hole' is given for a stick that is not drilled; leave it empty, or write yes under "
            "'drilled'."
        )
    if first is not None and first >= length:
        raise row.wrong(
            f"'first_hole' is {first:g} mm, but the stick is {length:g} mm long; measure from its end."
        )
    if 2 * trim >= length:
        raise row.wrong(
            f"'trim' is {trim:g} mm at each end, which leaves nothing of {length:g} mm; leave this stick out."
        )
    return OwnedStick(stock, length, 1, first, drilled, trim)


def use_rack(
    frame: Frame,
    rack: Rack,
    stocks: Mapping[str, Stock],
    keep_out: Sequence[Box] = (),
    floor: bool = True,
    overhang: int = 0,
) -> RackUse:
    """Owned members into the frame, so that the least length is left to buy or to cut.

    Parameters
    ----------
    frame : Frame
    rack : Rack
    stocks : mapping of str to Stock
    keep_out : sequence of Box
        Boxes that longer members may not reach into, pitches.
    floor : bool
        Whether longer members may not reach below the frame's lowest point.
    overhang : int
        Holes by which a longer member may stick out; 0 takes none.

    Notes
    -----
    Exact lengths and longer ones where nothing is in the way (`recon.workshop.parts.oversize`) are chosen
    together: an integer program first covers as many holes of the frame as possible, then lets as little as
    possible stick out, and that past the last hole where both ends are free, so that hole numbers stay.
    Members that would stick out into one another are found afterwards and forbidden, until none are left.

    Examples
    --------
    >>> from recon.frame.model import Frame, Member
    >>> post = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12, stock="softwood-38")
    >>> use = use_rack(Frame((post,)), Rack({("softwood-38", 12): 3}), {})
    >>> use.exact, use.left
    (['A'], {('softwood-38', 12): 2})
    """
    owned = {(stock, holes): n for (stock, holes), n in rack.members.items() if n}
    around = surroundings(frame, stocks, keep_out, floor)
    options: list[_Option] = []
    tried: dict[str, list[OversizeFit]] = {}
    for m in frame.members:
        for stock, holes in sorted(owned, key=str):
            if stock != m.stock or holes < m.holes:
                continue
            fits = oversize_fits(around, m, holes)
            options += [_Option(m.id, stock, fit) for fit in fits if fit.free and fit.overhang <= overhang]
            if holes > m.holes:
                tried.setdefault(m.id, []).extend(fits)
    chosen = [options[k] for k in _choose(frame, options, owned)]
    used = {option.member: option.fit for option in chosen}
    taken = Counter(option.kind for option in chosen)
    left = {kind: n - taken[kind] for kind, n in owned.items() if n > taken[kind]}
    considered = [
        fit for m in frame.members for fit in _worth_listing(used.get(m.id), tried.get(m.id, []), overhang)
    ]
    return RackUse(used, tuple(considered), left)


def as_built(frame: Frame, use: RackUse | None) -> Frame:
    """The frame with the longer members that are used in it, holes and laps counted on these.

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.model import Member
    >>> pair = Member("A", (0, 0, 0), (0, 0, 1), 8), Member("B", (-2, -1, 3), (1, 0, 0), 6)
    >>> frame = Frame(pair, find_joints(pair))
    >>> built = as_built(frame, RackUse({"B": OversizeFit("B", 8, 2, 0, ())}, (), {}))
    >>> built.member("B").first, [(j.a_hole, j.b_hole) for j in (*frame.joints, *built.joints)]
    ((-4.0, -1.0, 3.0), [(3, 2), (3, 4)])
    """
    longer = use.longer if use else {}
    if not longer:
        return frame
    shift = {id: fit.before for id, fit in longer.items()}
    return replace(
        frame,
        members=tuple(
            lengthened(m, longer[m.id].before, longer[m.id].after) if m.id in longer else m
            for m in frame.members
        ),
        joints=tuple(
            replace(j, a_hole=j.a_hole + shift.get(j.a, 0), b_hole=j.b_hole + shift.get(j.b, 0))
            for j in frame.joints
        ),
        fittings=tuple(
            replace(f, holes=tuple((id, hole + shift.get(id, 0)) for id, hole in f.holes))
            for f in frame.fittings
        ),
    )


class _Option(NamedTuple):
    """An owned member of this stock in the place of a frame's member."""

    member: str
    stock: str
    fit: OversizeFit

    @property
    def kind(self) -> tuple[str, int]:
        """Stock and number of holes, as the rack has them."""
        return self.stock, self.fit.holes


def _worth_listing(used: OversizeFit | None, tried: list[OversizeFit], overhang: int) -> list[OversizeFit]:
    """The ways to lie of which a person wants to know.

    Where a longer member is used, all ways in which it could lie; where none is, how the shortest lies that
    sticks out by more than is allowed, or what blocks one, since that blocks all longer ones too.
    """
    if used is not None:
        return [fit for fit in tried if fit.holes == used.holes and (used.before or used.after)]
    for holes in sorted({fit.holes for fit in tried}):
        ways = [fit for fit in tried if fit.holes == holes]
        free = [fit for fit in ways if fit.free]
        if not free:
            return ways
        return free if free[0].overhang > overhang else []
    return []


def _choose(frame: Frame, options: list[_Option], owned: Mapping[tuple[str, int], int]) -> list[int]:
    """Indices of the options taken."""
    if not options:
        return []
    at = {m.id: m for m in frame.members}
    needed = np.array([at[option.member].holes for option in options], float)
    surplus = np.array([option.fit.holes for option in options], float) - needed
    before = np.array([option.fit.before for option in options], float)
    value = (1 + surplus.sum()) * needed - surplus - before / (1 + 2 * before.sum())
    ids, kinds = {m.id: k for k, m in enumerate(frame.members)}, {kind: k for k, kind in enumerate(owned)}
    rows = [ids[o.member] for o in options] + [len(ids) + kinds[o.kind] for o in options]
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
        longer = {options[k].member: k for k in chosen if surplus[k]}
        clashes = collisions(
            [lengthened(at[id], options[k].fit.before, options[k].fit.after) for id, k in longer.items()]
        )
        if not clashes:
            return chosen
        for a, b, _ in clashes:
            rows += [len(limit)] * 2
            columns += [longer[a], longer[b]]
            limit.append(1.0)
    return [k for k in chosen if not surplus[k]]
