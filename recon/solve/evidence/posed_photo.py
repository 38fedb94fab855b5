"""A photo with its camera on the lattice, and what each of its detections is worth."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.spatial import cKDTree

from recon.geometry.arrays import BoolArray, FloatArray
from recon.geometry.camera import Camera
from recon.geometry.ellipses import face_distances, score_llr, shape_llr, unit_shapes
from recon.image.openings import local_density
from recon.solve.evidence.camera_prior import CameraPrior

LEAST_DENSITY = 1e-6  # detections per px^2: less are none


@dataclass(frozen=True)
class PosedPhoto:
    """One photo with its camera on the lattice, and N detections.

    Attributes
    ----------
    name : str
        Of the photo.
    camera : Camera
        In the lattice's world.
    size : tuple[int, int]
        Width, height px.
    openings : array, (N,)
        Detections of dtype OPENING.
    tree : cKDTree
        Over the detections' places.
    density : array, (N,)
        Detections per px^2 round each.
    hole : float
        Apparent hole diameter in pitches, as measured in this photo.
    free : bool array, (N,)
        Not yet explained by a member.
    mark : array, (N,)
        Nats: how much each detection looks like an opening at all.
    shape : array, (N, 3)
        Nats: how well its ellipse fits a face normal to each axis.
    prior : CameraPrior or None
        Of the camera, where one is known.
    play : float
        Spread of openings off the lattice in this photo, pitches.
    """

    name: str
    camera: Camera
    size: tuple[int, int]
    openings: np.ndarray
    tree: cKDTree
    density: FloatArray
    hole: float
    free: BoolArray
    mark: FloatArray
    shape: FloatArray
    prior: CameraPrior | None = None
    play: float = 0.0

    @cached_property
    def log_density(self) -> FloatArray:
        """(N,) natural logarithm of the density."""
        return np.asarray(np.log(np.maximum(self.density, LEAST_DENSITY)), float)

    @cached_property
    def axes(self) -> tuple[FloatArray, FloatArray]:
        """(N,), (N,) major and minor axes of the detections, px."""
        return self.openings["major"].copy(), self.openings["minor"].copy()


def make_posed_photo(
    name: str,
    camera: Camera,
    size: tuple[int, int],
    openings: np.ndarray,
    hole: float,
    prior: CameraPrior | None = None,
    play: float = 0.0,
) -> PosedPhoto:
    """A photo whose detections no member explains yet.

    Parameters
    ----------
    name : str
        Of the photo.
    camera : Camera
        In the lattice's world.
    size : tuple[int, int]
        Width, height px.
    openings : array, (N,)
        Detections of dtype OPENING.
    hole : float
        Apparent hole diameter, pitches.
    prior : CameraPrior or None
        Of the camera.
    play : float
        Spread of openings off the lattice, pitches.
    """
    px = np.c_[openings["x"], openings["y"]]
    tree = cKDTree(px)
    return PosedPhoto(
        name,
        camera,
        size,
        openings,
        tree,
        local_density(openings, tree),
        hole,
        np.ones(len(openings), bool),
        score_llr(openings["score"]),
        _shape_marks(camera, openings, px),
        prior,
        play,
    )


def _shape_marks(camera: Camera, openings: np.ndarray, px: FloatArray) -> FloatArray:
    """(N, 3) nats for the ellipses fitting a face normal to each axis."""
    return shape_llr(face_distances(camera, px, unit_shapes(openings)))


def with_camera(photo: PosedPhoto, camera: Camera) -> PosedPhoto:
    """The photo with another camera on the lattice."""
    px = np.c_[photo.openings["x"], photo.openings["y"]]
    return replace(photo, camera=camera, shape=_shape_marks(camera, photo.openings, px))
