"""Photos of a build, as they were taken or with what was read in them, as blocks of the papers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from recon.workshop.papers.blocks import Block, Heading, Paragraph, Picture

HEIGHT_MM = 112.0  # of a photo at most: two to a page of A4 and of Letter


def photo_blocks(
    overlays: Sequence[tuple[str, bytes]], originals: Sequence[tuple[str, bytes]] = ()
) -> Iterator[Block]:
    """Each photo under its name: those with what was read in them, then those as they were taken."""
    if overlays:
        yield Paragraph(
            "The frame as it stood when it was photographed, with each member's outline and label."
        )
    for name, data in overlays:
        yield Heading(name)
        yield Picture(data, f"{name} with the members that were read in it", HEIGHT_MM)
    if originals:
        yield Paragraph("The photos as they were taken.")
    for name, data in originals:
        yield Heading(name)
        yield Picture(data, f"{name} as it was taken", HEIGHT_MM)
