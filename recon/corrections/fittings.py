"""Fittings kept right while their members change.

A fitting stays in its holes.  Where a member is shifted or put elsewhere, its fittings go along; where it is
counted anew (an end moved, split, merged), they stay where they are in space, also where the member no longer
reaches there, which the checks then say.  A member that goes takes along the bolts in it, and a fitting that
has no bolt left goes, too; both are said.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from recon.corrections.members import on_one_line
from recon.frame.boxes import box_axes
from recon.frame.fitting import Fitting, Hole
from recon.frame.fitting_boxes import fitting_axes, opens_on
from recon.frame.model import Frame, Member, as_tuple
from recon.geometry.arrays import FloatArray, Vector
from recon.workshop.wording import listed, plural

MEETS = 0.1  # pitches that a hole may be off the place where it is sought, as holes of a lap may

ToHole = Callable[[str, FloatArray, Vector], tuple[Member, int] | None]


def with_holes(fitting: Fitting, to: Callable[[str, int], Hole]) -> Fitting:
    """The fitting in holes that are counted anew; the same object where none is."""
    holes = tuple(to(id, hole) for id, hole in fitting.holes)
    return fitting if holes == fitting.holes else replace(fitting, holes=tuple(dict.fromkeys(holes)))


def kept(before: Frame, after: Frame) -> tuple[Frame, str]:
    """The frame after a change, with fittings on members that are there and on faces that these have.

    Parameters
    ----------
    before, after : Frame

    Returns
    -------
    frame : Frame
        `after` itself where nothing of its fittings needed a change.
    words : str
        What went with its member, as a sentence goes on: '; castor F1 went with it'; '' where nothing did.
    """
    there = {m.id: m for m in after.members}
    was = {m.id: m for m in before.members}
    fittings, gone, fewer = [], [], []
    for f in after.fittings:
        holes = tuple(h for h in f.holes if h[0] in there)
        if not holes:
            gone.append(f.words)
            continue
        if len(holes) < len(f.holes):
            fewer.append(f"{f.words} keeps {plural(len(holes), 'bolt')} of {len(f.holes)}")
            f = replace(f, holes=holes)
        fittings.append(_on_a_face(f, was.get(holes[0][0]), there[holes[0][0]]))
    words = f"; {listed(gone)} went with it" if gone else ""
    words += "".join(f"; {text}" for text in fewer)
    if len(fittings) == len(after.fittings) and all(a is b for a, b in zip(fittings, after.fittings)):
        return after, words
    return replace(after, fittings=tuple(fittings)), words


def _on_a_face(fitting: Fitting, was: Member | None, now: Member) -> Fitting:
    """The fitting on the same face of its first member, which may lie in another direction now."""
    if opens_on(now, fitting.face):
        return fitting
    out = np.asarray(fitting.face, float)
    if was is not None:
        out = box_axes(now).T @ (box_axes(was) @ out)
    axes = box_axes(now)[1:]
    k = int(np.abs(axes @ out).argmax())
    return replace(fitting, face=as_tuple(axes[k] * (1 if axes[k] @ out >= 0 else -1)))


def placed_like(
    fitting: Fitting, motion: tuple[FloatArray, FloatArray], was: Mapping[str, Member], to: ToHole
) -> Fitting | None:
    """The fitting moved or mirrored, in the holes that lie where its own come to lie.

    Parameters
    ----------
    fitting : Fitting
    motion : (flip (3,), shift (3,))
        A place x comes to x * flip + shift, pitches; `flip` is 1 or -1 along each axis.
    was : mapping of str to Member
        The members that it is on.
    to : callable
        (member that it was on, place of the new hole's centre, new face) -> the member and the hole there, or
        None.

    Returns
    -------
    Fitting or None
        None where one of its holes would be where there is none.
    """
    flip, shift = motion
    face = as_tuple(np.asarray(fitting.face) * flip)
    found = [(id, to(id, was[id].hole_centre(k) * flip + shift, face)) for id, k in fitting.holes]
    there = [at for _, at in found if at is not None]
    if len(there) < len(found):
        return None
    holes = tuple((m.id, k) for m, k in there)
    new = replace(fitting, holes=holes, face=face)
    before = fitting_axes(fitting, was[fitting.holes[0][0]])
    off = fitting_axes(new, there[0][0]) @ ((np.asarray(fitting.shift_mm) @ before[:2]) * flip)
    return replace(new, shift_mm=(float(off[0]) + 0.0, float(off[1]) + 0.0))


def hole_there(member: Member, place: FloatArray, face: Vector) -> tuple[Member, int] | None:
    """The member and its hole whose centre is at a place and that opens on a side, where it has one."""
    k = round(float((place - np.asarray(member.first)) @ np.asarray(member.direction)))
    near = 0 <= k < member.holes and np.abs(member.hole_centre(k) - place).max() < MEETS
    return (member, k) if near and opens_on(member, face) else None


def carried_over(old: Frame, members: Sequence[Member]) -> tuple[Fitting, ...]:
    """The fittings of a frame on its members as they were read anew, which may be counted otherwise.

    Parameters
    ----------
    old : Frame
        Of before the reading.
    members : sequence of Member
        As they are now, in the same place and with the labels that they had; a fitting stays at its place
        along a member that lies on the same line, else in the holes of the same numbers.
    """
    was, now = {m.id: m for m in old.members}, {m.id: m for m in members}

    def to(id: str, hole: int) -> Hole:
        if id not in now or not on_one_line(was[id], now[id]):
            return id, hole
        step = was[id].hole_centre(hole) - np.asarray(now[id].first, float)
        return id, round(float(step @ np.asarray(now[id].direction, float)))

    def turned(f: Fitting) -> bool:
        id = f.holes[0][0]
        return id in now and np.dot(was[id].direction, now[id].direction) < 0

    return tuple(with_holes(f.counted_back() if turned(f) else f, to) for f in old.fittings)
