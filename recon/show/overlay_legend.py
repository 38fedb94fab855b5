"""The marks of an overlay that need explaining, and the strip below it that explains them."""

from collections.abc import Callable
from typing import TypeAlias

import numpy as np
from PIL import Image, ImageDraw

from recon.geometry.arrays import FloatArray
from recon.show import colours
from recon.show.colours import BLACK, INK, ORANGE, SKY, VERMILLION, WHITE, YELLOW
from recon.show.marks import (
    DASHED,
    DOTTED,
    SOLID,
    Pattern,
    draw_ellipse,
    draw_line,
    draw_polygon,
    font,
)

# Draws a mark into the strip (RGB) at a place (2,) px, in units of this many px.
Mark: TypeAlias = Callable[[np.ndarray, FloatArray, float], None]


def draw_end_mark(image: np.ndarray, at: FloatArray, way: FloatArray, state: str, unit: float) -> None:
    """Draw the mark of an end: a bar (seen), a ring (hidden) or an arrow (cut).

    Parameters
    ----------
    image : uint8 array, shape (H, W, 3)
        RGB; drawn into.
    at : array, shape (2,)
        Where the end is, px.
    way : array, shape (2,)
        Points out of the member, px.
    state : str
        "seen", "hidden" or "cut".
    unit : float
        Size of the mark, in sevenths of its reach, px.
    """
    colour = colours.END[state]
    along = np.asarray(way, float) / max(np.linalg.norm(way), 1e-9)
    across = np.array([-along[1], along[0]])
    r = 7 * unit
    if state == "seen":
        draw_line(image, np.array([at - r * across, at + r * across]), colour, 3.2 * unit, halo=WHITE)
    elif state == "hidden":
        draw_ellipse(image, at, (0.8 * r,) * 2, 0, colour, 2.0 * unit, halo=WHITE)
    else:
        tip = at + 1.4 * r * along
        draw_line(image, np.array([at - r * along, tip]), colour, 2.2 * unit, halo=WHITE)
        draw_polygon(
            image, np.array([tip + 0.6 * r * along, tip - 0.7 * r * across, tip + 0.7 * r * across]), colour
        )


def _opening(strip: np.ndarray, at: FloatArray, unit: float) -> None:
    draw_ellipse(strip, at, (7 * unit, 6 * unit), 0, ORANGE, 1.3 * unit)


def _bolt(strip: np.ndarray, at: FloatArray, unit: float) -> None:
    diamond = at + np.array([(0, -8), (8, 0), (0, 8), (-8, 0), (0, -8)]) * unit
    draw_line(strip, diamond, VERMILLION, 1.6 * unit)


def _row(strip: np.ndarray, at: FloatArray, unit: float) -> None:
    draw_line(strip, at + np.array([(-11, 0), (11, 0)]) * unit, YELLOW, 1.4 * unit, DOTTED, halo=BLACK)


def _member(pattern: Pattern) -> Mark:
    def draw(strip: np.ndarray, at: FloatArray, unit: float) -> None:
        draw_line(strip, at + np.array([(-11, 0), (11, 0)]) * unit, SKY, 1.4 * unit, pattern, halo=INK)

    return draw


def _predicted_hole(strip: np.ndarray, at: FloatArray, unit: float) -> None:
    draw_ellipse(strip, at, (6 * unit, 6 * unit), 0, INK, -1)
    draw_ellipse(strip, at, (1.2 * unit,) * 2, 0, WHITE, -1)


def _end(state: str) -> Mark:
    def draw(strip: np.ndarray, at: FloatArray, unit: float) -> None:
        draw_end_mark(strip, at, np.array([1.0, 0.0]), state, unit)

    return draw


ENTRIES: tuple[tuple[Mark | None, str], ...] = (
    (_opening, "opening in a row (thin white: in none)"),
    (_bolt, "taken by a bolt"),
    (_row, "row"),
)
# Only where members are drawn.
MEMBER_ENTRIES: tuple[tuple[Mark | None, str], ...] = (
    (_member(SOLID), "member: label, holes"),
    (_member(DASHED), "member, not sure"),
    (_predicted_hole, "hole expected here"),
    (_end("seen"), "end seen"),
    (_end("hidden"), "end hidden"),
    (_end("cut"), "end beyond the border"),
    (None, "A1 = hole 1 of A is here; A +2? = A may go on for up to 2 holes, out of sight"),
)


# Why no members are drawn over a photo.
SET_ASIDE = "set aside, so no members are drawn"
ROWS_ALONE = "rows alone; the number at a row's end is its holes"


def draw_legend(width: int, unit: float, title: str, used: bool, why: str = SET_ASIDE) -> np.ndarray:
    """Draw the strip below an overlay: what each mark means, in as many lines as it takes.

    Parameters
    ----------
    width : int
        Of the overlay, px.
    unit : float
        A thousandth of the overlay's longer side, px.
    title : str
        What the first line begins with.
    used : bool
        Whether members are drawn, or the photo was set aside.
    why : str
        Why no members are drawn, where they are not.

    Returns
    -------
    uint8 array, shape (H, width, 3)
        RGB.
    """
    text_px = max(11, round(12.5 * unit))
    line_px, mark_px, gap = round(2.1 * text_px), round(2.4 * text_px), round(1.4 * text_px)
    entries = ENTRIES + MEMBER_ENTRIES if used else ENTRIES
    if not used:
        title += f"; {why}"
    face = font(text_px)
    spots: list[tuple[float, int]] = []
    x, y = float(gap), line_px
    for mark, text in entries:
        wide = (mark_px if mark else 0) + face.getlength(text) + gap
        if x + wide > width and x > gap:
            x, y = float(gap), y + line_px
        spots.append((x, y))
        x += wide
    strip = np.full((y + line_px + text_px // 2, width, 3), colours.LEGEND_BACKGROUND, np.uint8)
    for (mark, _), (x, y) in zip(entries, spots):
        if mark:
            mark(strip, np.array([x + mark_px / 2 - 0.2 * text_px, y + line_px / 2]), text_px / 12.5)
    canvas = Image.fromarray(strip)
    pen = ImageDraw.Draw(canvas)
    pen.text((gap, line_px / 2 + text_px / 5), title, INK, font(text_px, True), anchor="lm")
    for (mark, text), (x, y) in zip(entries, spots):
        pen.text((x + (mark_px if mark else 0), y + line_px / 2), text, INK, face, anchor="lm")
    return np.asarray(canvas)
