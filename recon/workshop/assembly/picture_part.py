"""The little picture of the whole in pictures that show a part of a frame."""

from __future__ import annotations

import numpy as np

from recon.geometry.arrays import BoolArray, FloatArray, IntArray
from recon.workshop.assembly.picture_items import THIN, point
from recon.workshop.assembly.shots import CornerScenes, Shot, Size
from recon.workshop.drawing.label_placement import TAKEN, Clutter
from recon.workshop.drawing.vector import Area, Item, Lines, Pen, as_paths, moved

INSET = 24.0  # mm across the little picture of the whole
WHOLE_OLD, WHOLE_NEW = Pen(0.12, (), 0.55), Pen(0.9)


def inset(
    scenes: CornerScenes, shown: IntArray, fresh: BoolArray, shot: Shot, clutter: Clutter, size: Size
) -> list[Item]:
    """A little picture of all members as lines, what is new thick, in the corner where it covers least.

    Parameters
    ----------
    scenes : CornerScenes
        The frame.
    shown, fresh : (n,)
        Numbers of the members to show, and which of these are new.
    shot : Shot
        The picture itself.
    clutter : Clutter
        What is drawn in it.
    size : (width, height)
        Of the picture, mm.
    """
    lines = shot.scene.view.flat(scenes.corners[shown].reshape(-1, 2, 4, 3).mean(axis=2))  # from end to end
    low, high = lines.reshape(-1, 2).min(axis=0), lines.reshape(-1, 2).max(axis=0)
    scale = float((INSET / np.maximum(high - low, 1e-6)).min())
    lines = (lines - low) * scale + 2.0
    width, height = ((high - low) * scale + 2.5).tolist()
    right, top = width + 1.5, height + 1.5
    items: list[Item] = [Area(((0.5, 0.5), (right, 0.5), (right, top), (0.5, top)), 1.0, THIN)]
    for part, pen in ((lines[~fresh], WHOLE_OLD), (lines[fresh], WHOLE_NEW)):
        if len(part):
            items.append(Lines(as_paths(part), pen))
    places = [np.array([x, y]) for x in (0.0, size[0] - width - 2.0) for y in (0.0, size[1] - height - 2.0)]

    def cost(place: FloatArray) -> float:
        return clutter.cost((*place, *(place + [right, top])))

    best = min(places, key=cost)
    clutter.add((*best, *(best + [right, top])), TAKEN)
    return moved(items, *point(best))
