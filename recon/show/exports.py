"""All papers and files of a frame: the workshop's registry, the picture and the summary."""

from __future__ import annotations

from collections.abc import Mapping

from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.export.entry import Export, Request
from recon.workshop.export.registry import EXPORTS
from recon.workshop.frame_size import hole_diameters


def frame_picture(frame: Frame, stocks: Mapping[str, Stock]) -> bytes:
    """The frame in space as a PNG, with the widest holes that its stocks have."""
    from recon.show.picture import HOLE, draw_frame, encode_png

    return encode_png(draw_frame(frame, hole=max(hole_diameters(frame, stocks), default=HOLE)))


# The cover of papers is at most 96 mm high on Letter, so that this picture is 140 mm wide there, and
# lettering of 6 points (2.12 mm) takes 24 px of 1600; a little more for the letters' own margins.
COVER_PX, COVER_LETTERS_PX = (1600, 1100), 26


def cover_picture(frame: Frame, stocks: Mapping[str, Stock]) -> bytes:
    """The frame in space for the cover of papers: as `frame_picture`, with lettering legible in print."""
    from recon.show.picture import HOLE, draw_frame, encode_png

    hole = max(hole_diameters(frame, stocks), default=HOLE)
    return encode_png(draw_frame(frame, COVER_PX, hole=hole, least_px=COVER_LETTERS_PX))


def _picture(request: Request) -> bytes:
    return frame_picture(request.frame, request.stocks)


def _summary(request: Request) -> bytes:
    from recon.show.summary import summary_text

    return summary_text(request.frame, request.stocks).encode("utf-8")


_ENTRIES = (
    Export(
        id="summary",
        name="Summary",
        what="members by length, laps, what is not sure",
        ending=".txt",
        media_type="text/plain",
        write=_summary,
        place=80,
    ),
    Export(
        id="picture",
        name="Picture",
        what="the frame in space with labels and lengths",
        ending=".png",
        media_type="image/png",
        write=_picture,
        place=90,
    ),
)

# Every export by its id, in the order of the page's list.
ALL_EXPORTS: dict[str, Export] = {
    entry.id: entry for entry in sorted((*EXPORTS.values(), *_ENTRIES), key=lambda entry: entry.place)
}
