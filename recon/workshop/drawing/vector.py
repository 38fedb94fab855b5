"""Line drawings as plain values, in mm with y upwards, and their SVG.

Everything on paper is drawn from these few shapes, so that PDF, SVG, HTML and DXF show one drawing.  Nothing rests on
colour: pens differ in width, dashes and grey.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from html import escape

import numpy as np

GLYPH = 0.64  # width of a letter against its height at most, on average, in the usual sans-serif and fixed-width faces
MARK_FACES = "DejaVu Sans Mono, Menlo, Consolas, Liberation Mono, monospace"
FACES = "DejaVu Sans, Verdana, Helvetica, Arial, sans-serif"
CAP = 0.72  # height of a capital against the size of its face

Point = tuple[float, float]


@dataclass(frozen=True)
class Pen:
    """width : mm.   dash : lengths of stroke and gap, mm; () is unbroken.   grey : 0 black to 1 white."""

    width: float
    dash: tuple[float, ...] = ()
    grey: float = 0.0


# Wide lines 0.5 to 0.35 mm and narrow ones half as wide: ISO 128-2, from memory; hidden outlines are dashed and narrow.
OUTLINE = Pen(0.4)
HIDDEN = Pen(0.18, (1.2, 0.8), 0.35)
FINE = Pen(0.18)
PALE = Pen(0.18, (), 0.5)
HATCH = Pen(0.15, (), 0.45)
LEADER = Pen(0.15)
CENTRE = Pen(0.18, (4.0, 0.8, 0.6, 0.8))


@dataclass(frozen=True)
class Lines:
    """Polylines drawn with one pen."""

    paths: tuple[tuple[Point, ...], ...]
    pen: Pen = OUTLINE
    layer: str = ""


@dataclass(frozen=True)
class Disc:
    """A circle.  fill : "none", "white" or "black"."""

    at: Point
    radius: float
    fill: str = "none"
    pen: Pen = FINE
    layer: str = ""


@dataclass(frozen=True)
class Area:
    """A closed polygon.  fill : "none", a grey from 0 to 1, or "hatch" (lines at 45 degrees)."""

    points: tuple[Point, ...]
    fill: str | float = "none"
    pen: Pen | None = OUTLINE
    layer: str = ""


@dataclass(frozen=True)
class Text:
    """One line of text; `at` is the middle of its height, and its start, middle or end by `anchor`.

    size : height of the face, mm.   plate : whether a white plate lies under it.   mark : a member's label or a hole
    number, in a face that tells I from 1 and O from 0.
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
    def box(self) -> tuple[float, float, float, float]:
        """Left, bottom, right, top, mm; a little wider than any usual face makes it."""
        width, height = text_width(self.text, self.size), self.size * 0.86
        left = self.at[0] - width * {"start": 0.0, "middle": 0.5, "end": 1.0}[self.anchor]
        return left, self.at[1] - height / 2, left + width, self.at[1] + height / 2


Item = Lines | Disc | Area | Text


@dataclass(frozen=True)
class Sheet:
    """A drawing on paper of `width` x `height` mm, origin in the lower left corner, drawn in the order of `items`."""

    width: float
    height: float
    items: tuple[Item, ...]
    title: str = ""


def text_width(text: str, size: float) -> float:
    """Width of a line of text, mm, at most; wide scripts take a whole square a letter."""
    return size * sum(1.0 if ord(c) > 0x2E80 else GLYPH for c in text)


def moved(items: Iterable[Item], dx: float, dy: float) -> list[Item]:
    """The items shifted by (dx, dy) mm."""

    def at(point):
        return point[0] + dx, point[1] + dy

    out = []
    for item in items:
        if isinstance(item, Lines):
            out.append(replace(item, paths=tuple(tuple(map(at, path)) for path in item.paths)))
        elif isinstance(item, Area):
            out.append(replace(item, points=tuple(map(at, item.points))))
        else:
            out.append(replace(item, at=at(item.at)))
    return out


def extent(items: Iterable[Item]) -> tuple[float, float, float, float]:
    """Left, bottom, right, top of the items, mm; pens have no width here."""
    points: list[Point] = []
    for item in items:
        if isinstance(item, Lines):
            points += [p for path in item.paths for p in path]
        elif isinstance(item, Area):
            points += item.points
        elif isinstance(item, Disc):
            points += [
                (item.at[0] - item.radius, item.at[1] - item.radius),
                (item.at[0] + item.radius, item.at[1] + item.radius),
            ]
        else:
            left, bottom, right, top = item.box
            points += [(left, bottom), (right, top)]
    corners = np.array(points, float).reshape(-1, 2)
    if not len(corners):
        return 0.0, 0.0, 0.0, 0.0
    return (*map(float, corners.min(axis=0)), *map(float, corners.max(axis=0)))


