"""One view of a frame as a line drawing: outlines, openings and bolts; its text is from `view_labels`."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

import numpy as np

from recon.geometry.arrays import FloatArray, IntArray
from recon.workshop.drawing.hidden_lines import Stretch, merged, rest
from recon.workshop.drawing.projections import ProjectedFrame, ViewBoard
from recon.workshop.drawing.vector import FINE, HIDDEN, OUTLINE, Disc, Item, Lines, Path, Pen, Point
from recon.workshop.drawing.view_labels import BOLT, at_scale, label_items
from recon.workshop.hardware.bolts import Bolt

MANY = 60  # members from which hidden outlines would only blacken the drawing

NOTES = (
    "Tag C3 F1: hole 3 of C on hole 1 of F, nearest first.",
    "Disc: bolt.  Ring: bolt in no photo, assumed.  Cross: no bolt.",
    "(D): D lies behind.  Dashed: hidden.",
)


def draw_view(board: ViewBoard, name: str, scale: float, unit: float = 1.0, words: bool = True) -> list[Item]:
    """A view of the board as items in mm; the frame's origin is theirs.

    Parameters
    ----------
    board : ViewBoard
    name : str
        Of the view.
    scale : float
        mm per pitch.
    unit : float
        What 1 mm on paper is on the drawing: 10 for one at full size to be printed at 1:10.
    words : bool
        Whether with labels, tags and numbers.

    Returns
    -------
    list of Item
        Each item's layer is the id of the member or fitting that it is about; a tag's is the nearest member.

    Examples
    --------
    >>> from recon.frame.model import Frame, Member
    >>> post = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12)
    >>> items = draw_view(ViewBoard(Frame((post,)), 0.28), "Front", scale=10.0, words=False)
    >>> sum(isinstance(item, Disc) for item in items)
    12
    """
    scene, tags = board.scene(name), board.tags(name)
    some_known = any(not bolt.assumed for bolt in board.bolts)
    ids = [*(m.id for m in scene.members), *scene.fittings]
    items = _outlines(scene, ids, scale, OUTLINE if words else FINE)
    filled = {(tag.hole.member, tag.hole.number) for tag in tags if tag.bolt}
    items += [
        Disc(at_scale(h.at, scale), scene.hole / 2 * scale, "none", FINE, ids[h.member])
        for h in scene.open_holes.values()
        if (h.member, h.number) not in filled
    ]
    for tag in tags:
        at, layer = at_scale(tag.hole.at, scale), ids[tag.hole.member]
        if tag.bolt:
            items += _bolt_mark(tag.bolt, at, scale, layer, some_known)
        else:
            items.append(_cross(at, scale, layer))
    return items + (label_items(scene, tags, items, scale, unit) if words else [])


def _outlines(scene: ProjectedFrame, ids: Sequence[str], scale: float, pen: Pen) -> list[Item]:
    """Hidden outlines dashed, then those in sight with `pen`."""
    lines, owner, hidden = scene.edges
    seen: defaultdict[int, list[Path]] = defaultdict(list)
    behind: defaultdict[int, list[Path]] = defaultdict(list)
    for line, k, stretches in zip(lines, owner, hidden):
        seen[int(k)] += [_part(line, *s, scale) for s in rest(stretches)]
    if len(ids) <= MANY:
        for k, line in _dashes(lines, owner, hidden):
            behind[k].append(tuple(at_scale(p, scale) for p in line))
    items: list[Item] = [Lines(tuple(paths), HIDDEN, ids[k]) for k, paths in behind.items() if paths]
    return items + [Lines(tuple(paths), pen, ids[k]) for k, paths in seen.items() if paths]


def _part(line: FloatArray, start: float, end: float, scale: float) -> Path:
    a, b = line
    return at_scale(a + start * (b - a), scale), at_scale(a + end * (b - a), scale)


def _dashes(
    lines: FloatArray, owner: IntArray, hidden: Sequence[Sequence[Stretch]]
) -> Iterator[tuple[int, FloatArray]]:
    """Member and line of what is hidden, without what lies under an outline or under other dashes.

    Dashes upon dashes would look like a line.
    """
    drawn: defaultdict[StraightLine, list[Stretch]] = defaultdict(
        list
    )  # stretches taken on each line of the paper
    placed = [_on_line(line) for line in lines]
    for (key, start, length), stretches in zip(placed, hidden):
        drawn[key] += [(start + a * length, start + b * length) for a, b in rest(stretches)]
    for line, k, (key, start, length), stretches in zip(lines, owner, placed, hidden):
        for a, b in stretches:
            here = (start + a * length, start + b * length)
            for c, d in rest(merged(drawn[key]), here, least=0.05) if drawn[key] else [here]:
                shares = (np.array([c, d]) - start) / length
                yield int(k), line[0] + shares[:, None] * (line[1] - line[0])
            drawn[key].append(here)


StraightLine = tuple[float, float]  # angle and distance from the origin, rounded


def _on_line(line: FloatArray) -> tuple[StraightLine, float, float]:
    """The straight line that a stretch lies on, where on it the stretch starts, and its length.

    The length is negative where the stretch runs against that line.
    """
    way = line[1] - line[0]
    length = float(np.linalg.norm(way))
    unit = way / length
    if unit[0] < -1e-6 or (abs(unit[0]) <= 1e-6 and unit[1] < 0):
        unit, length = -unit, -length
    across = float(line[0] @ [-unit[1], unit[0]])
    angle = float(np.arctan2(unit[1], unit[0]))
    return (round(angle, 4) + 0.0, round(across, 3) + 0.0), float(line[0] @ unit), length


def _bolt_mark(bolt: Bolt, at: Point, scale: float, layer: str, some_known: bool) -> list[Item]:
    """A disc; a ring where other bolts were seen or said to be there, and this one is assumed."""
    mark: list[Item] = [Disc(at, BOLT * scale, "black", FINE, layer)]
    if some_known and bolt.assumed:
        mark.append(Disc(at, 0.55 * BOLT * scale, "white", FINE, layer))
    return mark


def _cross(at: Point, scale: float, layer: str) -> Lines:
    (x, y), r = at, 0.8 * BOLT * scale
    return Lines((((x - r, y - r), (x + r, y + r)), ((x - r, y + r), (x + r, y - r))), FINE, layer)
