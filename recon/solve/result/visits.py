"""Photos of two visits: a member that some of them show in one place and the others in another."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from recon.geometry.arrays import BoolArray
from recon.solve.evidence.along_line import match_members
from recon.solve.evidence.scene import Scene

# Nats by which a photo shows a member, or the openings that should be in sight there and are not deny it:
# odds of three thousand to one either way.  This project's choice.
SHOWN = 8.0


def moved_between_visits(scene: Scene, labels: Sequence[str]) -> list[str]:
    """Sentences: of two alike members, each shown by photos that deny the other, that it may be one, moved.

    Parameters
    ----------
    scene : Scene
        Solved.
    labels : Sequence[str]
        Of its candidates.

    Notes
    -----
    That a photo denies a member is not enough: something may stand before it.  That it shows one like it
    elsewhere, which the other photos deny, is.

    Examples
    --------
    >>> moved_between_visits(Scene((), {}, 1.0), [])
    []
    """
    if len(scene.photos) < 2:
        return []
    # Misses count in full here: that something hides a whole member is the other explanation.
    shown = [[seen.llr.sum() for _, seen in match_members(scene, photo)] for photo in scene.photos]
    nats = np.array(shown).T
    said = []
    for i, j in combinations(range(len(nats)), 2):
        a, b = scene.candidates[i], scene.candidates[j]
        if a.axis != b.axis or a.holes != b.holes:
            continue
        at_a = (nats[i] > SHOWN) & (nats[j] < -SHOWN)
        at_b = (nats[j] > SHOWN) & (nats[i] < -SHOWN)
        if at_a.any() and at_b.any():
            said.append(
                f"{labels[i]} and {labels[j]} may be one member that was moved: {_photos(scene, at_a)} at "
                f"{labels[i]}, {_photos(scene, at_b)} at {labels[j]}. Read the photos of one visit alone."
            )
    return said


def _photos(scene: Scene, which: BoolArray) -> str:
    """Who shows it, with the verb."""
    names = [scene.photos[k].name for k in np.nonzero(which)[0]]
    return f"{' and '.join(names)} {'shows' if len(names) == 1 else 'show'} it"
