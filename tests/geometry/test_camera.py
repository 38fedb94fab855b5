"""The camera against OpenCV, its own inverse, numeric derivatives and the closed form of eccentricity."""

import json
from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from recon.geometry.camera import (
    PARAMETERS,
    Camera,
    camera2sensor,
    image2sensor,
    lens_limit,
    opening_ellipse_offset_px,
    project_jacobian,
    sensor2image,
    stepped,
    world2camera,
)
from recon.solve.photo.row_points import centre_sigma_px

unit = st.floats(-1, 1)


@st.composite
def cameras(draw):
    """Phones and zooms: f 0.6 to 2.5 times the long side of a 2000 px photo, any attitude, lens terms of
    real lenses."""
    turn = Rotation.from_rotvec(np.pi * np.array([draw(unit), draw(unit), draw(unit)]))
    return Camera(
        f=draw(st.floats(1200, 5000)),
        cx=999.5 + 40 * draw(unit),
        cy=749.5 + 40 * draw(unit),
        k1=0.2 * draw(unit),
        k2=0.05 * draw(unit),
        R=turn.as_matrix(),
        t=np.array([5 * draw(unit), 5 * draw(unit), 20 + 10 * draw(unit)]),
    )


def world_points(camera, seed, count=12):
    """Points that the camera sees within 35 degrees of its axis, world coordinates."""
    rng = np.random.default_rng(seed)
    depth = rng.uniform(3, 40, count)
    sensor = rng.uniform(-0.5, 0.5, (count, 2))
    return (np.c_[sensor * depth[:, None], depth] - camera.t) @ camera.R


@given(cameras(), st.integers(0, 1000))
def test_projection_is_that_of_opencv(camera, seed):
    points = world_points(camera, seed)
    matrix = np.array([[camera.f, 0, camera.cx], [0, camera.f, camera.cy], [0, 0, 1]])
    vector = Rotation.from_matrix(camera.R).as_rotvec()  # cv2.Rodrigues takes a turn of 3e-6 rad for none
    theirs, _ = cv2.projectPoints(points, vector, camera.t, matrix, np.array([camera.k1, camera.k2, 0, 0]))
    assert np.abs(camera.project(points) - theirs.reshape(-1, 2)).max() < 1e-6


@given(cameras())
def test_a_camera_comes_back_from_its_plain_values(camera):
    back = Camera.from_dict(json.loads(json.dumps(camera.to_dict())))
    assert back == camera and hash(back) == hash(camera)
    assert list(camera.to_dict()) == ["f", "cx", "cy", "k1", "k2", "R", "t"]


@given(cameras(), st.sampled_from(["f", "cx", "k2", "R", "t"]))
def test_cameras_that_differ_in_one_number_are_not_equal(camera, name):
    other = replace(camera, **{name: getattr(camera, name) + 1e-9 * abs(camera.f)})
    assert other != camera and camera != "camera"


@given(cameras(), st.integers(0, 1000))
def test_what_is_in_the_picture_has_one_place_on_the_sensor(camera, seed):
    """Of points all round, those in the picture come back from their pixels; the others lie off it or beyond
    the lens's limit."""
    rng = np.random.default_rng(seed)
    points = (rng.uniform(-60, 60, (300, 3)) - camera.t) @ camera.R
    size = (2000, 1500)
    inside, px = camera.in_picture(points, size), camera.project(points)
    with np.errstate(invalid="ignore"):
        on_it = (px > 0).all(axis=1) & (px < size).all(axis=1)
    sensor = camera2sensor(world2camera(camera, points))
    radius = np.linalg.norm(sensor, axis=1)
    assert not (inside & ~on_it).any()
    assert (radius[on_it & ~inside] >= lens_limit(camera) - 1e-9).all()
    grid = np.linspace(0, min(lens_limit(camera), 5.0), 200)
    assert (np.diff(grid * (1 + camera.k1 * grid**2 + camera.k2 * grid**4)) > -1e-12).all()


def test_points_behind_the_camera_have_no_image():
    camera = Camera(1000, 500, 400, t=np.array([0, 0, 5.0]))
    px = camera.project(np.array([[0, 0, -6.0], [1, 0, -5.0], [0, 0, 0]]))
    assert np.isnan(px[:2]).all() and px[2] == pytest.approx([500, 400])


