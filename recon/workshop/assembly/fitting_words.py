"""How fittings are put on, in sentences, once the frame is together."""

from __future__ import annotations

from collections.abc import Sequence

from recon.frame.fitting import Fitting, Hole
from recon.frame.model import Frame
from recon.workshop.hardware.fitting_bolts import shared_bolts
from recon.workshop.sides import Sides
from recon.workshop.wording import holes_in_words, listed, plural

TURN = "Turn the frame over, or lay it on its side, so that {} can be put on below."
BACK = "Set it upright again."


def fitting_sentences(frame: Frame, z_up: bool = True) -> tuple[str, ...]:
    """A sentence for each fitting: where it goes, and on which side; those below first, with it turned.

    Examples
    --------
    >>> from recon.frame.model import Member
    >>> rail = Member("A", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 9)
    >>> foot = Fitting("F1", "foot", (("A", 0), ("A", 2)), (0.0, 0.0, -1.0), (40, 40, 20), 5.0)
    >>> for text in fitting_sentences(Frame((rail,), pitch_mm=40.0, fittings=(foot,))):
    ...     print(text)
    Turn the frame over, or lay it on its side, so that F1 can be put on below.
    Put on foot F1 at holes 1 and 3 of A, on the bottom side, with 2 bolts, heads on the foot.
    Set it upright again.
    """
    sides = Sides(frame.members, z_up)
    shared: dict[str, list[Hole]] = {}
    for bolt, fittings in shared_bolts(frame).items():
        for f in fittings:
            shared.setdefault(f.id, []).extend(hole for hole in f.holes if hole in bolt.through)
    below = [f for f in frame.fittings if sides.name(f.face) == "bottom"]
    others = [f for f in frame.fittings if f not in below]
    texts = {f.id: _sentence(f, sides, shared.get(f.id, [])) for f in frame.fittings}
    turned = [TURN.format(listed(f.id for f in below)), *(texts[f.id] for f in below), BACK] if below else []
    return (*turned, *(texts[f.id] for f in others))


def _sentence(f: Fitting, sides: Sides, shared: Sequence[Hole]) -> str:
    """With the holes in which the bolt of a lap holds it, too."""
    name = f" ({f.name})" if f.name else ""
    own = len(f.holes) - len(shared)
    heads = f"{'heads' if own > 1 else 'head'} on the {'fitting' if f.kind == 'other' else f.kind}"
    bolts = f", with {plural(own, 'bolt')}, {heads}" if own else ""
    text = f"Put on {f.words}{name} at {holes_in_words(f.holes)}, on the {sides.name(f.face)} side{bolts}."
    if shared:
        many = len(shared) > 1
        text += f" In {holes_in_words(shared)} the longer bolt{'s' if many else ''} of the joint"
        text += f"{'s hold' if many else ' holds'} it, too: leave off the nut there until it is on."
    return text
