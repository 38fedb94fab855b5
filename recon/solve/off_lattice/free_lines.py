"""Lines of openings that neither lattice nor pins predict, on planes where a member could touch another.

With the cameras known, the openings of all photos are laid back onto such a plane, where those of a member's
face stand exactly one pitch apart on a straight line, whatever its angle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from recon.geometry.arrays import FloatArray, IntArray
from recon.geometry.camera import image2sensor
from recon.solve.evidence.candidate import across
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.predictions import LEAST_FACING
from recon.solve.evidence.scene import Scene
from recon.solve.off_lattice.lines import Line

STEP_TOL = 0.12  # pitches: error of one opening laid back, for the first pair
PLACE_TOL = 0.10  # pitches: of an opening predicted from those found so far
AROUND = 8.0  # pitches that a member may reach past the frame
MOST_SPOTS = 900  # openings a plane, those most like openings first
LEAST_FOUND = 5  # openings on one face
LEAST_FILLED = 0.6  # of the steps of a line that must show an opening; this project's choice
ALONG = np.radians(1.5)  # a line nearer to an axis than this lies along it
# One further off is at an angle; between the two a slant may be a camera's error.
SLANTED = np.radians(5.0)
MOST_LINES = 12
MOST_CHAINS = 40  # a plane: bounds the time
REACH = 24  # steps that a chain is carried on, each way


@dataclass(frozen=True)
class _Plane:
    """The plane of a face.

    Attributes
    ----------
    normal : its frame axis.
    level : of the member's centre line along that axis, pitches.
    side : -1 or 1, the side of the member that the face is on.
    """

    normal: int
    level: float
    side: int

    @property
    def others(self) -> list[int]:
        """The two axes in the plane."""
        return across(self.normal)


@dataclass(frozen=True)
class _Chain:
    """Openings one pitch apart on a plane.

    Attributes
    ----------
    found : how many.
    place : (2,) of step 0, pitches.
    step : (2,) from step to step, pitches.
    first, last : steps of the first and the last opening.
    """

    found: float
    place: FloatArray
    step: FloatArray
    first: int
    last: int


def free_lines(scene: Scene) -> list[tuple[Line, int]]:
    """Lines of openings and their counts of holes, most openings first.

    Parameters
    ----------
    scene : photos with ``free`` False for detections that members explain; and the members that others may
        touch
    """
    rays = [_rays(photo) for photo in scene.photos]
    lo = np.min([c.first for c in scene.candidates], axis=0) - AROUND
    hi = np.max([c.first + (c.holes - 1) * np.eye(3)[c.axis] for c in scene.candidates], axis=0) + AROUND
    found = []
    for plane in _planes(scene):
        spots = _on_plane(scene, rays, plane, lo, hi)
        if len(spots) >= LEAST_FOUND:
            found += [(chain, _line(chain, plane)) for chain in _chains(spots)]
    lines = [(chain, line) for chain, line in found if line is not None]
    lines.sort(key=lambda f: -f[0].found)
    out: list[tuple[Line, int]] = []
    for chain, line in lines:
        if not any(_same(line, other) for other, _ in out):
            out.append((line, chain.last - chain.first + 1))
        if len(out) == MOST_LINES:
            break
    return out


def _planes(scene: Scene) -> list[_Plane]:
    """Faces of members that would touch one of the candidates."""
    out = []
    for normal in range(3):
        levels = {
            round(float(c.first[normal] + side * scene.width), 2)
            for c in scene.candidates
            if c.axis != normal
            for side in (-1, 1)
        }
        out += [_Plane(normal, level, side) for level in sorted(levels) for side in (-1, 1)]
    return out


def _same(a: Line, b: Line) -> bool:
    """Do two lines run within 2 degrees and 0.3 pitches of one another?"""
    off = a.first - b.first
    return bool(
        abs(a.direction @ b.direction) > np.cos(np.radians(2))
        and np.linalg.norm(off - (off @ b.direction) * b.direction) < 0.3
    )


def _rays(photo: PosedPhoto) -> tuple[FloatArray, IntArray]:
    """(M, 3) ways from the eye in the world, one pitch deep, of the free openings; and their numbers (M,)."""
    index = np.nonzero(photo.free)[0]
    o = photo.openings[index]
    xy = image2sensor(photo.camera, np.c_[o["x"], o["y"]])
    return np.linalg.solve(photo.camera.R, np.c_[xy, np.ones(len(xy))].T).T, index


def _on_plane(
    scene: Scene,
    rays: list[tuple[FloatArray, IntArray]],
    plane: _Plane,
    lo: FloatArray,
    hi: FloatArray,
) -> FloatArray:
    """(M, 2) places on a face's plane of openings like those of a face there, all photos together."""
    normal, others = plane.normal, plane.others
    height = plane.level + plane.side * scene.width / 2
    places, looks = [np.zeros((0, 2))], [np.zeros(0)]
    for photo, (way, index) in zip(scene.photos, rays):
        eye = photo.camera.centre
        if (eye[normal] - height) * plane.side <= 0.5:
            continue
        with np.errstate(divide="ignore"):
            depth = (height - eye[normal]) / way[:, normal]
        ok = (depth > 0.5) & (depth < 1e4)
        X = eye + np.where(ok, depth, 1.0)[:, None] * way
        o = photo.openings[index]
        size = np.log(o["major"] * np.where(ok, depth, 1.0) / (photo.camera.f * photo.hole))
        facing = np.abs(way[:, normal]) / np.linalg.norm(way, axis=1)
        like = photo.mark[index] + photo.shape[index, normal] - 0.5 * (size / 0.4) ** 2
        ok &= (np.abs(size) < 0.6) & (facing > LEAST_FACING) & (photo.shape[index, normal] > -1) & (like > 0)
        ok &= ((lo < X) & (hi > X))[:, others].all(1)
        places.append(X[ok][:, others])
        looks.append(like[ok])
    return np.concatenate(places)[np.argsort(-np.concatenate(looks))[:MOST_SPOTS]]


