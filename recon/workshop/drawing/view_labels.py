"""The text on a view of a frame: members' labels, tags at laps, numbers at holes.

Hole numbers stand where a builder looks for them: at both ends of a member and at every fifth hole on the
face itself, and at every lap as a tag, nearest member first: "C3 F1" is hole 3 of C on hole 1 of F.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

import numpy as np

from recon.frame.model import Member
from recon.geometry.arrays import FloatArray
from recon.workshop.drawing.label_placement import TAKEN, Clutter
from recon.workshop.drawing.projections import FACING, ProjectedFrame, Tag
from recon.workshop.drawing.vector import LEADER, OUTLINE, Item, Lines, Point, Text, text_width

BOLT = 0.24  # radius of a bolt's mark, pitches
EVERY = 5  # holes from number to number along a member
SMALLEST = 6 * 25.4 / 72  # mm on paper: the smallest text, 6 points: this project's choice
CAPITAL = 0.73  # of a text's size, height of its capitals and figures
# Where a tag stands beside its hole: pitches further out across, and heights of its text further up; the near
# ones first, each of which costs more than the one before.
TAG_PLACES = ((0, 0), (0, 1.2), (1, 0), (1, 1.2), (0, 2.6), (2, 0), (2, 2.6), (0, 4.0))
TAG_COST = 1.5


def at_scale(point: Sequence[float] | FloatArray, scale: float) -> Point:
    """A point of a view, pitches, on the drawing, mm; `scale` : mm per pitch."""
    return float(point[0] * scale), float(point[1] * scale)


def label_items(
    scene: ProjectedFrame, tags: Sequence[Tag], drawn: Iterable[Item], scale: float, unit: float
) -> list[Item]:
    """Labels, tags and numbers of a view, placed so that they cover little.

    Parameters
    ----------
    scene : ProjectedFrame
    tags : sequence of Tag
    drawn : iterable of Item
        What is on the drawing already, mm.
    scale : float
        mm per pitch.
    unit : float
        What 1 mm on paper is on the drawing.
    """
    ids = [m.id for m in scene.members]
    clutter = _clutter(scene, drawn, {(tag.hole.member, tag.hole.number) for tag in tags}, scale, unit)
    items = _labels(scene, clutter, ids, scale, unit)
    items += _fitting_labels(scene, clutter, scale, unit)
    items += _tags(scene, clutter, tags, ids, scale, unit)
    return items + _numbers(scene, clutter, ids, scale, unit)


def _clutter(
    scene: ProjectedFrame, drawn: Iterable[Item], marked: set[tuple[int, int]], scale: float, unit: float
) -> Clutter:
    points = scene.edges[0].reshape(-1, 2) * scale
    margin = 3.0 * scale + 6 * unit
    clutter = Clutter((*(points.min(axis=0) - margin), *(points.max(axis=0) + margin)), 0.4 * unit)
    outlines = [
        path for item in drawn if isinstance(item, Lines) and item.pen is OUTLINE for path in item.paths
    ]
    clutter.add_lines(outlines, 6.0)
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


# Labels


def _labels(
    scene: ProjectedFrame, clutter: Clutter, ids: Sequence[str], scale: float, unit: float
) -> list[Item]:
    """Each member's label on its own face, or on the one before it where it is all behind."""
    spots = _label_spots(scene)
    behind: defaultdict[int | None, list[str]] = defaultdict(list)
    items: list[Item] = []
    for k, id in enumerate(ids):
        if len(spots[k]):
            items.append(_label(clutter, spots[k], id, scale, unit))
        else:
            behind[_in_front(scene, spots, k)].append(id)
    unseen = behind.pop(None, [])
    for front, others in behind.items():
        if front is None:
            continue
        words = f"({' '.join(others)})"
        text = _label_behind(clutter, scene, scene.members[front], spots[front], words, scale, unit)
        items += [text] if text else []
        unseen += [] if text else others
    return items + _unseen_note(scene, unseen, scale, unit)


