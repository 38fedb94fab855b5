"""One step of putting a frame together."""

from __future__ import annotations

from dataclasses import dataclass

from recon.frame.model import Joint
from recon.geometry.arrays import Vector
from recon.workshop.hardware.bolts import Bolt


@dataclass(frozen=True)
class BuildStep:
    """One step of putting a frame together.

    Attributes
    ----------
    number : int
        From 1.
    new : tuple of str
        Ids of the members that come in.
    bolts : tuple of Bolt
        Those that go in, in this order.
    bare : tuple of Joint
        Laps of the new members with what is there that get no bolt in this step.
    there : tuple of str
        Ids already in place, to which the new ones are brought.
    there_bolts : tuple of Bolt
        Bolts already in.
    direction : (3,) or None
        The way in which the new members are brought, a unit vector in the frame's own space; None where
        they are laid down to begin with.
    group : int
        Number of the sub-frame that is being built, from 1; 0 for the frame itself.
    text : str
        What to do.
    laid : tuple of str
        Where nothing is there yet, those of `new` that are laid down first, for the others to come to.
    kind : str
        "join", "turn" where what is there is turned and nothing comes in, "core" where members are put
        together for which no order was found, or "fit" where fittings are put on.
    up : (3,)
        Which way of the frame's own space is up once the step is done.
    up_before : (3,) or None
        Of a turn: what was up before.
    heads : tuple of (3,)
        For each bolt, on which side its head is: a unit vector in the frame's own space.
    hands : tuple of tuples of str
        Ids of each group that a hand must hold once the step is done, for one lap alone holds it, or none.
    steady : bool
        Whether what is there stands by itself once the step is done.
    fittings : tuple of str
        Ids of the fittings that are put on.
    there_fittings : tuple of str
        Ids of those that are on already.
    """

    number: int
    new: tuple[str, ...]
    bolts: tuple[Bolt, ...]
    bare: tuple[Joint, ...]
    there: tuple[str, ...]
    there_bolts: tuple[Bolt, ...]
    direction: Vector | None
    group: int
    text: str
    laid: tuple[str, ...] = ()
    kind: str = "join"
    up: Vector = (0.0, 0.0, 1.0)
    up_before: Vector | None = None
    heads: tuple[Vector, ...] = ()
    hands: tuple[tuple[str, ...], ...] = ()
    steady: bool = True
    fittings: tuple[str, ...] = ()
    there_fittings: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """'Step 3, sub-frame 1'."""
        return f"Step {self.number}" + (f", sub-frame {self.group}" if self.group else "")
