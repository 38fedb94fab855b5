"""What is drawn in the picture of a step, in mm on its sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import ArrayLike

from recon.geometry.arrays import BoolArray, FloatArray
from recon.workshop.assembly.shots import Shot, Size, strips
from recon.workshop.drawing.hidden_lines import box_corners
from recon.workshop.drawing.label_placement import TAKEN, Clutter
from recon.workshop.drawing.projections import ProjectedFrame
from recon.workshop.drawing.vector import (
    LINE,
    Area,
    Disc,
    Item,
    Lines,
    Path,
    Pen,
    Point,
    Text,
    as_paths,
    moved,
    text_width,
)
from recon.workshop.hardware.bolts import Bolt

STRIPS = 14  # in which a face is shaded, by the pitch: so fine that a covered corner comes out straight
NEW, OLD, HOLE_RIM, THIN = Pen(0.45), Pen(0.2, (), 0.3), Pen(0.12, (), 0.4), Pen(0.15)
FLOOR, FLOOR_ROUND = Pen(0.12, (1.2, 1.0), 0.45), 1.5  # its lines; pitches of floor round what is shown
TONES = (0.94, 0.86, 0.78)  # of faces turned up, to the right and to the left
LABEL, SMALL_LABEL, TAG, MARK = 3.3, 2.5, 2.3, 2.2  # heights of text, mm
EDGE = 1.0  # mm between the marks of the sides and the edge of the picture
FEW = 16  # members up to which all have labels
TAG_DISTANCES = (3.0, 5.0, 7.5, 10.5, 14.0, 19.0)  # mm from a bolt at which its tag is tried
TAG_ANGLES_DEG = (35, 145, 325, 215, 90, 270, 0, 180)
# Where a tag is tried, by distance and angle: the spot from its bolt, mm; the share of its width that lies
# left of the spot; and what the place costs, farther ones more.
_TAG_WAYS = np.stack([np.cos(np.radians(TAG_ANGLES_DEG)), np.sin(np.radians(TAG_ANGLES_DEG))], axis=1)
_TAG_SPOTS = (np.array(TAG_DISTANCES)[:, None, None] * _TAG_WAYS).reshape(-1, 2)
_TAG_SHIFTS = np.tile(
    np.select([abs(_TAG_WAYS[:, 0]) < 0.3, _TAG_WAYS[:, 0] > 0], [0.5, 0.0], 1.0), len(TAG_DISTANCES)
)
_TAG_PRICES = [0.6 * distance for distance in TAG_DISTANCES for _ in TAG_ANGLES_DEG]


def point(xy: ArrayLike) -> Point:
    """Two plain numbers."""
    x, y = np.asarray(xy, float).tolist()
    return x, y


def _cut(shot: Shot, lines: FloatArray) -> tuple[Path, ...]:
    """Lines (n, 2, 2) on the sheet as paths; where the picture shows a part, cut to it."""
    return as_paths(shot.clipped(lines) if shot.part else lines)


def shading(shot: Shot) -> list[Item]:
    """The faces of what is new, in the tone of the way they are turned."""
    faces = [(k, *face) for k in np.nonzero(shot.new)[0].tolist() for face in strips(shot.scene, k, STRIPS)]
    lines = np.concatenate([lines for *_, lines in faces])
    face = np.repeat(np.arange(len(faces)), [len(lines) for *_, lines in faces])
    line, seen = shot.seen(lines, np.array([k for k, *_ in faces])[face])
    up, right, left = TONES
    items: list[Item] = []
    for n, (_, normal, width, _) in enumerate(faces):
        paths = _cut(shot, seen[face[line] == n])
        tone = up if normal[2] > 0.7 else right if normal @ shot.scene.view.right > 0 else left
        if paths:
            items.append(Lines(paths, Pen(1.25 * width * shot.scale, (), tone), "shade"))
    return items


def outlines(shot: Shot) -> tuple[FloatArray, FloatArray]:
    """The edges in sight of what is there and of what is new, each (n, 2, 2), mm."""
    lines, owner = shot.scene.seen_edges
    new = shot.new[owner]
    return shot.on_sheet(lines[~new]), shot.on_sheet(lines[new])


def edges(shot: Shot, thin: FloatArray, thick: FloatArray) -> list[Item]:
    """The outlines, as `outlines` has them, as lines."""
    drawn = ((_cut(shot, lines), pen) for lines, pen in ((thin, OLD), (thick, NEW)))
    return [Lines(paths, pen) for paths, pen in drawn if paths]


def holes(shot: Shot, joined: BoolArray) -> list[Item]:
    """Holes of what is new, dark, and of what it is bolted to (`joined`), as rims."""
    circle = np.linspace(0, 2 * np.pi, 13)[:-1]
    drilled = np.nonzero(joined[: len(shot.scene.members)])[0]
    seen = [h for h in shot.scene.holes_of(drilled.tolist()) if h.visible]
    if not seen:
        return []
    faces = [(h.member, tuple(h.normal.tolist())) for h in seen]
    place = {face: n for n, face in enumerate(dict.fromkeys(faces))}
    along = shot.scene.boxes.axes[[k for k, _ in place], 0]
    across = np.cross([normal for _, normal in place], along)
    rims = np.cos(circle)[:, None] * along[:, None] + np.sin(circle)[:, None] * across[:, None]
    flat = shot.scene.view.flat(rims) * shot.scene.hole / 2
    outline = shot.on_sheet(np.array([h.at for h in seen])[:, None] + flat[[place[face] for face in faces]])
    new = shot.new[[h.member for h in seen]]
    if shot.part:
        inside = shot.inside(outline)
        outline, new = outline[inside], new[inside]
    return [
        Area(path, 0.25 if fresh else "none", None if fresh else HOLE_RIM)
        for path, fresh in zip(as_paths(outline), new.tolist())
    ]


def floor(shot: Shot) -> list[Item]:
    """The floor below what stands on it, as a rectangle of thin lines where nothing hides it."""
    corners = box_corners(shot.scene.boxes).reshape(-1, 3)
    feet = corners[corners[:, 2] < corners[:, 2].min() + 0.5]
    low, high = feet.min(axis=0), feet.max(axis=0)
    (left, front), (right, back) = low[:2] - FLOOR_ROUND, high[:2] + FLOOR_ROUND
    xy = [(left, front), (right, front), (right, back), (left, back)]
    rim = np.array([(x, y, low[2]) for x, y in xy])
    _, seen = shot.seen(np.stack([rim, np.roll(rim, -1, axis=0)], axis=1), None)
    paths = as_paths(shot.clipped(seen))
    return [Lines(paths, FLOOR)] if paths else []


def arrow(shot: Shot, pointed: Sequence[int], direction: FloatArray, clutter: Clutter) -> list[Item]:
    """An open arrow from outside to the middle of these members; none where it would be seen end on."""
    if not len(pointed) or np.linalg.norm(shot.scene.view.flat(direction)) < 0.2:
        return []
    new = shot.scene.boxes.take(list(pointed))
    middle = new.centre.mean(axis=0)
    back = float(((box_corners(new).reshape(-1, 3) - middle) @ direction).min())
    tip, tail = (shot.flat(middle + d * direction) for d in (back - 0.4, back - 3.4))
    along = tip - tail
    length = float(np.linalg.norm(along))
    across = np.array([-along[1], along[0]]) / length
    neck = tip - along * min(3.2 / length, 0.6)
    outline = np.array(
        [
            tail + 0.7 * across,
            neck + 0.7 * across,
            neck + 1.7 * across,
            tip,
            neck - 1.7 * across,
            neck - 0.7 * across,
            tail - 0.7 * across,
        ]
    )
    clutter.add((*outline.min(axis=0), *outline.max(axis=0)), 400.0)
    if shot.part and not shot.inside(outline[None]).all():
        return []
    return [Area(as_paths(outline[None])[0], 1.0, Pen(0.35))]


def bolt_heads(
    shot: Shot, bolts: Sequence[Bolt], index: Mapping[str, int], clutter: Clutter
) -> tuple[list[Item], list[Item]]:
    """Heads, black where in sight and rings where not, and tags on thin lines with the holes they go through.

    Parameters
    ----------
    shot : Shot
        What is shown.
    bolts : sequence of Bolt
        Those that go in.
    index : mapping of str to int
        Member id -> its number in the shot.
    clutter : Clutter
        What is drawn already; heads and tags are added.
    """
    heads: list[Item] = []
    spots = []
    shown = [bolt for bolt in bolts if all(id in index for id, _ in bolt.through)]
    nearer = [np.dot(bolt.axis, shot.scene.view.towards) > 0 for bolt in shown]
    ends = np.array([bolt.end if near else bolt.start for bolt, near in zip(shown, nearer)], float)
    first = [index[bolt.through[-1 if near else 0][0]] for bolt, near in zip(shown, nearer)]
    covered = np.any(shot.scene.covered(ends, first), axis=1).tolist() if shown else []
    radius = float(np.clip(0.24 * shot.scale, 0.5, 1.1))
    for bolt, hidden, at in zip(shown, covered, shot.flat(ends) if shown else ()):
        if not shot.part or shot.inside(at[None, None]).all():
            heads.append(Disc(point(at), radius, "white" if hidden else "black", Pen(0.25)))
        clutter.add((*(at - radius), *(at + radius)), 400.0)
        new_first = bolt.through if shot.new[index[bolt.through[0][0]]] else bolt.through[::-1]
        spots.append((at, " ".join(f"{id}{hole + 1}" for id, hole in new_first)))
    return heads, [item for at, text in spots for item in _tag(at, text, clutter)]


def _tag(at: FloatArray, text: str, clutter: Clutter) -> list[Item]:
    """A text near a spot, where it covers least, with a thin line to it."""
    width = text_width(text, TAG)
    starts = at + _TAG_SPOTS - np.outer(_TAG_SHIFTS, (width, 0.0))
    half = TAG * LINE / 2
    chosen = clutter.choose(np.hstack([starts - (0.0, half), starts + (width, half)]), _TAG_PRICES)
    if chosen is None:
        return []
    tag = Text(point(starts[chosen]), text, TAG, "start", False, True, True)
    left, bottom, right, top = tag.box
    foot = (float(np.clip(at[0], left, right)), float(np.clip(at[1], bottom, top)))
    return [Lines(((point(at), foot),), THIN), tag]


def clutter_of(thin: FloatArray, thick: FloatArray, size: Size) -> Clutter:
    """The picture's ground with the edges, as `outlines` has them, for what finds its own place."""
    clutter = Clutter((0.0, 0.0, *size), 0.5)
    clutter.add_lines(thin, 12.0)
    clutter.add_lines(thick, 25.0)
    return clutter


