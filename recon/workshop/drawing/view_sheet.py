"""Views on a sheet of paper, with their sizes, the scale and what the marks mean.

One alone, or front, top and side in first- or third-angle projection (ISO 128-3; ASME Y14.3).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from recon.frame.length import both_text, mm_text
from recon.frame.model import Frame
from recon.geometry.arrays import FloatArray
from recon.workshop.drawing.projections import ViewBoard
from recon.workshop.drawing.vector import (
    FINE,
    OUTLINE,
    Area,
    Disc,
    Item,
    Lines,
    Point,
    Sheet,
    Text,
    extent,
    moved,
    text_width,
)
from recon.workshop.drawing.view_drawing import NOTES, draw_view
from recon.workshop.wording import listed

Size = tuple[float, float]  # width and height, mm
SHEETS: tuple[Size, ...] = (
    (277.0, 190.0),
    (190.0, 277.0),
)  # mm: A4 within margins of 10 mm, lying and upright
# The n of 1:n.
SCALES = tuple(n * 10.0**e for e in range(4) for n in (1, 1.25, 1.5, 2, 2.5, 3, 4, 5, 6, 7, 8, 9))
GAP = 19.0  # mm left of a view, with room for its height, and half as much below it for its width
HEAD = 9.0  # mm over a view, for its title
BLOCK = 19.0  # mm at the foot, for the title block
LEGIBLE = 2.4  # mm per pitch from which labels have room on the sheet of three views
COMFORTABLE = 7.0  # mm per pitch at which all that is written has room: this project's choice
NUMBERED = 4.3  # mm per pitch from which numbers have room on members: those of 6 points over their holes
WORTH = 1.4  # times larger, from which a view that is legible already is drawn again: this project's choice
TITLE, SMALL = 3.4, 2.3  # mm, sizes of text
SYMBOL, BAR_WORDS = 36.0, 34.0  # mm: of the symbol with its words, and of the words under the scale bar
ARROW = 1.6  # mm, length of the head of a dimension line


def side_of(angle: str) -> str:
    """The side view that lies to the right of the front: in first angle what is seen from the left."""
    return "Left" if angle == "first" else "Right"


def three_views_sheet(board: ViewBoard, size: Size, angle: str) -> Sheet:
    """Front, top and side on one sheet.

    Parameters
    ----------
    board : ViewBoard
    size : (float, float)
        Width and height of the sheet, mm.
    angle : str
        "first" or "third".
    """
    together = _together(board, angle)
    front, top = board.span("Front"), board.span("Top")
    scale = _scale(board.frame, (np.array(size) - _around(2)) / together)
    free = np.array(size) - _around(2) - together * scale
    left = GAP + free[0] / 3
    upper, lower = ("Front", "Top") if angle == "first" else ("Top", "Front")
    low = {lower: BLOCK + GAP / 2 + free[1] / 3}
    low[upper] = low[lower] + (front if lower == "Front" else top)[1] * scale + HEAD + GAP / 2 + free[1] / 3
    aside = left + front[0] * scale + GAP + free[0] / 3
    words = scale >= LEGIBLE
    items = _placed(board, "Front", scale, left, low["Front"], words)
    items += _placed(board, "Top", scale, left, low["Top"], words, across=False)
    items += _placed(board, side_of(angle), scale, aside, low["Front"], words, up=False)
    notes = NOTES if words else ("Too small for labels: they are on the sheets of single views.",)
    items += _block(board.frame, size, scale, "Three views", angle, notes)
    return Sheet(*size, tuple(items), "Three views")


def best_sheet(board: ViewBoard, angle: str, sizes: Sequence[Size] = SHEETS) -> Sheet:
    """The three views on the one of these sizes of sheet on which they come out largest.

    Parameters
    ----------
    board : ViewBoard
    angle : str
        "first" or "third".
    sizes : sequence of (float, float)
        Width and height, mm.

    Examples
    --------
    >>> from recon.frame.model import Frame, Member
    >>> post = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12)
    >>> sheet = best_sheet(ViewBoard(Frame((post,)), 0.28), "first")
    >>> sheet.width, sheet.height
    (190.0, 277.0)
    """
    return three_views_sheet(board, _larger(_together(board, angle), sizes, 2), angle)


def _together(board: ViewBoard, angle: str) -> FloatArray:
    """What the three views take across and up, pitches."""
    return board.span("Front") + [board.span(side_of(angle))[0], board.span("Top")[1]]


def view_sheets(board: ViewBoard, angle: str, names: Sequence[str], sizes: Sequence[Size]) -> list[Sheet]:
    """The three views on a sheet, and the other views on as few as leave them legible.

    Front, top and side are drawn once more only where they are small beside one another and come out clearly
    larger.

    Parameters
    ----------
    board : ViewBoard
    angle : str
        "first" or "third".
    names : sequence of str
        Views that are needed, front, top and side among them.
    sizes : sequence of (float, float)
        Width and height of the sheets, mm.
    """
    sheets = [best_sheet(board, angle, sizes)]
    main = ("Front", "Top", side_of(angle))
    together = _fitting(board, _together(board, angle), sizes, (2, 2))
    if together >= COMFORTABLE:
        names = [name for name in names if name not in main]
    waiting = list(names)
    while waiting:
        group, (most, size, level) = waiting[:1], _arranged(board, waiting[:1], sizes)
        for name in waiting[1:]:
            alone = min(_arranged(board, [n], sizes)[0] for n in (*group, name))
            scale, larger, way = _arranged(board, [*group, name], sizes)
            if scale >= min(COMFORTABLE, alone):
                group, most, size, level = [*group, name], scale, larger, way
        waiting = [name for name in waiting if name not in group]
        if set(group) <= set(main) and together >= NUMBERED and most < WORTH * together:
            continue
        sheets.append(_views_sheet(board, group, size, level))
    return sheets


def _fitting(board: ViewBoard, spans: FloatArray, sizes: Sequence[Size], count: tuple[int, int]) -> float:
    """mm per pitch at which views that take `spans` pitches, so many across and up, fit on a sheet."""
    return max(_scale(board.frame, (np.array(size) - _margins(*count)) / spans) for size in sizes)


def _arranged(board: ViewBoard, names: Sequence[str], sizes: Sequence[Size]) -> tuple[float, Size, bool]:
    """The largest scale of views side by side or one over another, the sheet's size, whether side by side."""
    spans = np.array([board.span(name) for name in names])
    found = []
    for level in (True, False):
        across = spans[:, 0].sum() if level else spans[:, 0].max()
        up = spans[:, 1].max() if level else spans[:, 1].sum()
        count = (len(names), 1) if level else (1, len(names))
        for size in sizes:
            room = (np.array(size) - _margins(*count)) / [across, up]
            found.append((_scale(board.frame, room), size, level))
    return max(found, key=lambda f: f[0])