class _StepFits:
    """Straight-line fits of places in the step's number, many at a time, kept as sums: n, k, k k, p, k p."""

    def __init__(self, p: FloatArray, q: FloatArray) -> None:
        """Fits through places p (M, 2) at step 0 and q (M, 2) at step 1."""
        self.n, self.sk, self.skk = np.full(len(p), 2.0), np.ones(len(p)), np.ones(len(p))
        self.sp, self.skp = p + q, q.copy()
        self.ends = np.tile([0, 1], (len(p), 1))  # first and last step found

    def lines(self, i: IntArray | slice = slice(None)) -> tuple[FloatArray, FloatArray]:
        """Place of step 0 and step, (M, 2) each, of the fits ``i``."""
        n, sk, sp, skp = self.n[i], self.sk[i], self.sp[i], self.skp[i]
        det = n * self.skk[i] - sk**2
        step = (n[:, None] * skp - sk[:, None] * sp) / det[:, None]
        return (sp - sk[:, None] * step) / n[:, None], step

    def add(self, i: IntArray, k: int, places: FloatArray) -> None:
        """Take in a place (2,) at step k for each of the fits ``i``."""
        self.n[i] += 1
        self.sk[i] += k
        self.skk[i] += k * k
        self.sp[i] += places
        self.skp[i] += k * places
        self.ends[i, 0 if k < 0 else 1] = k

    @property
    def span(self) -> IntArray:
        """Steps from the first to the last one found, both counted."""
        return self.ends[:, 1] - self.ends[:, 0] + 1


def _chains(spots: FloatArray) -> list[_Chain]:
    """Lines of spots (M, 2) one pitch apart, most openings first.

    Each pair one pitch apart is carried on both ways, step by step, the line fitted anew after each.
    """
    tree = cKDTree(spots)
    pairs = tree.query_pairs(1 + STEP_TOL, output_type="ndarray")
    gap = spots[pairs[:, 1]] - spots[pairs[:, 0]]
    pairs = pairs[np.linalg.norm(gap, axis=1) > 1 - STEP_TOL]
    if not len(pairs):
        return []
    fits = _StepFits(spots[pairs[:, 0]], spots[pairs[:, 1]])
    _carry_on(fits, tree, spots)
    place, step = fits.lines()
    good = (
        (fits.n >= LEAST_FOUND)
        & (fits.n >= LEAST_FILLED * fits.span)
        & (np.abs(np.linalg.norm(step, axis=1) - 1) < 0.04)
    )
    order = np.nonzero(good)[0][np.argsort(-fits.n[good])][:MOST_CHAINS]
    return [
        _Chain(float(fits.n[i]), place[i], step[i], int(fits.ends[i, 0]), int(fits.ends[i, 1])) for i in order
    ]


def _carry_on(fits: _StepFits, tree: cKDTree, spots: FloatArray) -> None:
    """Carry all fits on both ways, dropping those that find too little."""
    alive = np.arange(len(fits.n))
    for ring in range(1, REACH):
        for k in (1 + ring, -ring):
            ends = fits.ends[alive]
            i = alive[(k - ends[:, 1] <= 3) & (ends[:, 0] - k <= 3)]  # past three misses it has ended
            if not len(i):
                continue
            place, step = fits.lines(i)
            tol = np.where(fits.n[i] == 2, 0.2, PLACE_TOL + 0.1 / fits.n[i])
            d, j = tree.query(place + k * step)
            hit = d < tol
            fits.add(i[hit], k, spots[j[hit]])
        ends, n = fits.ends[alive], fits.n[alive]
        if ring == 2:
            alive = alive[n >= 3]
        elif ring > 2:
            alive = alive[(n >= 4) & (np.maximum(ends[:, 1], -ends[:, 0]) >= ring - 3)]
        if not len(alive):
            break


def _line(chain: _Chain, plane: _Plane) -> Line | None:
    """The centre line of a chain's member; None where its angle to the lattice is neither none nor clear."""
    u = np.zeros(3)
    u[plane.others] = chain.step / np.linalg.norm(chain.step)
    slant = np.arcsin(np.clip(np.min(np.abs(u[plane.others])), 0, 1))
    if slant < ALONG:
        axis = int(np.abs(u).argmax())
        u = np.sign(u[axis]) * np.eye(3)[axis]
    elif slant < SLANTED:
        return None
    place = np.zeros(3)
    place[plane.others] = chain.place + chain.first * chain.step
    place[plane.normal] = plane.level
    return Line(place, u, np.eye(3)[plane.normal])
