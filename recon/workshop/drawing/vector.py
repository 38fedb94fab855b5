"""Line drawings as plain values, in mm with y upwards, and their SVG.

Everything on paper is drawn from these few shapes, so that PDF, SVG, HTML and DXF show one drawing.  Nothing
rests on colour: pens differ in width, dashes and grey.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from html import escape

import numpy as np
from numpy.typing import ArrayLike

# Width of a letter against its height at most, on average, in the usual sans-serif and fixed-width typefaces.
GLYPH = 0.64
MARK_FACES = "DejaVu Sans Mono, Menlo, Consolas, Liberation Mono, monospace"
FACES = "DejaVu Sans, Verdana, Helvetica, Arial, sans-serif"
CAP = 0.72  # height of a capital against the size of its typeface
LINE = 0.86  # height of what a line of text takes up, the same; this project's choice

Point = tuple[float, float]  # mm
Path = tuple[Point, ...]
Rectangle = tuple[float, float, float, float]  # left, bottom, right, top, mm


@dataclass(frozen=True)
class Pen:
    """What lines are drawn with.

    Attributes
    ----------
    width : float
        mm.
    dash : tuple of float
        Lengths of stroke and gap, mm; () is unbroken.
    grey : float
        0, black, to 1, white.
    """

    width: float
    dash: tuple[float, ...] = ()
    grey: float = 0.0


# Wide lines 0.5 to 0.35 mm and narrow ones half as wide: ISO 128-2, from memory; hidden outlines are dashed
# and narrow.
OUTLINE = Pen(0.4)
HIDDEN = Pen(0.18, (1.2, 0.8), 0.35)
FINE = Pen(0.18)
PALE = Pen(0.18, (), 0.5)
HATCH = Pen(0.15, (), 0.45)
LEADER = Pen(0.15)
CENTRE = Pen(0.18, (4.0, 0.8, 0.6, 0.8))


@dataclass(frozen=True)
class Lines:
    """Polylines drawn with one pen.

    Attributes
    ----------
    paths : tuple of tuple of Point
    pen : Pen
    layer : str
        Id of the member that it belongs to, or empty, as with all items.
    """

    paths: tuple[Path, ...]
    pen: Pen = OUTLINE
    layer: str = ""


@dataclass(frozen=True)
class Disc:
    """A circle.

    Attributes
    ----------
    at : Point
        Its centre.
    radius : float
        mm.
    fill : str
        "none", "white" or "black".
    pen : Pen
    layer : str
    """

    at: Point
    radius: float
    fill: str = "none"
    pen: Pen = FINE
    layer: str = ""


@dataclass(frozen=True)
class Area:
    """A closed polygon.

    Attributes
    ----------
    points : tuple of Point
    fill : str or float
        "none", a grey from 0 to 1, or "hatch" (lines at 45 degrees).
    pen : Pen or None
    layer : str
    """

    points: Path
    fill: str | float = "none"
    pen: Pen | None = OUTLINE
    layer: str = ""


@dataclass(frozen=True)
class Text:
    """One line of text.

    Attributes
    ----------
    at : Point
        The middle of its height, and its start, middle or end by `anchor`.
    text : str
    size : float
        Height of the typeface, mm.
    anchor : str
        "start", "middle" or "end".
    bold : bool
    plate : bool
        Whether a white plate lies under it.
    mark : bool
        Whether it is a member's label or a hole number, in a typeface that tells I from 1 and O from 0.
    layer : str
    """

    at: Point
    text: str
    size: float
    anchor: str = "middle"
    bold: bool = False
    plate: bool = False
    mark: bool = False
    layer: str = ""

    @property
    def box(self) -> Rectangle:
        """What it takes up; a little wider than any usual typeface makes it."""
        width, height = text_width(self.text, self.size), self.size * LINE
        left = self.at[0] - width * {"start": 0.0, "middle": 0.5, "end": 1.0}[self.anchor]
        return left, self.at[1] - height / 2, left + width, self.at[1] + height / 2


Item = Lines | Disc | Area | Text


@dataclass(frozen=True)
class Sheet:
    """A drawing on paper; its origin is the lower left corner.

    Attributes
    ----------
    width, height : float
        mm.
    items : tuple of Item
        In the order in which they are drawn.
    title : str
    """

    width: float
    height: float
    items: tuple[Item, ...]
    title: str = ""


def as_paths(lines: ArrayLike) -> tuple[Path, ...]:
    """Lines of as many points each, an array (n, points, 2), as plain paths.

    Examples
    --------
    >>> as_paths(np.array([[[0.0, 1.0], [2.0, 3.0]]]))
    (((0.0, 1.0), (2.0, 3.0)),)
    """
    lines = np.asarray(lines, float)
    points = map(tuple, lines.reshape(-1, 2).tolist())
    return tuple(zip(*[points] * lines.shape[1]))  # as many points to each, in turn


def text_width(text: str, size: float) -> float:
    """Width of a line of text at most, in the unit of `size`; wide scripts take a whole square a letter."""
    if text.isascii():  # nearly all of it, and measured often
        return size * GLYPH * len(text)
    return size * sum(1.0 if ord(c) > 0x2E80 else GLYPH for c in text)


def moved(items: Iterable[Item], dx: float, dy: float) -> list[Item]:
    """The items shifted by (dx, dy) mm.

    Examples
    --------
    >>> moved([Disc((1.0, 2.0), 0.5)], 10.0, 0.0)[0].at
    (11.0, 2.0)
    """

    def shift(point: Point) -> Point:
        return point[0] + dx, point[1] + dy

    out: list[Item] = []
    for item in items:
        match item:
            case Lines():
                out.append(replace(item, paths=tuple(tuple(map(shift, path)) for path in item.paths)))
            case Area():
                out.append(replace(item, points=tuple(map(shift, item.points))))
            case Disc() | Text():
                out.append(replace(item, at=shift(item.at)))
    return out


def extent(items: Iterable[Item]) -> Rectangle:
    """What the items take up; pens have no width here.

    Examples
    --------
    >>> extent([Disc((1.0, 2.0), 0.5), Lines((((0.0, 0.0), (5.0, 0.0)),))])
    (0.0, 0.0, 5.0, 2.5)
    """
    points: list[Point] = []
    for item in items:
        match item:
            case Lines():
                points += [p for path in item.paths for p in path]
            case Area():
                points += item.points
            case Disc():
                (x, y), r = item.at, item.radius
                points += [(x - r, y - r), (x + r, y + r)]
            case Text():
                left, bottom, right, top = item.box
                points += [(left, bottom), (right, top)]
    if not points:
        return 0.0, 0.0, 0.0, 0.0
    (left, bottom), (right, top) = np.min(points, axis=0), np.max(points, axis=0)
    return float(left), float(bottom), float(right), float(top)


def hatching(points: Sequence[Point], step: float = 1.2) -> tuple[Path, ...]:
    """Lines at 45 degrees, `step` mm apart, across a convex polygon."""
    corners = np.asarray(points, float)
    along = corners @ [-1.0, 1.0] / np.sqrt(2)
    lines: list[Path] = []
    for level in np.arange(np.ceil(along.min() / step + 1e-9), along.max() / step) * step:
        hits = []
        for k in range(len(corners)):
            a, b = along[k - 1], along[k]
            if (a - level) * (b - level) < 0:
                hits.append(corners[k - 1] + (level - a) / (b - a) * (corners[k] - corners[k - 1]))
        if len(hits) == 2:
            lines.append(tuple((float(x), float(y)) for x, y in hits))
    return tuple(lines)


# SVG


def sheet_svg(sheet: Sheet) -> str:
    """The drawing as an SVG document in mm.

    Text stays text, and each layer's items are in groups with `data-layer`.

    Examples
    --------
    >>> print(sheet_svg(Sheet(20.0, 10.0, (Disc((5.0, 5.0), 2.0),))).splitlines()[2])
    <circle cx="5" cy="5" r="2" fill="none" stroke="#000000" stroke-width="0.18"/>
    """
    width, height = _n(sheet.width), _n(sheet.height)
    out = [
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}mm" '
            f'height="{height}mm" role="img" font-family="{FACES}" '
            f'stroke-linecap="round" stroke-linejoin="round">'
        )
    ]
    if sheet.title:
        out.append(f"<title>{_escaped(sheet.title)}</title>")
    out.append(f'<rect width="{width}" height="{height}" fill="white"/>')
    layer = ""
    for item in sheet.items:
        if item.layer != layer:
            out += ["</g>"] * bool(layer) + [f'<g data-layer="{_escaped(item.layer)}">'] * bool(item.layer)
            layer = item.layer
        out.append(_item_svg(item, sheet.height))
    return "\n".join(out + ["</g>"] * bool(layer) + ["</svg>"]) + "\n"


def _item_svg(item: Item, height: float) -> str:
    """One item on a sheet of this height, mm."""
    match item:
        case Lines():
            return _lines_svg(item, height)
        case Disc():
            return _disc_svg(item, height)
        case Area():
            return _area_svg(item, height)
        case Text():
            return _text_svg(item, height)


def _n(value: float) -> str:
    return f"{value:.2f}".removesuffix("00").removesuffix(".")


def _escaped(text: str) -> str:
    """For XML, which knows no control characters."""
    return escape("".join(c if c.isprintable() else "\ufffd" for c in text))


@lru_cache(maxsize=256)
def _stroke(pen: Pen | None) -> str:
    if pen is None:
        return 'stroke="none"'
    dash = f' stroke-dasharray="{" ".join(map(_n, pen.dash))}" stroke-linecap="butt"' if pen.dash else ""
    return f'stroke="{_grey(pen.grey)}" stroke-width="{_n(pen.width)}"{dash}'


def _grey(grey: float) -> str:
    level = round(255 * min(max(grey, 0.0), 1.0))
    return f"#{level:02x}{level:02x}{level:02x}"


def _paths(paths: Sequence[Path], height: float) -> str:
    template = "".join([_polyline(len(path)) for path in paths])
    return template % tuple([c for path in paths for x, y in path for c in (x, height - y)])


@lru_cache(maxsize=64)
def _polyline(points: int) -> str:
    return "M%.2f %.2f" + "L%.2f %.2f" * (points - 1)


def _lines_svg(item: Lines, height: float) -> str:
    return f'<path d="{_paths(item.paths, height)}" fill="none" {_stroke(item.pen)}/>'


def _disc_svg(item: Disc, height: float) -> str:
    return (
        f'<circle cx="{_n(item.at[0])}" cy="{_n(height - item.at[1])}" r="{_n(item.radius)}" '
        f'fill="{item.fill}" {_stroke(item.pen)}/>'
    )


def _area_svg(item: Area, height: float) -> str:
    d = _paths([item.points], height) + "Z"
    if item.fill == "hatch":
        lines = _lines_svg(Lines(hatching(item.points), HATCH), height)
        return f'{lines}<path d="{d}" fill="none" {_stroke(item.pen)}/>'
    fill = item.fill if isinstance(item.fill, str) else _grey(item.fill)
    return f'<path d="{d}" fill="{fill}" {_stroke(item.pen)}/>'


def _text_svg(item: Text, height: float) -> str:
    x, y = item.at[0], height - item.at[1]
    left, bottom, right, top = item.box
    plate = (
        f'<rect x="{_n(left)}" y="{_n(height - top)}" width="{_n(right - left)}" height="{_n(top - bottom)}" '
        'fill="white"/>'
        if item.plate
        else ""
    )
    bold = ' font-weight="bold"' if item.bold else ""
    face = f' font-family="{MARK_FACES}"' if item.mark else ""
    return (
        f'{plate}<text x="{_n(x)}" y="{_n(y + item.size * CAP / 2)}" font-size="{_n(item.size)}" '
        f'text-anchor="{item.anchor}"{bold}{face}>{_escaped(item.text)}</text>'
    )
