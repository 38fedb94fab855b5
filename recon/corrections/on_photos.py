"""Where members lie in photos.  All places in px of the upright photo."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np

from recon.errors import ReconError
from recon.frame.boxes import EDGE_FACES, EDGES, corners, faces_seen, openings
from recon.frame.model import Frame, Member, Photo
from recon.geometry.arrays import FloatArray
from recon.geometry.camera import Camera

EDGE_POINTS = 5  # on an edge along a member, so that it bends with the lens
TRACK = 40  # holes beyond each end that an end can be dragged to in one go
ROUND = 1  # decimals of a pixel that are sent
OUTLINE_LIMIT_PX, TRACK_LIMIT_PX = 1e6, 1e5  # places farther off than that are none that a page could draw

_ALONG = (EDGES[:, 0] ^ EDGES[:, 1]) == 4  # edges along the member; the others are as short as it is wide

Outline = dict[str, Any]


def camera_of(photo: Photo) -> Camera | None:
    """The photo's camera, or None where it has none."""
    if not photo.camera:
        return None
    inner = tuple(float(photo.camera.get(k, 0.0)) for k in ("f", "cx", "cy", "k1", "k2"))
    return _camera(inner, tuple(map(tuple, photo.camera["R"])), tuple(photo.camera["t"]))


@lru_cache(maxsize=256)
def _camera(inner: tuple[float, ...], R: Any, t: Any) -> Camera:
    f, cx, cy, k1, k2 = inner
    return Camera(f=f, cx=cx, cy=cy, k1=k1, k2=k2, R=np.array(R, float), t=np.array(t, float))


def cameras(frame: Frame) -> dict[str, Camera]:
    """The camera of each photo that has one, by the photo's name."""
    found = ((p.file, camera_of(p)) for p in frame.photos)
    return {file: camera for file, camera in found if camera is not None}


def known_camera(frame: Frame, photo: str, *, to_do: str) -> Camera:
    """The camera of a photo.

    Raises
    ------
    ReconError
        Where it is not known; `to_do` says what cannot be done on the photo then.
    """
    camera = cameras(frame).get(photo)
    if camera is None:
        raise ReconError(
            f"{photo}: its camera is not known, so nothing can be {to_do} on it; read the photos first."
        )
    return camera


def outlines(frame: Frame, ids: Collection[str] | None = None) -> dict[str, dict[str, Outline]]:
    """For every photo with a camera, the outline of each member.

    Parameters
    ----------
    frame : Frame
    ids : collection of str, optional
        Labels of the members wanted; all by default.

    Returns
    -------
    dict
        photo -> label -> outline: `edges`, a list of polylines [x, y, x, y, ...]; `axis`, the centres of the
        holes likewise; `holes`, the openings on the faces turned to the camera, flat; `ends`, the middles of
        the two ends [x, y]; all px.  A member that is not wholly before the camera is left out.
    """
    members = [m for m in frame.members if ids is None or m.id in ids]
    return {
        photo: {m.id: found for m in members if (found := outline(m, camera))}
        for photo, camera in cameras(frame).items()
    }


def outlines_in(frame: Frame, photo: str) -> dict[str, Outline]:
    """The outline of each member in one photo, by label; none where it has no camera."""
    return outlines(replace(frame, photos=tuple(p for p in frame.photos if p.file == photo))).get(photo, {})


def outline(member: Member, camera: Camera) -> Outline | None:
    """The outline of a member, as in `outlines`; None where it is not wholly before the camera."""
    edges, holes, axis, ends = _points(member)
    seen = faces_seen(member, camera.centre)
    px = camera.project(np.vstack([edges, holes.reshape(-1, 3), axis, ends]))
    if not np.isfinite(px).all() or np.abs(px).max() > OUTLINE_LIMIT_PX:
        return None
    px = np.round(px, ROUND)
    a, b, c = len(edges), len(edges) + holes.shape[0] * holes.shape[1], len(px) - 2
    shown, half = seen[EDGE_FACES].any(axis=1), 4 * EDGE_POINTS
    lines = (
        px[:half].reshape(4, -1)[shown[_ALONG]].tolist() + px[half:a].reshape(8, -1)[shown[~_ALONG]].tolist()
    )
    faces = px[a:b].reshape(4, -1)[seen[2:]]
    return {
        "edges": lines,
        "holes": faces.ravel().tolist(),
        "axis": px[b:c].ravel().tolist(),
        "ends": px[c:].tolist(),
    }


@lru_cache(maxsize=8192)
def _points(member: Member) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Points of the edges, openings (4, holes, 3), hole centres and ends (2, 3).

    The 4 edges along the member, of EDGE_POINTS each, come before the others, of 2 each.
    """
    corner = corners(member)
    edges = []
    for along, points in ((True, EDGE_POINTS), (False, 2)):
        share = np.linspace(0, 1, points)[None, :, None]
        start, end = (corner[EDGES[along == _ALONG, k]][:, None] for k in (0, 1))
        edges.append((start * (1 - share) + end * share).reshape(-1, 3))
    return (
        np.vstack(edges),
        openings(member),
        member.hole_centres(),
        member.hole_centre(np.array([-0.5, member.holes - 0.5])),
    )


def track(frame: Frame, id: str) -> dict[str, dict[str, Any]]:
    """Where the ends of a member would be after so many holes more or fewer.

    Returns
    -------
    dict
        photo -> {"from": k, "xy": flat, px}: the i-th place is that of the boundary before hole k + i.
    """
    m = frame.member(id)
    k = np.arange(-TRACK, m.holes + TRACK + 1)
    points = m.hole_centre(k - 0.5)
    found = {}
    for photo, camera in cameras(frame).items():
        px = camera.project(points)
        good = np.isfinite(px).all(axis=1) & (np.abs(px) < TRACK_LIMIT_PX).all(axis=1)
        run = np.nonzero(good)[0]
        if len(run):
            found[photo] = {
                "from": int(k[run[0]]),
                "xy": np.round(px[run[0] : run[-1] + 1], ROUND).ravel().tolist(),
            }
    return found
