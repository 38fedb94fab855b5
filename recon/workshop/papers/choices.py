"""What may be chosen about the papers of a frame, and what else goes into them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from recon.workshop.papers.builder_record import NOTHING_KEPT, BuilderRecord

if TYPE_CHECKING:
    from recon.workshop.assembly.steps import BuildOrder
    from recon.workshop.hardware.threads import Thread
    from recon.workshop.parts.oversize import Box
    from recon.workshop.parts.prices import PriceList
    from recon.workshop.parts.rack import Rack


@dataclass(frozen=True)
class PartsChoices:
    """What the parts are taken from, as `recon.workshop.parts.parts_list.parts_list` takes it.

    Attributes
    ----------
    prices : PriceList or None
    rack : Rack or None
        What is owned.
    keep_out : sequence of Box
    floor : bool
    overhang : int
        Of longer members from the rack: what they must stay clear of, whether of the floor, and how many
        holes they may stick out.
    lock_nuts : bool
        Whether nuts have a nylon insert.
    bolts : str or None
        "metric" or "inch"; by the stock where None.
    thread : Thread or None
        Of all bolts, in place of the largest that passes the holes.
    """

    prices: PriceList | None = None
    rack: Rack | None = None
    keep_out: Sequence[Box] = ()
    floor: bool = True
    overhang: int = 0
    lock_nuts: bool = False
    bolts: str | None = None
    thread: Thread | None = None


@dataclass(frozen=True)
class PapersChoices:
    """What may be chosen about papers.

    Attributes
    ----------
    paper : str
        Name in `recon.workshop.drawing.paper.PAPERS`.
    angle : str or None
        "first" or "third", how the three views lie; where None first on A4 and third on Letter, as is usual
        where each is used.
    parts : PartsChoices
    cutting : mapping
        Further arguments of `recon.workshop.cutting.cut_list.cut_list`: `kerf_mm`, and of sticks to buy
        `drilled`, `first_hole_mm`, `trim_mm`, `lengths_mm`.
    drill : str or None
        "all" or "used": how to mark out and drill members, all holes or those that hold a bolt; where None
        all, if sticks are not drilled.
    """

    paper: str = "a4"
    angle: str | None = None
    parts: PartsChoices = field(default_factory=PartsChoices)
    cutting: Mapping[str, Any] = field(default_factory=dict)
    drill: str | None = None


@dataclass(frozen=True)
class Enclosed:
    """What goes into papers besides what follows from the frame.

    Attributes
    ----------
    picture : bytes or None
        PNG for the cover.
    steps : BuildOrder or None
        Of `build_steps` of the frame as it is built (`as_built`), where they are known.
    photos : sequence of (str, bytes)
        Photos of the build with what was read in them: each one's name, and a JPEG or PNG.
    kept : BuilderRecord
        Notes and photos at steps, and photos of the build as they were taken.
    date : str
        Of the build, to print on each page; empty for none.
    """

    picture: bytes | None = None
    steps: BuildOrder | None = None
    photos: Sequence[tuple[str, bytes]] = ()
    kept: BuilderRecord = NOTHING_KEPT
    date: str = ""


AS_USUAL, NOTHING_ENCLOSED = PapersChoices(), Enclosed()
