"""Looks along lines whose evidence is weighed again and again while members take their detections.

Cameras, lines and what hides them stay meanwhile: which detections are near to which opening, and what each
is worth there, is found once; only which of them are still free changes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from recon.geometry.arrays import BoolArray, FloatArray, IntArray
from recon.solve.evidence.along_line import (
    LineEvidence,
    LineOpenings,
    opening_places,
    side_by_side,
    spans_side_by_side,
)
from recon.solve.evidence.heads import BOLTED_ELSEWHERE, NearHeads, choose_heads, near_heads
from recon.solve.evidence.many_lines import hidden_openings
from recon.solve.evidence.occluders import Occluders
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.predictions import MOST_NEAR, Hidden, choose_openings, near_openings


def with_shared_free(photos: Sequence[PosedPhoto]) -> tuple[list[PosedPhoto], BoolArray]:
    """Photos none of whose detections is explained, and which of all their detections are free, in order.

    What is marked in a photo's ``free`` is marked in that array, too.
    """
    starts = _starts(photos)
    free = np.ones(starts[-1], bool)
    return [replace(p, free=free[a:b]) for p, a, b in zip(photos, starts, starts[1:])], free


def _starts(photos: Sequence[PosedPhoto]) -> list[int]:
    """Where the detections of each photo begin among those of all, and their number."""
    return [0, *np.cumsum([len(p.openings) for p in photos]).tolist()]


@dataclass(frozen=True)
class KeptLook:
    """What V photos show near a line of K holes; detections are numbered through all photos.

    Attributes
    ----------
    start : int array, (V, 1, 1)
        Number of each photo's first detection.
    visible : bool array, (V, 4, K)
        Should be in sight.
    index, gain, miss : arrays, (V, 4, K, k), (V, 4, K, k) and (V, 4, K)
        As of :class:`recon.solve.evidence.predictions.NearOpenings`; 0 nats where nothing can be said.
    heads : NearHeads
        Of (V, 4, K, k).
    """

    start: IntArray
    visible: BoolArray
    index: IntArray
    gain: FloatArray
    miss: FloatArray
    heads: NearHeads

    def part(self, start: int, stop: int) -> KeptLook:
        """The look at holes ``start`` to ``stop`` - 1."""
        here = np.s_[:, :, start:stop]
        h = self.heads
        return KeptLook(
            self.start,
            self.visible[here].copy(),
            self.index[here].copy(),
            self.gain[here].copy(),
            self.miss[here].copy(),
            NearHeads(h.index[here].copy(), h.gain[here].copy(), h.size[here].copy()),
        )

    def evidence(self, free: BoolArray) -> LineEvidence:
        """What the photos say of each opening, by the detections of all photos that are free."""
        llr, hit = choose_openings(self.index, self.gain, self.miss, free)
        prior = np.full(llr.shape, BOLTED_ELSEWHERE)
        llr, hit, head = choose_heads(self.heads, prior, llr, hit, free)
        hit, head = (np.where(a >= 0, a - self.start, -1) for a in (hit, head))
        return LineEvidence(llr, hit, self.visible, head)


def looks_along(
    photos: Sequence[PosedPhoto], lines: Sequence[LineOpenings], occluders: Sequence[Occluders]
) -> list[KeptLook]:
    """Looks along several lattice lines, each with what may hide its openings.

    Parameters
    ----------
    photos : Sequence[PosedPhoto]
        With cameras in the frame's world.
    lines : Sequence[LineOpenings]
        Without a turn.
    occluders : Sequence[Occluders]
        What may hide the openings of each.
    """
    joined = side_by_side(lines)
    shape = (len(photos), *joined.centre.shape[:2])
    near = *shape, MOST_NEAR
    look = KeptLook(
        np.array(_starts(photos)[:-1]).reshape(-1, 1, 1),
        np.zeros(shape, bool),
        np.zeros(near, int),
        np.full(near, -np.inf),
        np.zeros(shape),
        NearHeads(np.zeros(near, int), np.full(near, -np.inf), np.ones(near)),
    )
    for v, photo in enumerate(photos):
        _fill(look, v, photo, joined, hidden_openings(photo, lines, occluders))
    return [look.part(a, b) for a, b in spans_side_by_side(lines)]


def _fill(look: KeptLook, v: int, photo: PosedPhoto, openings: LineOpenings, hidden: Hidden) -> None:
    """Puts what photo v shows of the openings of lines side by side into their look."""
    start = int(look.start[v, 0, 0])
    X, n, play = opening_places(photo, openings)
    near = near_openings(photo, X, n, hidden, play)
    look.visible[v] = near.visible.reshape(look.visible.shape[1:])
    q = near.number
    if not len(q):
        return
    k = near.index.shape[1]
    flat = np.s_[q, :k]
    index, gain, miss = (a[v].reshape(len(X), -1) for a in (look.index, look.gain, look.miss))
    index[flat], gain[flat], miss[q, 0] = near.index + start, near.gain, near.miss
    heads = near_heads(photo, X[q], n[q])
    for whole, part in (
        (look.heads.index, heads.index + start),
        (look.heads.gain, heads.gain),
        (look.heads.size, heads.size),
    ):
        whole[v].reshape(len(X), -1)[flat] = part
