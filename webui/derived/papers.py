"""The papers and files that the page offers: all exports; papers have a picture on their cover."""

from __future__ import annotations

from collections.abc import Mapping

from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.show.exports import ALL_EXPORTS, frame_picture
from recon.workshop.export.entry import Request


def listed_papers() -> list[dict[str, str]]:
    """Id, name and contents of each export, in the order in which the page lists them."""
    return [{"id": entry.id, "name": entry.name, "what": entry.what} for entry in ALL_EXPORTS.values()]


def make_paper(id: str, frame: Frame, stocks: Mapping[str, Stock]) -> bytes:
    """The file of one export.

    Raises
    ------
    KeyError
        Where there is no export of that id.
    ReconError
        Where the frame does not allow it.
    """
    return ALL_EXPORTS[id].make(Request(frame, stocks, picture=frame_picture))
