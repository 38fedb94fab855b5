"""Lines of openings that no lattice and no two pins foretell, on the planes at which a member could touch another.

With the cameras known, the openings of all photos are laid back onto such a plane, where those of a member's
face stand exactly one pitch apart on a straight line, whatever its angle.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from recon.geometry.camera import image2sensor
from recon.solve.evidence.predictions import LEAST_FACING
from recon.solve.off_lattice.line_evidence import Line

STEP_TOL = 0.12  # pitches: error of one opening laid back, for the first pair
PLACE_TOL = 0.10  # pitches: of an opening foretold from those found so far
AROUND = 8.0  # pitches that a member may reach past the frame
MOST_SPOTS = 900  # openings a plane, those most like openings first
LEAST_FOUND = 5  # openings on one face
ALONG = np.radians(1.5)  # a line nearer to an axis than this lies along it
SLANTED = np.radians(
    5.0
)  # one further off is at an angle; between the two a camera's error cannot be told from a slant
MOST_LINES = 12


def loose_lines(photos, candidates, width: float) -> list[tuple[Line, int]]:
    """Lines and their counts of holes, most openings first."""
    rays = [_rays(v) for v in photos]
    lo = np.min([s.first for s in candidates], axis=0) - AROUND
    hi = np.max([s.first + (s.holes - 1) * np.eye(3)[s.axis] for s in candidates], axis=0) + AROUND
    found = []
    for normal in range(3):
        levels = {
            round(float(s.first[normal] + side * width), 2)
            for s in candidates
            if s.axis != normal
            for side in (-1, 1)
        }
        for level in sorted(levels):
            for side in (-1, 1):
                spots = _on_plane(photos, rays, normal, level, side, width, lo, hi)
                if len(spots) >= LEAST_FOUND:
                    found += [
                        (n, _line(a, e, first, normal, level), last - first + 1)
                        for n, a, e, first, last in _chains(spots)
                    ]
    found = [(n, line, count) for n, line, count in found if line is not None]
    found.sort(key=lambda f: -f[0])
    out: list[tuple[Line, int]] = []
    for _, line, count in found:
        if not any(_same(line, other) for other, _ in out):
            out.append((line, count))
        if len(out) == MOST_LINES:
            break
    return out


def _same(a, b):
    off = a.first - b.first
    return (
        abs(a.direction @ b.direction) > np.cos(np.radians(2))
        and np.linalg.norm(off - (off @ b.direction) * b.direction) < 0.3
    )


def _rays(photo):
    """(M, 3) ways from the eye in the world, one pitch deep, of the free openings; and their numbers (M,)."""
    index = np.nonzero(photo.free)[0]
    o = photo.openings[index]
    xy = image2sensor(photo.camera, np.c_[o["x"], o["y"]])
    return np.c_[xy, np.ones(len(xy))] @ photo.camera.R, index


def _on_plane(photos, rays, normal, level, side, width, lo, hi):
    """(M, 2) places on the face's plane of openings that fit a face there in size and shape, all photos together."""
    others = [j for j in range(3) if j != normal]
    height = level + side * width / 2
    places, looks = [np.zeros((0, 2))], [np.zeros(0)]
    for v, (way, index) in zip(photos, rays):
        eye = v.camera.centre
        if (eye[normal] - height) * side <= 0.5:
            continue
        with np.errstate(divide="ignore"):
            depth = (height - eye[normal]) / way[:, normal]
        ok = (depth > 0.5) & (depth < 1e4)
        X = eye + np.where(ok, depth, 1.0)[:, None] * way
        o = v.openings[index]
        size = np.log(o["major"] * np.where(ok, depth, 1.0) / (v.camera.f * v.hole))
        facing = np.abs(way[:, normal]) / np.linalg.norm(way, axis=1)
        like = v.mark[index] + v.shape[index, normal] - 0.5 * (size / 0.4) ** 2
        ok &= (np.abs(size) < 0.6) & (facing > LEAST_FACING) & (v.shape[index, normal] > -1) & (like > 0)
        ok &= ((lo < X) & (hi > X))[:, others].all(1)
        places.append(X[ok][:, others])
        looks.append(like[ok])
    places, looks = np.concatenate(places), np.concatenate(looks)
    return places[np.argsort(-looks)[:MOST_SPOTS]]


