"""The fittings of a built frame against those of its plan: how many of each, wherever they are bolted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from recon.frame.model import Frame
from recon.workshop.parts.fitting_lines import bought_as
from recon.workshop.wording import listed


def fitting_differences(built: Frame, plan: Frame) -> Iterator[tuple[str, str]]:
    """What differs, and what could not be checked.

    No reading finds fittings in photos, so a built frame that names none has not been looked at for them.

    Yields
    ------
    (severity, sentence)
        "different" or "not checked".

    Examples
    --------
    >>> from recon.frame.fitting import Fitting
    >>> foot = Fitting("F1", "foot", (("A", 0),), (0.0, 0.0, -1.0), (40, 40, 20), 5.0, "foot 40")
    >>> list(fitting_differences(Frame(()), Frame((), fittings=(foot,))))
    [('not checked', 'Fittings were not looked for; the plan has 1 foot 40.')]
    """
    has, wanted = (Counter(bought_as(f) for f in frame.fittings) for frame in (built, plan))
    if wanted and not has:
        named = listed(f"{n} {name}" for name, n in wanted.items())
        yield "not checked", f"Fittings were not looked for; the plan has {named}."
        return
    for name in sorted(has.keys() | wanted.keys()):
        if has[name] != wanted[name]:
            yield "different", f"Of {name} there are {has[name] or 'none'}, plan {wanted[name] or 'none'}."
