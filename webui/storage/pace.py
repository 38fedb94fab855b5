"""How long readings take on this machine, learnt from those that it did: a file in the user's settings."""

from __future__ import annotations

import contextlib
import json
import math
import statistics
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from recon.errors import ReconError
from recon.files import write_text_atomic
from recon.frame.usual_stock import settings_folder
from webui.storage.build import LEVELS, READING

NAME = "reading-pace.json"
REMEMBERED = 5  # readings of each kind, of which the median counts; this project's choice
FIRST, AGAIN = "first", "again"  # kinds: no photo's openings were known, or those of all
Rates = dict[str, list[float]]


@dataclass(frozen=True)
class Work:
    """What a reading has to do.

    Attributes
    ----------
    megapixels : float
        Of all photos, as they are worked on.
    unseen : float
        Of those whose openings are still to be found.
    """

    megapixels: float
    unseen: float

    @property
    def kind(self) -> str | None:
        """FIRST or AGAIN; None where it is a part of each."""
        return FIRST if self.unseen == self.megapixels else None if self.unseen else AGAIN


def work_of(folder: Path, photos: Iterable[str]) -> Work | None:
    """What reading some photos of a build has to do; None where their sizes are not known yet."""
    # With it comes what decodes photos.
    from recon.image.working_copy import first_look_halvings, working_scale

    megapixels = unseen = 0.0
    for name in photos:
        try:
            size = json.loads((folder / LEVELS / name / "size.json").read_text())["size"]
        except (OSError, ValueError, KeyError):
            return None
        copy = size[0] * size[1] * working_scale((size[0], size[1])) ** 2
        pixels = copy / 4 ** first_look_halvings(copy) / 1e6
        megapixels += pixels
        if not (folder / READING / f"{name}.npz").is_file():
            unseen += pixels
    return Work(megapixels, unseen) if megapixels else None


def expected_s(work: Work | None) -> float | None:
    """Seconds that a reading will take, as those before took on this machine; None where none were.

    Examples
    --------
    >>> expected_s(None) is None
    True
    """
    rates = _load()
    if work is None or not rates.get(FIRST):
        return None
    first = statistics.median(rates[FIRST])
    again = min(first, statistics.median(rates.get(AGAIN) or [first]))
    return again * work.megapixels + (first - again) * work.unseen


def learn(work: Work | None, seconds: float) -> None:
    """Remembers how long a reading took.  Where the settings cannot be written, nothing is learnt."""
    if work is None or work.kind is None or not 0 < seconds < math.inf:
        return
    rates = _load()
    rates[work.kind] = [*rates.get(work.kind, []), round(seconds / work.megapixels, 4)][-REMEMBERED:]
    path = settings_folder() / NAME
    with contextlib.suppress(OSError, ReconError):
        path.parent.mkdir(parents=True, exist_ok=True)
        write_text_atomic(path, json.dumps(rates) + "\n")


def _load() -> Rates:
    """Seconds for a megapixel, by kind; empty where the file is missing or damaged."""
    try:
        data = json.loads((settings_folder() / NAME).read_text(encoding="utf-8"))
        return {
            kind: [float(v) for v in data.get(kind, []) if 0 < float(v) < math.inf] for kind in (FIRST, AGAIN)
        }
    except (OSError, ValueError, TypeError, AttributeError):
        return {}
