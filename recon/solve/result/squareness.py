"""How far a solved frame is from its lattice: one adjustment of cameras, axes and members together.

The hole counts are known; what is left are the cameras, three angles between the frame's axes, and for each
member a small shift and turn.  All of them are estimated at once by least squares with priors, from all
openings found in all photos, and their covariance is the inverse of the normal matrix.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import accumulate, groupby, pairwise

import numpy as np

from recon.frame.squareness import OffPlace, Racked
from recon.geometry.arrays import FloatArray, IntArray
from recon.geometry.camera import Camera, project_jacobian, stepped, world2camera
from recon.solve.evidence.along_line import match_members
from recon.solve.evidence.camera_prior import POINT_SPREAD_CROPPED, RACK_SPREAD, CameraPrior
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.scene import Scene

# Expected of members before their openings speak; a bolt has 1 to 2 mm of play in its hole, of pitches of 25
# to 50 mm, and the play at both of two laps ten pitches apart lets a member turn by 0.3 degrees.
PLAY_SPREAD, TURN_SPREAD = 0.04, np.radians(0.3)
# Degrees of freedom of Student's t, which members' places follow: one that was moved by itself is not drawn
# to its place as the others are; common practice, no source.
TAILS = 4.0
EXPECTED_AS = 6  # values that what is expected counts as, beside what the members show; this project's choice
# Pitches by which light and shade may move all openings of one face in one photo alike: visible middles are
# up to 0.08 off.
SHADE_SPREAD = 0.03
FOCAL_SPREAD = 0.03  # of ln f of a camera that was adjusted under no prior, as in its resection
ROBUST = 2.0  # standard errors from which an opening counts less; this project's choice
ROUNDS = 8
LEAST_NATS = 1.0  # of an opening that is used, as for the adjustment of cameras
LEAST_OPENINGS = 12  # of a photo that is used, and of the openings of a member that is told of
# Degrees: an angle known worse than this says nothing of a frame that is racked by three degrees at most.
WORST_RACK_ERROR = 1.0
CAMERA, RACK, BODY = 11, 3, 6  # parameters of a camera, of the frame's axes, of a member


@dataclass(frozen=True)
class Squareness:
    """How far a frame is from its lattice.

    Attributes
    ----------
    racked : Racked or None
        None where the photos do not tell.
    members : tuple of OffPlace or None
        Side by side with the scene's candidates; None for one of which too few openings are seen.
    """

    racked: Racked | None
    members: tuple[OffPlace | None, ...]


@dataclass(frozen=True)
class FaceOpenings:
    """Openings of one face of one member in one photo, which light and shade move alike.

    Attributes
    ----------
    photo, member : int
        Numbers in the scene.
    world : (N, 3) array
        On the lattice, pitches.
    image : (N, 2) array
        Where they are seen, px.
    sigma : (N,) array
        Standard error of each, px.
    along : (2, 3) array
        Unit vectors in the face.
    """

    photo: int
    member: int
    world: FloatArray
    image: FloatArray
    sigma: FloatArray
    along: FloatArray


@dataclass
class _State:
    """What is estimated: cameras (with the frame's axes in them), and (M, 6) shift and turn of members.

    `middle` (M, 3) are the members' middles, `spread` (6,) how far members are off their places, and `share`
    (M,) how much of that each one is held by.
    """

    cameras: list[Camera]
    body: FloatArray
    middle: FloatArray = field(repr=False)
    share: FloatArray
    spread: FloatArray = field(default_factory=lambda: np.repeat([PLAY_SPREAD, TURN_SPREAD], 3))


def squareness_of(scene: Scene) -> Squareness:
    """How far the frame as a whole and each of its members is from the lattice.

    Parameters
    ----------
    scene : Scene
        Solved.

    Notes
    -----
    Gauss-Newton steps with Cauchy weights; how far members are off their places is a component of variance
    that they show themselves (expectation maximisation, Student's t).  An error that all openings of a face
    share in a photo is part of their covariance (its inverse by the Woodbury identity), so that light and
    shade do not pass for a shift.

    Examples
    --------
    >>> squareness_of(Scene((), {}, 1.0))
    Squareness(racked=None, members=())
    """
    nothing = Squareness(None, (None,) * len(scene.candidates))
    faces = face_openings(scene)
    counts = np.zeros((len(scene.photos), len(scene.candidates)), int)
    for f in faces:
        counts[f.photo, f.member] += len(f.world)
    used = np.nonzero(counts.sum(1) >= LEAST_OPENINGS)[0]
    faces = [f for f in faces if f.photo in used]
    if not faces:
        return nothing
    state = _start(scene)
    priors = [_prior_of(p) for p in scene.photos]
    covariance = np.zeros((0, 0))
    photos = _by_photo(faces, state.middle)
    for _ in range(ROUNDS):
        state, covariance = _step(state, photos, priors)
    error = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    told = counts[used].sum(0) >= LEAST_OPENINGS
    members = _members(state, error, len(scene.photos))
    return Squareness(
        _racked(state.cameras[used[0]], 2 * error[CAMERA * len(scene.photos) :][:RACK]),
        tuple(m if ok else None for m, ok in zip(members, told)),
    )


def face_openings(scene: Scene) -> list[FaceOpenings]:
    """The openings found of each face of each candidate in each photo."""
    out = []
    for i, photo in enumerate(scene.photos):
        for j, (candidate, (X, seen)) in enumerate(zip(scene.candidates, match_members(scene, photo))):
            found = ((seen.hit >= 0) & (seen.llr > LEAST_NATS)).reshape(4, -1)
            axes = np.eye(3)
            for face in range(4):
                number = np.nonzero(found[face])[0] + face * candidate.holes
                if not len(number):
                    continue
                o = photo.openings[seen.hit[number]]
                normal = [k for k in range(3) if k != candidate.axis][face // 2]
                in_face = axes[[k for k in range(3) if k != normal]]
                sigma = np.hypot(0.3, 0.08 * o["minor"])  # px: as for the adjustment of cameras
                out.append(FaceOpenings(i, j, X[number], np.c_[o["x"], o["y"]], sigma, in_face))
    return out


def _start(scene: Scene) -> _State:
    """Cameras before a square frame, and members in their places."""
    cameras = []
    for photo in scene.photos:
        u, _, v = np.linalg.svd(photo.camera.R)
        cameras.append(photo.camera.posed(u @ v, photo.camera.t))
    middle = [c.first + np.eye(3)[c.axis] * (c.holes - 1) / 2 for c in scene.candidates]
    return _State(cameras, np.zeros((len(middle), BODY)), np.array(middle), np.ones(len(middle)))


def _prior_of(photo: PosedPhoto) -> CameraPrior:
    """What is known of the camera beforehand; of one adjusted under no prior, that it is about right."""
    c = photo.camera
    return photo.prior or CameraPrior(c.f, FOCAL_SPREAD, (c.cx, c.cy), POINT_SPREAD_CROPPED * max(photo.size))


def _step(
    state: _State, photos: Sequence[_PhotoOpenings], priors: Sequence[CameraPrior]
) -> tuple[_State, FloatArray]:
    """One Gauss-Newton step, and the covariance of all parameters."""
    P, M = len(state.cameras), len(state.body)
    size = CAMERA * P + RACK + BODY * M
    H, g = np.zeros((size, size)), np.zeros(size)
    for place, J, W, e in _rows(state, photos):
        JW = J.T @ W
        H[place[:, None], place] += JW @ J
        g[place] += JW @ e
    for p, (camera, prior) in enumerate(zip(state.cameras, priors)):
        r, J = prior.residuals(camera)[:5], prior.jacobian(camera)[:5, :CAMERA]
        here = slice(CAMERA * p, CAMERA * (p + 1))
        H[here, here] += J.T @ J
        g[here] -= J.T @ r
    rack = np.arange(RACK) + CAMERA * P
    H[rack, rack] += (2 / RACK_SPREAD) ** 2
    g[rack] -= 2 / RACK_SPREAD**2 * state.cameras[0].rack
    held = (state.share[:, None] / state.spread**2).ravel()
    body = np.arange(BODY * M) + CAMERA * P + RACK
    H[body, body] += held
    g[body] -= state.body.ravel() * held
    scale = 1 / np.sqrt(np.diag(H))  # parameters have units of their own
    covariance = scale[:, None] * np.linalg.inv(H * scale[:, None] * scale) * scale
    d = covariance @ g
    cameras = [
        stepped(c, np.r_[d[CAMERA * p : CAMERA * (p + 1)], d[rack]]) for p, c in enumerate(state.cameras)
    ]
    moved = state.body + d[body].reshape(M, BODY)
    squares = moved**2 + np.diag(covariance)[body].reshape(M, BODY)
    share = (TAILS + BODY) / (TAILS + (squares / state.spread**2).sum(1))
    return _State(cameras, moved, state.middle, share, _spread(squares, share)), covariance


def _spread(squares: FloatArray, share: FloatArray) -> FloatArray:
    """(6,) how far members are off their places: from expected squares (M, 6), and how each counts (M,)."""
    sums = (share[:, None] * squares).reshape(-1, 2, 3).sum((0, 2))
    expected = EXPECTED_AS * np.array([PLAY_SPREAD, TURN_SPREAD]) ** 2
    return np.repeat(np.sqrt((expected + sums) / (EXPECTED_AS + 3 * len(squares))), 3)


@dataclass(frozen=True)
class _PhotoOpenings:
    """The openings of all faces that one photo shows, side by side, N in all.

    Attributes
    ----------
    photo : int
        Number in the scene.
    faces : list of (int, int, int)
        Member, and where the openings of each face start and stop.
    member : (N,) array
    world, image, sigma : (N, 3), (N, 2) and (N,) arrays
        As of :class:`FaceOpenings`.
    along : (N, 3, 2) array
        Unit vectors in the face of each, in columns.
    arm : (N, 3) array
        From the member's middle, pitches.
    turn : (N, 3, 3) array
        By how much a turn of the member moves each: columns are the axes of the turn.
    """

    photo: int
    faces: list[tuple[int, int, int]]
    member: IntArray
    world: FloatArray
    image: FloatArray
    sigma: FloatArray
    along: FloatArray
    arm: FloatArray
    turn: FloatArray


def _by_photo(faces: Sequence[FaceOpenings], middle: FloatArray) -> list[_PhotoOpenings]:
    """The openings of each photo in one table; the faces come photo after photo."""
    out = []
    for photo, group in groupby(faces, key=lambda f: f.photo):
        some = list(group)
        counts = [len(f.world) for f in some]
        spans = pairwise(accumulate(counts, initial=0))
        member = np.repeat([f.member for f in some], counts)
        world = np.concatenate([f.world for f in some])
        arm = world - middle[member]
        out.append(
            _PhotoOpenings(
                photo,
                [(f.member, a, b) for f, (a, b) in zip(some, spans)],
                member,
                world,
                np.concatenate([f.image for f in some]),
                np.concatenate([f.sigma for f in some]),
                np.repeat([f.along.T for f in some], counts, axis=0),
                arm,
                np.stack([np.cross(axis, arm) for axis in np.eye(3)], 2),
            )
        )
    return out


def _rows(
    state: _State, photos: Sequence[_PhotoOpenings]
) -> Iterator[tuple[IntArray, FloatArray, FloatArray, FloatArray]]:
    """For each face which parameters it depends on, the Jacobian, the weight matrix and the residuals."""
    rack = CAMERA * len(state.cameras)
    for o in photos:
        camera, body = state.cameras[o.photo], state.body[o.member]
        X = o.world + body[:, :3] + np.cross(body[:, 3:], o.arm)
        behind = world2camera(camera, X)[:, 2] <= 0
        px, by_camera, by_point = project_jacobian(camera, X)
        J = np.concatenate([by_camera, by_point, by_point @ o.turn], 2)
        e = o.image - px
        off = np.linalg.norm(e, axis=1) / o.sigma
        weight = 1 / (o.sigma**2 * (1 + (off / ROBUST) ** 2))
        shade = by_point @ o.along
        for member, a, b in o.faces:
            if behind[a:b].any():
                continue
            w, B = np.repeat(weight[a:b], 2), shade[a:b].reshape(-1, 2)
            WB = w[:, None] * B
            W = np.diag(w) - WB @ np.linalg.solve(np.eye(2) / SHADE_SPREAD**2 + B.T @ WB, WB.T)
            place = np.r_[
                CAMERA * o.photo + np.arange(CAMERA),
                rack + np.arange(RACK),
                rack + RACK + BODY * member + np.arange(BODY),
            ]
            yield place, J[a:b].reshape(2 * (b - a), -1), W, e[a:b].ravel()


def _racked(camera: Camera, error: FloatArray) -> Racked | None:
    """The frame's angles from a camera, whose planes come in the order x y, x z, y z; errors likewise."""
    deg, error_deg = np.degrees(camera.rack)[::-1], np.degrees(error)[::-1]
    if error_deg.min() > WORST_RACK_ERROR:
        return None
    return Racked(_rounded(deg, 3), _rounded(error_deg, 3))


def _members(state: _State, error: FloatArray, photos: int) -> list[OffPlace]:
    """Each member's shift and turn."""
    errors = error[CAMERA * photos + RACK :].reshape(-1, BODY)
    return [
        OffPlace(
            _rounded(body[:3], 4),
            _rounded(np.degrees(body[3:]), 3),
            _rounded(err[:3], 4),
            _rounded(np.degrees(err[3:]), 3),
        )
        for body, err in zip(state.body, errors)
    ]


def _rounded(values: FloatArray, decimals: int) -> tuple[float, float, float]:
    x, y, z = (float(v) + 0.0 for v in np.round(values, decimals))
    return x, y, z
