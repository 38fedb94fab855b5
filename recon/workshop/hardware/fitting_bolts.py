"""The bolts of fittings: one in each hole, through the member and what the fitting puts on its face."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from recon.frame.fitting import Fitting
from recon.frame.fitting_boxes import FACE_TOL, opens_on
from recon.frame.model import Frame, as_tuple
from recon.workshop.hardware.bolts import Bolt, Hole, find_bolts


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


def shared_bolts(frame: Frame, laps: Sequence[Bolt] | None = None) -> dict[Bolt, tuple[Fitting, ...]]:
    """Bolts of laps that hold fittings, too: one longer bolt in place of two in one hole.

    A fitting's hole has the bolt of a lap in it, along the same axis, and the fitting lies where that bolt
    comes out.

    Parameters
    ----------
    frame : Frame
    laps : sequence of Bolt, optional
        The bolts of its laps (`find_bolts`), where they are known already.

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.model import Member
    >>> pair = Member("A", (0, 0, 0), (1, 0, 0), 6), Member("B", (2, -2, 1), (0, 1, 0), 6)
    >>> foot = Fitting("F1", "foot", (("A", 2),), (0.0, 0.0, -1.0), (40, 40, 20), 5.0)
    >>> frame = Frame(pair, find_joints(pair), 40.0, fittings=(foot,))
    >>> [(bolt.through, [f.id for f in fittings]) for bolt, fittings in shared_bolts(frame).items()]
    [((('A', 2), ('B', 2)), ['F1'])]
    """
    if not frame.fittings:
        return {}
    ends: dict[tuple[Hole, int], Bolt] = {}
    for bolt in find_bolts(frame) if laps is None else laps:
        ends[bolt.through[0], -1] = bolt
        ends[bolt.through[-1], 1] = bolt
    found: dict[Bolt, tuple[Fitting, ...]] = {}
    for own in fitting_bolts(frame):
        for side in (-1, 1):
            there = ends.get((own.through[0], side))
            if there and own.fitting and np.dot(there.axis, own.fitting.face) * side > FACE_TOL:
                found[there] = (*found.get(there, ()), own.fitting)
    return found


def bolts_to_buy(frame: Frame) -> tuple[tuple[Bolt, ...], dict[Bolt, tuple[Fitting, ...]]]:
    """All bolts, one for each hole that a lap and a fitting share; and what those hold (`shared_bolts`)."""
    laps = find_bolts(frame)
    shared = shared_bolts(frame, laps)
    taken = {(f, hole) for bolt, fittings in shared.items() for f in fittings for hole in bolt.through}
    own = (bolt for bolt in fitting_bolts(frame) if (bolt.fitting, bolt.through[0]) not in taken)
    return (*laps, *own), shared
