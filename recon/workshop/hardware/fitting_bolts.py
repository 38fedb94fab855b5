"""The bolts of fittings: one in each hole, through the member and what the fitting puts on its face."""

from __future__ import annotations

import numpy as np

from recon.frame.fitting_boxes import opens_on
from recon.frame.model import Frame, as_tuple
from recon.workshop.hardware.bolts import Bolt, find_bolts


def fitting_bolts(frame: Frame) -> tuple[Bolt, ...]:
    """The bolts of all fittings, in the order of these and of their holes.

    A hole that its member does not have, or that does not open on the fitting's side, takes none: the checks
    say so.

    Examples
    --------
    >>> from recon.frame.fitting import Fitting
    >>> from recon.frame.model import Member
    >>> from recon.workshop.hardware.bolts import bolt_words
    >>> rail = Member("A", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 9)
    >>> foot = Fitting("F1", "foot", (("A", 0),), (0.0, 0.0, -1.0), (40, 40, 20), 5.0)
    >>> (bolt,) = fitting_bolts(Frame((rail,), pitch_mm=40.0, fittings=(foot,)))
    >>> bolt_words(bolt), bolt.grip
    ('foot F1 on hole 1 of A', 1.125)
    """
    members = {m.id: m for m in frame.members}
    found = []
    for f in frame.fittings:
        out = np.asarray(f.face, float)
        plate = f.plate_mm / frame.pitch_mm if frame.pitch_mm else 0.0
        for id, hole in f.holes:
            m = members[id]
            if not (0 <= hole < m.holes and opens_on(m, f.face)):
                continue
            grip = m.width + plate
            start = m.hole_centre(hole) + out * (m.width / 2 + plate)
            end = start - out * grip
            axis = as_tuple(-out)
            found.append(
                Bolt(((id, hole),), (), axis, as_tuple(start), as_tuple(end), grip, False, False, fitting=f)
            )
    return tuple(found)


def all_bolts(frame: Frame) -> tuple[Bolt, ...]:
    """The bolts of laps, then those of fittings."""
    return (*find_bolts(frame), *fitting_bolts(frame))
