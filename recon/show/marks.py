"""Marks that overlays and pictures share: colours, line patterns, text on plates, and where plates go."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import cv2
import matplotlib
import numpy as np
from PIL import Image, ImageDraw, ImageFont

# Eight colours that people with any of the common colour blindnesses tell apart: M. Okabe, K. Ito, "Color Universal
# Design", 2002, https://jfly.uni-koeln.de/color/. Nothing rests on colour alone: patterns and shapes say the same.
BLACK, ORANGE, SKY, GREEN = (0, 0, 0), (230, 159, 0), (86, 180, 233), (0, 158, 115)
YELLOW, BLUE, VERMILLION, PURPLE = (240, 228, 66), (0, 114, 178), (213, 94, 0), (204, 121, 167)
WHITE, INK = (255, 255, 255), (25, 25, 25)

# Lengths of stroke and gap, in line widths; None is one unbroken line.
SOLID, DASHED, DOTTED = None, (6.0, 4.0), (1.0, 3.0)


@lru_cache
def font(size: int, bold: bool = False) -> ImageFont.FreeTypeFont:
    """The sans serif that matplotlib ships, so that pictures look the same on every machine."""
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(str(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name), size)


def _strokes(points: np.ndarray, pattern, width: float) -> list[np.ndarray]:
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


_SHIFT = 4  # OpenCV draws at 1/16 px


def draw_line(image: np.ndarray, points, colour, width: float, pattern=SOLID, halo=None) -> None:
    """Draw a polyline (n, 2) px into an RGB image; points that are not finite break it. halo: colour of a rim below it."""
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
            cv2.polylines(image, strokes, False, halo, max(1, round(width * 2.2)), cv2.LINE_AA, _SHIFT)
        cv2.polylines(image, strokes, False, colour, max(1, round(width)), cv2.LINE_AA, _SHIFT)


def draw_ellipse(image: np.ndarray, centre, radii, angle_deg: float, colour, width: float, halo=None) -> None:
    """Draw an ellipse outline; centre and radii in px. A width below 0 fills it."""
    centre = tuple(int(round(float(v) * 2**_SHIFT)) for v in centre)
    radii = tuple(int(round(max(float(v), 0.5) * 2**_SHIFT)) for v in radii)
    if halo is not None and width > 0:
        cv2.ellipse(
            image, centre, radii, angle_deg, 0, 360, halo, max(1, round(width * 2.2)), cv2.LINE_AA, _SHIFT
        )
    thickness = -1 if width < 0 else max(1, round(width))
    cv2.ellipse(image, centre, radii, angle_deg, 0, 360, colour, thickness, cv2.LINE_AA, _SHIFT)


def draw_polygon(image: np.ndarray, points, colour) -> None:
    """Fill a convex polygon (n, 2) px."""
    corners = np.rint(np.asarray(points, float) * 2**_SHIFT).astype(np.int32)
    cv2.fillConvexPoly(image, corners, colour, cv2.LINE_AA, _SHIFT)


@dataclass(frozen=True)
class Plate:
    """A small plate with text: bold first, then plain. places: (n, 2) px where its middle may go, the best first."""

    bold: str
    plain: str
    places: np.ndarray
    colour: tuple[int, int, int]
    text_px: int
    broken_rim: bool = False


def _after_bold(plate: Plate) -> str:
    return f" {plate.plain}" if plate.bold and plate.plain else plate.plain


def plate_size(plate: Plate) -> tuple[int, int]:
    """Width and height of a plate, px."""
    width = font(plate.text_px, True).getlength(plate.bold) + font(plate.text_px).getlength(
        _after_bold(plate)
    )
    return round(width + 0.7 * plate.text_px), round(1.45 * plate.text_px)


def place_plates(
    plates: Sequence[Plate], size: tuple[int, int], avoid: np.ndarray | None = None
) -> list[np.ndarray]:
    """Middle of each plate, (2,) px each: of its places the one that covers least of other plates and of `avoid`.

    size: width and height of the picture; avoid: (n, 2) px of marks better left in sight. Plates with the fewest places
    go first (greedy placement; J. Christensen, J. Marks, S. Shieber, "An Empirical Study of Algorithms for
    Point-Feature Label Placement", 1995, doi:10.1145/212332.212334).
    """
    avoid = np.empty((0, 2)) if avoid is None else np.asarray(avoid, float)
    boxes: list[np.ndarray] = []
    chosen: dict[int, np.ndarray] = {}
    for k in sorted(range(len(plates)), key=lambda k: len(plates[k].places)):
        half = np.array(plate_size(plates[k])) / 2
        places = np.clip(
            np.asarray(plates[k].places, float), half + 2, np.maximum(np.array(size) - half - 2, half + 2)
        )
        low, high = places - half, places + half
        cost = 0.002 * np.arange(len(places))
        for box in boxes:
            shared = np.minimum(high, box[2:]) - np.maximum(low, box[:2])
            cost = cost + 3 * np.prod(np.maximum(shared, 0), axis=1) / np.prod(2 * half)
        if len(avoid):
            inside = ((avoid[None] > low[:, None]) & (avoid[None] < high[:, None])).all(axis=2)
            cost = cost + 0.03 * inside.sum(axis=1)
        best = int(np.argmin(cost))
        chosen[k] = places[best]
        boxes.append(np.concatenate([low[best], high[best]]))
    return [chosen[k] for k in range(len(plates))]


def draw_plates(image: np.ndarray, plates: Sequence[Plate], middles: Sequence[np.ndarray]) -> np.ndarray:
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
