"""Mirrored photos: of a photo that does not fit the others, whether its mirror image does.

A mirrored photo read by itself shows the mirror image of the frame, without a fault.  Only beside other
photos does it show: its lattice lies on theirs under a reflection, and under no rotation.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from recon.geometry.arrays import IntArray
from recon.geometry.lattice import rotations
from recon.solve.evidence.scene import Scene
from recon.solve.multiview.hypotheses import LEAST_EVIDENCE
from recon.solve.multiview.registration import cells_of_candidates, register
from recon.solve.photo.photo_reading import PhotoReading

FLIP = np.diag([-1, 1, 1])
# Of what a reflection explains, at most, what the best rotation may, for a photo to be called mirrored: a
# frame that is nearly its own mirror image fits both ways.  This project's choice.
MOST_TURNED = 0.6


def name_mirrored(scene: Scene, readings: Sequence[PhotoReading]) -> Scene:
    """The scene in which photos set aside that fit as their mirror images are said to be mirrored.

    Parameters
    ----------
    scene : Scene
        Solved.
    readings : Sequence[PhotoReading]
        Of all photos, one by one.

    Examples
    --------
    >>> name_mirrored(Scene((), {}, 1.0, set_aside=(("a.jpg", "blurred"),)), []).set_aside
    (('a.jpg', 'blurred'),)
    """
    by_name = {r.name: r for r in readings}
    used = [p.name for p in scene.photos]
    aside = tuple(
        (name, mirrored_beside(used) if name in by_name and is_mirrored(scene, by_name[name]) else why)
        for name, why in scene.set_aside
    )
    return replace(scene, set_aside=aside)


def is_mirrored(scene: Scene, reading: PhotoReading) -> bool:
    """Does a photo show the mirror image of the scene's members, and not the members themselves?"""
    flipped = _best_score(scene, reading, rotations() @ FLIP)
    return flipped > LEAST_EVIDENCE and _best_score(scene, reading, rotations()) < MOST_TURNED * flipped


def _best_score(scene: Scene, reading: PhotoReading, turns: IntArray) -> float:
    """Nats that a photo and the scene give one another under the best of some turns."""
    known = cells_of_candidates(scene.candidates)
    scores = [0.0]
    for photo, lattice in reading.solutions:
        scores += [p.score for p in register(photo, lattice, known, scene.width, scene.photos, turns)[:1]]
    return max(scores)


def mirrored_beside(used: Sequence[str]) -> str:
    """What is said of a photo that is mirrored beside those with some names.

    Examples
    --------
    >>> mirrored_beside(["a.jpg"])
    'it fits only as the mirror image of what a.jpg shows: is one of them mirrored?'
    """
    others = used[0] if len(used) == 1 else "the other photos"
    show = "shows" if len(used) == 1 else "show"
    return f"it fits only as the mirror image of what {others} {show}: is one of them mirrored?"
