"""One view of a frame as a line drawing: outlines, openings, bolts, members' labels and hole numbers.

Hole numbers stand where a builder looks for them: at both ends of a member and at every fifth hole on the face itself, and
at every lap as a tag, nearest member first: "C3 F1" is hole 3 of C on hole 1 of F.
"""

from __future__ import annotations

from collections import defaultdict

import numpy as np

from recon.workshop.drawing.hidden_lines import merged, rest
from recon.workshop.drawing.label_placement import TAKEN, Clutter
from recon.workshop.drawing.projections import FACING, Scene, ViewBoard
from recon.workshop.drawing.vector import (
    FINE,
    HIDDEN,
    LEADER,
    OUTLINE,
    Disc,
    Item,
    Lines,
    Pen,
    Text,
    text_width,
)
from recon.workshop.hardware.bolts import Bolt

BOLT = 0.24  # radius of a bolt's mark, pitches
EVERY = 5  # holes from number to number along a member
SMALLEST = 1.6  # mm on paper: the smallest text, 4.5 points
MANY = 60  # members from which hidden outlines would only blacken the drawing

NOTES = (
    "Tag C3 F1: hole 3 of C on hole 1 of F, nearest first.",
    "Disc: bolt.  Ring: bolt in no photo, assumed.  Cross: no bolt.",
    "(D): D lies behind.  Dashed: hidden.",
)


def draw_view(board: ViewBoard, name: str, scale: float, unit: float = 1.0, words: bool = True) -> list[Item]:
    """A view of the board as items in mm; the frame's origin is theirs.

    scale : mm per pitch.   unit : what 1 mm on paper is on the drawing (10 for one at full size to be printed at 1:10).
    words : with labels, tags and numbers.
    Each item's layer is the member that it tells of; a tag's is the nearest member.
    """
    scene, tags = board.scene(name), board.tags(name)
    told_apart = any(bolt.seen for bolt in board.bolts)
    ids = [m.id for m in scene.members]
    items: list[Item] = _outlines(scene, ids, scale, OUTLINE if words else FINE)
    filled = {(hole.member, hole.number) for bolt, hole, _ in tags if bolt}
    items += [
        Disc(_at(h.at, scale), scene.hole / 2 * scale, "none", FINE, ids[h.member])
        for h in scene.open_holes.values()
        if (h.member, h.number) not in filled
    ]
    for bolt, hole, _ in tags:
        at, layer = _at(hole.at, scale), ids[hole.member]
        items += _bolt_mark(bolt, at, scale, layer, told_apart) if bolt else _cross(at, scale, layer)
    if not words:
        return items
    clutter = _clutter(scene, items, {(hole.member, hole.number) for _, hole, _ in tags}, scale, unit)
    items += _labels(scene, clutter, ids, scale, unit)
    items += _tags(scene, clutter, tags, ids, scale, unit)
    return items + _numbers(scene, clutter, ids, scale, unit)


def _at(point, scale: float) -> tuple[float, float]:
    return float(point[0] * scale), float(point[1] * scale)


# Lines


def _outlines(scene: Scene, ids, scale: float, pen: Pen) -> list[Item]:
    lines, owner, hidden = scene.edges
    seen, behind = defaultdict(list), defaultdict(list)
    for line, k, stretches in zip(lines, owner, hidden):
        seen[k] += [_part(line, *s, scale) for s in rest(stretches)]
    if len(ids) <= MANY:
        for k, line in _dashes(lines, owner, hidden):
            behind[k].append(tuple(_at(p, scale) for p in line))
    return [Lines(tuple(paths), HIDDEN, ids[k]) for k, paths in behind.items() if paths] + [
        Lines(tuple(paths), pen, ids[k]) for k, paths in seen.items() if paths
    ]


def _part(line, start: float, end: float, scale: float):
    a, b = line
    return _at(a + start * (b - a), scale), _at(a + end * (b - a), scale)


def _dashes(lines, owner, hidden):
    """(member, line) of what is hidden, without what lies under an outline or under other dashes: dashes upon dashes
    would look like a line."""
    drawn: dict = defaultdict(list)  # a straight line on the paper -> stretches taken on it
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


def _on_line(line):
    """The straight line that a stretch lies on (angle and distance from the origin, rounded), where on it the stretch
    starts, and its length, which is negative where it runs against that line."""
    way = line[1] - line[0]
    length = float(np.linalg.norm(way))
    unit = way / length
    if unit[0] < -1e-6 or (abs(unit[0]) <= 1e-6 and unit[1] < 0):
        unit, length = -unit, -length
    across = float(line[0] @ [-unit[1], unit[0]])
    return (
        (round(float(np.arctan2(unit[1], unit[0])), 4) + 0.0, round(across, 3) + 0.0),
        float(line[0] @ unit),
        length,
    )