def _fitting_labels(scene: ProjectedFrame, clutter: Clutter, scale: float, unit: float) -> list[Item]:
    """Each fitting's label, where any of its middle line is seen."""
    items: list[Item] = []
    size = float(np.clip(0.45 * scale, SMALLEST * unit, 3.4 * unit))
    first = len(scene.members)
    for k, id in enumerate(scene.fittings, first):
        spots = scene.plain_spots(k)
        if len(spots):
            items.append(_label(clutter, scene.view.flat(spots), id, scale, unit, size))
    return items


def _middle_first(spots: FloatArray) -> FloatArray:
    return np.asarray(spots)[np.argsort(np.abs(np.arange(len(spots)) - (len(spots) - 1) / 2), kind="stable")]


def _label(
    clutter: Clutter, spots: FloatArray, id: str, scale: float, unit: float, size: float | None = None
) -> Text:
    """The label on the spot, of those (n, 2) pitches, that is nearest to the middle and free."""
    size = size or float(
        np.clip(min(0.62 * scale, 0.72 * scale / text_width(id, 1.0)), SMALLEST * unit, 4.4 * unit)
    )
    places = [
        Text(at_scale(spot, scale), id, size, "middle", True, True, True, id) for spot in _middle_first(spots)
    ]
    return clutter.place(places, [0.2 * k for k in range(len(places))]) or places[0]


def _label_behind(
    clutter: Clutter,
    scene: ProjectedFrame,
    front: Member,
    spots: FloatArray,
    text: str,
    scale: float,
    unit: float,
) -> Text | None:
    """Labels of what lies behind a member: on it where there is room between two holes, else beside it.

    None where there is no room.
    """
    size = float(np.clip(0.4 * scale, SMALLEST * unit, 3.0 * unit))
    fits = 0.72 * scale >= text_width(text, size)
    way = np.abs(scene.view.flat(front.direction))
    aside = front.width / 2 * scale + 0.15 * size
    offsets: list[tuple[tuple[float, float], str, float]] = [((0.0, 0.0), "middle", 0.0)] if fits else []
    if way[0] < 0.5:
        offsets += [((aside, 0.0), "start", 2.0), ((-aside, 0.0), "end", 2.0)]
    if way[1] < 0.5:
        above = aside + 0.45 * size
        offsets += [((0.0, above), "middle", 2.0), ((0.0, -above), "middle", 2.0)]
    places, price = [], []
    for k, spot in enumerate(_middle_first(spots)):
        x, y = at_scale(spot, scale)
        for (dx, dy), anchor, extra in offsets:
            at = (x + dx, y + dy)
            places.append(Text(at, text, size, anchor, plate=True, mark=True, layer=front.id))
            price.append(extra + 0.2 * k)
    return clutter.place(places, price, limit=TAKEN / 20)


def _label_spots(scene: ProjectedFrame) -> list[FloatArray]:
    """For each member the places on the view where it is seen between two holes or on its end.

    Each is an array (n, 2), pitches.
    """
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


def _in_front(scene: ProjectedFrame, spots: Sequence[FloatArray], k: int) -> int | None:
    """Of the members with a label, the one that hides most of member `k`; None where none does."""
    m = scene.members[k]
    hidden = scene.covered(m.hole_centres(), [k] * m.holes)[:, : len(scene.members)].sum(axis=0)
    hidden[[not len(s) for s in spots]] = 0
    return int(hidden.argmax()) if hidden.any() else None


def _unseen_note(scene: ProjectedFrame, ids: Sequence[str], scale: float, unit: float) -> list[Item]:
    """Which members have no label on a view, as many as there is room for under it."""
    if not ids:
        return []
    points, size = scene.edges[0].reshape(-1, 2) * scale, 2.3 * unit
    (left, low), right = points.min(axis=0), points[:, 0].max()
    room = max(float(right - left) - 1.6 * unit, 24 * unit)

    def words(count: int) -> str:
        more = f" and {len(ids) - count} more" if count < len(ids) else ""
        return f"Out of sight here: {', '.join(ids[:count])}{more}"

    count = next((n for n in range(len(ids), 1, -1) if text_width(words(n), size) <= room), 1)
    at = (float(left + 0.8 * unit), float(low - 3 * unit))
    return [Text(at, words(count), size, "start")]


# Tags


