"""Where fittings are in space: the box round each, from its holes and its size."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from recon.frame.fitting import Fitting
from recon.frame.model import Frame, Member, bounds, section_axes
from recon.geometry.arrays import FloatArray
from recon.geometry.boxes import OrientedBoxes

FACE_TOL = 0.999  # cosine from which a direction counts as square to a face, as for bolts


def fitting_box(fitting: Fitting, frame: Frame) -> OrientedBoxes | None:
    """The box round a fitting.

    Its middle is that between its outermost holes, shifted as the fitting says; it lies on the outermost of
    their faces.

    Parameters
    ----------
    fitting : Fitting
    frame : Frame
        With its members.

    Returns
    -------
    OrientedBoxes or None
        One box, pitches; its axes are along the first hole's member, across it, and out of the face.  None
        where the frame's pitch is not known: the fitting's size is in mm.

    Examples
    --------
    >>> post = Member("A", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 5)
    >>> foot = Fitting("F1", "foot", (("A", 0), ("A", 2)), (0.0, 0.0, -1.0), (120, 40, 20), 5.0)
    >>> box = fitting_box(foot, Frame((post,), pitch_mm=40.0))
    >>> box.centre.tolist(), box.half.tolist()
    ([1.0, 0.0, -0.75], [1.5, 0.5, 0.25])
    """
    members = {m.id: m for m in frame.members if m.id in fitting.members}
    return _box(fitting, members, frame.pitch_mm) if frame.pitch_mm else None


def _box(fitting: Fitting, members: Mapping[str, Member], pitch_mm: float) -> OrientedBoxes:
    axes = fitting_axes(fitting, members[fitting.holes[0][0]])
    spots = bolt_spots(fitting, members) @ axes.T
    middle = (spots.min(axis=0) + spots.max(axis=0)) / 2
    middle[2] = spots[:, 2].max()
    half = np.asarray(fitting.size_mm) / pitch_mm / 2
    middle += [*(np.asarray(fitting.shift_mm) / pitch_mm), half[2]]
    return OrientedBoxes(middle @ axes, axes, half)


def fitting_boxes(frame: Frame) -> dict[str, OrientedBoxes]:
    """The box of each fitting, by its label; none where the frame's pitch is not known."""
    if not (frame.fittings and frame.pitch_mm):
        return {}
    members = {m.id: m for m in frame.members}
    return {f.id: _box(f, members, frame.pitch_mm) for f in frame.fittings}


def boxes_together(boxes: Sequence[OrientedBoxes]) -> OrientedBoxes:
    """Single boxes as n boxes."""
    return OrientedBoxes(
        np.array([b.centre for b in boxes]).reshape(-1, 3),
        np.array([b.axes for b in boxes]).reshape(-1, 3, 3),
        np.array([b.half for b in boxes]).reshape(-1, 3),
    )


def fitting_axes(fitting: Fitting, member: Member) -> FloatArray:
    """Unit vectors along the member of its first hole, across it, and out of the face: rows, (3, 3)."""
    out = np.asarray(fitting.face, float)
    out = out / np.linalg.norm(out)
    # Where the face is one of the member's these are the directions of that member itself.
    for way in (np.asarray(member.direction, float), *section_axes(member)):
        along = way - out * (way @ out)
        if np.linalg.norm(along) > 0.5:
            break
    along = along / np.linalg.norm(along)
    return np.array([along, np.cross(out, along), out])


def bolt_spots(fitting: Fitting, members: Mapping[str, Member]) -> FloatArray:
    """Where its bolts leave the members' faces, (n, 3), pitches, in the order of its holes."""
    out = np.asarray(fitting.face, float)
    return np.array(
        [members[id].hole_centre(hole) + out * members[id].width / 2 for id, hole in fitting.holes]
    )


def opens_on(member: Member, face: Sequence[float]) -> bool:
    """Whether the member's holes open on a face that is square to a direction.

    Examples
    --------
    >>> opens_on(Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 5), (0.0, -1.0, 0.0))
    True
    """
    return bool(max(abs(float(axis @ np.asarray(face, float))) for axis in section_axes(member)) > FACE_TOL)


def spans(frame: Frame) -> FloatArray:
    """What a frame takes with its fittings along x, y and z, (3,), pitches; it has members.

    Examples
    --------
    >>> rail = Member("A", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 9)
    >>> foot = Fitting("F1", "foot", (("A", 0), ("A", 2)), (0.0, 0.0, -1.0), (120, 40, 20), 5.0)
    >>> spans(Frame((rail,), pitch_mm=40.0, fittings=(foot,))).tolist()
    [9.0, 1.0, 1.5]
    """
    low, high = (np.array(corner) for corner in zip(*map(bounds, frame.members)))
    for box in fitting_boxes(frame).values():
        reach = np.abs(box.axes).T @ box.half
        low, high = np.vstack([low, box.centre - reach]), np.vstack([high, box.centre + reach])
    size: FloatArray = high.max(axis=0) - low.min(axis=0)
    return size