def _views_sheet(board: ViewBoard, names: Sequence[str], size: Size, level: bool) -> Sheet:
    """Several views side by side, or one over another, the first on top."""
    scale = _arranged(board, names, [size])[0]
    spans = np.array([board.span(name) for name in names]) * scale
    count = (len(names), 1) if level else (1, len(names))
    used = [spans[:, 0].sum(), spans[:, 1].max()] if level else [spans[:, 0].max(), spans[:, 1].sum()]
    free = np.array(size) - _margins(*count) - used
    items: list[Item] = []
    x, y = GAP + free[0] / (count[0] + 1), BLOCK + GAP / 2 + free[1] / (count[1] + 1)
    for name, (width, height) in zip(names if level else names[::-1], spans if level else spans[::-1]):
        items += _placed(board, name, scale, x, y)
        x += (width + GAP + free[0] / (count[0] + 1)) if level else 0.0
        y += 0.0 if level else height + HEAD + GAP / 2 + free[1] / (count[1] + 1)
    title = listed(names)
    items += _block(board.frame, size, scale, title, "", NOTES)
    return Sheet(*size, tuple(items), title)


def one_view_sheet(board: ViewBoard, name: str, sizes: Sequence[Size] = SHEETS) -> Sheet:
    """One view, as large as it comes out on one of these sizes of sheet, mm."""
    span = board.span(name)
    size = _larger(span, sizes, 1)
    scale = _scale(board.frame, (np.array(size) - _around(1)) / span)
    free = np.array(size) - _around(1) - span * scale
    items = _placed(board, name, scale, GAP + free[0] / 2, BLOCK + GAP / 2 + free[1] / 2)
    items += _block(board.frame, size, scale, name, "", NOTES)
    return Sheet(*size, tuple(items), name)


