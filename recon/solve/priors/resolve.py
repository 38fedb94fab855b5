"""Solving again around the user's corrections: from the cameras and members that are known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from recon.frame.objection import Objection
from recon.solve.evidence.scene import Scene
from recon.solve.multiview.agreement import shared_rows
from recon.solve.multiview.assemble import LEAST_SHARED, STRANGER, retry_set_aside
from recon.solve.multiview.cameras import adjust_cameras
from recon.solve.multiview.hypotheses import RegisteredPhotos
from recon.solve.multiview.rounds import Progress, find_members
from recon.solve.photo.photo_reading import PhotoReading
from recon.solve.priors.constraints import (
    Constraints,
    deleted_candidates,
    known_candidates,
    objections,
)


def resolve(
    readings: Sequence[PhotoReading],
    pictures: Mapping[str, np.ndarray],
    constraints: Constraints,
    width: float,
    progress: Progress | None = None,
) -> tuple[Scene, list[Objection]]:
    """Members from the photos, with the user's corrections of the frame kept.

    Photos that the frame was read from keep their cameras, adjusted; others are laid on the known members.

    Parameters
    ----------
    readings : Sequence[PhotoReading]
        Photos read one by one; those that the frame was read from are posed in its world.
    pictures : Mapping[str, array]
        Photo name -> (H, W, 3) uint8 BGR.
    constraints : Constraints
        The frame as it was read, with the corrections.
    width : float
        Of the members, pitches.
    progress : Progress or None
        Called with the fraction that is done.

    Returns
    -------
    The scene, and where the photos show something else than the corrections.
    """
    known = known_candidates(constraints)
    start = _known_photos(readings)
    scene = adjust_cameras(start.scene(pictures, width).with_candidates(known))
    start = RegisteredPhotos(scene.photos, start.lattices, start.set_aside)
    registered = retry_set_aside(start, readings, scene)
    added = [p.name for p in registered.photos[len(start.photos) :]]
    while True:
        scene = find_members(registered, pictures, width, progress, known, deleted_candidates(constraints))
        share = shared_rows(scene, registered.lattices)
        strangers = [i for i, p in enumerate(scene.photos) if p.name in added and share[i] < LEAST_SHARED]
        if not strangers:
            return scene, objections(scene, constraints)
        registered = registered.without(strangers, STRANGER)


def _known_photos(readings: Sequence[PhotoReading]) -> RegisteredPhotos:
    """The photos that are posed in the frame's world; all others set aside so far."""
    photos, lattices, aside = [], [], []
    for r in readings:
        if r.posed and r.photo is not None and r.lattice is not None:
            photos.append(r.photo)
            lattices.append(r.lattice)
        else:
            why = r.reason or "its members do not fit those of the other photos; another frame?"
            aside.append((r.name, why))
    return RegisteredPhotos(tuple(photos), tuple(lattices), tuple(aside))
