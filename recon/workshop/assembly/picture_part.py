"""Pictures that show a part of a frame: what is cut at their border, and the little picture of the whole."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from recon.geometry.arrays import BoolArray, FloatArray, IntArray
from recon.workshop.assembly.picture_items import THIN, Path, point
from recon.workshop.assembly.shots import CornerScenes, Shot, Size
from recon.workshop.drawing.label_placement import Clutter
from recon.workshop.drawing.vector import Area, Item, Lines, Pen, moved

INSET = 24.0  # mm across the little picture of the whole
WHOLE_OLD, WHOLE_NEW = Pen(0.12, (), 0.55), Pen(0.9)


def clipped(item: Item, shot: Shot, size: Size) -> Item | None:
    """What of an item lies inside the picture, None where nothing does."""
    if not shot.part:
        return item
    low, high = shot.low + 0.5, shot.low + size - 0.5
    if isinstance(item, Lines):
        paths = _clip(item.paths, low, high)
        return Lines(paths, item.pen, item.layer) if paths else None
    points = np.array(item.points if isinstance(item, Area) else [item.at])
    return item if ((points >= low) & (points <= high)).all() else None


def within(lines: Sequence[Lines], shot: Shot, size: Size) -> list[Lines]:
    """What of these lines lies inside the picture."""
    low, high = shot.low + 0.5, shot.low + size - 0.5
    cut = ((item, _clip(item.paths, low, high)) for item in lines)
    return [Lines(paths, item.pen, item.layer) for item, paths in cut if paths]


def _clip(lines: Sequence[Path], low: FloatArray, high: FloatArray) -> tuple[Path, ...]:
    """Straight lines cut to a rectangle.

    Y.-D. Liang, B. Barsky, "A New Concept and Method for Line Clipping", ACM Trans. Graphics 3, 1984,
    doi:10.1145/357332.357333.
    """
    ends = np.array(lines, float)
    a, way = ends[:, 0], ends[:, 1] - ends[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        first, second = (low - a) / way, (high - a) / way
    still, within = way == 0, (a >= low) & (a <= high)
    never = np.where(within, -np.inf, np.inf)
    start = np.where(still, never, np.minimum(first, second)).max(axis=1).clip(min=0.0)
    end = np.where(still, np.inf, np.maximum(first, second)).min(axis=1).clip(max=1.0)
    kept = start < end
    a, way, start, end = a[kept], way[kept], start[kept, None], end[kept, None]
    return tuple((point(p), point(q)) for p, q in zip(a + start * way, a + end * way))


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
            items.append(Lines(tuple((point(a), point(b)) for a, b in part), pen))
    places = [np.array([x, y]) for x in (0.0, size[0] - width - 2.0) for y in (0.0, size[1] - height - 2.0)]

    def cost(place: FloatArray) -> float:
        corner = shot.low + place
        return clutter.cost((*corner, *(corner + [right, top])))

    return moved(items, *point(min(places, key=cost)))
