"""Where to photograph next: the side from which most of what could not be seen would be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from recon.frame.confidence import SURE
from recon.frame.model import Member
from recon.geometry.arrays import FloatArray
from recon.geometry.boxes import LIFT, occluded
from recon.geometry.camera import Camera

AZIMUTHS = np.radians(np.arange(0, 360, 15))
ELEVATIONS = np.radians([10, 40])
NEAR = np.radians(30)  # a photo from less far round shows much the same; this project's choice
LEAST_FACING = 0.2  # cosine, about, to a side's normal, for the side to be seen
ABOVE = 0.45  # sine of the elevation from which a photo is called one from above
SAME_PLACE_DEG = 10  # photos nearer than this to one another are said to be from the same place


class FromCamera(Protocol):
    """A photo with its name and its camera."""

    @property
    def name(self) -> str:
        """Its file."""

    @property
    def camera(self) -> Camera:
        """Its camera, in pitches."""


@dataclass(frozen=True)
class Viewpoint:
    """A place to photograph from.

    Attributes
    ----------
    members : tuple of str
        Labels of the members of which it would show more.
    targets : array, (n, 3)
        The ends and middles that were not seen, pitches.
    eye, middle : array, (3,), or None
        The place, and the frame's middle, which to look at, pitches; None where no place shows a target.
    words : str
        The place as a person would say it; '' where there is none.
    """

    members: tuple[str, ...]
    targets: FloatArray
    eye: FloatArray | None
    middle: FloatArray | None
    words: str


def where_to_photograph(photos: Sequence[FromCamera], members: Sequence[Member], width: float) -> list[str]:
    """Sentences: what was not seen, and from where it would be.

    Parameters
    ----------
    photos : used so far, at least one
    members : of the frame, in the photos' world
    width : of all members, pitches

    Returns
    -------
    Empty where all is sure.

    Examples
    --------
    >>> where_to_photograph([], [Member("A", (0, 0, 0), (0, 0, 1), 8)], 1.0)
    []
    """
    next_one = next_viewpoint(photos, members, width)
    if next_one is None:
        return []
    what = f"Not all of {_listed(next_one.members)} could be seen."
    return [f"{what} A photo from {next_one.words} would show most of it." if next_one.words else what]


def next_viewpoint(photos: Sequence[FromCamera], members: Sequence[Member], width: float) -> Viewpoint | None:
    """From where one more photo would show most of what was not seen.

    Parameters
    ----------
    photos : used so far, at least one
    members : of the frame, in the photos' world
    width : of all members, pitches

    Returns
    -------
    None where all is sure.
    """
    unseen = [(m, e) for m in members for e in (0, 1) if m.ends[e].state != "seen"]
    weak = [m for m in members if m.confidence < SURE and all(e.state == "seen" for e in m.ends)]
    targets = [np.asarray(m.first, float) if e == 0 else np.asarray(m.last) for m, e in unseen]
    targets += [(np.asarray(m.first, float) + m.last) / 2 for m in weak]
    if not targets:
        return None
    names = tuple(sorted({m.id for m, _ in unseen} | {m.id for m in weak}))
    best = _best_viewpoint(photos, members, np.array(targets), width)
    if best is None:
        return Viewpoint(names, np.array(targets), None, None, "")
    way, middle = best
    return Viewpoint(names, np.array(targets), middle + way, middle, _in_words(way, middle, photos))


def _best_viewpoint(
    photos: Sequence[FromCamera], members: Sequence[Member], targets: FloatArray, width: float
) -> tuple[FloatArray, FloatArray] | None:
    """Way (3,) from the frame's middle to the best place, and that middle; None where none shows a target.

    Places stand as far off as the photos do on average.
    """
    solid = [m for m in members if m.on_lattice]  # the box round a brace would hide what the brace does not
    lo = np.array([np.minimum(m.first, m.last) - width / 2 for m in solid])
    hi = np.array([np.maximum(m.first, m.last) + width / 2 for m in solid])
    middle = (lo.min(0) + hi.max(0)) / 2
    distance = np.mean([np.linalg.norm(p.camera.centre - middle) for p in photos])
    best_score, best = 0.0, None
    for el in ELEVATIONS:
        for az in AZIMUTHS:
            way = np.array([np.cos(el) * np.cos(az), np.cos(el) * np.sin(az), np.sin(el)])
            eye = middle + distance * way
            # A target counts by how many of its six sides show.
            score = 0.0
            for n in np.r_[np.eye(3), -np.eye(3)]:
                X = targets + (width / 2 + LIFT) * n
                facing = ((eye - X) @ n) > LEAST_FACING * distance
                score += (facing & ~occluded(eye, X, lo, hi)).sum()
            near = min(_angle(eye - middle, p.camera.centre - middle) for p in photos)
            score *= 1 - np.exp(-((near / NEAR) ** 2))  # a photo from the same place shows the same
            if score > best_score:
                best_score, best = score, (eye - middle, middle)
    return best


def _angle(a: FloatArray, b: FloatArray) -> float:
    """Radians between two vectors."""
    return float(np.arccos(np.clip(a @ b / np.linalg.norm(a) / np.linalg.norm(b), -1, 1)))


def _in_words(way: FloatArray, middle: FloatArray, photos: Sequence[FromCamera]) -> str:
    """A viewpoint relative to the nearest photo, as a person would say it."""
    here = np.arctan2(way[1], way[0])
    turn = []
    for p in photos:
        d = p.camera.centre - middle
        turn.append((here - np.arctan2(d[1], d[0]) + np.pi) % (2 * np.pi) - np.pi)
    i = int(np.abs(turn).argmin())
    degrees = int(round(np.degrees(abs(turn[i])) / 5) * 5)
    height = "from above" if way[2] > ABOVE * np.linalg.norm(way) else "from low down"
    if degrees < SAME_PLACE_DEG:
        return f"where {photos[i].name} was taken, but {height},"
    # Counter-clockwise seen from above: the photographer walks to the right.
    side = "right" if turn[i] > 0 else "left"
    return f"{degrees}° further round the frame to the {side} of where {photos[i].name} was taken, {height},"


def _listed(names: Sequence[str]) -> str:
    """'A', 'A and B' or 'A, B and C'."""
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]
