"""Build steps as blocks of the papers."""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping

from recon.frame.length import both_text
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.assembly.build_step import BuildStep
from recon.workshop.assembly.lifts import lifts
from recon.workshop.assembly.stage import Stage
from recon.workshop.assembly.steps import LOOSE, NO_ORDER, SOME_ORDER, BuildOrder
from recon.workshop.formats import mass_text
from recon.workshop.hardware.bolts import Bolt, Fastening
from recon.workshop.hardware.kits import kit_words
from recon.workshop.papers.blocks import Block, Heading, Paragraph, StepBlock
from recon.workshop.papers.builder_record import NOTHING_KEPT, BuilderRecord
from recon.workshop.parts.fitting_lines import bought_as
from recon.workshop.parts.parts_model import PartsList
from recon.workshop.wording import plural

STEP_PICTURE = (112.0, 73.0)  # mm: three to a page of A4 and of Letter
LISTED_IN_STEP = 4  # members that a step lists with their lengths at most; more would push its picture away


def step_blocks(
    frame: Frame,
    stocks: Mapping[str, Stock],
    parts: PartsList,
    steps: BuildOrder,
    hole: float,
    kept: BuilderRecord = NOTHING_KEPT,
) -> Iterator[Block]:
    """How to read the steps, each step with its picture and what it takes, and what to do at the end.

    Parameters
    ----------
    frame : Frame
        As it is built.
    stocks : mapping of str to Stock
    parts : PartsList
        Its parts.
    steps : BuildOrder
        Of `build_steps`.
    hole : float
        Diameter of the holes, pitches.
    kept : BuilderRecord
        Notes and photos at steps.
    """
    if not steps.steps:
        yield Paragraph(NO_ORDER)
        for why in steps.why:
            yield Paragraph(why, "list")
        return
    yield Paragraph(
        "Shaded: what comes in; a 1 stands at its end with hole 1. Arrow: the way it is brought in. "
        f"Dashed: the floor. Tags: hole numbers of what is bolted in the step. {LOOSE}"
    )
    series = {s for _, fastening in parts.bolts if fastening for s in fastening.series}
    if len(series) > 1:
        yield Paragraph("Washers that are called wide go on wood, the others on metal.")
    if steps.stuck:
        yield Paragraph(SOME_ORDER)
        for why in steps.why:
            yield Paragraph(why, "list")
    stage = Stage(frame, hole)
    fastenings = {bolt: fastening for bolt, fastening in parts.bolts if fastening}
    heavy = {
        lift.step: lift for lift in lifts(frame, stocks, steps.steps, fastenings) or () if lift.takes_two
    }
    extras, others = kept.of_steps(steps)
    known: set[str] = set()
    for step, own in zip(steps.steps, extras):
        lines = [Paragraph(step.text), *_needs(frame, parts.pitch_mm, step, known, fastenings)]
        known.update(step.new)
        if step.number in heavy:
            mass = mass_text(heavy[step.number].mass_kg)
            lines.append(Paragraph(f"{mass} are moved here: lift with two people or more.", "list"))
        lines += kept.note_lines(own)
        yield StepBlock(step.title, tuple(lines), stage.picture(step, STEP_PICTURE))
        yield from kept.pictures(own, step.title)
    end: list[Block] = [*kept.note_lines(extras[-1]), *kept.pictures(extras[-1], "At the end")]
    if steps.finish or end:
        yield Heading("At the end")
        for text in steps.finish:
            yield Paragraph(text, "list")
        yield from end
    yield from kept.rest(others)


def _needs(
    frame: Frame,
    pitch_mm: float,
    step: BuildStep,
    known: Container[str],
    fastenings: Mapping[Bolt, Fastening],
) -> Iterator[Paragraph]:
    """What to have at hand for a step: members not `known` from before, fittings, bolts, nuts and washers."""
    mixed = len({m.stock for m in frame.members}) > 1
    new = [id for id in step.new if id not in known]
    if len(new) <= LISTED_IN_STEP:
        for id in new:
            m = frame.member(id)
            stock = f", {m.stock or 'stock not known'}" if mixed else ""
            length = both_text(m.holes * pitch_mm)
            yield Paragraph(f"{id}: {plural(m.holes, 'hole')}, {length}{stock}", "list")
    for f in frame.fittings:
        if f.id in step.fittings:
            yield Paragraph(f"{f.id}: {bought_as(f)}", "list")
    if step.bolts:
        yield Paragraph(kit_words([fastenings.get(bolt) for bolt in step.bolts]), "list")
