"""The bolts of a frame as solids in their places, for files in space."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np

from recon.errors import ReconError
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.geometry.arrays import FloatArray
from recon.workshop.frame_size import known_pitch_mm
from recon.workshop.hardware.bolts import Bolt, Fastening
from recon.workshop.hardware.fastener_shapes import Piece, fastening_pieces
from recon.workshop.hardware.fasteners import bolt_length, thread_for
from recon.workshop.parts.parts_list import parts_list
from recon.workshop.solids import HOLE, bolt_axes


@dataclass(frozen=True)
class PlacedBolt:
    """A bolt with its nut and washers, in its place.

    Attributes
    ----------
    name : str
        The holes that it goes through: 'A3 B1'; with a fitting before them where it holds one.
    size : str
        'M8 x 90'.
    pieces : tuple of Piece
        Along its axis, mm.
    start : (3,)
        Where it comes out of the face on which it starts, mm.
    axes : (3, 3)
        Rows: its axis, and two directions across it.
    """

    name: str
    size: str
    pieces: tuple[Piece, ...]
    start: FloatArray
    axes: FloatArray


def placed_bolts(frame: Frame, stocks: Mapping[str, Stock]) -> Iterator[PlacedBolt]:
    """All bolts of a frame; where no stock tells the size, the largest that passes the holes as drawn.

    Raises
    ------
    ReconError
        Where the frame's pitch is not known, and for what `parts_list` raises.

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.model import Member
    >>> pair = Member("A", (0, 0, 0), (0, 0, 1), 8), Member("B", (-2, 1, 3), (1, 0, 0), 8)
    >>> [(bolt.name, bolt.size) for bolt in placed_bolts(Frame(pair, find_joints(pair), 38.1), {})]
    [('A4 B3', 'M8 x 90')]
    """
    pitch_mm = known_pitch_mm(frame, "it has no size")
    for bolt, known in parts_list(frame, stocks).bolts:
        fastening = known or _as_drawn(bolt, pitch_mm)
        if fastening is None:
            continue
        # The frame's own pitch decides where faces are.
        pieces = fastening_pieces(replace(fastening, grip_mm=bolt.grip * pitch_mm))
        held = [bolt.fitting.id] if bolt.fitting else []
        name = " ".join([*held, *(f"{id}{hole + 1}" for id, hole in bolt.through)])
        yield PlacedBolt(name, fastening.name, pieces, np.array(bolt.start) * pitch_mm, bolt_axes(bolt))


def _as_drawn(bolt: Bolt, pitch_mm: float) -> Fastening | None:
    """A metric bolt for holes as they are drawn where no stock is known; None where none is small enough."""
    with suppress(ReconError):
        thread, grip = thread_for(HOLE * pitch_mm, "metric"), bolt.grip * pitch_mm
        return Fastening(thread, bolt_length(grip, thread), grip)
    return None