def _around(views: int) -> FloatArray:
    """mm of a sheet, across and up, that so many views side by side and one over another leave for text."""
    return _margins(views, views)


def _margins(across: int, up: int) -> FloatArray:
    """The same for views so many side by side and so many one over another."""
    return np.array([across * GAP + 6, BLOCK + up * (HEAD + GAP / 2)])


def _larger(spans: FloatArray, sizes: Sequence[Size], views: int) -> Size:
    """The size of paper on which views of these spans together come out largest.

    spans : across and up, pitches.
    """
    return max(sizes, key=lambda size: float(((np.array(size) - _around(views)) / spans).min()))


def _scale(frame: Frame, room: FloatArray) -> float:
    """mm per pitch: the largest usual scale at which it fits; whatever fits where the pitch is not known."""
    most = max(float(np.min(room)), 0.05)
    if not frame.pitch_mm:
        return min(most, 20.0)
    return frame.pitch_mm / next((s for s in SCALES if frame.pitch_mm / s <= most), frame.pitch_mm / most)


def _placed(
    board: ViewBoard,
    name: str,
    scale: float,
    x: float,
    y: float,
    words: bool = True,
    across: bool = True,
    up: bool = True,
) -> list[Item]:
    """The view with title and its sizes `across` and `up`, its lower left corner at (x, y) mm."""
    scene, frame = board.scene(name), board.frame
    points = scene.edges[0].reshape(-1, 2) * scale
    (left, low), (right, high) = points.min(axis=0), points.max(axis=0)
    drawn = draw_view(board, name, scale, words=words)
    bottom, leftmost = min(extent(drawn)[1], low), min(extent(drawn)[0], left)
    span = (points.max(axis=0) - points.min(axis=0)) / scale * (frame.pitch_mm or 1.0)
    width, height = (both_text(s) if frame.pitch_mm else f"{s:.4g} pitches" for s in span)
    if across:
        drawn += _dimension((left, low), (right, low), bottom - 5, width, level=True)
    if up:
        drawn += _dimension((left, low), (left, high), leftmost - 2, height, level=False)
    title = f"{scene.view.name} view"
    drawn.append(Text((float(left), max(extent(drawn)[3], float(high)) + 3.6), title, TITLE, "start", True))
    return moved(drawn, x - left, y - low)


def _dimension(start: Point, end: Point, line: float, text: str, level: bool) -> list[Item]:
    """A dimension line between two points of the view (ISO 129-1).

    It is drawn level at y = `line`, or upright at x = `line`.
    """

    def at(along: float, across: float) -> Point:
        return (float(along), float(across)) if level else (float(across), float(along))

    a, b = (start[0], end[0]) if level else (start[1], end[1])
    edge = start[1] if level else start[0]
    extensions = [(at(k, edge - 1), at(k, line - 1)) for k in (a, b)]
    items: list[Item] = [Lines((*extensions, (at(a, line), at(b, line))), FINE)]
    if b - a > 6:
        for tip, s in ((a, 1), (b, -1)):
            base = tip + s * ARROW
            items.append(Area((at(tip, line), at(base, line + 0.35), at(base, line - 0.35)), 0.0, FINE))
    middle = (a + b) / 2
    if level:
        return [*items, Text(at(middle, line), text, SMALL, "middle", False, True)]
    words = text.split(" (")
    lines = [words[0], "(" + words[1]] if len(words) == 2 else [text]
    return items + [
        Text((line - 1, middle + (len(lines) / 2 - k - 0.5) * 1.25 * SMALL), word, SMALL, "end")
        for k, word in enumerate(lines)
    ]


