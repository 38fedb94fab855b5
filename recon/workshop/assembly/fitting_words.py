"""How fittings are put on, in sentences, once the frame is together."""

from __future__ import annotations

from recon.frame.fitting import Fitting
from recon.frame.model import Frame
from recon.workshop.sides import Sides
from recon.workshop.wording import holes_in_words, plural


def fitting_sentences(frame: Frame, z_up: bool = True) -> tuple[str, ...]:
    """A sentence for each fitting: where it goes, and on which side.

    Examples
    --------
    >>> from recon.frame.model import Member
    >>> rail = Member("A", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 9)
    >>> foot = Fitting("F1", "foot", (("A", 0), ("A", 2)), (0.0, 0.0, -1.0), (40, 40, 20), 5.0)
    >>> fitting_sentences(Frame((rail,), pitch_mm=40.0, fittings=(foot,)))
    ('Put on foot F1 at holes 1 and 3 of A, on the bottom side, with 2 bolts.',)
    """
    sides = Sides(frame.members, z_up)
    return tuple(_sentence(f, sides) for f in frame.fittings)


def _sentence(f: Fitting, sides: Sides) -> str:
    name = f" ({f.name})" if f.name else ""
    bolts = plural(len(f.holes), "bolt")
    side = sides.name(f.face)
    return f"Put on {f.words}{name} at {holes_in_words(f.holes)}, on the {side} side, with {bolts}."
