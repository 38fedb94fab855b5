"""A picture of one build step from a corner: what is there in thin lines, what is new shaded, with the laps to bolt.

Drawn as lines, so that it is sharp on any printer and needs no colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from recon.frame.model import Frame
from recon.workshop.drawing.hidden_lines import box_corners, hidden_stretches, rest
from recon.workshop.drawing.label_placement import TAKEN, Clutter
from recon.workshop.drawing.projections import Projection, Scene, corner_projection
from recon.workshop.drawing.vector import Area, Disc, Item, Lines, Pen, Sheet, Text, moved, text_width
from recon.workshop.hardware.bolts import Bolt

SIZE = (118.0, 82.0)  # mm
TURNS = (-62.0, 28.0, 118.0, 208.0)  # the four corners, the front one first
HEIGHT = 26.0  # degrees above the level
SEEN = 0.4  # share of what is new that should be in sight; below it the best of the corners is taken
STRIPS = 14  # in which a face is shaded: so fine that a covered corner comes out straight
NEW, OLD, HOLE_RIM, THIN = Pen(0.45), Pen(0.2, (), 0.3), Pen(0.12, (), 0.4), Pen(0.15)
TONES = (0.94, 0.86, 0.78)  # of faces turned up, to the right and to the left
LABEL, SMALL_LABEL, TAG = 3.3, 2.5, 2.3
MARGIN, LARGEST = 8.0, 6.0  # mm round the picture; mm per pitch at most
SMALLEST = 1.6  # mm per pitch at which holes can still be told apart; larger frames are shown in part
AROUND = 6.0  # pitches of neighbourhood shown round what is new in a part
INSET = 24.0  # mm across the little picture of the whole


@dataclass(frozen=True)
class _Shot:
    """What a picture shows: the scene, which members are new, and mm per pitch; `part` where it is not the whole."""

    scene: Scene
    new: np.ndarray
    scale: float
    low: np.ndarray
    part: bool


class Stage:
    """A frame from its four corners, ready for pictures of many steps.

    hole : diameter of the holes, pitches.
    """

    def __init__(self, frame: Frame, hole: float):
        self.scenes = [Scene(frame.members, corner_projection(turn, HEIGHT), hole) for turn in TURNS]
        self.index = {m.id: k for k, m in enumerate(frame.members)}
        self.corners = box_corners(self.scenes[0].boxes)  # (n, 8, 3)


def step_sheet(
    stage: Stage,
    there: Sequence[str],
    new: Sequence[str],
    bolts: Sequence[Bolt],
    way=None,
    size: tuple[float, float] = SIZE,
    title: str = "",
) -> Sheet:
    """The members `there` and `new` (ids) in a picture of `size` (width, height) mm; others are not drawn.

    bolts : those that go in now, tagged with their hole numbers, the new member first.
    way : direction in which what is new is brought in, shown by an arrow, or None.
    """
    shown = np.array(sorted(stage.index[id] for id in {*there, *new}))
    fresh = np.isin(shown, [stage.index[id] for id in new])
    shot = _best_shot(stage, shown, fresh, size)
    index = {m.id: k for k, m in enumerate(shot.scene.members)}
    joined = shot.new.copy()
    for bolt in bolts:
        joined[[index[id] for id, _ in bolt.through if id in index]] = True
    outlines = _outlines(shot)
    clutter = _clutter(shot, outlines, size)
    items = [*_shading(shot), *_holes(shot, joined), *outlines]
    if way is not None and len(there):
        items += _arrow(shot, np.asarray(way, float), clutter)
    heads, tags = _bolts(shot, bolts, index, clutter)
    items = [_clipped(item, shot, size) for item in [*items, *heads]]
    items = [*filter(None, items), *_labels(shot, joined, clutter), *tags]
    items = moved(items, *(-shot.low))
    items += (
        _inset(stage, shown, fresh, shot, clutter, size)
        if shot.part and not fresh.all()
        else _axes(shot.scene.view)
    )
    return Sheet(*size, tuple(items), title)


# Where from


def _best_shot(stage: Stage, shown, fresh, size) -> _Shot:
    """From the front corner where enough of what is new is in sight, else from the corner that shows most of it."""
    best, most = None, -1.0
    for scene in stage.scenes:
        shot = _shot(stage, scene, shown, fresh, size)
        share = _share_seen(shot)
        if share > most + 0.05:
            best, most = shot, share
        if most >= SEEN:
            break
    return best


def _shot(stage: Stage, scene: Scene, shown, fresh, size) -> _Shot:
    flat = scene.view.flat(stage.corners[shown])  # (n, 8, 2)
    room = np.array(size) - 2 * MARGIN
    low, high = flat.reshape(-1, 2).min(axis=0), flat.reshape(-1, 2).max(axis=0)
    scale = float(min((room / (high - low)).min(), LARGEST))
    if part := scale < SMALLEST:
        focus = flat[fresh].reshape(-1, 2)
        low, high = np.maximum(low, focus.min(axis=0) - AROUND), np.minimum(high, focus.max(axis=0) + AROUND)
        scale = float(min((room / (high - low)).min(), LARGEST / 2))
        window, middle = np.array(size) / scale / 2, (low + high) / 2
        near = ((flat.min(axis=1) < middle + window) & (flat.max(axis=1) > middle - window)).all(axis=1)
        shown, fresh = shown[near], fresh[near]
    corner = (low + high) / 2 * scale - np.array(size) / 2
    return _Shot(scene.part(shown), fresh, scale, corner, part)


def _strips(scene: Scene, k: int, count: int):
    """Lines that shade the faces of member `k` turned to the viewer: (face normal, width of a strip in pitches, (count, 2, 3))."""
    axes, half, middle = scene.boxes.axes[k], scene.boxes.half[k], scene.boxes.centre[k]
    slope = axes @ scene.view.towards
    for face in np.nonzero(np.abs(slope) > 1e-6)[0]:
        along, across = [i for i in range(3) if i != face]
        normal = np.sign(slope[face]) * axes[face]
        offsets = ((np.arange(count) + 0.5) / count * 2 - 1)[:, None] * half[across] * axes[across]
        reach = half[along] * axes[along]
        yield (
            normal,
            2 * half[across] / count,
            middle + normal * half[face] + np.stack([offsets - reach, offsets + reach], axis=1),
        )


def _share_seen(shot: _Shot) -> float:
    """Share of the new members' surface turned to the viewer that no other member covers."""
    lines, owner = [], []
    for k in np.nonzero(shot.new)[0]:
        for _, _, strips in _strips(shot.scene, k, 2):
            lines.append(strips)
            owner += [k] * len(strips)
    lines = np.concatenate(lines)
    length = np.linalg.norm(np.diff(shot.scene.view.flat(lines), axis=1), axis=2).ravel()
    hidden = hidden_stretches(lines, shot.scene.shadows, owner)
    covered = np.array([sum(b - a for a, b in stretches) for stretches in hidden])
    return float(1 - (covered * length).sum() / max(length.sum(), 1e-9))


