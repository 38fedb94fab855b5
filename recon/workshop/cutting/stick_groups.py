"""Sticks that serve alike, packed as one kind.

A rack of a thousand sticks has few kinds: what is drilled holds a whole number of holes, so sticks whose
lengths differ by less than a pitch are filled in the same ways.  Packing takes time with the kinds, not with
the sticks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from recon.errors import ReconError
from recon.workshop.cutting.cutting_stock import Packing
from recon.workshop.cutting.patterns import StickKind

# Kinds that are packed at most: 200 take 20 s and 0.3 GB with pieces of 20 lengths (measured on a server's
# core).
MOST_KINDS = 200


@dataclass(frozen=True)
class StickGroups:
    """Kinds of stick, those that serve alike together.

    Attributes
    ----------
    kinds : tuple of StickKind
        One for each group.
    members : tuple of tuple of (int, int or None)
        For each group the places of its kinds, and how many sticks there are of each; the first is taken
        first.
    """

    kinds: tuple[StickKind, ...]
    members: tuple[tuple[tuple[int, int | None], ...], ...]

    def ungrouped(self, packing: Packing) -> Packing:
        """A packing of the groups as one of the kinds."""
        left = [list(group) for group in self.members]
        patterns = []
        for group, pieces, times in packing.patterns:
            while times:
                place, count = left[group].pop(0)
                taken = times if count is None else min(times, count)
                if taken:
                    patterns.append((place, pieces, taken))
                times -= taken
                if count is None or count > taken:
                    left[group].insert(0, (place, None if count is None else count - taken))
        return replace(packing, patterns=tuple(patterns))


def group_sticks(kinds: Sequence[StickKind], lengths_mm: Sequence[float], what: str) -> StickGroups:
    """Kinds of stick in groups.

    Owned sticks with the same room are one group, of which the shortest are used first.  Of sticks to buy,
    one that holds no more than another and costs no less is left out.

    Parameters
    ----------
    kinds : sequence of StickKind
    lengths_mm : sequence of float
        Side by side with them.
    what : str
        Names the stock in errors.

    Raises
    ------
    ReconError
        Where there are more groups than MOST_KINDS.

    Examples
    --------
    >>> kinds = [StickKind(20, (6,), 0, 2), StickKind(20, (6,), 0, 1), StickKind(30, (6,), 5)]
    >>> group_sticks(kinds, [800, 790, 1200], "pine").members
    (((1, 1), (0, 2)), ((2, None),))
    """
    groups: dict[tuple[object, ...], list[int]] = {}
    for k, kind in enumerate(kinds):
        key = (k,) if kind.count is None else (kind.room, kind.sizes, kind.cost)
        groups.setdefault(key, []).append(k)
    kept = _worth_buying(kinds, lengths_mm)
    chosen = [g for g in groups.values() if kinds[g[0]].count is not None or g[0] in kept]
    if len(chosen) > MOST_KINDS:
        raise ReconError(
            f"There are {len(chosen)} kinds of stick of {what} to cut from, each of a length of its own, and "
            f"at most {MOST_KINDS} are weighed against one another; leave out those that you would not use."
        )
    together, members = [], []
    for group in chosen:
        first = kinds[group[0]]
        count = None if first.count is None else sum(kinds[k].count or 0 for k in group)
        together.append(replace(first, count=count))
        members.append(tuple((k, kinds[k].count) for k in sorted(group, key=lambda k: (lengths_mm[k], k))))
    return StickGroups(tuple(together), tuple(members))


def _worth_buying(kinds: Sequence[StickKind], lengths_mm: Sequence[float]) -> set[int]:
    """Places of the kinds without a limit that no other holds as much as for the same cost or less."""
    kept: set[int] = set()
    best: dict[tuple[int, ...], float] = {}
    without_limit = [k for k, kind in enumerate(kinds) if kind.count is None]
    for k in sorted(without_limit, key=lambda k: (-kinds[k].room, kinds[k].cost, lengths_mm[k], k)):
        if kinds[k].cost < best.get(kinds[k].sizes, float("inf")):
            best[kinds[k].sizes] = kinds[k].cost
            kept.add(k)
    return kept
