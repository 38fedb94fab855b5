"""Where members lie in photos, and which member a stroke on a photo means.  All places in px of the upright photo."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from recon.corrections.edits import clashes, free_label
from recon.corrections.laps import relapped
from recon.errors import ReconError
from recon.frame.boxes import EDGE_FACES, EDGES, corners, faces_seen, openings
from recon.frame.model import Frame, Member, as_tuple, bounds
from recon.geometry.camera import Camera, image2sensor
from recon.geometry.lattice import lattice_classes, places_between

EDGE_POINTS = 5  # on an edge along a member, so that it bends with the lens
_ALONG = (EDGES[:, 0] ^ EDGES[:, 1]) == 4  # edges along the member; the others are as short as it is wide
TRACK = 40  # holes beyond each end that an end can be dragged to in one go
ROUND = 1  # decimals of a pixel that are sent


def shapes(frame: Frame, ids=None) -> dict:
    """For every photo with a camera, the outline of each member: {photo: {id: shape}}.

    shape : `edges`, a list of polylines [x, y, x, y, ...]; `axis`, the centres of the holes likewise; `holes`, the
    openings on the faces turned to the camera, flat; `ends`, the middles of the two ends [x, y].  A member that is not
    wholly before the camera is left out.
    """
    members = [m for m in frame.members if ids is None or m.id in ids]
    return {
        p.file: {m.id: s for m in members if (s := _shape(m, p.camera))} for p in frame.photos if p.camera
    }


@lru_cache(maxsize=8192)
def _points(member: Member):
    """Points of the edges (4 along, of EDGE_POINTS each, then the others, of 2 each), openings (4, holes, 3), hole centres
    and ends (2, 3)."""
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


def _shape(member: Member, camera: Camera) -> dict | None:
    edges, holes, axis, ends = _points(member)
    seen = faces_seen(member, camera.centre)
    px = camera.project(np.vstack([edges, holes.reshape(-1, 3), axis, ends]))
    if not np.isfinite(px).all() or np.abs(px).max() > 1e6:
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


def track(frame: Frame, id: str) -> dict:
    """Where the ends of a member would be after so many holes more or fewer: {photo: {"from": k, "xy": flat}}.

    The i-th place is that of the boundary before hole `from` + i.
    """
    m = frame.member(id)
    k = np.arange(-TRACK, m.holes + TRACK + 1)
    points = m.hole_centre(k - 0.5)
    found = {}
    for p in frame.photos:
        if p.camera:
            px = p.camera.project(points)
            good = np.isfinite(px).all(axis=1) & (np.abs(px) < 1e5).all(axis=1)
            run = np.nonzero(good)[0]
            if len(run):
                found[p.file] = {
                    "from": int(k[run[0]]),
                    "xy": np.round(px[run[0] : run[-1] + 1], ROUND).ravel().tolist(),
                }
    return found


@dataclass(frozen=True)
class Stroke:
    """A member that a stroke may mean.  off : how far its openings are from the stroke's ends, in pitches."""

    first: tuple[float, float, float]
    direction: tuple[float, float, float]
    holes: int
    off: float
    laps: int
    clash: bool


REACH, REACH_ALONG = 8, 32  # pitches beyond the frame that a new member may lie, and that it may stick out
STROKE_TOL = 0.6  # pitches on the photo: nearer than that to an opening is meant for it


def strokes(frame: Frame, photo: str, start, end, most: int = 8) -> list[Stroke]:
    """The members of the frame's lattice whose openings lie under the two ends of a stroke, the likeliest first.

    start, end : [x, y] px.  One stroke on one photo has a line for every depth that fits; those that touch other members and
    clash with none come first.  Raises ReconError where the photo has no camera or nothing fits.
    """
    camera = next((p.camera for p in frame.photos if p.file == photo and p.camera), None)
    if camera is None or not frame.members:
        raise ReconError(
            f"{photo}: its camera is not known, so nothing can be drawn on it; read the photos first."
        )
    found = []
    for axis in range(3):
        found += _strokes_along(frame, camera, axis, np.asarray(start, float), np.asarray(end, float))
    if not found:
        raise ReconError(
            "No member of this frame's lattice has openings at both ends of that stroke; begin and end on openings."
        )
    return sorted(_judged(frame, found), key=lambda s: (s.clash, s.laps == 0, round(s.off, 1), -s.laps))[
        :most
    ]


