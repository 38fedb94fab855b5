"""Solving again around a person's word: from the cameras and members that are known, not from nothing."""

from __future__ import annotations

from recon.solve.multiview.assemble import (
    LEAST_SHARED,
    Joined,
    adjusted,
    find_members,
    second_chance,
    shared_rows,
)
from recon.solve.photo.read_photo import PhotoReading
from recon.solve.priors.constraints import Given, gone_sticks, known_sticks, objections


def assemble_around(readings: list[PhotoReading], images: dict, given: Given, width: float, progress=None):
    """Members from the photos, with what a person said of the frame kept.

    Photos that the frame was read from keep their cameras, adjusted; other photos are laid on the known members.

    Returns
    -------
    joined, views, sticks, ends as :func:`recon.solve.multiview.assemble.assemble`, and a list of recon.solve.priors.constraints.Against.
    """
    known, gone = known_sticks(given), gone_sticks(given)
    views, lattices, aside = [], [], []
    for r in readings:
        if r.posed:
            views.append(adjusted(r.view, known, width))
            lattices.append(r.lattice)
        else:
            aside.append(
                (r.name, r.reason or "its members do not fit those of the other photos; another frame?")
            )
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
        aside = [
            (
                views[i].name,
                "most of its rows lie on members that the other photos do not show; is it another frame?",
            )
            for i in strangers
        ]
        joined = Joined(
            [joined.views[i] for i in keep], [joined.lattices[i] for i in keep], joined.set_aside + aside
        )
