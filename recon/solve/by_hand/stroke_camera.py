"""The camera from strokes along rows: what two or three of them tell, and how well.

A stroke along a row of known count, of a direction of the frame, gives its line and, where openings were
taken along it, its vanishing point too.  What is unknown beyond that comes from priors: focal length,
principal point at the picture's middle, lens, and that photos are held about level.  Several cameras may
explain a few strokes; each comes with its chance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from recon.errors import ReconError
from recon.geometry.arrays import FloatArray, IntArray
from recon.geometry.camera import Camera, image2sensor
from recon.solve.by_hand.row_strokes import CountedStroke, stroke_points
from recon.solve.evidence.camera_prior import FOCAL_SPREAD_EXIF, FOCAL_SPREAD_UNKNOWN, LENS_SPREAD
from recon.solve.photo.photo_lattice import upright_axes
from recon.solve.photo.row_points import RowPoints, row_residuals

PRINCIPAL_SPREAD = 0.02  # of the long side: principal point about the middle of a photo that is not cropped
LEVEL_SPREAD = 0.15  # sine of the angle by which photos are held off level; this project's choice
# Of the sine of the angle by which they look up or down; wide enough for any but those from straight above.
PITCH_SPREAD = 0.5
TRIED = 4000  # rotations that are tried, about 7 degrees apart
FOCALS_TRIED = (-1.2, -0.6, 0.0, 0.6, 1.2)  # standard errors of ln f about its prior
COARSE = 0.06  # rad: how far a rotation that is tried may be off
STEP_SCALE = (0.1, 0.1, 0.1, 0.1, 0.02, 0.02, 0.05)  # of the solver's steps, as in `stepped_camera`
PRIORS = 6  # how many of the residuals are priors
FOCAL_HELD = 0.4  # spread of ln f about a focal length that is held, in its standard errors
MOST_REFINED, MOST_STEPS = 12, 12  # bound the time
SAME_AXES_DEG = 3.0  # nearer than this, two rotations are one camera
LEAST_CHANCE = 0.02  # cameras less likely than this are left out; this project's choice
ROBUST = 2.0  # standard errors beyond which a place counts less (Cauchy); this project's choice


@dataclass(frozen=True)
class StrokeCamera:
    """A camera that explains the strokes.

    Attributes
    ----------
    camera : Camera
        Its R takes the frame's axes to the camera, z the most upright one; t = 0.
    axis : (S,) int array
        Which axis each stroke runs along.
    chance : float
        Among the cameras that explain the strokes.
    cov : (7, 7) array
        Covariance of a step of the camera (`stepped_camera`).
    rms : float
        How far the strokes' holes are off, in their standard errors.
    """

    camera: Camera
    axis: IntArray
    chance: float
    cov: FloatArray
    rms: float

    @property
    def focal_sigma(self) -> float:
        """Standard error of ln f."""
        return float(np.sqrt(self.cov[0, 0]))

    @property
    def turn_sigma(self) -> float:
        """Standard error of the rotation about the axis that it is known worst about, radians, at most pi."""
        return float(np.sqrt(np.clip(np.linalg.eigvalsh(self.cov[1:4, 1:4])[-1], 0.0, np.pi**2)))


def cameras_of_strokes(
    strokes: Sequence[CountedStroke], size: tuple[int, int], focal_px: float | None = None, seed: int = 0
) -> list[StrokeCamera]:
    """Cameras that explain strokes along rows of two or three perpendicular directions, the likeliest first.

    Parameters
    ----------
    strokes : sequence of CountedStroke
        Two or more, in two directions at least.
    size : tuple of int
        Width and height of the photo, px.
    focal_px : float, optional
        Focal length from EXIF, px.
    seed : int
        Of the rotations that are tried; results are repeatable.

    Raises
    ------
    ReconError
        Where strokes are missing; says which.

    Notes
    -----
    Each camera is a local maximum of the posterior; chances are Laplace's approximation (MacKay 2003,
    "Information Theory, Inference, and Learning Algorithms", chapter 27; from memory).

    Examples
    --------
    >>> from recon.solve.by_hand.row_strokes import RowStroke, count_holes
    >>> from recon.image.openings import OPENING
    >>> OPEN = np.zeros(0, OPENING)  # none can be seen
    >>> R = Rotation.from_euler("xyz", [115, 0, 35], degrees=True).as_matrix()
    >>> true = Camera(1300.0, 799.5, 599.5, R=R, t=np.array([0.0, 0.0, 30.0]))
    >>> ends = [([0, 0, 0], [9, 0, 0]), ([0, 0, 0], [0, 8, 0]), ([0, 0, 0], [0, 0, 7])]
    >>> strokes = [
    ...     count_holes(RowStroke(*map(tuple, true.project(e)), holes=max(e[1]) + 1, axis=k), OPEN)
    ...     for k, e in enumerate(ends)
    ... ]
    >>> best = cameras_of_strokes(strokes, (1600, 1200), focal_px=1300.0)[0]
    >>> sorted(best.axis.tolist()), round(best.camera.f, -2), bool(best.focal_sigma < 0.05)
    ([0, 1, 2], 1300.0, True)
    """
    _refuse_too_few(strokes)
    search = _Search(strokes, size, focal_px)
    found: list[tuple[float, StrokeCamera]] = []
    for camera in search.starts(np.random.default_rng(seed)):
        fitted = search.fitted(camera)
        if fitted is not None:
            found.append(fitted)
    if not found:
        raise ReconError("No camera explains these strokes; check their counts and that they lie along rows.")
    modes = _distinct(found)
    total = np.logaddexp.reduce([log for log, _ in modes])
    out = [replace(c, chance=float(np.exp(log - total))) for log, c in modes]
    if len(set(out[0].axis.tolist())) < 2:
        raise ReconError(
            "All strokes run along one direction of the frame, which leaves the camera open; "
            "draw one along a row of another direction."
        )
    return [c for c in out if c.chance >= LEAST_CHANCE and len(set(c.axis.tolist())) > 1]


def camera_at_focal(
    found: StrokeCamera, strokes: Sequence[CountedStroke], size: tuple[int, int], sigmas: float
) -> StrokeCamera:
    """The camera that explains the strokes with ln f about `sigmas` standard errors off that of `found`."""
    focal = found.camera.f * float(np.exp(sigmas * found.focal_sigma))
    search = _Search(strokes, size, focal)
    search.spread = FOCAL_HELD * found.focal_sigma
    fitted = search.fitted(replace(found.camera, f=focal))
    return found if fitted is None else replace(fitted[1], chance=found.chance)


def _refuse_too_few(strokes: Sequence[CountedStroke]) -> None:
    named = {s.stroke.axis for s in strokes if s.stroke.axis is not None}
    if len(strokes) < 2:
        raise ReconError(
            f"A camera needs strokes along two rows of different directions, and there "
            f"{'is 1' if strokes else 'are none'}; draw {'one more' if strokes else 'two'}."
        )
    if len(named) == 1 and all(s.stroke.axis is not None for s in strokes):
        raise ReconError("All strokes are in one direction; draw one along a row of another direction.")


class _Search:
    """The posterior of a camera given strokes, and the search for its maxima."""

    def __init__(
        self, strokes: Sequence[CountedStroke], size: tuple[int, int], focal_px: float | None
    ) -> None:
        self.points: RowPoints = stroke_points(strokes)
        self.named = np.array([-1 if s.stroke.axis is None else s.stroke.axis for s in strokes])
        self.middle = np.array([(size[0] - 1) / 2, (size[1] - 1) / 2])
        self.long_side = max(size)
        self.focal = focal_px or 1.0 * max(size)
        self.spread = FOCAL_SPREAD_EXIF if focal_px else FOCAL_SPREAD_UNKNOWN
        last = self.points.weight.sum(1).astype(int) - 1
        self.ends = np.stack([self.points.px[:, 0], self.points.px[np.arange(len(strokes)), last]], 1)

    def starts(self, rng: np.random.Generator) -> list[Camera]:
        """Cameras that the strokes' lines leave, the best first, no two alike."""
        turns = Rotation.random(TRIED, random_state=rng).as_matrix()
        scored = []
        for k in FOCALS_TRIED:
            camera = Camera(self.focal * float(np.exp(k * self.spread)), *self.middle.tolist())
            rays = np.concatenate([image2sensor(camera, self.ends), np.ones((*self.ends.shape[:2], 1))], 2)
            normal = np.cross(rays[:, 0], rays[:, 1])
            normal /= np.linalg.norm(normal, axis=1, keepdims=True)
            off = (np.einsum("si,tij->tsj", normal, turns) / COARSE) ** 2
            named = self.named >= 0
            cost = off.min(2)
            cost[:, named] = off[:, named, self.named[named]]
            total = 0.5 * np.minimum(cost, 25).sum(1) + _held_cost(turns) + 0.5 * k * k
            scored += [(float(total[t]), replace(camera, R=turns[t])) for t in np.argsort(total)[:60]]
        scored.sort(key=lambda pair: pair[0])
        by_name = bool((self.named >= 0).any())
        out: list[Camera] = []
        for _, camera in scored:
            if len(out) == MOST_REFINED:
                break
            if not any(_turn_between(camera.R, c.R, by_name) < 3 * SAME_AXES_DEG for c in out):
                out.append(camera)
        return out

    def axes(self, camera: Camera) -> IntArray:
        """(S,): the axis that each stroke fits best along, or the one that it is said to run along."""
        errors = [
            (row_residuals(camera, self.points, np.full(len(self.named), j)) ** 2).sum((1, 2))
            for j in range(3)
        ]
        best = np.argmin(errors, axis=0)
        return np.where(self.named >= 0, self.named, best)

    def fitted(self, camera: Camera) -> tuple[float, StrokeCamera] | None:
        """The maximum of the posterior near a camera: log evidence and camera; None where there is none."""
        for _ in range(2):
            axis = self.axes(camera)
            residual = partial(self._residual, camera, axis, int(np.abs(camera.R[1]).argmax()))
            try:
                sol = least_squares(residual, np.zeros(7), max_nfev=MOST_STEPS, x_scale=STEP_SCALE)
                cov = np.linalg.inv(sol.jac.T @ sol.jac)
            except (ValueError, np.linalg.LinAlgError):
                return None
            camera = stepped_camera(camera, sol.x, self.long_side)
        seen = sol.fun[:-PRIORS]
        rms = float(np.sqrt((seen**2).sum() / max(self.points.weight.sum(), 1)))
        log = -float(sol.cost) + 0.5 * float(np.linalg.slogdet(cov)[1])
        upright = upright_axes(camera)
        found = StrokeCamera(upright, _renamed(axis, camera, upright), 0.0, np.asarray(cov, float), rms)
        return log, found

    def _residual(self, start: Camera, axis: IntArray, z: int, p: FloatArray) -> FloatArray:
        """Residuals of holes and priors after a step p of a camera; z: its upright axis."""
        camera = stepped_camera(start, p, self.long_side)
        e = row_residuals(camera, self.points, axis) / self.points.sigma[:, None, None]
        r2 = (e**2).sum(2, keepdims=True)
        # Cauchy's loss on each place, as a weight, so that the priors stay outside of it.
        e = e * np.sqrt(ROBUST**2 * np.log1p(r2 / ROBUST**2) / np.maximum(r2, 1e-12))
        priors = [
            np.log(camera.f / self.focal) / self.spread,
            *((np.array([camera.cx, camera.cy]) - self.middle) / (PRINCIPAL_SPREAD * self.long_side)),
            camera.k1 / LENS_SPREAD,
            camera.R[0, z] / LEVEL_SPREAD,
            camera.R[2, z] / PITCH_SPREAD,
        ]
        return np.r_[e.ravel(), priors]