def hatching(points: Sequence[Point], step: float = 1.2) -> tuple[tuple[Point, Point], ...]:
    """Lines at 45 degrees, `step` mm apart, across a convex polygon."""
    corners = np.asarray(points, float)
    along = corners @ [-1.0, 1.0] / np.sqrt(2)
    lines = []
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
    """The drawing as an SVG document in mm; text stays text, and each layer's items are in groups with `data-layer`."""
    height = sheet.height
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_n(sheet.width)} {_n(height)}" width="{_n(sheet.width)}mm" '
        f'height="{_n(height)}mm" role="img" font-family="{FACES}" '
        f'stroke-linecap="round" stroke-linejoin="round">'
    ]
    if sheet.title:
        out.append(f"<title>{_escaped(sheet.title)}</title>")
    out.append(f'<rect width="{_n(sheet.width)}" height="{_n(height)}" fill="white"/>')
    layer = ""
    for item in sheet.items:
        if item.layer != layer:
            out += ["</g>"] * bool(layer) + [f'<g data-layer="{_escaped(item.layer)}">'] * bool(item.layer)
            layer = item.layer
        out.append(_SVG[type(item)](item, height))
    return "\n".join(out + ["</g>"] * bool(layer) + ["</svg>"]) + "\n"


def _n(value: float) -> str:
    return f"{value:.2f}".removesuffix("00").removesuffix(".")


def _escaped(text: str) -> str:
    """For XML, which knows no control characters."""
    return escape("".join(c if c.isprintable() else "\ufffd" for c in text))


def _stroke(pen: Pen | None) -> str:
    if pen is None:
        return 'stroke="none"'
    dash = f' stroke-dasharray="{" ".join(map(_n, pen.dash))}" stroke-linecap="butt"' if pen.dash else ""
    return f'stroke="{_grey(pen.grey)}" stroke-width="{_n(pen.width)}"{dash}'


def _grey(grey: float) -> str:
    level = round(255 * min(max(grey, 0.0), 1.0))
    return f"#{level:02x}{level:02x}{level:02x}"


def _path(points, height: float, close: str = "") -> str:
    return "M" + "L".join(f"{x:.2f} {height - y:.2f}" for x, y in points) + close


def _lines_svg(item: Lines, height: float) -> str:
    return f'<path d="{"".join(_path(p, height) for p in item.paths)}" fill="none" {_stroke(item.pen)}/>'


def _disc_svg(item: Disc, height: float) -> str:
    return (
        f'<circle cx="{_n(item.at[0])}" cy="{_n(height - item.at[1])}" r="{_n(item.radius)}" fill="{item.fill}" '
        f"{_stroke(item.pen)}/>"
    )


def _area_svg(item: Area, height: float) -> str:
    d = _path(item.points, height, "Z")
    if item.fill == "hatch":
        return (
            _lines_svg(Lines(hatching(item.points), HATCH), height)
            + f'<path d="{d}" fill="none" {_stroke(item.pen)}/>'
        )
    fill = item.fill if isinstance(item.fill, str) else _grey(item.fill)
    return f'<path d="{d}" fill="{fill}" {_stroke(item.pen)}/>'


def _text_svg(item: Text, height: float) -> str:
    x, y = item.at[0], height - item.at[1]
    left, bottom, right, top = item.box
    plate = (
        f'<rect x="{_n(left)}" y="{_n(height - top)}" width="{_n(right - left)}" height="{_n(top - bottom)}" fill="white"/>'
        if item.plate
        else ""
    )
    bold = (' font-weight="bold"' if item.bold else "") + (
        f' font-family="{MARK_FACES}"' if item.mark else ""
    )
    return (
        f'{plate}<text x="{_n(x)}" y="{_n(y + item.size * CAP / 2)}" font-size="{_n(item.size)}" '
        f'text-anchor="{item.anchor}"{bold}>{_escaped(item.text)}</text>'
    )


_SVG = {Lines: _lines_svg, Disc: _disc_svg, Area: _area_svg, Text: _text_svg}
