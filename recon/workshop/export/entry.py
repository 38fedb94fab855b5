"""An entry of the registry of exports, and a request for a frame to be written."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from recon.errors import ReconError

if TYPE_CHECKING:
    from recon.frame.model import Frame
    from recon.frame.stock import Stock
    from recon.workshop.papers.builder_record import BuilderRecord
    from recon.workshop.parts.prices import PriceList


@dataclass(frozen=True)
class Request:
    """A frame to be written, and what may be chosen about it; an entry's `takes` names what it heeds.

    Attributes
    ----------
    frame : Frame
    stocks : mapping of str to Stock
        The stock list.
    angle : str or None
        "first" or "third", how the three views lie; where None, first, and in papers as is usual on their
        paper.
    drilled : bool
        Whether solid members have their holes.
    prices : PriceList or None
        For parts and cuts.
    picture : callable or None
        Draws a frame, with the stock list, as a PNG for the cover of papers; None leaves the cover without.
    kept : callable or None
        Fetches what the builder keeps beside the frame, for papers; None leaves them without.
    """

    frame: Frame
    stocks: Mapping[str, Stock]
    angle: str | None = None
    drilled: bool = True
    prices: PriceList | None = None
    picture: Callable[[Frame, Mapping[str, Stock]], bytes] | None = None
    kept: Callable[[], BuilderRecord] | None = None


@dataclass(frozen=True)
class Export:
    """One thing that a frame can be written as.

    Attributes
    ----------
    id : str
        Its name on the page and here.
    name, what : str
        For people, on the page: what it is called, and what is in it.
    ending : str
        Of its file's name, such as ".parts.csv".
    media_type : str
        The MIME type that it is sent with.
    write : callable
        Makes the file's bytes of a `Request`; raises ReconError where the frame does not allow it.
    place : int
        Where it stands on the page's list, the smallest first.
    kind : str
        Its name after `recon export --to`; empty where that command does not write it.
    help : str
        What that command's help says of it.
    takes : tuple of str
        The fields of `Request` that make a difference to it, beside frame and stocks.
    paper : str
        The size of paper that it is laid out for (see `recon.workshop.drawing.paper`); empty where it has
        none.
    needs_members : bool
        Whether a frame without members is refused before `write` is called.
    """

    id: str
    name: str
    what: str
    ending: str
    media_type: str
    write: Callable[[Request], bytes]
    place: int
    kind: str = ""
    help: str = ""
    takes: tuple[str, ...] = ()
    paper: str = ""
    needs_members: bool = False

    @property
    def suffix(self) -> str:
        """The last part of the ending: '.csv' of '.parts.csv'."""
        return Path(self.ending).suffix or self.ending

    def make(self, request: Request) -> bytes:
        """The file's bytes.

        Raises
        ------
        ReconError
            Where the frame does not allow it: no members, or no pitch where the file needs one.
        """
        if self.needs_members:
            check_members(request.frame)
        return self.write(request)


def check_members(frame: Frame) -> None:
    """Refuse a frame without members.

    Raises
    ------
    ReconError
        Where there are none.
    """
    if not frame.members:
        raise ReconError("The frame has no members, so there is nothing to export.")
