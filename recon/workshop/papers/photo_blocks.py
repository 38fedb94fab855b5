"""Photos of a build, with what was read in them, as blocks of the papers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from recon.workshop.papers.blocks import Block, Heading, Paragraph, Picture

HEIGHT_MM = 112.0  # of a photo at most: two to a page of A4 and of Letter


def photo_blocks(photos: Sequence[tuple[str, bytes]]) -> Iterator[Block]:
    """Each photo under its name."""
    yield Paragraph("The frame as it stood when it was photographed, with each member's outline and label.")
    for name, data in photos:
        yield Heading(name)
        yield Picture(data, f"{name} with the members that were read in it", HEIGHT_MM)