def _lattice(frame: Frame, width: float, axis: int):
    """For x, y and z: the places that hole centres of a member along `axis` can take, in the frame and so far round it."""
    reach = np.where(np.arange(3) == axis, REACH_ALONG, REACH)
    low, high = (np.array(x) for x in zip(*map(bounds, frame.members)))
    low, high = low.min(axis=0) - reach, high.max(axis=0) + reach
    origin = np.array(next((m.first for m in frame.members if m.on_lattice), frame.members[0].first))
    classes = lattice_classes([m.width for m in frame.members if m.on_lattice] or [width])
    return [places_between(a, b, o, classes) for a, b, o in zip(low, high, origin)]


def _strokes_along(frame, camera, axis, start, end) -> list[Stroke]:
    width = frame.members[0].width
    grid = _lattice(frame, width, axis)
    along = np.unique(np.round(grid[axis], 6))
    others = [i for i in range(3) if i != axis]
    u, v = (a.ravel() for a in np.meshgrid(grid[others[0]], grid[others[1]], indexing="ij"))
    lines = np.zeros((len(u), 3))
    lines[:, others[0]], lines[:, others[1]] = u, v
    found = []
    for normal in others:
        side = np.sign(camera.centre[normal] - lines[:, normal])
        rows = lines.copy()
        rows[:, normal] += side * width / 2  # the openings on the face that is turned to the camera
        (i, off_i), (j, off_j) = (_nearest(camera, rows, axis, along, p) for p in (start, end))
        off = np.maximum(off_i, off_j)
        for k in np.nonzero((off < STROKE_TOL) & (i != j) & (side != 0))[0]:
            lo, hi = sorted((along[i[k]], along[j[k]]))
            holes = int(round(hi - lo)) + 1
            if abs(hi - lo + 1 - holes) < 1e-6:
                first = lines[k].copy()
                first[axis] = lo
                found.append(
                    Stroke(as_tuple(first), as_tuple(np.eye(3)[axis]), holes, float(off[k]), 0, False)
                )
    return sorted(found, key=lambda s: s.off)


def _nearest(camera: Camera, rows, axis: int, along, px):
    """For each row of openings along an axis the place (index into `along`) nearest to a pixel, and how far off it is, in the
    pitches that the row has there on the photo.  rows : (n, 3) a point of each.

    The nearest point of a line to a ray is that of two skew lines (e.g. Eberly, "Distance between lines", in closed form).
    """
    ray = camera.R.T @ np.append(image2sensor(camera, np.asarray(px, float)), 1.0)
    w, b, c = rows - camera.centre, ray[axis], ray @ ray
    with np.errstate(divide="ignore", invalid="ignore"):
        s = rows[:, axis] + (b * (w @ ray) - c * w[:, axis]) / (c - b * b)
    index = np.clip(np.searchsorted(along, s), 1, len(along) - 1)
    index -= np.abs(along[index - 1] - s) < np.abs(along[index] - s)
    points = np.repeat(rows[:, None], 2, axis=1)
    points[:, :, axis] = along[index][:, None] + [0.0, 1.0]
    there = camera.project(points.reshape(-1, 3)).reshape(-1, 2, 2)
    off = np.linalg.norm(there[:, 0] - px, axis=1) / np.maximum(
        np.linalg.norm(there[:, 1] - there[:, 0], axis=1), 3.0
    )
    return index, np.where(np.isfinite(off), off, np.inf)


def _judged(frame: Frame, found: list[Stroke]) -> list[Stroke]:
    id, like, judged = free_label(frame), frame.members[0], []
    unique = {(s.first, s.direction, s.holes): s for s in reversed(found)}
    for s in sorted(unique.values(), key=lambda s: s.off)[:60]:
        new = Member(id, s.first, s.direction, s.holes, like.width)
        trial = replace(frame, members=(*frame.members, new), joints=())
        laps = relapped(trial, {id}).joints
        judged.append(replace(s, laps=len(laps), clash=bool(clashes(trial, {id}))))
    return judged
