"""Tools, bags of bolts, lifts and time as blocks of the papers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.assembly.lifts import Lift, lifts, time_words, work_minutes
from recon.workshop.assembly.steps import BuildOrder
from recon.workshop.cutting.cut_list import CutList
from recon.workshop.cutting.drilling import bit_words, drill_list, undrilled
from recon.workshop.formats import mass_text
from recon.workshop.hardware.fasteners import is_rod
from recon.workshop.hardware.kits import kit_words
from recon.workshop.papers.blocks import Block, Heading, Paragraph, Table
from recon.workshop.parts.parts_model import PartsList
from recon.workshop.wording import listed, plural


def work_blocks(
    frame: Frame,
    stocks: Mapping[str, Stock],
    parts: PartsList,
    cuts: CutList | None,
    steps: BuildOrder,
    drill: str | None,
) -> Iterator[Block]:
    """What to lay out before the work begins.

    Parameters
    ----------
    frame : Frame
        As it is built.
    stocks : mapping of str to Stock
    parts : PartsList
    cuts : CutList or None
    steps : BuildOrder
    drill : str or None
        "all" or "used", where members are to be drilled.
    """
    yield Heading("Tools")
    for text in _tools(frame, stocks, parts, cuts, steps, drill):
        yield Paragraph(text, "list")
    fastenings = {bolt: fastening for bolt, fastening in parts.bolts if fastening}
    bags = [
        (str(step.number), kit_words([fastenings.get(bolt) for bolt in step.bolts]))
        for step in steps.steps
        if step.bolts
    ]
    fitted = [fastening for bolt, fastening in parts.bolts if bolt.fitting]
    if fitted and not steps.steps:
        bags.append(("end", f"{kit_words(fitted)}, for the fittings"))
    if bags:
        yield Heading("Bags of bolts, one for each step")
        yield Table(("step", "in the bag"), tuple(bags), (0,), (), True)
    yield Heading("Lifts and time")
    moved = lifts(frame, stocks, steps.steps, fastenings)
    for text in [*_lift_words(moved), *_time_words(frame, stocks, cuts, steps, drill)]:
        yield Paragraph(text, "list")


def _tools(
    frame: Frame,
    stocks: Mapping[str, Stock],
    parts: PartsList,
    cuts: CutList | None,
    steps: BuildOrder,
    drill: str | None,
) -> Iterator[str]:
    wrenches: dict[str, int] = {}
    for line in parts.hardware:
        if line.kind in ("bolt", "nut") and line.detail:
            wrench = line.detail.removeprefix("with nylon insert, ")
            wrenches[wrench] = wrenches.get(wrench, 0) + (line.kind == "nut")
    heads = {line.detail for line in parts.hardware if line.kind == "bolt" and line.detail}
    for wrench, nuts in wrenches.items():
        both = wrench in heads and nuts
        yield f"{'Two' if both else 'One'}: {wrench}" + (
            "; one holds the head, one turns the nut." if both else "."
        )
    if any(fastening is None for _, fastening in parts.bolts):
        yield "Two wrenches that fit your bolts; one holds the head, one turns the nut."
    yield "Tape measure, pencil, and a square to mark round."
    if cuts and any(stick.cuts_mm for plan in cuts.plans for stick in plan.sticks):
        wood = {stocks[plan.stock].wood for plan in cuts.plans}
        saws = ["a saw and sandpaper for the edges"] if wood == {True} else []
        saws += ["a saw for wood and sandpaper for its edges"] if len(wood) > 1 else []
        saws += ["a saw for metal and a file for its edges"] if False in wood else []
        yield f"To cut: {'; '.join([*saws, 'clamps, and eye protection'])}."
    if drill:
        only = undrilled(cuts) if cuts else None
        bits = sorted({m.bit_mm for m in drill_list(frame, stocks, only=only).members if m.bit_mm})
        sizes = (
            f"{plural(len(bits), 'bit')} of {listed(map(bit_words, bits))}"
            if bits
            else "a bit for your bolts"
        )
        yield f"To drill: a drill, {sizes}, scrap wood to drill into."
    if any(f and is_rod(f.thread, f.length_mm) for _, f in parts.bolts):
        yield "A hacksaw and a file for threaded rod; run a nut on before you cut, and off over the cut."
    if any(step.laid and step.group for step in steps.steps) or any(s.kind == "turn" for s in steps.steps):
        yield "Two battens to lay parts on, so that there is room for heads and nuts below."
    if any(step.hands or not step.steady for step in steps.steps):
        yield "A helper, or clamps and props, for the steps that say what to hold."


def _lift_words(moved: Sequence[Lift] | None) -> Iterator[str]:
    if moved is None:
        yield "The stock of some members is not known, so what is lifted has no weight here."
        return
    heaviest = max(moved, key=lambda lift: lift.mass_kg, default=None)
    if heaviest is None:
        return
    mass = mass_text(heaviest.mass_kg)
    yield f"The heaviest lift is in step {heaviest.step}: {listed(heaviest.members)}, {mass}."
    two = [lift for lift in moved if lift.takes_two]
    if two:
        which = listed(f"{lift.step} ({mass_text(lift.mass_kg)})" for lift in two)
        yield f"Lift with two people or more: step{'s' if len(two) > 1 else ''} {which}."


def _time_words(
    frame: Frame, stocks: Mapping[str, Stock], cuts: CutList | None, steps: BuildOrder, drill: str | None
) -> Iterator[str]:
    sawn = sum(len(stick.cuts_mm) for plan in cuts.plans for stick in plan.sticks) if cuts else 0
    holes = 0
    if drill:
        drills = drill_list(frame, stocks, drill == "used", only=undrilled(cuts) if cuts else None).members
        holes = sum(len(m.first_faces) + len(m.other_faces) for m in drills)
    if steps.steps:
        minutes = work_minutes(sawn, holes, steps.steps)
        what = listed(filter(None, ["sawing" if sawn else "", "drilling" if holes else "", "building"]))
        yield f"Time for {what}: about {time_words(minutes)} for one person who has built the like before."
