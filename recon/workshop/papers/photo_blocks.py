"""Photos of a build, as they were taken or with what was read in them, as blocks of the papers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from recon.workshop.papers.blocks import Block, Heading, Paragraph, Picture

HEIGHT_MM = 112.0  # of a photo as it was taken at most: two to a page of A4 and of Letter
# Of one with marks and labels, which are to be read: as wide as a page where it is level, and room for the
# section's title and its sentences on Letter.
MARKED_MM = 190.0


def photo_blocks(
    overlays: Sequence[tuple[str, bytes]], originals: Sequence[tuple[str, bytes]] = ()
) -> Iterator[Block]:
    """Each photo under its name: those with what was read in them, then those as they were taken."""
    if overlays:
        yield Paragraph(
            "The frame as it stood when it was photographed. Blue outline: a member, with its label and its "
            "number of holes; broken: not sure. Rings: openings that were read; diamonds: bolts; black "
            "discs: holes that were expected there. Bars across the ends: ends that were seen."
        )
    for name, data in overlays:
        yield Heading(name)
        yield Picture(data, f"{name} with the members that were read in it", MARKED_MM)
    if originals:
        yield Paragraph("The photos as they were taken.")
    for name, data in originals:
        yield Heading(name)
        yield Picture(data, f"{name} as it was taken", HEIGHT_MM)
