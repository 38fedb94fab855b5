"""Where members and fittings lie in photos.  All places in px of the upright photo."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np

from recon.errors import ReconError
from recon.frame.boxes import CORNER_SIGNS, EDGE_FACES, EDGES, corners, faces_seen, openings
from recon.frame.model import Frame, Member
from recon.geometry.arrays import FloatArray
from recon.geometry.boxes import OrientedBoxes
from recon.geometry.camera import Camera

EDGE_POINTS = 5  # on an edge along a member, so that it bends with the lens
TRACK = 40  # holes beyond each end that an end can be dragged to in one go
ROUND = 1  # decimals of a pixel that are sent
OUTLINE_LIMIT_PX, TRACK_LIMIT_PX = 1e6, 1e5  # places farther off than that are none that a page could draw

_ALONG = (EDGES[:, 0] ^ EDGES[:, 1]) == 4  # edges along the member; the others are as short as it is wide

Outline = dict[str, Any]


def cameras(frame: Frame) -> dict[str, Camera]:
    """The camera of each photo that has one, by the photo's name."""
    return {p.file: p.camera for p in frame.photos if p.camera is not None}


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


def box_outlines(frame: Frame, boxes: Mapping[str, OrientedBoxes]) -> dict[str, dict[str, list[list[float]]]]:
    """For every photo with a camera, the edges of boxes that are in sight of it, hidden by nothing else.

    Parameters
    ----------
    frame : Frame
    boxes : mapping of str to OrientedBoxes
        Single boxes, such as those of fittings, by label.

    Returns
    -------
    dict
        photo -> label -> edges, a list of polylines [x, y, x, y, ...], px.  A box that is not wholly before
        the camera is left out.
    """
    return {
        photo: {id: edges for id, box in boxes.items() if (edges := _box_edges(box, camera))}
        for photo, camera in cameras(frame).items()
    }


def _box_edges(box: OrientedBoxes, camera: Camera) -> list[list[float]]:
    normals = np.repeat(box.axes, 2, axis=0) * np.tile([-1.0, 1.0], 3)[:, None]
    middles = box.centre + normals * np.repeat(box.half, 2)[:, None]
    seen = np.einsum("ij,ij->i", normals, camera.centre - middles) > 0
    corner = box.centre + (CORNER_SIGNS * box.half) @ box.axes
    share = np.linspace(0, 1, EDGE_POINTS)[None, :, None]
    start, end = (corner[EDGES[:, k]][:, None] for k in (0, 1))
    px = camera.project((start * (1 - share) + end * share).reshape(-1, 3))
    if not np.isfinite(px).all() or np.abs(px).max() > OUTLINE_LIMIT_PX:
        return []
    lines: list[list[float]] = (
        np.round(px, ROUND).reshape(len(EDGES), -1)[seen[EDGE_FACES].any(axis=1)].tolist()
    )
    return lines
