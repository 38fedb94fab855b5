"""Cameras adjusted to the members: each photo's camera resected on all openings that it shows of them."""

from __future__ import annotations

import numpy as np

from recon.geometry.arrays import FloatArray
from recon.geometry.camera import world2camera
from recon.solve.evidence.along_line import candidate_openings, match_openings, side_by_side
from recon.solve.evidence.posed_photo import PosedPhoto, with_camera
from recon.solve.evidence.scene import Scene
from recon.solve.photo.resection import resect

NEAREST = 0.5  # pitches before the camera
LEAST_POINTS = 12  # openings; with fewer the camera stays as it is.  This project's choice


def adjust_cameras(scene: Scene) -> Scene:
    """The scene with each camera resected on all openings of the candidates that its photo shows."""
    return scene.with_photos(_adjusted(scene, photo) for photo in scene.photos)


def _adjusted(scene: Scene, photo: PosedPhoto) -> PosedPhoto:
    world, image, sigma = correspondences(scene, photo)
    if len(world) < LEAST_POINTS:
        return photo
    return with_camera(
        photo,
        resect(
            photo.camera,
            world,
            image,
            sigma,
            focal_prior=None if photo.prior else photo.camera.f,
            lens_terms=2,
            prior=photo.prior,
        ),
    )


def correspondences(scene: Scene, photo: PosedPhoto) -> tuple[FloatArray, FloatArray, FloatArray]:
    """World points (N, 3) pitches, their detections (N, 2) px and standard errors (N,) px in one photo."""
    if not scene.candidates:
        return np.zeros((0, 3)), np.zeros((0, 2)), np.zeros(0)
    every = side_by_side(candidate_openings(scene))
    seen = match_openings(photo, every, scene.occluders)
    ok = (seen.hit >= 0) & (seen.llr > 1)
    o, world = photo.openings[seen.hit[ok]], every.centre.reshape(-1, 3)[ok]
    play = photo.play * photo.camera.f / np.maximum(world2camera(photo.camera, world)[:, 2], NEAREST)
    return world, np.c_[o["x"], o["y"]], np.hypot(np.hypot(0.3, 0.08 * o["minor"]), play)
