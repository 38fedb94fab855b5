"""What gives a frame its size: its pitch in mm, and the stock of its members, each where it is known."""

from __future__ import annotations

from collections.abc import Mapping

from recon.errors import ReconError
from recon.frame.model import Frame, Member
from recon.frame.stock import Stock


def known_pitch_mm(frame: Frame, consequence: str) -> float:
    """The frame's pitch, for work that cannot do without it.

    Parameters
    ----------
    frame : Frame
    consequence : str
        What follows where the pitch is not known, for the message: "nothing can be cut".

    Returns
    -------
    float
        mm.

    Raises
    ------
    ReconError
        Where the pitch is not known.

    Examples
    --------
    >>> from recon.frame.model import Frame
    >>> known_pitch_mm(Frame((), pitch_mm=38.1), "nothing can be cut")
    38.1
    """
    if not frame.pitch_mm:
        raise ReconError(
            f"The frame's pitch is not known, so {consequence}; give its stock, or one measured length."
        )
    return frame.pitch_mm


def stock_of(member: Member, stocks: Mapping[str, Stock]) -> Stock | None:
    """The member's stock, None where the frame does not name it or the list does not hold it."""
    return None if member.stock is None else stocks.get(member.stock)


def hole_diameters(frame: Frame, stocks: Mapping[str, Stock]) -> list[float]:
    """Diameter of the holes of each member whose stock is known, in the members' order, pitches."""
    found = (stock_of(m, stocks) for m in frame.members)
    return [stock.hole for stock in found if stock]
