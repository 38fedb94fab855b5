"""A frame's canonical twin: the same geometry and bolts, however it stands and is labelled."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from recon.errors import ReconError
from recon.frame.lattice import canonical
from recon.frame.model import End, Frame
from recon.geometry.arrays import FloatArray, IntArray
from recon.geometry.lattice import rotations, upright_rotations
from recon.workshop.hardware.bolts import lap_centre

SAME_PLACE = 1e-3  # pitches: canonical places are rounded to 1e-6, which a direction's rounding may add to


class CanonicalTwin(NamedTuple):
    """The twin, its member ids -> those of the frame, and the turn (3, 3) from the frame to the twin."""

    frame: Frame
    names: dict[str, str]
    turn: FloatArray


def canonical_twin(frame: Frame, z_up: bool = False) -> CanonicalTwin:
    """The canonical twin of a frame.

    What was seen of members and bolts, and how sure it is, is left out, so that it makes no difference.

    Parameters
    ----------
    frame : Frame
    z_up : bool
        Whether +z is up, and stays up in the twin.

    Raises
    ------
    ReconError
        Where two members or two laps are in the same place.

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.model import Member
    >>> members = Member("leg", (5, 5, 5), (0, 0, 1), 8), Member("arm", (3, 4, 8), (1, 0, 0), 6)
    >>> twin = canonical_twin(Frame(members, find_joints(members)))
    >>> sorted(twin.names.items())
    [('A', 'leg'), ('B', 'arm')]
    """
    plain = _without_evidence(frame)
    turns = upright_rotations() if z_up else rotations()
    twin = canonical(plain, turns)
    there, there_laps = _places(twin)
    for turn in turns:
        ends, laps = (x @ turn.T for x in _places(plain))
        shift = there.min(axis=(0, 1)) - ends.min(axis=(0, 1))
        own = _same_points(there.mean(axis=1), ends.mean(axis=1) + shift)  # no two members have one middle
        if own is None:
            continue
        off = [np.abs(there - ends[own, ::way] - shift).max(axis=(1, 2)) for way in (1, -1)]
        if np.minimum(*off).max() > SAME_PLACE:
            continue
        lap = _same_points(there_laps, laps + shift)
        if lap is not None and all(twin.joints[k].bolt == plain.joints[i].bolt for k, i in enumerate(lap)):
            names = {m.id: plain.members[i].id for m, i in zip(twin.members, own)}
            return CanonicalTwin(twin, names, turn)
    raise ReconError(
        "Two members or two laps of the frame are in one and the same place; leave one of them out."
    )


def _without_evidence(frame: Frame) -> Frame:
    """The geometry of a frame and which laps have a bolt, without what was seen of them."""
    members = tuple(replace(m, confidence=1.0, seen=0, ends=(End(), End())) for m in frame.members)
    joints = tuple(
        replace(j, bolt=j.bolt if j.bolt == "none" else "assumed", bolt_by="", three_way=False)
        for j in frame.joints
    )
    return replace(frame, photos=(), doubts=(), name="", members=members, joints=joints)


def _places(frame: Frame) -> tuple[FloatArray, FloatArray]:
    """Both end holes of every member, (n, 2, 3), and the middle of every lap, (joints, 3)."""
    members = {m.id: m for m in frame.members}
    ends = np.array([(m.first, m.last) for m in frame.members], float)
    return ends, np.array([lap_centre(j, members) for j in frame.joints]).reshape(-1, 3)


def _same_points(a: FloatArray, b: FloatArray) -> IntArray | None:
    """For each point of a (n, 3) the index of that of b (n, 3) in the same place; None where one has none."""
    if not len(a):
        return np.zeros(0, int)
    distance, index = cKDTree(b).query(a)
    return index if distance.max() < SAME_PLACE and len(np.unique(index)) == len(a) else None
