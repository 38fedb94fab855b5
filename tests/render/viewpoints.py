"""Cameras other than those all round a frame at ease: cropped pictures, close-ups."""

from dataclasses import replace

import cv2
import numpy as np

from .cameras import Camera, look, stand_off

MOST_OFF = 0.15  # of a cropped picture's width: how far its principal point is off the middle
SHAPES = ((4, 3), (4, 3), (3, 4), (3, 2), (2, 3), (1, 1), (16, 9))  # width to height of web pictures
FOCALS = (24, 26, 26, 28, 28, 35, 48, 50)  # mm, 35 mm-equivalent, of telephones and small cameras
FEW = 40  # openings that a close-up must face


def lens(rng):
    """Radial terms k1, k2 of a telephone's lens."""
    return (
        float(np.clip(rng.normal(0, 0.04), -0.08, 0.08)),
        float(np.clip(rng.normal(0, 0.012), -0.02, 0.02)),
    )


def cropped(rng, long_side):
    """Camera at the origin of a cropped picture: what is left of a larger one, whose middle was its own."""
    wide, high = SHAPES[rng.integers(len(SHAPES))]
    size = np.rint(np.array([wide, high]) * long_side / max(wide, high))
    whole = size / rng.uniform(0.55, 0.9)  # the picture before it was cropped
    most = np.minimum(MOST_OFF * size[0], (whole - size) / 2)
    off = rng.uniform(-1, 1, 2) * most
    f = float(rng.choice(FOCALS)) * float(np.hypot(*whole)) / 43.27
    middle = (size - 1) / 2 + off
    return Camera(
        (int(size[0]), int(size[1])),
        f,
        float(middle[0]),
        float(middle[1]),
        *lens(rng),
        np.eye(3),
        np.zeros(3),
    )


def turned_to(cam, pixel, wanted):
    """The camera turned where it stands, so that what it shows at one pixel comes to another."""
    _, d = cam.rays(np.array([pixel[0], wanted[0]]), np.array([pixel[1], wanted[1]]))
    a, b = (cam.R @ d.astype(float)).T
    axis = np.cross(a, b)
    sine = np.linalg.norm(axis)
    if sine < 1e-9:
        return cam
    turn, _ = cv2.Rodrigues(axis / sine * np.arctan2(sine, a @ b))
    return replace(cam, R=turn @ cam.R, t=turn @ cam.t)


def rolled(cam, angle):
    """The camera turned about its own line of sight, radians."""
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])
    return replace(cam, R=turn @ cam.R, t=turn @ cam.t)


def cameras_cropped(rng, points, floor_z, count, long_side=None):
    """`count` cropped pictures round the corner points (N, 3) of a frame, from half of the pages of one crop.

    `long_side` in pixels, 400 to 1400 where not given.
    """
    one_crop, azimuth, cams = rng.random() < 0.5, rng.uniform(0, 2 * np.pi), []
    long_side = long_side or int(rng.integers(400, 1401))
    first = cropped(rng, long_side)
    for n in range(count):
        cam = first if one_crop or not n else cropped(rng, long_side)
        azimuth += np.deg2rad(rng.uniform(35, 75)) if n else 0
        fill = rng.uniform(0.6, 0.95)
        R, place, _ = stand_off(cam, points, azimuth, np.deg2rad(rng.uniform(5, 50)), floor_z, fill)
        cam = rolled(replace(cam, R=R, t=-R @ place), np.deg2rad(rng.normal(0, 2)))
        wanted = (np.array(cam.size) - 1) / 2 + rng.normal(0, 0.02, 2) * cam.size
        for _ in range(3):
            xy, _ = cam.project(points)
            cam = turned_to(cam, (xy.min(axis=0) + xy.max(axis=0)) / 2, wanted)
        cams.append(cam)
    return cams


def shows_whole(cam, points):
    """Whether all points are in a camera's picture."""
    xy, z = cam.project(points)
    return bool(np.all((z > 0) & np.all((xy > 0) & (xy < cam.size), axis=1)))


def facing(cam, faces):
    """How many openings ((N, 3) centres, (N, 3) normals) a camera has in its picture and faces."""
    centre, normal = faces
    xy, z = cam.project(centre)
    inside = (z > 1) & np.all((xy > 0) & (xy < cam.size), axis=1)
    return int((inside & (((cam.place - centre) * normal).sum(axis=1) > 0)).sum())


def cameras_close(rng, points, floor_z, count, long_side, faces, radius):
    """`count` close-ups all round a frame, none of which shows the whole, by one telephone.

    `points` (N, 3) the frame's corners, `faces` its openings' centres and normals, `radius` theirs, pitches.
    Also the 35 mm-equivalent focal length.
    """
    portrait = rng.random() < 0.45
    size = (int(long_side * 0.75), long_side) if portrait else (long_side, int(long_side * 0.75))
    f35 = float(rng.choice(FOCALS))
    f = f35 * float(np.hypot(*size)) / 43.27
    cx, cy = size[0] / 2 + rng.normal(0, 5), size[1] / 2 + rng.normal(0, 5)
    seen = Camera(size, f, cx, cy, *lens(rng), np.eye(3), np.zeros(3))
    mid, start = (points.min(axis=0) + points.max(axis=0)) / 2, rng.uniform(0, 2 * np.pi)
    cams = []
    for n in range(count):
        for attempt in range(200):
            azimuth = start + 2 * np.pi * n / count + rng.normal(0, 0.15)
            elevation = np.deg2rad(rng.uniform(0, 40))
            away = np.array([np.cos(azimuth), np.sin(azimuth), np.tan(elevation)])
            away /= np.linalg.norm(away)
            # An opening on the near side, and so far from it that it is 9 to 22 px wide in 2000.
            some = faces[0][rng.integers(len(faces[0]), size=4)]
            target = some[np.argmax((some - mid) @ away)]
            place = (
                target + f * 2 * radius / (rng.uniform(9, 22) * (1 + attempt / 40) * long_side / 2000) * away
            )
            place[2] = max(place[2], floor_z + 2)
            R = rolled(replace(seen, R=look(place, target, 0.0)), np.deg2rad(rng.normal(0, 3))).R
            cam = replace(seen, R=R, t=-R @ place)
            clear = np.linalg.norm(faces[0] - place, axis=1).min() > 4
            least = FEW if attempt < 100 else FEW // 3
            if clear and not shows_whole(cam, points) and facing(cam, faces) >= least:
                cams.append(cam)
                break
        else:
            raise ValueError("a frame too small for close-ups")
    return cams, f35
