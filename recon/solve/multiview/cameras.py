"""Cameras adjusted to the members: each photo's camera resected on all openings that it shows of them."""

from __future__ import annotations

import numpy as np

from recon.geometry.arrays import FloatArray
from recon.geometry.camera import world2camera
from recon.solve.evidence.along_line import match_member
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
    world, image, sigma = [np.zeros((0, 3))], [np.zeros((0, 2))], [np.zeros(0)]
    for candidate in scene.candidates:
        X, seen = match_member(scene, photo, candidate)
        ok = (seen.hit >= 0) & (seen.llr > 1)
        o = photo.openings[seen.hit[ok]]
        world.append(X[ok])
        image.append(np.c_[o["x"], o["y"]])
        play = photo.play * photo.camera.f / np.maximum(world2camera(photo.camera, X[ok])[:, 2], NEAREST)
        sigma.append(np.hypot(np.hypot(0.3, 0.08 * o["minor"]), play))
    return np.concatenate(world), np.concatenate(image), np.concatenate(sigma)
