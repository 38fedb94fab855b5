"""A small frame with cameras and photos made in code, for what people see of a reading."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
from PIL import Image

from recon.frame.joints import find_joints
from recon.frame.model import End, Frame, Member, Photo, StockUse
from recon.geometry.camera import Camera

SIZE = (800, 600)


def stand() -> Frame:
    """Two posts with two rails in front, one rail on top that is not sure, and a brace."""
    x, y, z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)
    members = (
        Member("A", (0.0, 0.0, 0.0), z, 12, stock="softwood-38", confidence=0.99),
        Member("B", (10.0, 0.0, 0.0), z, 12, stock="softwood-38", confidence=0.98),
        Member("C", (-1.0, -1.0, 2.0), x, 13, stock="softwood-38", confidence=0.97),
        Member(
            "D",
            (-1.0, -1.0, 9.0),
            x,
            13,
            stock="softwood-38",
            confidence=0.5,
            ends=(End("seen"), End("hidden", 2)),
        ),
        Member(
            "E",
            (0.0, 1.0, 1.0),
            y,
            6,
            stock="softwood-38",
            confidence=0.95,
            ends=(End("seen"), End("cut", 1)),
        ),
    )
    joints = tuple(
        replace(j, bolt=bolt) for j, bolt in zip(find_joints(members), ("seen", "none", "assumed", "seen"))
    )
    return Frame(members, joints, 38.1, StockUse("softwood-38", "recognised", 0.83), name="Slip stand")


def camera_at(eye, target=(5.0, 0.0, 5.0), focal_px=900.0, size=SIZE) -> Camera:
    """A camera at `eye` that looks at `target`, z up in its picture."""
    ahead = np.asarray(target, float) - eye
    ahead /= np.linalg.norm(ahead)
    right = np.cross(ahead, [0, 0, 1.0])
    right /= np.linalg.norm(right)
    R = np.array([right, np.cross(ahead, right), ahead])
    return Camera(focal_px, size[0] / 2, size[1] / 2, R=R, t=-R @ np.asarray(eye, float))


def view_of(number: int):
    """The camera of the stand's photo of that number."""
    return camera_at(np.array([(-12.0, -24.0, 16.0), (22.0, -22.0, 12.0), (5.0, -30.0, 7.0)][number]))


def save_photos(folder, count=3) -> list:
    """Photos that can be told apart (their contents do not matter: nothing reads them)."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for k in range(count):
        rng = np.random.default_rng(k)
        coarse = Image.fromarray(rng.integers(60, 200, (30, 40, 3), dtype=np.uint8))
        paths.append(folder / f"photo_{k + 1}.jpg")
        coarse.resize(SIZE, Image.BICUBIC).save(paths[-1], quality=90)
    return paths


def reading_of(photos, frame=None, set_aside=()):
    """A reading of these photos (PhotoImage).

    The stand as each of its cameras sees it, one row of openings in each.
    """
    frame = frame or stand()
    cameras = {photo.name: view_of(k % 3) for k, photo in enumerate(photos)}
    rows, openings = {}, {}
    for name, camera in cameras.items():
        rows[name] = [camera.project(frame.members[2].hole_centres() - [0, 0.5, 0])]
        n = len(rows[name][0])
        openings[name] = np.column_stack(
            [rows[name][0], np.full((n, 2), [4.0, 3.0]), np.zeros(n), np.arange(n) == 1]
        )
    out = dict(set_aside)
    stored = tuple(
        Photo(p.name, p.size, used=False, reason=out[p.name])
        if p.name in out
        else Photo(
            p.name,
            p.size,
            camera=cameras[p.name],
        )
        for p in photos
    )
    return SimpleNamespace(
        not_written="",
        frame=replace(frame, photos=stored),
        openings=openings,
        rows=rows,
        cameras={n: c for n, c in cameras.items() if n not in out},
        set_aside=list(set_aside),
    )