# Drawing, in mm with the view's own origin


def _visible(shot: _Shot, lines, owner) -> list[tuple]:
    """What is in sight of lines (n, 2, 3), as paths in mm."""
    flat = shot.scene.view.flat(lines) * shot.scale
    out = []
    for (a, b), stretches in zip(flat, hidden_stretches(lines, shot.scene.shadows, owner)):
        out += _parts(a, b, rest(stretches))
    return out


def _parts(a, b, shares) -> list[tuple]:
    """The shares (start, end) of the line from a to b, as paths."""
    (ax, ay), (bx, by) = a.tolist(), b.tolist()
    return [
        ((ax + s * (bx - ax), ay + s * (by - ay)), (ax + e * (bx - ax), ay + e * (by - ay)))
        for s, e in shares
    ]


def _shading(shot: _Shot) -> list[Item]:
    items = []
    for k in np.nonzero(shot.new)[0]:
        for normal, step, strips in _strips(shot.scene, k, STRIPS):
            paths = _visible(shot, strips, [k] * len(strips))
            tone = (
                TONES[0] if normal[2] > 0.7 else TONES[1] if normal @ shot.scene.view.right > 0 else TONES[2]
            )
            if paths:
                items.append(Lines(tuple(paths), Pen(1.25 * step * shot.scale, (), tone), "shade"))
    return items


def _outlines(shot: _Shot) -> list[Item]:
    flat, owner, hidden = shot.scene.edges
    thin, thick = [], []
    for (a, b), k, stretches in zip(flat * shot.scale, owner, hidden):
        (thick if shot.new[k] else thin).extend(_parts(a, b, rest(stretches)))
    return [Lines(tuple(paths), pen) for paths, pen in ((thin, OLD), (thick, NEW)) if paths]


def _holes(shot: _Shot, joined) -> list[Item]:
    """Holes of what is new, dark, and of what it is bolted to, as rims."""
    circle = np.linspace(0, 2 * np.pi, 13)[:-1]
    holes = [h for h in shot.scene.holes_of(np.nonzero(joined)[0]) if h.visible]
    rims = {}
    for k, normal in {(h.member, tuple(h.normal)) for h in holes}:
        along = shot.scene.boxes.axes[k, 0]
        rim = np.outer(np.cos(circle), along) + np.outer(np.sin(circle), np.cross(normal, along))
        rims[k, normal] = shot.scene.view.flat(rim) * shot.scene.hole / 2
    items = []
    for h in holes:
        points = (h.at + rims[h.member, tuple(h.normal)]) * shot.scale
        new = shot.new[h.member]
        items.append(
            Area(tuple(map(tuple, points.tolist())), 0.25 if new else "none", None if new else HOLE_RIM)
        )
    return items


