"""A picture of one build step from a corner: what is there thin, what is new shaded, with the laps to bolt.

Drawn as lines, so that it is sharp on any printer and needs no colour.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from recon.workshop.assembly.picture_items import (
    arrow,
    axes,
    bolt_heads,
    clutter_of,
    edges,
    first_holes,
    floor,
    holes,
    labels,
    outlines,
    shading,
)
from recon.workshop.assembly.picture_part import inset
from recon.workshop.assembly.shots import CornerScenes, Shot, Size, best_shot
from recon.workshop.drawing.label_placement import Clutter
from recon.workshop.drawing.vector import Item, Sheet
from recon.workshop.hardware.bolts import Bolt

SIZE = (118.0, 82.0)  # mm


def step_sheet(
    scenes: CornerScenes,
    there: Sequence[str],
    new: Sequence[str],
    bolts: Sequence[Bolt],
    direction: ArrayLike | None = None,
    size: Size = SIZE,
    title: str = "",
    incoming: Sequence[str] = (),
) -> Sheet:
    """The picture of a step.

    Parameters
    ----------
    scenes : CornerScenes
        The frame.
    there, new : sequence of str
        Ids of the members and fittings that are there, and that come in; others are not drawn.
    bolts : sequence of Bolt
        Those that go in now, tagged with their hole numbers, the new member first.
    direction : array_like, (3,), optional
        In which what is new is brought in, shown by an arrow where anything is there or `incoming`.
    size : (width, height)
        Of the picture, mm.
    title : str
        Of the sheet.
    incoming : sequence of str
        Ids of those of the new members at which the arrow points; all where it is empty.

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.model import Frame, Member
    >>> members = Member("A", (0, 0, 0), (0, 0, 1), 8), Member("B", (-2, -1, 5), (1, 0, 0), 6)
    >>> frame = Frame(members, find_joints(members))
    >>> sheet = step_sheet(CornerScenes(frame, hole=0.25), ["A"], ["B"], [], direction=(0, 1, 0))
    >>> sheet.width, sheet.height, len(sheet.items) > 20
    (118.0, 82.0, True)
    """
    shown = np.array(sorted(scenes.index[id] for id in {*there, *new}))
    fresh = np.isin(shown, [scenes.index[id] for id in new])
    shot = best_shot(scenes, shown, fresh, size)
    pointed = direction if len(there) or incoming else None
    items, clutter = _shot_items(shot, bolts, pointed, size, incoming or new)
    if shot.part and not fresh.all():
        items += inset(scenes, shown, fresh, shot, clutter, size)
    items += axes(shot.scene, scenes.marks, clutter, size)
    return Sheet(*size, tuple(items), title)


def _shot_items(
    shot: Shot, bolts: Sequence[Bolt], direction: ArrayLike | None, size: Size, incoming: Sequence[str]
) -> tuple[list[Item], Clutter]:
    """What is drawn of a shot, and where on the sheet it lies."""
    index = {m.id: k for k, m in enumerate(shot.scene.members)}
    joined = shot.new.copy()
    for bolt in bolts:
        joined[[index[id] for id, _ in bolt.through if id in index]] = True
    thin, thick = outlines(shot)
    clutter = clutter_of(thin, thick, size)
    drawn: list[Item] = [*floor(shot), *shading(shot), *holes(shot, joined), *edges(shot, thin, thick)]
    if direction is not None:
        pointed = [index[id] for id in incoming if id in index]
        drawn += arrow(shot, pointed, np.asarray(direction, float), clutter)
    heads, tags = bolt_heads(shot, bolts, index, clutter)
    named = labels(shot, joined, clutter)
    return [*drawn, *heads, *named, *tags, *first_holes(shot, clutter)], clutter
