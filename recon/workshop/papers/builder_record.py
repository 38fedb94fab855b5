"""What the builder keeps beside the frame, as blocks of the papers: notes and photos at steps, photos of the
build."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from recon.workshop.assembly.progress import StepExtras, extras_by_step, step_items
from recon.workshop.assembly.record import AssemblyRecord
from recon.workshop.assembly.steps import BuildOrder
from recon.workshop.papers.blocks import Block, Heading, Paragraph, Picture

HEIGHT_MM = 80.0  # of a step's photo at most: this project's choice


@dataclass(frozen=True)
class BuilderRecord:
    """What the builder keeps.

    Attributes
    ----------
    record : AssemblyRecord
        Ticks, notes and photos at steps.
    step_photos : mapping of str to bytes
        Those photos by their files' names, JPEG or PNG.
    photos : sequence of (str, bytes)
        Name of each photo of the build, and a JPEG or PNG of it as it was taken.
    """

    record: AssemblyRecord = field(default_factory=AssemblyRecord)
    step_photos: Mapping[str, bytes] = field(default_factory=dict)
    photos: Sequence[tuple[str, bytes]] = ()

    def of_steps(self, order: BuildOrder) -> tuple[list[StepExtras], StepExtras]:
        """Notes and photos of each step of an order and of its end, and those of none."""
        return extras_by_step(self.record, step_items(order))

    def note_lines(self, extras: StepExtras) -> Iterator[Paragraph]:
        """The notes of a step, a line each."""
        for note in extras.notes:
            day = f" ({note.at[:10]})" if note.at else ""
            first, *others = note.text.split("\n")
            yield Paragraph(f"Note{day}: {first}", "list")
            for line in others:
                yield Paragraph(line, "list")

    def pictures(self, extras: StepExtras, title: str) -> Iterator[Block]:
        """The photos of a step with their names, as far as there are files; `title` is the step's."""
        for photo in extras.photos:
            if photo.file in self.step_photos:
                day = f", {photo.at[:10]}" if photo.at else ""
                caption = f"{title}: {photo.file}{day}"
                yield Picture(self.step_photos[photo.file], caption, HEIGHT_MM)
                yield Paragraph(caption, "note")

    def rest(self, others: StepExtras) -> Iterator[Block]:
        """Notes and photos that belong to no step any more."""
        blocks: list[Block] = [*self.note_lines(others), *self.pictures(others, "Photo")]
        if blocks:
            yield Heading("Notes and photos of steps that are no more")
            yield from blocks


NOTHING_KEPT = BuilderRecord()
