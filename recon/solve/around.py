"""Solving again around a person's word: from the cameras and members that are known, not from nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from recon.frame.lattice import rotations
from recon.solve.assemble import LEAST_SHARED, Joined, adjusted, find_members, second_chance, shared_rows
from recon.solve.evidence import with_camera
from recon.solve.given import Given, cameras_of, gone_sticks, known_sticks, objections
from recon.solve.photo import PhotoReading
from recon.solve.together import moved_lattice

SAME_PLACE = 0.25      # pitches between a photo's lattice and its known camera: half the least step of a lattice
SAME_WAY = 0.1         # radians, likewise; turns of the lattice are 1.57 apart


def assemble_around(readings: list[PhotoReading], images: dict, given: Given, width: float, scales: dict, progress=None):
    """Members from the photos, with what a person said of the frame kept.

    Photos that the frame was read from keep their cameras, adjusted; other photos are laid on the known members.

    Returns
    -------
    joined, views, sticks, ends as :func:`recon.solve.assemble.assemble`, and a list of recon.solve.given.Against.
    """
    known, gone = known_sticks(given), gone_sticks(given)
    cameras = cameras_of(given.frame, scales)
    views, lattices, aside = [], [], []
    for r in readings:
        if r.view is None:
            aside.append((r.name, r.reason))
        elif r.name not in cameras:
            aside.append((r.name, "its members do not fit those of the other photos; another frame?"))
        else:
            view = adjusted(with_camera(r.view, cameras[r.name]), known, width)
            views.append(view)
            lattices.append(_laid_on(r, view.camera, width))
    start = Joined(views, lattices, aside)
    joined = second_chance(start, readings, views, known, width)
    joined, views, sticks, ends = _without_strangers(joined, start, images, width, known, gone, progress)
    against = objections(views, [images[v.name] for v in views], sticks, given, width)
    return joined, views, sticks, ends, against


def _without_strangers(joined, start, images, width, known, gone, progress):
    """:func:`find_members`; again without the photos added that show another frame."""
    while True:
        views, sticks, ends = find_members(joined, images, width, progress, known, gone)
        added = range(len(start.views), len(joined.views))
        share = shared_rows(views, joined.lattices, sticks, width)
        strangers = [i for i in added if share[i] < LEAST_SHARED]
        if not strangers:
            return joined, views, sticks, ends
        keep = [i for i in range(len(views)) if i not in strangers]
        aside = [(views[i].name, "most of its rows lie on members that the other photos do not show; is it another frame?")
                 for i in strangers]
        joined = Joined([joined.views[i] for i in keep], [joined.lattices[i] for i in keep], joined.set_aside + aside)


def _laid_on(reading: PhotoReading, camera, width: float):
    """The photo's lattice in the world of its known camera; without guesses where none of its lattices fits it."""
    grid = 1.0 if width == round(width) else 0.25
    turns = rotations()
    best = None
    for lattice in (reading.lattice, *(other for _, other in reading.others)):
        own = lattice.camera
        want = camera.R.T @ own.R
        turn = turns[np.einsum("nij,ij->n", turns, want).argmax()]
        angle = np.arccos(np.clip((np.trace(turn.T @ want) - 1) / 2, -1, 1))
        exact = camera.centre - turn @ own.centre
        shift = np.rint(exact / grid) * grid
        off = float(np.abs(exact - shift).max())
        if angle < SAME_WAY and off < SAME_PLACE and (best is None or off < best[0]):
            best = (off, moved_lattice(lattice, turn, shift))
    if best is not None:
        return best[1]
    return replace(reading.lattice, camera=camera, guesses=[[] for _ in reading.lattice.guesses])
