"""Bolts with their nuts and washers, counted: what to have at hand for a step, or in a bag."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from recon.workshop.hardware.bolts import Fastening
from recon.workshop.hardware.fasteners import ROD
from recon.workshop.wording import listed, plural


def kit_counts(fastenings: Iterable[Fastening | None]) -> Counter[tuple[str, str]]:
    """How many of each, by ("bolt", "M8 x 90") and the like; bolts of unknown size are ("bolt", "")."""
    counts: Counter[tuple[str, str]] = Counter()
    for fastening in fastenings:
        if fastening is None:
            counts["bolt", ""] += 1
            continue
        counts["bolt", fastening.name] += 1
        for name, n in fastening.nuts.items():
            counts["nut", name] += n
        for name, n in fastening.washers.items():
            counts["washer", name] += n
    return counts


def kit_words(fastenings: Iterable[Fastening | None]) -> str:
    """'2 bolts M8 x 90, 2 nuts M8 and 4 washers M8'."""
    counts = kit_counts(fastenings)
    order = {kind: k for k, kind in enumerate(("bolt", "nut", "washer"))}
    names = sorted(counts, key=lambda key: (order[key[0]], key[1]))
    return listed(count_words(counts[key], *key) for key in names)


def count_words(count: int, kind: str, name: str) -> str:
    """So many of one kind and size.

    Examples
    --------
    >>> count_words(2, "bolt", "M8 x 90"), count_words(2, "bolt", "threaded rod M8 x 520")
    ('2 bolts M8 x 90', '2 threaded rods M8 x 520')
    """
    kind, name = (ROD, name.removeprefix(ROD).strip()) if name.startswith(ROD) else (kind, name)
    return f"{plural(count, kind)} {name}".strip()