def labels(shot: Shot, joined: BoolArray, clutter: Clutter) -> list[Item]:
    """Labels on members, larger on what is new; on members not `joined` only where there are few in all."""
    items: list[Item] = []
    few = len(shot.scene.members) <= FEW
    for k in sorted(range(len(joined)), key=lambda k: (not shot.new[k], not joined[k], k)):
        if not (joined[k] or few):
            continue
        spots = _seen_spots(shot, k)
        if not len(spots):
            continue
        size = LABEL if shot.new[k] else SMALL_LABEL
        order = np.argsort(np.abs(np.arange(len(spots)) - (len(spots) - 1) / 2), kind="stable")
        id, bold = shot.scene.ids[k], bool(shot.new[k])
        places = [Text(point(spots[i]), id, size, "middle", bold, True, True) for i in order]
        chosen = clutter.place(places, [0.5 * n for n in range(len(places))], limit=TAKEN / 5)
        if chosen:
            items.append(chosen)
    return items


def _seen_spots(shot: Shot, k: int) -> FloatArray:
    """Places on member `k` between two holes that are in sight, (n, 2) mm; of a fitting along its middle."""
    if k >= len(shot.scene.members):
        return shot.flat(shot.scene.plain_spots(k))
    m = shot.scene.members[k]
    slope = shot.scene.boxes.axes[k] @ shot.scene.view.towards
    face = 1 + int(np.abs(slope[1:]).argmax())
    normal = np.sign(slope[face]) * shot.scene.boxes.axes[k, face]
    between = np.arange(max(m.holes - 1, 1)) + (0.5 if m.holes > 1 else 0.0)
    spots = m.hole_centre(between) + normal * m.width / 2
    flat = shot.flat(spots[~shot.scene.hidden_spots("between holes", k, lambda: spots)])
    if not shot.part:
        return flat
    reach = [text_width(m.id, LABEL) / 2 + EDGE, LABEL]  # so that the label is in the picture, too
    return flat[((flat > reach) & (flat < np.array(shot.size) - reach)).all(axis=1)]


