"""Shapes of ellipses against drawn points, SciPy's eigenvalues and projected circles."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.linalg import eigvalsh

from recon.geometry.camera import Camera
from recon.geometry.ellipses import affine_distance, circle_shapes, face_shapes, shape_distance, unit_shapes
from recon.image.openings import OPENING

SEEDS = st.integers(0, 2**32 - 1)


def spread(rng, count):
    """Positive definite matrices of any size."""
    maps = rng.normal(size=(count, 2, 2)) + 0.5 * np.eye(2)
    return maps @ np.swapaxes(maps, 1, 2) + 1e-3 * np.eye(2)


def test_a_shape_is_the_second_moments_of_its_outline():
    rng = np.random.default_rng(1)
    openings = np.zeros(20, OPENING)
    openings["angle"] = rng.uniform(-3, 3, 20)
    openings["major"], openings["minor"] = rng.uniform(8, 20, 20), rng.uniform(2, 8, 20)
    t = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    for o, shape in zip(openings, unit_shapes(openings)):
        c, s = np.cos(o["angle"]), np.sin(o["angle"])
        outline = np.array([[c, -s], [s, c]]) @ [o["major"] * np.cos(t), o["minor"] * np.sin(t)]
        moments = outline @ outline.T
        assert shape == pytest.approx(moments / np.sqrt(np.linalg.det(moments)))


@given(SEEDS)
def test_the_affine_distance_is_that_of_the_generalised_eigenvalues(seed):
    rng = np.random.default_rng(seed)
    S, T = spread(rng, 8), spread(rng, 8)
    theirs = [np.sqrt((np.log(eigvalsh(s, t)) ** 2).sum()) for s, t in zip(S, T)]
    assert affine_distance(S, T) == pytest.approx(theirs, rel=1e-6, abs=1e-7)


@given(SEEDS)
def test_unit_shapes_are_as_far_apart_as_any_other_matrices(seed):
    rng = np.random.default_rng(seed)
    S, T = circle_shapes(rng.normal(size=(8, 2, 2))), circle_shapes(rng.normal(size=(8, 2, 2)))
    clear = (np.linalg.det(S) > 0.999) & (np.linalg.det(T) > 0.999)  # not of a map that is all but flat
    assert shape_distance(S, T)[clear] == pytest.approx(affine_distance(S, T)[clear], rel=1e-4, abs=1e-5)


@pytest.mark.parametrize("normal", range(3))
def test_a_circle_on_a_face_is_seen_as_its_face_shape(normal):
    camera = Camera(1500, 800, 600, R=np.eye(3)[[0, 2, 1]] * [[1], [-1], [1]], t=np.array([0, 2.0, 40]))
    tilt = np.array([[0.8, 0.36, 0.48], [-0.6, 0.48, 0.64], [0, -0.8, 0.6]])
    camera = camera.posed(tilt @ camera.R, camera.t)
    t = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    circle = np.zeros((360, 3))
    circle[:, [j for j in range(3) if j != normal]] = 1e-3 * np.c_[np.cos(t), np.sin(t)]
    px = camera.project(circle)
    outline = (px - px.mean(axis=0)).T
    moments = outline @ outline.T
    seen = moments / np.sqrt(np.linalg.det(moments))
    assert face_shapes(camera, px.mean(axis=0)[None], normal)[0] == pytest.approx(seen, rel=1e-3, abs=1e-3)