def _arrow(shot: _Shot, way, clutter: Clutter) -> list[Item]:
    """An open arrow that points the way to the middle of what is new, from outside it."""
    if not shot.new.any() or np.linalg.norm(shot.scene.view.flat(way)) < 0.2:
        return []
    new = shot.scene.boxes.take(shot.new)
    points, middle = box_corners(new).reshape(-1, 3), new.centre.mean(axis=0)
    back = float(((points - middle) @ way).min())
    tip, tail = (shot.scene.view.flat(middle + d * way) * shot.scale for d in (back - 0.4, back - 3.4))
    along = tip - tail
    across = np.array([-along[1], along[0]]) / np.linalg.norm(along)
    neck = tip - along * min(3.2 / np.linalg.norm(along), 0.6)
    outline = [
        tail + 0.7 * across,
        neck + 0.7 * across,
        neck + 1.7 * across,
        tip,
        neck - 1.7 * across,
        neck - 0.7 * across,
        tail - 0.7 * across,
    ]
    clutter.add((*np.min(outline, axis=0), *np.max(outline, axis=0)), 400.0)
    return [Area(tuple(tuple(map(float, p)) for p in outline), 1.0, Pen(0.35))]


def _bolts(shot: _Shot, bolts, index, clutter: Clutter) -> tuple[list[Item], list[Item]]:
    """Heads, black where in sight and rings where not, and tags on thin lines."""
    heads: list[Item] = []
    spots = []
    for bolt in bolts:
        nearer = np.dot(bolt.axis, shot.scene.view.towards) > 0
        through = bolt.through[::-1] if nearer else bolt.through
        if not {id for id, _ in through} <= set(index):
            continue
        spot = np.asarray(bolt.end if nearer else bolt.start, float)
        hidden = shot.scene.covered(spot[None], [index[through[0][0]]]).any()
        at = shot.scene.view.flat(spot) * shot.scale
        radius = float(np.clip(0.24 * shot.scale, 0.5, 1.1))
        heads.append(Disc(tuple(map(float, at)), radius, "white" if hidden else "black", Pen(0.25)))
        clutter.add((*(at - radius), *(at + radius)), 400.0)
        told = bolt.through if shot.new[index[bolt.through[0][0]]] else bolt.through[::-1]
        spots.append((at, " ".join(f"{id}{hole + 1}" for id, hole in told)))
    tags: list[Item] = []
    for at, text in spots:
        tags += _tag(at, text, clutter)
    return heads, tags


def _tag(at, text: str, clutter: Clutter) -> list[Item]:
    width = text_width(text, TAG)
    places, price = [], []
    for distance in (3.0, 5.0, 7.5, 10.5, 14.0, 19.0):
        for angle in np.radians([35, 145, 325, 215, 90, 270, 0, 180]):
            spot = at + distance * np.array([np.cos(angle), np.sin(angle)])
            left = spot[0] - (width / 2 if abs(np.cos(angle)) < 0.3 else 0 if np.cos(angle) > 0 else width)
            places.append(Text((float(left), float(spot[1])), text, TAG, "start", False, True, True))
            price.append(0.6 * distance)
    chosen = clutter.place(places, price)
    if chosen is None:
        return []
    left, bottom, right, top = chosen.box
    foot = (float(np.clip(at[0], left, right)), float(np.clip(at[1], bottom, top)))
    return [Lines(((tuple(map(float, at)), foot),), THIN), chosen]


def _clutter(shot: _Shot, outlines, size) -> Clutter:
    clutter = Clutter((*shot.low, *(shot.low + size)), 0.5)
    for item in outlines:
        clutter.add_lines(item.paths, 25.0 if item.pen is NEW else 12.0)
    return clutter


def _labels(shot: _Shot, joined, clutter: Clutter) -> list[Item]:
    """Labels on the members, larger on what is new; neighbours that take no part have theirs where there are few."""
    items = []
    few = len(shot.scene.members) <= 16
    for k in sorted(range(len(joined)), key=lambda k: (not shot.new[k], not joined[k], k)):
        if not (joined[k] or few):
            continue
        m = shot.scene.members[k]
        size = LABEL if shot.new[k] else SMALL_LABEL
        spots = _seen_spots(shot, k)
        if not len(spots):
            continue
        order = np.argsort(np.abs(np.arange(len(spots)) - (len(spots) - 1) / 2), kind="stable")
        places = [
            Text(tuple(map(float, spots[i])), m.id, size, "middle", bool(shot.new[k]), True, True)
            for i in order
        ]
        chosen = clutter.place(places, 0.5 * np.arange(len(places)), limit=TAKEN / 5)
        if chosen:
            items.append(chosen)
    return items


