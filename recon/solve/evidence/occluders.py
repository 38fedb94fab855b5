"""What may stand in front of an opening or an edge."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from recon.frame.boxes import hidden as hidden_by_members
from recon.frame.model import Member
from recon.geometry.arrays import BoolArray, FloatArray
from recon.geometry.boxes import occluded
from recon.solve.evidence.candidate import Candidate, boxes


@dataclass(frozen=True)
class Occluders:
    """Bodies that block the sight.

    Attributes
    ----------
    lo, hi : array, (B, 3)
        Corners of boxes along the frame's axes, pitches.
    members : tuple[Member, ...]
        At any angle.
    """

    lo: FloatArray
    hi: FloatArray
    members: tuple[Member, ...] = ()

    @property
    def empty(self) -> bool:
        """Is there nothing that blocks the sight?"""
        return not len(self.lo) and not self.members

    def hide(self, eye: FloatArray, points: FloatArray) -> BoolArray:
        """Is the straight way from the eye (3,) to each point (N, 3) blocked?  (N,)"""
        out = occluded(eye, points, self.lo, self.hi)
        return out | hidden_by_members(points, eye, self.members) if self.members else out

    def without(self, index: int) -> Occluders:
        """All boxes but one."""
        return Occluders(np.delete(self.lo, index, 0), np.delete(self.hi, index, 0), self.members)

    def thicker(self, by: float) -> Occluders:
        """The boxes grown by some pitches on all sides; members at any angle stay as they are."""
        return Occluders(self.lo - by, self.hi + by, self.members)


NOTHING = Occluders(np.zeros((0, 3)), np.zeros((0, 3)))


def occluders_of(candidates: Iterable[Candidate], width: float) -> Occluders:
    """The boxes that candidates fill."""
    return Occluders(*boxes(list(candidates), width))