def _bolt_mark(bolt: Bolt, at, scale: float, layer: str, told_apart: bool) -> list[Item]:
    mark: list[Item] = [Disc(at, BOLT * scale, "black", FINE, layer)]
    return (
        [*mark, Disc(at, 0.55 * BOLT * scale, "white", FINE, layer)] if told_apart and not bolt.seen else mark
    )


def _cross(at, scale: float, layer: str) -> list[Item]:
    reach = 0.8 * BOLT * scale
    return [
        Lines(
            (
                ((at[0] - reach, at[1] - reach), (at[0] + reach, at[1] + reach)),
                ((at[0] - reach, at[1] + reach), (at[0] + reach, at[1] - reach)),
            ),
            FINE,
            layer,
        )
    ]


# Text


def _clutter(scene: Scene, items, marked, scale: float, unit: float) -> Clutter:
    points = scene.edges[0].reshape(-1, 2) * scale
    margin = 3.0 * scale + 6 * unit
    clutter = Clutter((*(points.min(axis=0) - margin), *(points.max(axis=0) + margin)), 0.4 * unit)
    for item in items:
        if isinstance(item, Lines) and item.pen is OUTLINE:
            clutter.add_lines(item.paths, 6.0)
    for member in scene.members:
        if member.on_lattice:
            ends = scene.view.flat([member.hole_centre(-0.5), member.hole_centre(member.holes - 0.5)]) * scale
            half = member.width / 2 * scale * (np.abs(ends[1] - ends[0]) < 1e-6)
            clutter.add((*(ends.min(axis=0) - half), *(ends.max(axis=0) + half)), 0.5)
    reach = np.array([1.0, 1.0]) * (scene.hole / 2 + 0.04) * scale
    for key, hole in scene.open_holes.items():
        size = BOLT * scale * np.array([1.15, 1.15]) if key in marked else reach
        clutter.add((*(hole.at * scale - size), *(hole.at * scale + size)), 300.0 if key in marked else 20.0)
    return clutter


def _labels(scene: Scene, clutter: Clutter, ids, scale: float, unit: float) -> list[Item]:
    """Each member's label on its own face between two holes, or on its end; on the one before it where it is all behind."""
    spots = _label_spots(scene)
    behind = defaultdict(list)
    for k in range(len(ids)):
        if not len(spots[k]):
            behind[_in_front(scene, spots, k)].append(ids[k])
    items = []
    for k, id in enumerate(ids):
        if len(spots[k]):
            items.append(_label(clutter, spots[k], id, scale, unit))
    unseen = behind.pop(None, [])
    for k, others in behind.items():
        text = _label_behind(clutter, scene.members[k], spots[k], f"({' '.join(others)})", scene, scale, unit)
        items += [text] if text else []
        unseen += [] if text else others
    return items + _unseen_note(scene, unseen, scale, unit)


def _middle_first(spots) -> np.ndarray:
    return np.asarray(spots)[np.argsort(np.abs(np.arange(len(spots)) - (len(spots) - 1) / 2), kind="stable")]


def _label(clutter: Clutter, spots, id: str, scale: float, unit: float) -> Text:
    """The label on the spot, of those (n, 2) pitches, that is nearest to the middle and free."""
    size = float(np.clip(min(0.62 * scale, 0.72 * scale / text_width(id, 1.0)), SMALLEST * unit, 4.4 * unit))
    places = [
        Text(_at(spot, scale), id, size, "middle", True, True, True, id) for spot in _middle_first(spots)
    ]
    return clutter.place(places, 0.2 * np.arange(len(places))) or places[0]


def _label_behind(
    clutter: Clutter, member, spots, text: str, scene: Scene, scale: float, unit: float
) -> Text | None:
    """Labels of what lies behind a member: on it where there is room between two holes, else beside it; None where there
    is none."""
    size = float(np.clip(0.4 * scale, SMALLEST * unit, 3.0 * unit))
    width = text_width(text, size)
    fits = 0.72 * scale >= width
    way = np.abs(scene.view.flat(member.direction))
    places, price = [], []
    for k, spot in enumerate(_middle_first(spots)):
        at = np.array(_at(spot, scale))
        aside = member.width / 2 * scale + 0.15 * size
        options = [(at, "middle", 0.0)] if fits else []
        if way[0] < 0.5:
            options += [(at + [aside, 0], "start", 2.0), (at - [aside, 0], "end", 2.0)]
        if way[1] < 0.5:
            options += [
                (at + [0, aside + 0.45 * size], "middle", 2.0),
                (at - [0, aside + 0.45 * size], "middle", 2.0),
            ]
        places += [
            Text((float(p[0]), float(p[1])), text, size, anchor, False, True, True, member.id)
            for p, anchor, _ in options
        ]
        price += [extra + 0.2 * k for _, _, extra in options]
    return clutter.place(places, price, limit=TAKEN / 20)