def _tags(
    scene: ProjectedFrame,
    clutter: Clutter,
    tags: Sequence[Tag],
    ids: Sequence[str],
    scale: float,
    unit: float,
) -> list[Item]:
    """A tag for each lap in one of the four corners of its two members, or farther out on a thin line."""
    size = float(np.clip(0.36 * scale, SMALLEST * unit, 2.4 * unit))
    width = {m.id: m.width for m in scene.members}
    items: list[Item] = []
    for tag in tags:
        at, layer = np.array(at_scale(tag.hole.at, scale)), ids[tag.hole.member]
        text = " ".join(f"{id}{number}" for id, number in tag.through)
        corner = max(width[id] for id, _ in tag.through) / 2 * scale + 0.25 * size
        places, price = [], []
        for step, (further_x, further_y) in enumerate(TAG_PLACES):
            for sx, sy in ((1, 1), (1, -1), (-1, 1), (-1, -1)):
                spot = at + [
                    sx * (corner + further_x * scale),
                    sy * (corner + 0.45 * size + further_y * size),
                ]
                anchor = "start" if sx > 0 else "end"
                place = (float(spot[0]), float(spot[1]))
                places.append(Text(place, text, size, anchor, plate=True, mark=True, layer=layer))
                price.append(TAG_COST * step)
        chosen = clutter.place(places, price)
        if chosen is not None:
            items += [*_leader(chosen, at, layer, (corner + 0.9 * size) * 1.5), chosen]
    return items


def _leader(text: Text, at: FloatArray, layer: str, near: float) -> list[Item]:
    """A thin line from a hole to a text that is not near it."""
    left, bottom, right, top = text.box
    foot = np.array([np.clip(at[0], left, right), np.clip(at[1], bottom, top)])
    if np.linalg.norm(foot - at) < near:
        return []
    return [Lines(((at_scale(at, 1.0), at_scale(foot, 1.0)),), LEADER, layer)]


# Numbers


def _numbers(
    scene: ProjectedFrame, clutter: Clutter, ids: Sequence[str], scale: float, unit: float
) -> list[Item]:
    """Numbers of both ends and of every fifth hole: on the face or, where that is too narrow, beside it."""
    size = float(np.clip(0.26 * scale, SMALLEST * unit, 2.3 * unit))
    if 0.36 * scale < CAPITAL * size:  # no room between a hole and the edge
        return _first_holes(scene, clutter, ids, scale, size)
    items: list[Item] = []
    for hole in scene.open_holes.values():
        member = scene.members[hole.member]
        if hole.number not in (1, member.holes) and hole.number % EVERY:
            continue
        way = scene.view.flat(member.direction)
        across = np.array([-way[1], way[0]]) * (1 if way[0] > 1e-6 or way[1] < 0 else -1)
        text = str(hole.number)
        inside = (scene.hole / 2 + member.width / 2) / 2
        room = (member.width - scene.hole) / 2 * scale
        long = abs(across[0]) * text_width(text, size) + abs(across[1]) * CAPITAL * size
        reach = [inside] if long < room else [(member.width * scale + long + 0.3 * size) / 2 / scale, inside]
        places = [
            Text(
                at_scale(hole.at + side * across * far, scale), text, size, mark=True, layer=ids[hole.member]
            )
            for far in reach
            for side in (1, -1)
        ]
        chosen = clutter.place(places, (0.0, 0.1, 8.0, 8.1)[: len(places)], limit=60.0)
        if chosen:
            items.append(chosen)
    return items


def _first_holes(
    scene: ProjectedFrame, clutter: Clutter, ids: Sequence[str], scale: float, size: float
) -> list[Item]:
    """Where there is no room for numbers on members, a 1 off the end at which hole 1 is."""
    items: list[Item] = []
    for hole in scene.open_holes.values():
        if hole.number != 1:
            continue
        member = scene.members[hole.member]
        way = scene.view.flat(member.direction)
        across = np.array([-way[1], way[0]])
        end = 0.5 * scale + 0.6 * size
        side = member.width / 2 * scale + 0.6 * size
        places = [
            Text(at_scale(hole.at * scale + off, 1.0), "1", size, mark=True, layer=ids[hole.member])
            for off in (-way * end, across * side, -across * side)
        ]
        chosen = clutter.place(places, (0.0, 0.1, 0.2), limit=60.0)
        if chosen:
            items.append(chosen)
    return items