def _held_cost(turns: FloatArray) -> FloatArray:
    """(T,) nats against cameras held so: how the most upright axis leans sideways and away in the picture."""
    up = turns[np.arange(len(turns)), :, np.abs(turns[:, 1]).argmax(1)]
    return np.asarray(0.5 * (up[:, 0] / LEVEL_SPREAD) ** 2 + 0.5 * (up[:, 2] / PITCH_SPREAD) ** 2, float)


def stepped_camera(camera: Camera, p: FloatArray, long_side: float) -> Camera:
    """The camera after a step (7,): ln f, left rotation vector (rad), principal point (long sides), k1."""
    return replace(
        camera,
        f=camera.f * float(np.exp(np.clip(p[0], -2, 2))),
        cx=camera.cx + float(p[4]) * long_side,
        cy=camera.cy + float(p[5]) * long_side,
        k1=float(np.clip(camera.k1 + p[6], -0.6, 0.6)),
        R=Rotation.from_rotvec(p[1:4]).as_matrix() @ camera.R,
    )


def _renamed(axis: IntArray, before: Camera, after: Camera) -> IntArray:
    """The strokes' axes once a camera's axes have other names."""
    name = np.abs(before.R.T @ after.R).argmax(1)
    return np.asarray(name[axis], int)


def _turn_between(R: FloatArray, S: FloatArray, named: bool) -> float:
    """Degrees between two rotations whose axes may have other names and signs; only other signs if named."""
    m = np.abs(R.T @ S)
    cosine = m.diagonal().min() if named else m.max(0).min()
    return float(np.degrees(np.arccos(min(1.0, float(cosine)))))


def _distinct(found: list[tuple[float, StrokeCamera]]) -> list[tuple[float, StrokeCamera]]:
    """The cameras, the likeliest first, each once, whatever its axes are called."""
    out: list[tuple[float, StrokeCamera]] = []
    for log, c in sorted(found, key=lambda pair: -pair[0]):
        near = SAME_AXES_DEG + np.degrees(min(c.turn_sigma, 0.2))
        if not any(
            _turn_between(c.camera.R, o.camera.R, False) < near
            and (_renamed(c.axis, c.camera, o.camera) == o.axis).all()
            for _, o in out
        ):
            out.append((log, c))
    return out
