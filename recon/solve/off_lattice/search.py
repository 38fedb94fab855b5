"""The search for members off the lattice: what is solved and found so far, and what a line shows."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from recon.frame.joints import collisions
from recon.frame.model import Member, as_tuple
from recon.geometry.arrays import BoolArray
from recon.solve.evidence.along_line import LineEvidence, along_line, match_members
from recon.solve.evidence.occluders import Occluders
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.scene import Scene
from recon.solve.off_lattice.lines import Line, line_openings, overlap_boxes
from recon.solve.off_lattice.pinned_lines import pin_holes

OVERLAP = 0.1  # pitches by which solved boxes may run into one another: rounding of measured places


@dataclass(frozen=True, eq=False)
class Search:
    """Members off the lattice are sought among what a scene leaves unexplained.

    Attributes
    ----------
    scene : the frame as solved; ``free`` of its photos is False for detections that members explain.
    members : found off the lattice so far.
    """

    scene: Scene
    members: tuple[Member, ...] = ()

    @cached_property
    def occluders(self) -> Occluders:
        """All members on and off the lattice."""
        return replace(self.scene.occluders, members=self.members)

    def evidence(self, line: Line, count: int, bolted: BoolArray | None = None) -> LineEvidence:
        """What all photos say at the openings of a line; detections that are not free say nothing."""
        openings = line_openings(line, count, self.scene.width)
        return along_line(self.scene.photos, openings, self.occluders, only_free=True, bolted=bolted)

    def pins(self, line: Line, count: int) -> tuple[BoolArray, BoolArray]:
        """:func:`pin_holes` with the scene's candidates."""
        return pin_holes(line, count, self.scene.candidates, self.scene.width)

    def bolted_evidence(self, line: Line, count: int) -> LineEvidence:
        """:meth:`evidence`, a miss where a bolt or another member may cover the face being no miss."""
        return self.evidence(line, count, self.pins(line, count)[1])

    def has_room(self, line: Line, count: int) -> bool:
        """Would a member on the line run into no other?"""
        lo, hi, width = self.occluders.lo, self.occluders.hi, self.scene.width
        if len(lo) and overlap_boxes(line, count, width, lo, hi).max() > OVERLAP:
            return False
        new = Member("new", as_tuple(line.first), as_tuple(line.direction), count, width, on_lattice=False)
        return not any("new" in c[:2] for c in collisions([*self.members, new]))

    def room(self, line: Line, count: int, most: int) -> tuple[int, int] | None:
        """Holes that there is room for before and past those of a line, at most ``most`` each.

        None where not even these have room.
        """
        if not self.has_room(line, count):
            return None
        low = next(
            (n for n in range(1, most + 1) if not self.has_room(line.shifted(-n), count + n)), most + 1
        )
        high = next((n for n in range(1, most + 1) if not self.has_room(line, count + n)), most + 1)
        return low - 1, high - 1

    def with_member(self, line: Line, member: Member) -> Search:
        """The search with one more member, whose detections are free no longer."""
        found = self.evidence(line, member.holes)
        photos = []
        for photo, hit, llr in zip(self.scene.photos, found.hit, found.llr):
            free = photo.free.copy()
            free[hit[(hit >= 0) & (llr > 0)]] = False
            photos.append(replace(photo, free=free))
        return Search(self.scene.with_photos(photos), (*self.members, member))


def start_search(scene: Scene) -> Search:
    """A search among the detections that no candidate of the scene explains."""
    return Search(scene.with_photos(replace(p, free=unexplained(scene, p)) for p in scene.photos))


def unexplained(scene: Scene, photo: PosedPhoto) -> BoolArray:
    """(N,) detections of a photo that no opening of the scene's candidates accounts for."""
    free = np.ones(len(photo.openings), bool)
    for _, seen in match_members(scene, photo):
        free[seen.hit[(seen.hit >= 0) & (seen.llr > 0)]] = False
    return free