def _chains(spots, reach: int = 24):
    """Lines of spots one pitch apart: (found, place of step 0 (2,), step (2,), first step, last step).

    Each pair one pitch apart is carried on both ways, step by step, the line fitted anew after each.
    """
    tree = cKDTree(spots)
    pairs = tree.query_pairs(1 + STEP_TOL, output_type="ndarray")
    if not len(pairs):
        return []
    gap = spots[pairs[:, 1]] - spots[pairs[:, 0]]
    pairs = pairs[np.linalg.norm(gap, axis=1) > 1 - STEP_TOL]
    if not len(pairs):
        return []
    p, q = spots[pairs[:, 0]], spots[pairs[:, 1]]
    # Sums of a straight-line fit in the step's number: n, k, k k, p, k p.
    n, sk, skk = np.full(len(p), 2.0), np.ones(len(p)), np.ones(len(p))
    sp, skp = p + q, q.copy()
    ends = np.tile([0, 1], (len(p), 1))
    alive = np.arange(len(p))
    for ring in range(1, reach):
        for k in (1 + ring, -ring):
            near = (k - ends[alive, 1] <= 3) & (ends[alive, 0] - k <= 3)  # past three misses it has ended
            i = alive[near]
            if not len(i):
                continue
            det = n[i] * skk[i] - sk[i] ** 2
            e = (n[i, None] * skp[i] - sk[i, None] * sp[i]) / det[:, None]
            a = (sp[i] - sk[i, None] * e) / n[i, None]
            tol = np.where(n[i] == 2, 0.2, PLACE_TOL + 0.1 / n[i])
            d, j = tree.query(a + k * e)
            hit = d < tol
            i, j = i[hit], j[hit]
            n[i] += 1
            sk[i] += k
            skk[i] += k * k
            sp[i] += spots[j]
            skp[i] += k * spots[j]
            ends[i, 0 if k < 0 else 1] = k
        if ring == 2:
            alive = alive[n[alive] >= 3]
        elif ring > 2:
            alive = alive[(n[alive] >= 4) & (np.maximum(ends[alive, 1], -ends[alive, 0]) >= ring - 3)]
        if not len(alive):
            break
    det = n * skk - sk**2
    e = (n[:, None] * skp - sk[:, None] * sp) / det[:, None]
    a = (sp - sk[:, None] * e) / n[:, None]
    good = (
        (n >= LEAST_FOUND)
        & (n >= 0.6 * (ends[:, 1] - ends[:, 0] + 1))
        & (np.abs(np.linalg.norm(e, axis=1) - 1) < 0.04)
    )
    order = np.nonzero(good)[0][np.argsort(-n[good])][:40]
    return [(float(n[i]), a[i], e[i], int(ends[i, 0]), int(ends[i, 1])) for i in order]


def _line(a, e, first, normal, level) -> Line | None:
    """The centre line of a chain's member; None where its angle to the lattice is neither none nor clear."""
    others = [j for j in range(3) if j != normal]
    u = np.zeros(3)
    u[others] = e / np.linalg.norm(e)
    slant = np.arcsin(np.clip(np.min(np.abs(u[others])), 0, 1))
    if slant < ALONG:
        axis = int(np.abs(u).argmax())
        u = np.sign(u[axis]) * np.eye(3)[axis]
    elif slant < SLANTED:
        return None
    place = np.zeros(3)
    place[others] = a + first * e
    place[normal] = level
    return Line(place, u, np.eye(3)[normal])
