"""The papers and files that the page offers: all exports; papers have a picture on their cover."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.show.exports import ALL_EXPORTS, cover_picture
from recon.workshop.export.entry import Request
from recon.workshop.papers.builder_record import BuilderRecord


def listed_papers() -> list[dict[str, str]]:
    """Id, name and contents of each export, in the order in which the page lists them."""
    return [{"id": entry.id, "name": entry.name, "what": entry.what} for entry in ALL_EXPORTS.values()]


def make_paper(
    id: str, frame: Frame, stocks: Mapping[str, Stock], kept: Callable[[], BuilderRecord]
) -> bytes:
    """The file of one export.

    Parameters
    ----------
    id : str
    frame : Frame
    stocks : mapping of str to Stock
    kept : callable
        Fetches what the builder keeps beside the frame; called for those that print it.

    Raises
    ------
    KeyError
        Where there is no export of that id.
    ReconError
        Where the frame does not allow it.
    """
    return ALL_EXPORTS[id].make(Request(frame, stocks, picture=cover_picture, kept=kept))