def first_holes(shot: Shot, clutter: Clutter) -> list[Item]:
    """A 1 at the end of each new member where its hole 1 is, off its outline, where there is room for it."""
    items: list[Item] = []
    for k in np.nonzero(shot.new[: len(shot.scene.members)])[0].tolist():
        m = shot.scene.members[k]
        end = shot.flat(m.hole_centre(-0.5)[None])[0]
        out = end - shot.flat(m.hole_centre(0.5)[None])[0]
        out = out / max(float(np.linalg.norm(out)), 1e-6)
        across = np.array([-out[1], out[0]])
        half = m.width / 2 * shot.scale
        spots = [
            end + out * (half + 1.2 + far) + across * aside for far in (0, 1.2) for aside in (0, half, -half)
        ]
        places = [Text(point(spot), "1", MARK, "middle", False, True, True) for spot in spots]
        chosen = clutter.place(places, [0.5 * n for n in range(len(places))], limit=TAKEN / 5)
        if chosen and (not shot.part or shot.inside(np.array(chosen.at)[None, None]).all()):
            items.append(chosen)
    return items


def axes(
    scene: ProjectedFrame, marks: Sequence[tuple[str, FloatArray]], clutter: Clutter, size: Size
) -> list[Item]:
    """Which way the frame's sides look, in the corner of the sheet where that covers least."""
    tips = [scene.view.flat(axis) * 4.5 for _, axis in marks]
    anchors = ["middle" if abs(tip[0]) < 2.0 else "start" if tip[0] > 0 else "end" for tip in tips]
    texts = [
        Text(point(tip * 1.3), name, MARK, where, plate=True)
        for (name, _), tip, where in zip(marks, tips, anchors)
    ]
    rods = [(*np.minimum(tip, 0), *np.maximum(tip, 0)) for tip in tips]
    boxes = np.array([*(text.box for text in texts), *rods])
    low, high = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
    starts = [
        np.array([x, y])
        for y in (EDGE - low[1], size[1] - EDGE - high[1])
        for x in (EDGE - low[0], size[0] - EDGE - high[0])
    ]
    start = min(starts, key=lambda at: clutter.cost((*(at + low), *(at + high))))
    items: list[Item] = [Lines(((point(start), point(start + tip)),), THIN) for tip in tips]
    return [*items, *moved(texts, *point(start))]