def _label_spots(scene: Scene) -> list[np.ndarray]:
    """For each member the places on the view, (n, 2) pitches, where it is seen between two holes or on its end."""
    towards = scene.view.towards
    spots, reach = [], []
    for k, m in enumerate(scene.members):
        way = np.asarray(m.direction, float)
        if abs(way @ towards) > FACING:
            spots.append(m.hole_centre(-0.5 if way @ towards < 0 else m.holes - 0.5)[None])
            reach.append([scene.view.right * 0.3, scene.view.up * 0.3])
        else:
            between = m.hole_centre(
                np.arange(m.holes + 1) - 0.5 if m.holes < 2 else np.arange(m.holes - 1) + 0.5
            )
            spots.append(between + towards * m.width / 2 / np.abs(scene.boxes.axes[k, 1:] @ towards).max())
            reach.append([way * 0.25, np.cross(towards, way) * 0.25 * m.width])
    counts = [len(s) for s in spots]
    owner, points = np.repeat(np.arange(len(spots)), counts), np.concatenate(spots)
    seen = np.ones(len(points), bool)
    for off in np.repeat(reach, counts, axis=0).swapaxes(0, 1):
        for sign in (-1, 1):
            seen &= ~scene.covered(points + sign * off, owner).any(axis=1)
    flat = scene.view.flat(points)
    return [flat[(owner == k) & seen] for k in range(len(spots))]


def _in_front(scene: Scene, spots, k: int):
    """Of the members with a label, the one that hides most of member `k`; None where none does."""
    m = scene.members[k]
    hidden = scene.covered(m.hole_centres(), [k] * m.holes).sum(axis=0)
    hidden[[not len(s) for s in spots]] = 0
    return int(hidden.argmax()) if hidden.any() else None


def _unseen_note(scene: Scene, ids, scale: float, unit: float) -> list[Item]:
    if not ids:
        return []
    low = scene.edges[0].reshape(-1, 2).min(axis=0) * scale
    return [
        Text(
            (float(low[0]), float(low[1] - 3 * unit)),
            "Out of sight here: " + ", ".join(ids),
            2.0 * unit,
            "start",
        )
    ]


def _tags(scene: Scene, clutter: Clutter, tags, ids, scale: float, unit: float) -> list[Item]:
    """A tag for each lap in one of the four corners that its two members leave, or farther out on a thin line."""
    size = float(np.clip(0.36 * scale, SMALLEST * unit, 2.1 * unit))
    width = {m.id: m.width for m in scene.members}
    items = []
    for _, hole, through in tags:
        at, layer = np.array(_at(hole.at, scale)), ids[hole.member]
        text = " ".join(f"{id}{number}" for id, number in through)
        half = max(width[id] for id, _ in through) / 2
        corner, places, price = half * scale + 0.25 * size, [], []
        for step, (more_x, more_y) in enumerate(
            ((0, 0), (0, 1.2), (1, 0), (1, 1.2), (0, 2.6), (2, 0), (2, 2.6), (0, 4.0))
        ):
            for sx, sy in ((1, 1), (1, -1), (-1, 1), (-1, -1)):
                spot = at + [sx * (corner + more_x * scale), sy * (corner + 0.45 * size + more_y * size)]
                places.append(
                    Text(
                        (float(spot[0]), float(spot[1])),
                        text,
                        size,
                        "start" if sx > 0 else "end",
                        False,
                        True,
                        True,
                        layer,
                    )
                )
                price.append(1.5 * step)
        chosen = clutter.place(places, price)
        if chosen is None:
            continue
        items += _leader(chosen, at, layer, (corner + 0.9 * size) * 1.5)
        items.append(chosen)
    return items


def _leader(text: Text, at, layer: str, near: float) -> list[Item]:
    left, bottom, right, top = text.box
    foot = np.array([np.clip(at[0], left, right), np.clip(at[1], bottom, top)])
    if np.linalg.norm(foot - at) < near:
        return []
    return [Lines(((tuple(map(float, at)), tuple(map(float, foot))),), LEADER, layer)]


def _numbers(scene: Scene, clutter: Clutter, ids, scale: float, unit: float) -> list[Item]:
    """Numbers beside the holes, on the face: both ends of a member and every fifth."""
    size = float(np.clip(0.26 * scale, SMALLEST * unit, 2.0 * unit))
    if 0.36 * scale < size:  # no room between a hole and the edge
        return []
    items = []
    for pair, hole in scene.open_holes.items():
        member = scene.members[hole.member]
        if hole.number not in (1, member.holes) and hole.number % EVERY:
            continue
        way = scene.view.flat(member.direction)
        across = np.array([-way[1], way[0]]) * (1 if way[0] > 1e-6 or way[1] < 0 else -1)
        text = str(hole.number)
        places = []
        for side in (1, -1):
            reach = (scene.hole / 2 + member.width / 2) / 2
            spot = hole.at + side * across * reach
            places.append(Text(_at(spot, scale), text, size, "middle", False, False, True, ids[hole.member]))
        chosen = clutter.place(places, (0.0, 0.1), limit=60.0)
        if chosen:
            items.append(chosen)
    return items
