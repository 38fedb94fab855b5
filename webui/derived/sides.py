"""Which way front, back, left, right, up and down are, for the page's words and buttons."""

from __future__ import annotations

from recon.frame.model import Frame
from recon.workshop.side_axes import side_axes, to_the_right


def sides(frame: Frame) -> dict[str, list[int]]:
    """Unit vectors of the six directions by name, in whole numbers; {} where there are no members.

    Examples
    --------
    >>> sides(Frame(()))
    {}
    """
    if not frame.members:
        return {}
    axes = side_axes(to_the_right(frame.members))
    return {name: [round(v) for v in axis] for name, axis in axes.items()}
