"""The photo that a stage's marks are drawn over, and the strip below it that explains them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike

from recon.geometry.arrays import FloatArray
from recon.solve.debug.palette import INK, PAPER, Colour

SIDE_RANGE_PX = (1600, 2400)  # longer side of a picture: what a screen shows
SUB = 4  # OpenCV draws at 1/16 px
FONT = cv2.FONT_HERSHEY_SIMPLEX


@dataclass
class StageCanvas:
    """A muted photo to draw on.

    Places are px of the working copy; sizes are in ``unit``, a thousandth of the sheet's longer side.

    Attributes
    ----------
    image : (H, W, 3) uint8 BGR.
    scale : sheet px per px of the working copy.
    """

    image: np.ndarray
    scale: float

    @property
    def unit(self) -> float:
        """Px of the sheet."""
        return max(self.image.shape[:2]) / 1000

    def place(self, px: ArrayLike) -> FloatArray:
        """Px of the working copy to px of the sheet; pixel centres are at whole numbers in both."""
        return (np.asarray(px, float) + 0.5) * self.scale - 0.5

    def line(self, px: ArrayLike, colour: Colour, width: float = 0.9) -> None:
        """A polyline (M, 2); points that are not finite or far outside break it."""
        p = self.place(px)
        near = np.isfinite(p).all(1) & (np.abs(np.nan_to_num(p)) < 4 * max(self.image.shape)).all(1)
        for a, b, ok in zip(p[:-1], p[1:], near[:-1] & near[1:]):
            if ok:
                cv2.line(
                    self.image, _fine(a), _fine(b), colour, max(1, round(width * self.unit)), cv2.LINE_AA, SUB
                )

    def dot(self, px: ArrayLike, colour: Colour, radius: float = 1.6) -> None:
        """A filled disc; nothing where the place is not finite or far outside."""
        p = self.place(px)
        if np.isfinite(p).all() and (np.abs(p) < 4 * max(self.image.shape)).all():
            size = int(radius * self.unit * 2**SUB)
            cv2.circle(self.image, _fine(p), size, colour, -1, cv2.LINE_AA, SUB)

    def square(self, px: ArrayLike, colour: Colour, half: float = 3.0) -> None:
        """A square round a place."""
        h = half * self.unit / self.scale
        self.line(np.asarray(px) + np.array([[-h, -h], [h, -h], [h, h], [-h, h], [-h, -h]]), colour)

    def cross(self, px: ArrayLike, colour: Colour, half: float = 3.0) -> None:
        """A diagonal cross on a place."""
        h = half * self.unit / self.scale
        for a in ([1, 1], [1, -1]):
            self.line(np.asarray(px) + np.outer([-h, h], a), colour)

    def ellipse(self, opening: np.void, colour: Colour, width: float = 0.9) -> None:
        """The rim of a detection (one record of dtype OPENING)."""
        centre = self.place([opening["x"], opening["y"]])
        axes = np.maximum([opening["major"], opening["minor"]], 1.0) * self.scale / 2
        cv2.ellipse(
            self.image,
            _fine(centre),
            _fine(axes),
            float(np.degrees(opening["angle"])),
            0,
            360,
            colour,
            max(1, round(width * self.unit)),
            cv2.LINE_AA,
            SUB,
        )

    def text(self, px: ArrayLike, words: str, colour: Colour, plate: Colour = PAPER) -> None:
        """Words on a small plate beside a place; nothing where the place is outside."""
        p = self.place(px)
        H, W = self.image.shape[:2]
        if not np.isfinite(p).all() or not (0 <= p[0] < W and 0 <= p[1] < H):
            return
        size = 0.36 * self.unit / 1.6
        (w, h), _ = cv2.getTextSize(_ascii(words), FONT, size, 1)
        x, y = int(min(p[0] + 3 * self.unit, W - w - 4)), int(max(p[1] - 2 * self.unit, h + 4))
        cv2.rectangle(self.image, (x - 2, y - h - 2), (x + w + 2, y + 3), plate, -1)
        cv2.rectangle(self.image, (x - 2, y - h - 2), (x + w + 2, y + 3), colour, 1)
        cv2.putText(self.image, _ascii(words), (x, y), FONT, size, INK, 1, cv2.LINE_AA)

    def finished(self, title: str, key: Sequence[tuple[str, Colour]]) -> np.ndarray:
        """The picture with its strip: a title, and below it words beside patches of colour."""
        size = 0.5 * self.unit / 1.6
        high = int(44 * self.unit)
        strip = np.full((high, self.image.shape[1], 3), PAPER, np.uint8)
        left, first, second = int(8 * self.unit), int(17 * self.unit), int(36 * self.unit)
        cv2.putText(strip, _ascii(title), (left, first), FONT, size, INK, 1, cv2.LINE_AA)
        for words, colour in key:
            cv2.rectangle(
                strip, (left, second - int(9 * self.unit)), (left + int(12 * self.unit), second), colour, -1
            )
            left += int(16 * self.unit)
            cv2.putText(strip, _ascii(words), (left, second), FONT, size, INK, 1, cv2.LINE_AA)
            left += cv2.getTextSize(_ascii(words), FONT, size, 1)[0][0] + int(16 * self.unit)
        return np.vstack([self.image, strip])


def sheet_of(image: np.ndarray) -> StageCanvas:
    """A sheet with a photo (H, W, 3) uint8 BGR on it, a third of its colour left so that marks stand out."""
    longest = max(image.shape[:2])
    scale = min(max(longest, SIDE_RANGE_PX[0]), SIDE_RANGE_PX[1]) / longest
    if scale != 1:
        image = cv2.resize(
            image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
        )
    grey = cv2.cvtColor(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), cv2.COLOR_GRAY2BGR)
    return StageCanvas(cv2.addWeighted(image, 0.35, grey, 0.65, 0), scale)


def _fine(p: FloatArray) -> tuple[int, int]:
    """Px as OpenCV wants it: whole parts of a pixel."""
    x, y = (round(float(v) * 2**SUB) for v in p)
    return x, y


def _ascii(words: str) -> str:
    """OpenCV's stroke letters know no others."""
    return words.encode("ascii", "replace").decode()