@given(cameras())
def test_centre_is_the_point_that_falls_on_the_camera(camera):
    assert np.abs(world2camera(camera, camera.centre)).max() < 1e-9


@given(cameras(), st.integers(0, 1000))
def test_image2sensor_undoes_sensor2image(camera, seed):
    xy = np.random.default_rng(seed).uniform(-0.5, 0.5, (20, 2))
    assert np.abs(image2sensor(camera, sensor2image(camera, xy)) - xy).max() < 1e-9


def test_image2sensor_takes_the_principal_point_and_grids_of_points():
    camera = Camera(1000, 500, 400, k1=-0.2)
    assert (image2sensor(camera, np.array([[500.0, 400.0]])) == 0).all()
    grid = np.stack(np.meshgrid(np.linspace(0, 999, 5), np.linspace(0, 799, 4)), 2)
    assert image2sensor(camera, grid) == pytest.approx(
        image2sensor(camera, grid.reshape(-1, 2)).reshape(4, 5, 2)
    )


@given(cameras(), st.integers(0, 1000))
def test_jacobians_are_those_of_central_differences(camera, seed):
    points = world_points(camera, seed, 6)
    px, by_camera, by_point = project_jacobian(camera, points)
    assert np.abs(px - camera.project(points)).max() < 1e-9
    size = np.array([1e-2, *[1e-5] * 2, *[1e-6] * 3, *[1e-5] * 3, *[1e-2] * 2, *[1e-6] * 3])
    for k in range(PARAMETERS):
        d = np.zeros(PARAMETERS)
        d[k] = size[k]
        numeric = (stepped(camera, d).project(points) - stepped(camera, -d).project(points)) / (2 * size[k])
        assert np.abs(numeric - by_camera[:, :, k]).max() < 1e-5 * max(1.0, np.abs(by_camera[:, :, k]).max())
    for k in range(3):
        d = 1e-5 * np.eye(3)[k]
        numeric = (camera.project(points + d) - camera.project(points - d)) / 2e-5
        assert np.abs(numeric - by_point[:, :, k]).max() < 1e-5 * max(1.0, np.abs(by_point).max())


@given(cameras(), st.integers(0, 100))
def test_a_step_keeps_the_rotation_a_rotation(camera, seed):
    R = stepped(camera, np.random.default_rng(seed).normal(0, 0.3, 9)).R
    assert np.abs(R @ R.T - np.eye(3)).max() < 1e-12 and np.linalg.det(R) > 0


@given(cameras(), st.integers(0, 100))
def test_a_shear_racks_the_axes_and_keeps_their_length(camera, seed):
    shears = np.random.default_rng(seed).uniform(-0.03, 0.03, 3)
    racked = stepped(camera, np.r_[np.zeros(11), shears])
    assert np.linalg.norm(racked.R, axis=0) == pytest.approx(1)
    assert racked.rack == pytest.approx(2 * shears, abs=3e-3) and camera.rack == pytest.approx(0, abs=1e-9)


def test_a_camera_before_a_racked_frame_knows_where_it_stands():
    racked = stepped(Camera(1000, 500, 400, t=np.array([1.0, 2, 30])), np.r_[np.zeros(11), 0.02, -0.03, 0.01])
    assert world2camera(racked, racked.centre) == pytest.approx(np.zeros(3), abs=1e-9)


# Eccentricity: the centre of a circle's image is not the image of its centre.


def test_offset_on_the_optical_axis_is_the_textbook_one():
    """f r^2 sin(tilt) cos(tilt) / (Z^2 - r^2 sin^2(tilt)), towards the farther half's opposite.

    Source: Ahn, Warnecke and Kotowski 1999, "Systematic geometric image measurement errors of circular object
    targets" (from memory).
    """
    f, r, Z = 1500.0, 0.145, 6.0
    camera = Camera(f, 999.5, 749.5)
    for degrees in (0, 20, 45, 70, 80):
        s, c = np.sin(np.radians(degrees)), np.cos(np.radians(degrees))
        offset = opening_ellipse_offset_px(camera, np.array([0, 0, Z]), np.array([s, 0, -c]), r)
        assert offset == pytest.approx([-f * r**2 * s * c / (Z**2 - r**2 * s**2), 0], abs=1e-9)