def _block(
    frame: Frame, size: Size, scale: float, title: str, angle: str, notes: Sequence[str]
) -> list[Item]:
    """The strip at the foot: what it is, scale, projection, and what the marks mean."""
    width = size[0]
    name = f"{frame.name}: {title}" if frame.name else title
    items: list[Item] = [Lines((((0.5, BLOCK - 2), (width - 0.5, BLOCK - 2)),), OUTLINE)]
    room = _bar_start(width, scale) - SYMBOL * bool(angle) - 3
    while text_width(name, TITLE) > room and len(name) > 12:
        name = name[:-2].rstrip() + "\u2026"
    items.append(Text((1.0, BLOCK - 5.5), name, TITLE, "start", True))
    items.append(Text((1.0, BLOCK - 10), _scale_words(frame, scale), SMALL, "start"))
    items += [
        Text((1.0, BLOCK - 13.4 - 3.1 * k), line, SMALL, "start")
        for k, line in enumerate(_note_lines(notes, width - 2))
    ]
    items += _bar(frame, width, scale)
    return items + (_symbol(_bar_start(width, scale), angle) if angle else [])


def _note_lines(notes: Sequence[str], width: float) -> list[str]:
    lines = [""]
    for note in notes:
        longer = f"{lines[-1]}   {note}".strip()
        if text_width(longer, SMALL) > width and lines[-1]:
            lines.append(note)
        else:
            lines[-1] = longer
    return lines


def _scale_words(frame: Frame, scale: float) -> str:
    if not frame.pitch_mm:
        return "Pitch not known: no scale."
    ratio = frame.pitch_mm / scale
    return f"Scale 1:{ratio:.4g} where printed at full size.  Pitch {both_text(frame.pitch_mm)}."


def _bar(frame: Frame, width: float, scale: float) -> list[Item]:
    """A scale bar of a round number of holes, drawn at the right of the strip."""
    count = _bar_holes(scale)
    x, y = width - 2 - count * scale, BLOCK - 7.8
    ticks = [
        ((x + k * count * scale / 5, y), (x + k * count * scale / 5, y + (1.6 if k in (0, 5) else 0.9)))
        for k in range(6)
    ]
    text = f"{count} holes" + (f" = {mm_text(count * frame.pitch_mm)}" if frame.pitch_mm else "")
    return [
        Lines((((x, y), (width - 2, y)), *ticks), FINE),
        Text((width - 2, BLOCK - 10.3), text, SMALL, "end"),
    ]


def _bar_holes(scale: float) -> int:
    return next((n for n in (1, 2, 5, 10, 20, 50, 100, 200, 500) if n * scale >= 22), 1000)


def _bar_start(width: float, scale: float) -> float:
    """The left end of the scale bar and of the words under it, mm."""
    return width - 2 - max(_bar_holes(scale) * scale, BAR_WORDS)


def _symbol(right: float, angle: str) -> list[Item]:
    """The truncated cone of ISO 5456-2, left of x = `right`.

    In first angle the circles are to the right of its side view, in third to the left.
    """
    x, y = right - SYMBOL, BLOCK - 6.2
    cone, rings = (x, x + 11) if angle == "first" else (x + 6, x + 3)
    outline = ((cone, y - 1), (cone + 7, y - 2), (cone + 7, y + 2), (cone, y + 1))
    return [
        Area(outline, "none", FINE),
        Disc((rings, y), 2.0),
        Disc((rings, y), 1.0),
        Text((x + 16, y), f"{angle} angle", SMALL, "start"),
    ]
