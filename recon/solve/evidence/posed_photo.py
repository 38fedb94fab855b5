"""A photo with its camera on the lattice, and what each of its detections is worth."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from recon.geometry.camera import Camera
from recon.geometry.ellipses import face_shapes, score_llr, shape_distance, shape_llr, unit_shapes


@dataclass(frozen=True)
class PosedPhoto:
    """One photo with its camera on the lattice."""

    name: str
    camera: Camera
    size: tuple  # width, height px
    openings: np.ndarray  # OPENING
    tree: cKDTree
    density: np.ndarray  # (N,) detections per px^2 round each
    hole: float  # apparent hole diameter in pitches, as measured in this photo
    free: np.ndarray  # (N,) bool: not yet explained
    mark: np.ndarray  # (N,) nats: how much each detection looks like an opening at all
    shape: np.ndarray  # (N, 3) nats: how well its ellipse fits a face normal to each axis


def make_posed_photo(name, camera, size, openings, hole) -> PosedPhoto:
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
    )


def _shape_marks(camera, openings, px):
    seen = unit_shapes(openings)
    return np.stack([shape_llr(shape_distance(seen, face_shapes(camera, px, j))) for j in range(3)], 1)


def with_camera(photo: PosedPhoto, camera: Camera) -> PosedPhoto:
    """The photo with another camera on the lattice."""
    px = np.c_[photo.openings["x"], photo.openings["y"]]
    return replace(photo, camera=camera, shape=_shape_marks(camera, photo.openings, px))


def local_density(openings, tree=None) -> np.ndarray:
    """(N,) detections per px^2 round each, from the distance to the 12th neighbour."""
    xy = np.c_[openings["x"], openings["y"]]
    tree = tree or cKDTree(xy)
    n = min(13, len(xy))
    d = np.atleast_2d(tree.query(xy, k=n)[0].reshape(len(xy), -1))[:, -1]
    return (n - 1) / (np.pi * np.maximum(d, 2.0) ** 2)
