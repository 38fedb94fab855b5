"""What all photos say along many lattice lines, side by side in one table: saves most of the time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import groupby

import numpy as np

from recon.geometry.arrays import BoolArray, IntArray
from recon.geometry.boxes import lifted
from recon.solve.evidence.along_line import (
    LineEvidence,
    LineOpenings,
    evidence_of,
    match_openings,
    side_by_side,
    spans_side_by_side,
)
from recon.solve.evidence.occluders import Occluders
from recon.solve.evidence.posed_photo import PosedPhoto

LINES_AT_ONCE = 48  # lines evaluated in one go: bounds memory


def along_lines(
    photos: Sequence[PosedPhoto],
    lines: Sequence[LineOpenings],
    occluders: Sequence[Occluders],
    bolted: Sequence[BoolArray] | None = None,
) -> list[LineEvidence]:
    """:func:`recon.solve.evidence.along_line.along_line` of several lattice lines.

    Parameters
    ----------
    photos : Sequence[PosedPhoto]
        With cameras in the frame's world.
    lines : Sequence[LineOpenings]
        Without a turn.
    occluders : Sequence[Occluders]
        What may hide the openings of each.
    bolted : Sequence[bool array] or None
        (4, K) of each: faces that a bolt's head or nut may cover.
    """
    out: list[LineEvidence] = []
    for i in range(0, len(lines), LINES_AT_ONCE):
        part = slice(i, i + LINES_AT_ONCE)
        found = _with_nothing_before(photos, lines[part], bolted and bolted[part])
        found = _in_plain_sight(photos, lines[part], found, occluders[part])
        out += [found.part(a, b) for a, b in spans_side_by_side(lines[part])]
    return out


def along_likely_lines(
    photos: Sequence[PosedPhoto], lines: Sequence[LineOpenings], occluders: Sequence[Occluders], least: float
) -> dict[int, LineEvidence]:
    """:func:`along_lines` of those of some lines, by number, whose openings found are worth some nats.

    Most lines are not worth so much even where nothing hides them: what does is not asked for those.

    Parameters
    ----------
    photos, lines, occluders : as for :func:`along_lines`
    least : float
        Nats of the openings found.
    """
    out: dict[int, LineEvidence] = {}
    for i in range(0, len(lines), LINES_AT_ONCE):
        part = slice(i, i + LINES_AT_ONCE)
        found = _with_nothing_before(photos, lines[part])
        spans = list(spans_side_by_side(lines[part]))
        some = [k for k, worth in enumerate(_worth(found, spans)) if worth >= least]
        if not some:
            continue
        found = found.part_at(np.concatenate([np.arange(*spans[k]) for k in some]))
        likely, behind = [lines[i + k] for k in some], [occluders[i + k] for k in some]
        found, spans = _in_plain_sight(photos, likely, found, behind), list(spans_side_by_side(likely))
        worth = _worth(found, spans)
        out.update({i + k: found.part(*span) for k, span, w in zip(some, spans, worth) if w >= least})
    return out


def _worth(found: LineEvidence, spans: Sequence[tuple[int, int]]) -> list[float]:
    """Nats of the openings found along each of some lines side by side."""
    total: list[float] = np.add.reduceat(found.llr.clip(0).sum((0, 1)), [a for a, _ in spans]).tolist()
    return total


def _with_nothing_before(
    photos: Sequence[PosedPhoto], lines: Sequence[LineOpenings], bolted: Sequence[BoolArray] | None = None
) -> LineEvidence:
    """What photos say along lines side by side where nothing hides their openings."""
    joined = side_by_side(lines)
    laps = None if bolted is None else np.concatenate(bolted, 1)
    return evidence_of([match_openings(photo, joined, bolted=laps) for photo in photos], joined, laps)


def _in_plain_sight(
    photos: Sequence[PosedPhoto],
    lines: Sequence[LineOpenings],
    found: LineEvidence,
    occluders: Sequence[Occluders],
) -> LineEvidence:
    """What photos say along lines side by side, less what is hidden: nothing is said of that."""
    if all(behind.empty for behind in occluders):
        return found
    shown = found.visible.copy()
    for photo, seen in zip(photos, shown):
        numbers = np.nonzero(seen.ravel())[0]
        seen.reshape(-1)[numbers] = ~hidden_openings(photo, lines, occluders)(numbers)
    return found.shown_at(shown)


def hidden_openings(
    photo: PosedPhoto, lines: Sequence[LineOpenings], occluders: Sequence[Occluders]
) -> Callable[[IntArray], BoolArray]:
    """Which openings of lines side by side are hidden from a photo, asked by their numbers in all of them.

    Numbers are those of a table of 4 K rows, face after face; lines behind the same are worked on together.
    """
    joined = side_by_side(lines)
    at = lifted(joined.centre, joined.normal).reshape(-1, 3)
    groups = [list(group) for _, group in groupby(zip(lines, occluders), key=lambda pair: id(pair[1]))]
    ends = np.cumsum([sum(line.centre.shape[1] for line, _ in group) for group in groups])

    def hidden(numbers: IntArray) -> BoolArray:
        out = np.zeros(len(numbers), bool)
        group = np.searchsorted(ends, numbers % joined.centre.shape[1], side="right")
        for g in np.unique(group).tolist():
            some = group == g
            out[some] = groups[g][0][1].hide(photo.camera.centre, at[numbers[some]])
        return out

    return hidden
