"""The scene: all that the solver knows at one moment, as one value that its stages take and give back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from recon.solve.evidence.candidate import Candidate, EndGuess
from recon.solve.evidence.occluders import Occluders, occluders_of
from recon.solve.evidence.posed_photo import PosedPhoto

Ends = tuple[EndGuess, EndGuess]  # the low and the high end of a candidate
SetAside = tuple[str, str]  # a photo that was not used, and why


@dataclass(frozen=True, eq=False)
class Scene:
    """Photos in one world and the candidates found in it so far.

    Attributes
    ----------
    photos : tuple[PosedPhoto, ...]
        With their cameras on the frame's lattice.
    pictures : Mapping[str, array]
        Photo name -> (H, W, 3) uint8 BGR; needed where ends or bolts are sought.
    width : float
        Of all members, pitches.
    candidates : tuple[Candidate, ...]
        Members found so far.
    ends : tuple[Ends, ...]
        For each candidate its low and its high end; empty until they are sought.
    set_aside : tuple[SetAside, ...]
        Photos that were not used, and why.

    Examples
    --------
    >>> scene = Scene((), {}, 1.0).with_candidates([Candidate.bare(0, [0, 0, 0], 4)])
    >>> scene.occluders.hi.tolist()
    [[3.5, 0.5, 0.5]]
    """

    photos: tuple[PosedPhoto, ...]
    pictures: Mapping[str, np.ndarray]
    width: float
    candidates: tuple[Candidate, ...] = ()
    ends: tuple[Ends, ...] = ()
    set_aside: tuple[SetAside, ...] = field(default=(), repr=False)

    def with_photos(self, photos: Iterable[PosedPhoto]) -> Scene:
        """The scene with other photos, or the same with other cameras."""
        return replace(self, photos=tuple(photos))

    def with_candidates(self, candidates: Iterable[Candidate], ends: Iterable[Ends] = ()) -> Scene:
        """The scene with other candidates, and their ends where they are known."""
        return replace(self, candidates=tuple(candidates), ends=tuple(ends))

    def others(self, index: int) -> tuple[Candidate, ...]:
        """All candidates but one."""
        index %= len(self.candidates)
        return self.candidates[:index] + self.candidates[index + 1 :]

    def picture(self, photo: PosedPhoto) -> np.ndarray:
        """(H, W, 3) uint8 BGR picture of a photo."""
        return self.pictures[photo.name]

    @cached_property
    def occluders(self) -> Occluders:
        """All candidates: what may stand in front of an opening."""
        return occluders_of(self.candidates, self.width)