@st.composite
def seen_circles(draw):
    """A camera without lens terms and a circle in sight: centre, normal turned to the camera, radius; camera
    coordinates."""
    f, z = draw(st.floats(1200, 5000)), draw(st.floats(3, 40))
    centre = np.array([0.5 * draw(unit) * z, 0.4 * draw(unit) * z, z])
    tilt, round_ = np.radians(draw(st.floats(0, 75))), np.pi * draw(unit)
    towards = -centre / np.linalg.norm(centre)
    side = np.linalg.svd(towards[None])[2][1:]
    normal = np.cos(tilt) * towards + np.sin(tilt) * (np.cos(round_) * side[0] + np.sin(round_) * side[1])
    return Camera(f, 999.5, 749.5), centre, normal, draw(st.floats(0.08, 0.25))


def closed_form_centre_px(camera, c, n, r):
    """Centre of a circle's image: pole of the line at infinity with respect to the image conic, whose dual is
    c c' - r^2 (I - n n').  Source: Heikkilä 2000, doi:10.1109/34.879788 (circle as a conic; from memory)."""
    dual = np.outer(c, c) - r**2 * (np.eye(3) - np.outer(n, n))
    return camera.f * dual[:2, 2] / dual[2, 2] + [camera.cx, camera.cy]


@given(seen_circles())
def test_offset_is_that_of_the_dual_conic(seen):
    camera, centre, normal, radius = seen
    offset = opening_ellipse_offset_px(camera, centre, normal, radius)
    expected = closed_form_centre_px(camera, centre, normal, radius) - camera.project(centre[None])[0]
    assert np.abs(offset - expected).max() < 1e-6


def circle_px(camera, centre, normal, radius, count=360):
    side = np.linalg.svd(normal[None])[2][1:]
    a = np.arange(count)[:, None] * 2 * np.pi / count
    return camera.project(centre + radius * (np.cos(a) * side[0] + np.sin(a) * side[1]))


@given(seen_circles(), st.floats(-0.08, 0.08))
def test_offset_is_that_of_an_ellipse_fitted_to_the_circles_image(seen, k1):
    camera, centre, normal, radius = seen
    for c in (camera, Camera(camera.f, camera.cx, camera.cy, k1)):
        middle = c.project(centre[None])[0]
        rim = circle_px(c, centre, normal, radius) - middle  # about 0: cv2 works in single precision
        fitted = np.array(cv2.fitEllipseDirect(rim.astype(np.float32))[0])
        size = np.ptp(rim, axis=0).max()
        # The lens bends the face itself, which a conic cannot: a part of its k1 per radius squared.
        allowed = 2e-3 + 1e-5 * size + 2.0 * abs(c.k1) * size**2 / camera.f
        assert np.abs(fitted - opening_ellipse_offset_px(c, centre, normal, radius)).max() < allowed


@given(seen_circles(), st.floats(4, 40))
def test_offset_does_not_matter_for_openings_below_40_px(seen, major_px):
    """At f >= 1400 px: below 0.1 px up to 25 px across, below a quarter px up to 40 px, and always a small
    part of what light and shade in the mouth do to a centre."""
    camera, centre, normal, radius = seen
    centre = centre * (camera.f * 2 * radius / centre[2]) / major_px  # moved until the opening is so large
    offset = np.linalg.norm(opening_ellipse_offset_px(camera, centre, normal, radius))
    assert offset < (0.1 if major_px < 25 else 0.25) * 1400 / min(camera.f, 1400)
    rim = circle_px(camera, centre, normal, radius) - camera.project(centre[None])[0]
    minor = min(cv2.fitEllipseDirect(rim.astype(np.float32))[1])
    assert offset < 0.4 * centre_sigma_px(minor)


def test_offset_of_an_opening_that_fills_the_photo_would_matter():
    camera = Camera(1500, 999.5, 749.5)
    offset = opening_ellipse_offset_px(camera, np.array([0, 0, 1.0]), np.array([0.6, 0, -0.8]), 0.145)
    assert np.linalg.norm(offset) > 10
