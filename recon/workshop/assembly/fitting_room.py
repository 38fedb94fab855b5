"""Where fittings can be put on while a frame is put together: ways in, bolts, and what comes later."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from recon.frame.fitting import Fitting
from recon.frame.model import Frame, as_tuple
from recon.geometry.arrays import BoolArray, FloatArray, Vector
from recon.workshop.assembly.disassembly import DIRECTIONS
from recon.workshop.assembly.tool_access import head_sides, tool_access
from recon.workshop.hardware.bolts import Bolt, find_bolts
from recon.workshop.hardware.fitting_bolts import bolts_to_buy
from recon.workshop.solids import (
    Boxes,
    bolt_ends,
    fitting_solids,
    joined,
    member_boxes,
    met_on_the_way,
    overlaps,
)

if TYPE_CHECKING:
    from recon.workshop.assembly.build_step import BuildStep

BELOW = -0.5  # cosine with "up" from which a way leads down: none of those along the frame's axes is near it


@dataclass(frozen=True)
class Placing:
    """How a fitting is put on.

    Attributes
    ----------
    direction : (3,)
        Unit vector along which it comes.
    bolts : tuple of Bolt
        Its own, in an order in which each can be put in and turned.
    heads : tuple of (3,)
        For each bolt, on which side its head is.
    """

    direction: Vector
    bolts: tuple[Bolt, ...]
    heads: tuple[Vector, ...]


@dataclass(frozen=True)
class Together:
    """What is together at one moment: labels of members, and the bolts of laps between them."""

    members: frozenset[str]
    bolts: frozenset[Bolt]


def together(step: BuildStep, bolts: int | None = None) -> Together:
    """What is together once a step is done, or once so many of its bolts are in."""
    inside = (*step.there_bolts, *step.bolts[:bolts])
    return Together(frozenset({*step.there, *step.new}), frozenset(b for b in inside if not b.fitting))


class FittingRoom:
    """A frame with its fittings as solids.

    Solids are numbered: members, the two ends of every bolt of a lap, fittings, the two ends of every bolt of
    a fitting.  Without a pitch the fittings have no size, and nothing is in their way.

    Parameters
    ----------
    frame : Frame
    hole : float
        Diameter of the holes, pitches.
    """

    def __init__(self, frame: Frame, hole: float) -> None:
        self.frame, self.hole = frame, hole
        laps, ends = find_bolts(frame), bolts_to_buy(frame)[0]
        self.own: dict[str, list[Bolt]] = {f.id: [] for f in frame.fittings}
        for bolt in ends:
            if bolt.fitting:
                self.own[bolt.fitting.id].append(bolt)
        mine = [bolt for bolts in self.own.values() for bolt in bolts]
        ids, boxes = fitting_solids(frame)
        self._members = {m.id: k for k, m in enumerate(frame.members)}
        start = len(frame.members)
        self._ends = {bolt: start + 2 * k for k, bolt in enumerate(laps)}
        start += 2 * len(laps)
        self._fittings = {id: start + k for k, id in enumerate(ids)}
        start += len(ids)
        self._ends |= {bolt: start + 2 * k for k, bolt in enumerate(mine)}
        self.solids: Boxes = joined(
            [member_boxes(frame.members), bolt_ends(laps, hole), boxes, bolt_ends(mine, hole)]
        )

    def _present(self, there: Together, fittings: Iterable[str] = ()) -> BoolArray:
        """The solids of what is together, with these fittings on it, (N,)."""
        mask = np.zeros(len(self.solids), bool)
        mask[[self._members[id] for id in there.members]] = True
        bolts = [*there.bolts]
        for id in fittings:
            if id in self._fittings:
                mask[self._fittings[id]] = True
            bolts += self.own[id]
        ends = np.array([self._ends[bolt] for bolt in bolts], int)
        mask[ends], mask[ends + 1] = True, True
        return mask

    def lowest(self, fitting: Fitting, up: FloatArray) -> float | None:
        """How far up the lowest point of a fitting lies, pitches; None where its size is not known."""
        k = self._fittings.get(fitting.id)
        return None if k is None else self._lowest([k], up)

    def floor(self, members: Iterable[str], up: FloatArray) -> float:
        """How far up the lowest point of these members lies, pitches."""
        return self._lowest([self._members[id] for id in members], up)

    def _lowest(self, which: Sequence[int], up: FloatArray) -> float:
        boxes = self.solids.take(which)
        reach = np.einsum("nij,j->ni", boxes.axes, up)
        return float((boxes.centre @ up - (np.abs(reach) * boxes.half).sum(axis=1)).min())

    def placing(
        self, fitting: Fitting, there: Together, up: FloatArray, others: Collection[str] = ()
    ) -> Placing | None:
        """How a fitting can be put on what is together; None where it cannot.

        It comes straight, off its face if it can, else along an axis of the frame but not from below, and
        meets nothing; then each of its bolts can be put in and turned.  What is in its room in any case, the
        checks say, and it counts for nothing here.

        Parameters
        ----------
        fitting : Fitting
        there : Together
        up : (3,)
            Which way is up.
        others : collection of str
            Fittings that are on already.
        """
        present = self._present(there, others)
        out = self._way_out(fitting, present, up)
        bolts = self._bolting(fitting, present)
        if out is None or bolts is None:
            return None
        return Placing(as_tuple(0.0 - out), tuple(b for b, _ in bolts), tuple(head for _, head in bolts))

    def plain(self, fitting: Fitting) -> Placing:
        """How a fitting is put on where nobody knows how: straight, heads on its side."""
        bolts = tuple(self.own[fitting.id])
        face = np.asarray(fitting.face, float)
        return Placing(as_tuple(0.0 - face), bolts, (as_tuple(face),) * len(bolts))

    def _way_out(self, fitting: Fitting, present: BoolArray, up: FloatArray) -> FloatArray | None:
        """The direction in which the fitting comes off; None where there is none."""
        face = np.asarray(fitting.face, float)
        k = self._fittings.get(fitting.id)
        if k is None:
            return face
        box = self.solids.take([k])
        in_the_way = present & ~overlaps(box, self.solids)[0]
        for way in (face, *(d for d in DIRECTIONS if d @ up > BELOW and d @ face > BELOW)):
            if not (met_on_the_way(box, self.solids, way)[0] & in_the_way).any():
                return way
        return None

    def _bolting(self, fitting: Fitting, present: BoolArray) -> list[tuple[Bolt, Vector]] | None:
        """The fitting's bolts with the sides of their heads, in order; None where one is out of reach."""
        left, order = list(self.own[fitting.id]), list[tuple[Bolt, Vector]]()
        own = [self._fittings[fitting.id]] if fitting.id in self._fittings else []
        while left:
            ends = np.array([self._ends[bolt] for bolt in left], int)
            mask = present.copy()
            mask[ends], mask[ends + 1] = True, True
            out = [(bolt, head) for bolt in left if (head := self._head(bolt, mask, own)) is not None]
            if not out:
                return None
            order += out[::-1]  # of those that come out at once the first goes in first
            left = [bolt for bolt in left if all(bolt is not one for one, _ in out)]
        return order[::-1]

    def _head(self, bolt: Bolt, present: BoolArray, own: Sequence[int]) -> Vector | None:
        """On which side the head of a fitting's bolt is, its own first; None where it is out of reach."""
        ends = self._ends[bolt]
        access = tool_access(bolt, self.solids, [*own, ends, ends + 1], self.hole)
        at_start, at_end = head_sides(access, present)
        axis = np.asarray(bolt.axis, float)
        return as_tuple(0.0 - axis) if at_start else as_tuple(axis) if at_end else None

    def leaves_room(self, fitting: Fitting, later: Iterable[BuildStep]) -> bool:
        """Whether all later steps can be done with the fitting on: ways in, and bolts."""
        k = self._fittings.get(fitting.id)
        if k is None:
            return True
        box = self.solids.take([k])
        on = set(fitting.members)
        for step in later:
            if step.kind != "join" or not on <= {*step.there, *step.new}:
                continue
            if self._meets(box, on, step) or self._hides_a_bolt(k, step):
                return False
        return True

    def _meets(self, box: Boxes, on: set[str], step: BuildStep) -> bool:
        """Whether what comes in meets the fitting, or the fitting that comes in what is there."""
        if step.direction is None:
            return False
        out = 0.0 - np.asarray(step.direction, float)
        new = frozenset(step.new) - frozenset(step.laid)
        there = frozenset({*step.there, *step.laid})
        bolts = frozenset(step.there_bolts)
        carried = on <= new
        others = there if carried else new
        inner = frozenset(b for b in bolts if {id for id, _ in b.through} <= others)
        solids = self.solids.take(self._present(Together(others, inner)))
        met = met_on_the_way(box, solids, out) if carried else met_on_the_way(solids, box, out)
        return bool(met.any())

    def _hides_a_bolt(self, k: int, step: BuildStep) -> bool:
        """Whether solid `k` keeps a bolt of a step out of reach that is in reach without it."""
        for n, bolt in enumerate(step.bolts):
            ends = self._ends[bolt]
            access = tool_access(bolt, self.solids, [ends, ends + 1], self.hole)
            if k not in access.near:
                continue
            present = self._present(together(step, n))
            free = any(head_sides(access, present))
            present[k] = True
            if free and not any(head_sides(access, present)):
                return True
        return False
