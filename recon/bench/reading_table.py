"""The figures of readings as text: a line for each frame, sums by kind and over all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from recon.frame.confidence import SURE

COUNTS = ("in_sight", "detected", "kept", "kept_true", "found", "squares")
BINS = ((SURE, 1.0), (0.5, SURE), (0.0, 0.5))  # of confidence: sure, likely, unlikely

Row = Mapping[str, Any]


def line(row: Row) -> str:
    """One frame's figures, as `recon.bench.reading.measure` gives them.

    Examples
    --------
    >>> from recon.bench.reading_table import line
    >>> row = {"frame": "d100", "given": 3, "exact": 9, "wrong": 1, "missing": 0, "extra": 0}
    >>> row |= {"visible": 10, "visible_exact": 9, "openings": {}, "set_aside": []}
    >>> line(row)
    'd100         3 photos:  9 exact  1 wrong  0 missing  0 extra; in sight 9/10'
    """
    text = (
        f"{row['frame']:12s} {row['given']} photos: {row['exact']:2d} exact {row['wrong']:2d} wrong "
        f"{row['missing']:2d} missing {row['extra']:2d} extra; "
        f"in sight {row['visible_exact']}/{row['visible']}"
    )
    if row.get("braces"):
        text += f"; braces {row['braces_exact']}/{row['braces']}"
    if sums := row["openings"]:
        text += (
            f"; openings {sums['found']}/{sums['in_sight']}, "
            f"rms {np.sqrt(sums['squares'] / max(sums['found'], 1)):.2f} px; {row['seconds']:.1f} s "
            f"({row['cpu_s']:.1f} s CPU) = {row['seconds'] / row['blob_s']:.0f} x blobs"
        )
    if row.get("failed"):
        text += "; " + row["failed"][:80]
    if row["set_aside"]:
        text += "; aside " + ", ".join(row["set_aside"])
    return text


def totals(rows: Sequence[Row], photos: int | str) -> str:
    """The sums of frames read from so many photos: by kind, where there are several, and over all."""
    kinds = list(dict.fromkeys(row["kind"] for row in rows))
    parts = [_sums(f"{kind}, ", [r for r in rows if r["kind"] == kind], photos) for kind in kinds]
    return "\n" + "\n\n".join([*(parts if len(kinds) > 1 else []), _sums("", rows, photos)]) + "\n"


def _sums(name: str, rows: Sequence[Row], photos: int | str) -> str:
    """The sums over some frames, under a heading."""

    def total(key: str) -> float:
        return sum(row.get(key, 0) for row in rows)

    given = total("given")
    out = [
        f"{name}{photos} photos, {len(rows)} frames",
        (
            f"  members: {total('members')}, exact {total('exact')}, wrong {total('wrong')}, "
            f"missing {total('missing')}, extra {total('extra')}"
        ),
        (
            f"  in sight: {total('visible_exact')} of {total('visible')} exact "
            f"({share(total('visible_exact'), total('visible'))})"
        ),
        f"  frames that need no edit: {sum(row['edits'] == 0 for row in rows)} of {len(rows)}",
    ]
    if total("braces"):
        out.append(f"  braces: {total('braces_exact')} of {total('braces')} exact")
    aside = sum(len(row["set_aside"]) for row in rows)
    out.append(f"  photos set aside: {aside} of {given} ({share(aside, given)})")
    out += _opening_shares({key: sum(row["openings"].get(key, 0) for row in rows) for key in COUNTS})
    out += confidence_bins([pair for row in rows for pair in row["members_sure"]])
    seconds, blob_s = total("seconds"), total("blob_s")
    out.append(
        f"  {seconds / max(1, given):.1f} s a photo, {seconds / max(blob_s, 1e-9):.0f} x one blob-detector "
        f"pass; {total('cpu_s'):.0f} s CPU, {total('cpu_s') / max(1, given):.1f} s a photo"
    )
    return "\n".join(out)


def share(part: float, whole: float) -> str:
    """A share in per cent.

    Examples
    --------
    >>> from recon.bench.reading_table import share
    >>> share(1, 8), share(0, 0)
    ('12.5 %', 'none')
    """
    return f"{100 * part / whole:.1f} %" if whole else "none"


def confidence_bins(pairs: Sequence[tuple[float, bool]]) -> list[str]:
    """How many members have a confidence, and how many of these are exact.

    Parameters
    ----------
    pairs : sequence of (float, bool)
        Confidence, and whether the member is exact.

    Examples
    --------
    >>> from recon.bench.reading_table import confidence_bins
    >>> confidence_bins([(0.95, True), (1.0, True), (0.3, False)])
    ['  confidence 0.9 to 1.0: 2 members, 100.0 % exact', '  confidence 0.0 to 0.5: 1 members, 0.0 % exact']
    """
    out = []
    for low, high in BINS:
        part = [
            exact for confidence, exact in pairs if low <= confidence and (confidence < high or high == 1)
        ]
        if part:
            out.append(
                f"  confidence {low:.1f} to {high:.1f}: {len(part)} members, "
                f"{share(sum(part), len(part))} exact"
            )
    return out


def _opening_shares(sums: Mapping[str, float]) -> list[str]:
    """Shares of openings; nothing where none was in sight."""
    if not sums["in_sight"]:
        return []
    text = (
        f"  openings in sight: detected {sums['detected'] / sums['in_sight']:.3f}; "
        f"kept by members {sums['found'] / sums['in_sight']:.3f}, "
        f"precision {sums['kept_true'] / max(1, sums['kept']):.3f}, "
        f"rms {np.sqrt(sums['squares'] / max(1, sums['found'])):.2f} px"
    )
    return [text]