def _seen_spots(shot: _Shot, k: int) -> np.ndarray:
    """Places on member `k` between two holes that are in sight, (n, 2) mm."""
    m = shot.scene.members[k]
    slope = shot.scene.boxes.axes[k] @ shot.scene.view.towards
    face = 1 + int(np.abs(slope[1:]).argmax())
    normal = np.sign(slope[face]) * shot.scene.boxes.axes[k, face]
    spots = (
        m.hole_centre(np.arange(max(m.holes - 1, 1)) + (0.5 if m.holes > 1 else 0.0)) + normal * m.width / 2
    )
    return shot.scene.view.flat(spots[~shot.scene.covered(spots, [k] * len(spots)).any(axis=1)]) * shot.scale


# In part


def _clipped(item: Item, shot: _Shot, size):
    """What of an item lies inside the picture, None where nothing does."""
    if not shot.part:
        return item
    low, high = shot.low + 0.5, shot.low + size - 0.5
    if isinstance(item, Lines):
        paths = _clip(item.paths, low, high)
        return Lines(paths, item.pen, item.layer) if paths else None
    points = np.array(item.points if isinstance(item, Area) else [item.at])
    return item if ((points >= low) & (points <= high)).all() else None


def _clip(lines, low, high) -> tuple:
    """Straight lines cut to a rectangle (Y.-D. Liang, B. Barsky, "A New Concept and Method for Line Clipping", ACM Trans.
    Graphics 3, 1984, doi:10.1145/357332.357333)."""
    ends = np.array(lines, float)
    a, way = ends[:, 0], ends[:, 1] - ends[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        first, second = (low - a) / way, (high - a) / way
    still, within = way == 0, (a >= low) & (a <= high)
    start = (
        np.where(still, np.where(within, -np.inf, np.inf), np.minimum(first, second))
        .max(axis=1)
        .clip(min=0.0)
    )
    end = np.where(still, np.inf, np.maximum(first, second)).min(axis=1).clip(max=1.0)
    kept = start < end
    a, way, start, end = a[kept], way[kept], start[kept, None], end[kept, None]
    cut = np.stack([a + start * way, a + end * way], axis=1)
    return tuple((tuple(p), tuple(q)) for p, q in cut.tolist())


def _inset(stage: Stage, shown, fresh, shot: _Shot, clutter: Clutter, size) -> list[Item]:
    """A little picture of all members as single lines, what is new thick, in the corner where it covers least."""
    lines = shot.scene.view.flat(stage.corners[shown].reshape(-1, 2, 4, 3).mean(axis=2))  # from end to end
    low, high = lines.reshape(-1, 2).min(axis=0), lines.reshape(-1, 2).max(axis=0)
    scale = float((INSET / np.maximum(high - low, 1e-6)).min())
    lines = (lines - low) * scale + 2.0
    width, height = (high - low) * scale + 2.5
    paths = [tuple(tuple(map(float, p)) for p in line) for line in lines]
    old, new = ([p for p, f in zip(paths, fresh) if f == kind] for kind in (False, True))
    frame = (
        (0.5, 0.5),
        (float(width) + 1.5, 0.5),
        (float(width) + 1.5, float(height) + 1.5),
        (0.5, float(height) + 1.5),
    )
    items: list[Item] = [Area(frame, 1.0, THIN)]
    items += [Lines(tuple(p), pen) for p, pen in ((old, Pen(0.12, (), 0.55)), (new, Pen(0.9))) if p]
    places = [np.array([x, y]) for x in (0.0, size[0] - width - 2.0) for y in (0.0, size[1] - height - 2.0)]
    best = min(
        places, key=lambda p: clutter.cost((*(shot.low + p), *(shot.low + p + [width + 1.5, height + 1.5])))
    )
    return moved(items, *map(float, best))


def _axes(view: Projection) -> list[Item]:
    """x, y and z in the lower left corner."""
    start = np.array([6.5, 5.5])
    items: list[Item] = []
    for name, axis in zip("xyz", np.eye(3)):
        tip = view.flat(axis) * 5.0
        items.append(Lines(((tuple(map(float, start)), tuple(map(float, start + tip))),), THIN))
        items.append(Text(tuple(map(float, start + tip * 1.35)), name, 2.2))
    return items
