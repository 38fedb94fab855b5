"""A motion of a frame in words."""

from __future__ import annotations

import numpy as np

from recon.frame.joints import NORMAL_TOL
from recon.geometry.arrays import FloatArray
from recon.workshop.rigidity.mechanism import STILL, Motion
from recon.workshop.wording import axis_name, direction_words, lap_words, listed, plural, ways_words


def motion_words(motion: Motion, z_up: bool = True, right: FloatArray | None = None) -> str:
    """What moves, how, and which bolts turn.

    Parameters
    ----------
    motion : Motion
        One way to move.
    z_up : bool
        Whether +z may be called "up".
    right : array, (3,), optional
        The frame's right (`side_axes.to_the_right`); without it the level axes are named x and y.

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.model import Frame, Member
    >>> from recon.workshop.rigidity.mechanism import mobility
    >>> members = Member("A", (0, 0, 0), (0, 0, 1), 8), Member("B", (-1, -1, 3), (1, 0, 0), 4)
    >>> (motion,) = mobility(Frame(members, find_joints(members))).motions
    >>> motion_words(motion)
    'B turns about y; 1 bolt turns: hole 4 of A on hole 2 of B.'
    """
    alike: dict[str, list[tuple[str, ...]]] = {}
    for group in motion.groups[1:]:
        alike.setdefault(_movement(motion.twists[group[0]], z_up, right), []).append(group)
    parts = []
    for movement, groups in alike.items():
        if movement:
            ids = [id for group in groups for id in group]
            verb, rest = movement.split(" ", 1)
            whole = " together" if len(groups) == 1 and len(ids) > 1 else ""
            parts.append(f"{listed(ids)} {verb}{'s' if len(ids) == 1 else ''}{whole} {rest}")
    count = len(motion.joints)
    turning = f"{plural(count, 'bolt')} turn{'s' if count == 1 else ''}"
    return f"{', '.join(parts)}; {turning}: {listed(map(lap_words, motion.joints))}."


def _movement(twist: FloatArray, z_up: bool, right: FloatArray | None) -> str:
    """'turn about a front-to-back axis', 'shift up', or nothing where the body rests."""
    size = np.linalg.norm(twist[:3])
    if size > STILL:
        return f"turn about {_axis_words(twist[:3] / size, right if z_up else None)}"
    if np.linalg.norm(twist[3:]) > STILL:
        words = direction_words(twist[3:], z_up, right)
        if words in ("up", "down"):
            return f"shift {words}"
        if not words.isalpha() and z_up and right is not None:
            return f"shift at an angle, {ways_words(twist[3:] / np.linalg.norm(twist[3:]), right)}"
        return f"shift to the {words}" if words.isalpha() else f"shift along {words}"
    return ""


def _axis_words(axis: FloatArray, right: FloatArray | None) -> str:
    k = int(np.round(np.abs(axis), 9).argmax())  # of components that are equal but for rounding the first
    name = axis_name(k, right)
    if abs(axis[k]) <= NORMAL_TOL:
        off = np.degrees(np.arccos(abs(axis[k])))
        return f"an axis {max(off, 1):.0f} degrees off {name}"
    return name if right is None else f"{'an' if name == 'upright' else 'a'} {name} axis"
