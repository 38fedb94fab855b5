"""Where in the photos a line's openings may be found: what lies elsewhere is none of its business."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from recon.geometry.arrays import BoolArray, FloatArray, IntArray
from recon.geometry.camera import world2camera
from recon.solve.evidence import heads, predictions
from recon.solve.evidence.along_line import LineOpenings
from recon.solve.evidence.candidate import LineKey
from recon.solve.evidence.posed_photo import PosedPhoto

MARGIN_PX = 1.0  # that a strip is wider than it need be: rounding


class HasOpenings(Protocol):
    """A line with its openings."""

    @property
    def openings(self) -> LineOpenings:
        """Of the line."""


@dataclass(frozen=True)
class _Strips:
    """In one photo a rectangle for each of L lines, within which its detections lie.

    Attributes
    ----------
    origin, way : (L, 2)
        A point of each, px, and the unit direction along it.
    low, high : (L, 2)
        From the origin along and across, px.
    """

    origin: FloatArray
    way: FloatArray
    low: FloatArray
    high: FloatArray

    def hold(self, px: FloatArray) -> BoolArray:
        """(L,) which strips hold one of some points (N, 2) px."""
        off_x, off_y = (px[None, :, k] - self.origin[:, None, k] for k in (0, 1))
        x, y = self.way[:, None, 0], self.way[:, None, 1]
        along, across = off_x * x + off_y * y, off_y * x - off_x * y
        # Side by side, not as a last dimension of two: reductions along that take most of the time.
        within = (along >= self.low[:, None, 0]) & (along <= self.high[:, None, 0])
        within &= (across >= self.low[:, None, 1]) & (across <= self.high[:, None, 1])
        return np.asarray(within.any(1), bool)


class LineReach:
    """Where in each photo the openings of some lines may be found.

    Parameters
    ----------
    photos : Sequence[PosedPhoto]
    lines : Mapping[LineKey, HasOpenings]
        On the lattice.
    """

    def __init__(self, photos: Sequence[PosedPhoto], lines: Mapping[LineKey, HasOpenings]) -> None:
        self.photos, self.keys = photos, list(lines)
        openings = [line.openings for line in lines.values()]
        self.strips = [_strips(photo, openings) for photo in photos]

    def of(self, taken: IntArray) -> list[LineKey]:
        """Lines that detections may be marks of; taken : one array of their numbers a photo (-1: none)."""
        held = np.zeros(len(self.keys), bool)
        for photo, strips, numbers in zip(self.photos, self.strips, taken):
            found = photo.openings[numbers[numbers >= 0]]
            if len(found) and len(self.keys):
                held |= strips.hold(np.c_[found["x"], found["y"]])
        return [self.keys[i] for i in np.nonzero(held)[0]]


def _strips(photo: PosedPhoto, lines: Sequence[LineOpenings]) -> _Strips:
    out = np.zeros((len(lines), 4, 2))
    for i, line in enumerate(lines):
        points = line.centre.reshape(-1, 3)
        if line.off is not None:
            points = points + np.tile(line.off, (4, 1))
        depth = world2camera(photo.camera, points)[:, 2]
        px = photo.camera.project(points)
        seen = np.isfinite(px).all(1) & (depth > predictions.LEAST_DEPTH)
        if not seen.any():
            out[i, 2], out[i, 3] = np.inf, -np.inf
            continue
        px = px[seen]
        scale = photo.camera.f / depth[seen].min()
        way = px[-1] - px[0]
        length = float(np.hypot(*way))
        way = way / length if length > 0 else np.array([1.0, 0.0])
        off = px - px[0]
        at = np.c_[off @ way, off[:, 1] * way[0] - off[:, 0] * way[1]]
        reach = _reach_px(photo, scale)
        out[i] = px[0], way, at.min(0) - reach, at.max(0) + reach
    return _Strips(*np.moveaxis(out, 1, 0))


def _reach_px(photo: PosedPhoto, scale: float) -> float:
    """How far from its predicted place an opening or a head may be found, px, at so many px a pitch."""
    place = max(predictions.PLACE, heads.PLACE)
    sigma = np.hypot(max(predictions.PLACE_PX, heads.PLACE_PX), np.hypot(place, photo.play) * scale)
    return float(max(predictions.REACH, heads.REACH) * sigma + 2 * max(heads.HEIGHTS) * scale + MARGIN_PX)
