"""Marks that overlays and pictures share: line patterns, ellipses, text on plates, and where plates go."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TypeAlias

import cv2
import matplotlib
import numpy as np
from numpy.typing import ArrayLike
from PIL import Image, ImageDraw, ImageFont

from recon.geometry.arrays import FloatArray
from recon.show.colours import INK, WHITE, Colour

# Lengths of stroke and gap, in line widths; None is one unbroken line.
Pattern: TypeAlias = tuple[float, float] | None
SOLID: Pattern = None
DASHED: Pattern = (6.0, 4.0)
DOTTED: Pattern = (1.0, 3.0)

COVERED = 0.1  # share of a plate that another may cover: its rim, so that all text stays legible
_SHIFT = 4  # OpenCV draws at 1/16 px
_HALO = 2.2  # width of the rim below a line, in line widths


@lru_cache
def font(size: int, bold: bool = False) -> ImageFont.FreeTypeFont:
    """The sans serif that matplotlib ships, so that pictures look the same on every machine."""
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(str(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name), size)


def _strokes(points: FloatArray, pattern: Pattern, width: float) -> list[FloatArray]:
    """Cut a polyline (n, 2) px into the strokes of a pattern."""
    if pattern is None:
        return [points]
    step = np.linalg.norm(np.diff(points, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(step)])
    stroke, gap = pattern[0] * width, pattern[1] * width
    strokes = []
    for start in np.arange(0.0, along[-1], stroke + gap):
        at = np.concatenate(
            [[start], along[(along > start) & (along < start + stroke)], [min(start + stroke, along[-1])]]
        )
        strokes.append(np.column_stack([np.interp(at, along, points[:, k]) for k in (0, 1)]))
    return strokes


def draw_line(
    image: np.ndarray,
    points: ArrayLike,
    colour: Colour,
    width: float,
    pattern: Pattern = SOLID,
    halo: Colour | None = None,
) -> None:
    """Draw a polyline into an image.

    Parameters
    ----------
    image : uint8 array, shape (H, W, 3)
        RGB; drawn into.
    points : array_like, shape (n, 2)
        Corners of the polyline, px. Points that are not finite break it.
    colour : tuple of int
        RGB.
    width : float
        Line width, px.
    pattern : (stroke, gap) or None
        Lengths in line widths: SOLID, DASHED or DOTTED.
    halo : tuple of int, optional
        Colour of a rim below the line.

    Examples
    --------
    >>> import numpy as np
    >>> from recon.show.colours import BLACK
    >>> from recon.show.marks import draw_line
    >>> image = np.full((20, 100, 3), 255, np.uint8)
    >>> draw_line(image, [(10, 10), (90, 10)], BLACK, 3)
    >>> image[10, 50].tolist(), image[2, 50].tolist()
    ([0, 0, 0], [255, 255, 255])
    """
    points = np.asarray(points, float)
    good = np.isfinite(points).all(axis=1) & (np.abs(points) < 1e5).all(axis=1)
    runs = np.split(np.arange(len(points)), np.nonzero(np.diff(good.astype(int)))[0] + 1)
    for run in runs:
        if len(run) < 2 or not good[run[0]]:
            continue
        strokes = [
            np.rint(s * 2**_SHIFT).astype(np.int32)[:, None] for s in _strokes(points[run], pattern, width)
        ]
        if halo is not None:
            cv2.polylines(image, strokes, False, halo, _px(width * _HALO), cv2.LINE_AA, _SHIFT)
        cv2.polylines(image, strokes, False, colour, _px(width), cv2.LINE_AA, _SHIFT)


def _px(width: float) -> int:
    """A line width that OpenCV takes."""
    return max(1, round(width))


def draw_ellipse(
    image: np.ndarray,
    centre: ArrayLike,
    radii: ArrayLike,
    angle_deg: float,
    colour: Colour,
    width: float,
    halo: Colour | None = None,
) -> None:
    """Draw the outline of an ellipse into an image; centre and radii in px. A width below 0 fills it."""
    at = [round(float(v) * 2**_SHIFT) for v in np.asarray(centre, float)]
    reach = [round(max(float(v), 0.5) * 2**_SHIFT) for v in np.asarray(radii, float)]
    if halo is not None and width > 0:
        cv2.ellipse(image, at, reach, angle_deg, 0, 360, halo, _px(width * _HALO), cv2.LINE_AA, _SHIFT)
    thickness = -1 if width < 0 else _px(width)
    cv2.ellipse(image, at, reach, angle_deg, 0, 360, colour, thickness, cv2.LINE_AA, _SHIFT)


def draw_polygon(image: np.ndarray, points: ArrayLike, colour: Colour) -> None:
    """Fill a convex polygon in an image; points (n, 2) px."""
    corners = np.rint(np.asarray(points, float) * 2**_SHIFT).astype(np.int32)
    cv2.fillConvexPoly(image, corners, colour, cv2.LINE_AA, _SHIFT)


@dataclass(frozen=True)
class Plate:
    """A small plate with text.

    Attributes
    ----------
    bold, plain : str
        The text: the bold part first.
    places : array, shape (n, 2)
        Where its middle may go, px, the best first.
    colour : tuple of int
        Of the rim, RGB.
    text_px : int
        Height of the text.
    broken_rim : bool
        Whether the rim is drawn broken, for what is not sure.
    """

    bold: str
    plain: str
    places: FloatArray
    colour: Colour
    text_px: int
    broken_rim: bool = False


def _after_bold(plate: Plate) -> str:
    """The plain text, apart from the bold one by a space."""
    return f" {plate.plain}" if plate.bold and plate.plain else plate.plain


def plate_size(plate: Plate) -> tuple[int, int]:
    """Width and height of a plate, px."""
    width = font(plate.text_px, True).getlength(plate.bold) + font(plate.text_px).getlength(
        _after_bold(plate)
    )
    return round(width + 0.7 * plate.text_px), round(1.45 * plate.text_px)


def place_plates(
    plates: Sequence[Plate], size: tuple[int, int], avoid: ArrayLike | None = None
) -> list[FloatArray]:
    """Choose a place for each plate: the one that covers least of other plates and of `avoid`.

    Parameters
    ----------
    plates : sequence of Plate
        Those with the fewest places go first.
    size : (int, int)
        Width and height of the picture, px.
    avoid : array_like, shape (n, 2), optional
        Marks better left in sight, px.

    Returns
    -------
    list of array, shape (2,)
        Middle of each plate, px.

    References
    ----------
    Greedy placement: J. Christensen, J. Marks, S. Shieber, "An Empirical Study of Algorithms for
    Point-Feature Label Placement", 1995, doi:10.1145/212332.212334.

    Examples
    --------
    >>> import numpy as np
    >>> from recon.show.colours import BLUE
    >>> from recon.show.marks import Plate, place_plates
    >>> plate = Plate("A", "12", np.array([(50.0, 50.0), (50.0, 150.0)]), BLUE, 12)
    >>> [at.tolist() for at in place_plates([plate, plate], (200, 200))]
    [[50.0, 50.0], [50.0, 150.0]]
    """
    marks = np.empty((0, 2)) if avoid is None else np.asarray(avoid, float)
    taken = np.empty((len(plates), 4))
    chosen: dict[int, FloatArray] = {}
    for k in sorted(range(len(plates)), key=lambda k: len(plates[k].places)):
        half = np.array(plate_size(plates[k])) / 2
        places = np.clip(
            np.asarray(plates[k].places, float), half + 2, np.maximum(np.array(size) - half - 2, half + 2)
        )
        low, high = places - half, places + half
        cost = 0.002 * np.arange(len(places))
        boxes = taken[: len(chosen)]
        shared = np.minimum(high[:, None], boxes[:, 2:]) - np.maximum(low[:, None], boxes[:, :2])
        cost = cost + 3 * np.maximum(shared, 0).prod(axis=2).sum(axis=1) / np.prod(2 * half)
        if len(marks):
            inside = ((marks[None] > low[:, None]) & (marks[None] < high[:, None])).all(axis=2)
            cost = cost + 0.03 * inside.sum(axis=1)
        best = int(np.argmin(cost))
        taken[len(chosen)] = *low[best], *high[best]
        chosen[k] = places[best]
    return [chosen[k] for k in range(len(plates))]


def with_room(plates: Sequence[Plate], middles: Sequence[FloatArray]) -> list[int]:
    """Places in the list of the plates that stay legible: those that no plate before them covers.

    >>> at = [np.array([50.0, 50.0]), np.array([55.0, 50.0]), np.array([200.0, 50.0])]
    >>> with_room([Plate("A", "12", np.zeros((1, 2)), INK, 12)] * 3, at)
    [0, 2]
    """
    kept: list[int] = []
    boxes = np.empty((len(plates), 4))
    for k, (plate, middle) in enumerate(zip(plates, middles)):
        half = np.array(plate_size(plate)) / 2
        low, high = middle - half, middle + half
        others = boxes[: len(kept)]
        shared = np.minimum(high, others[:, 2:]) - np.maximum(low, others[:, :2])
        if (np.maximum(shared, 0).prod(axis=1) <= COVERED * np.prod(2 * half)).all():
            boxes[len(kept)] = *low, *high
            kept.append(k)
    return kept


def draw_plates(image: np.ndarray, plates: Sequence[Plate], middles: Sequence[FloatArray]) -> np.ndarray:
    """The RGB image with the plates on it: light plate, dark text, rim in the plate's colour."""
    canvas = Image.fromarray(image)
    pen = ImageDraw.Draw(canvas)
    for plate, middle in zip(plates, middles):
        width, height = plate_size(plate)
        left, top = middle[0] - width / 2, middle[1] - height / 2
        box = (left, top, left + width, top + height)
        rim = max(2, plate.text_px // 8)
        pen.rounded_rectangle(box, radius=0.3 * plate.text_px, fill=WHITE, outline=plate.colour, width=rim)
        if plate.broken_rim:
            for x in np.arange(
                left + plate.text_px * 0.5, left + width - plate.text_px * 0.4, plate.text_px * 0.6
            ):
                for y in (top, top + height - rim):
                    pen.rectangle((x, y, x + plate.text_px * 0.25, y + rim), fill=WHITE)
        x, y = left + 0.35 * plate.text_px, middle[1]
        pen.text((x, y), plate.bold, INK, font(plate.text_px, True), anchor="lm")
        x += font(plate.text_px, True).getlength(plate.bold)
        pen.text((x, y), _after_bold(plate), INK, font(plate.text_px), anchor="lm")
    return np.asarray(canvas)
