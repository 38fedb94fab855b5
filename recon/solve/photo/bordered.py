"""A picture within borders that no camera saw: read without them, told in the whole picture's pixels."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from recon.geometry.arrays import FloatArray
from recon.geometry.camera import Camera
from recon.image.borders import Box
from recon.solve.evidence.posed_photo import PosedPhoto, make_posed_photo
from recon.solve.photo.photo_lattice import PhotoLattice
from recon.solve.photo.photo_reading import PhotoReading
from recon.solve.photo.read_photo import read_photo


def read_within(
    box: Box,
    name: str,
    openings: np.ndarray,
    size: tuple[int, int],
    focal_px: float | None,
    width: float | None = None,
) -> PhotoReading:
    """:func:`recon.solve.photo.read_photo.read_photo` of the part of a picture that a camera saw.

    Parameters
    ----------
    box : left, top, right, low of that part, px
    name, openings, size, focal_px, width : as of `read_photo`, of the whole picture

    Examples
    --------
    >>> from recon.image.openings import OPENING
    >>> read_within((0, 40, 800, 560), "a.png", np.zeros(3, OPENING), (800, 600), None).size
    (800, 600)
    """
    left, top, right, low = box
    if (left, top, right, low) == (0, 0, *size):
        return read_photo(name, openings, size, focal_px, width)
    corner = np.array([left, top], float)
    reading = read_photo(name, _shifted(openings, -corner), (right - left, low - top), focal_px, width)
    solutions = [_in_whole(photo, lattice, corner, size) for photo, lattice in reading.solutions]
    left_out = None if reading.left_out is None else _shifted(reading.left_out, corner)
    whole = replace(reading, size=size, openings=_shifted(reading.openings, corner), left_out=left_out)
    if not solutions:
        return whole
    (photo, lattice), *others = solutions
    return replace(whole, photo=photo, lattice=lattice, others=tuple(others))


def _shifted(openings: np.ndarray, by: FloatArray) -> np.ndarray:
    """The openings moved by (2,) px."""
    out = openings.copy()
    out["x"] += by[0]
    out["y"] += by[1]
    return out


def _in_whole(
    photo: PosedPhoto, lattice: PhotoLattice, corner: FloatArray, size: tuple[int, int]
) -> tuple[PosedPhoto, PhotoLattice]:
    """A solution in the pixels of the whole picture."""

    def moved(camera: Camera) -> Camera:
        return replace(camera, cx=camera.cx + corner[0], cy=camera.cy + corner[1])

    prior = photo.prior
    if prior is not None:
        prior = replace(prior, point=(prior.point[0] + corner[0], prior.point[1] + corner[1]))
    points = replace(lattice.placed.points, px=lattice.placed.points.px + corner)
    return (
        make_posed_photo(
            photo.name,
            moved(photo.camera),
            size,
            _shifted(photo.openings, corner),
            photo.hole,
            prior,
            photo.play,
        ),
        replace(lattice, camera=moved(lattice.camera), placed=replace(lattice.placed, points=points)),
    )
