"""Bolts at laps: a head or a nut on one of the two outer faces, an open hole, or out of sight.

Each outer face in sight says in nats how much likelier its photo is with a head or nut there than with an
open hole.  A head is larger than the open holes of the same face, stands off it, and has a colour of its own;
an open hole is like its neighbours and lies where they say.  What all faces and photos say adds up.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise

import numpy as np
from scipy.spatial import cKDTree

from recon.frame.boxes import face_normals, openings
from recon.frame.model import Joint, Member
from recon.geometry.arrays import FloatArray
from recon.geometry.boxes import lifted
from recon.geometry.camera import world2camera
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.predictions import Matches, match_predictions
from recon.solve.evidence.scene import Scene
from recon.solve.members.head_colour import colour_nats

# "Seen" asks for 20 : 1 by the photos alone. "None" asks for that after the odds of a lap's having a bolt,
# taken as 11 : 1: a false one sends somebody to look in vain.  This project's choice.
SEEN_NATS = 3.0
NONE_NATS = 3.0 + 2.4
MOST_NATS = 6.0  # for one face in one photo: no single view decides against all others; this project's choice

# An open hole, and a head or nut, against the open holes of the same face: natural logarithm of size and of
# contrast, place in pitches.  Measured on the openings of 1212 open holes and 241 heads and nuts in view on 5
# rendered frames with true cameras (quartiles; the share that has a detection like that).
OPEN_SIZE, OPEN_PLACE, OPEN_CONTRAST = 0.12, 0.03, 0.25
HEAD_SIZE, HEAD_SIZE_SPREAD = 0.60, 0.25
HEAD_HEIGHT, HEAD_PLACE = 0.10, 0.07  # the middle of what is seen of a head stands off the face by so much
OPEN_FOUND, HEAD_FOUND = 0.9, 0.85
CLUTTER_SIZE, CLUTTER_CONTRAST = (
    1 / 2.5,
    0.2,
)  # densities of other detections' sizes and contrasts: about even
UNDECIDED = 1.5  # nats: where no detection tells, colour is asked; this project's choice
PLACE_PX = 0.5  # px that a detection is off in any case, as in `predictions`
LEAST_DENSITY = 1e-3  # detections per square pitch; a floor against division by nothing
REACH = 0.4  # pitches round a hole in which detections are weighed: the larger heads
NEIGHBOURS, LEAST_NEIGHBOURS = (
    7,
    3,
)  # open holes of the face that tell what one looks like; this project's choice
SAME_SPOT = 0.12  # pitches: a detection this near to another opening in sight may be that one


def bolt_states(scene: Scene, joints: Iterable[Joint], members: Mapping[str, Member]) -> list[str]:
    """Whether the bolt of each joint is "seen", "none" is there, or it is "assumed".

    Parameters
    ----------
    scene : Scene
        Photos, pictures, and the candidates that may hide a bolt.
    joints : Iterable[Joint]
        Of the frame.
    members : Mapping[str, Member]
        id -> member, in the scene's world.

    Examples
    --------
    Without photos nothing is known of a bolt.

    >>> from recon.frame.joints import find_joints
    >>> a, b = Member("A", (0, 0, 0), (1, 0, 0), 5), Member("B", (2, 1, -2), (0, 0, 1), 5)
    >>> bolt_states(Scene((), {}, 1.0), find_joints([a, b]), {"A": a, "B": b})
    ['assumed']
    """
    return [state_of(nats) for nats in bolt_nats(scene, joints, members)]


def state_of(nats: float) -> str:
    """What is said of a bolt for which the photos speak by so many nats.

    Examples
    --------
    >>> [state_of(nats) for nats in (8.0, 1.0, -4.0, -7.0)]
    ['seen', 'assumed', 'assumed', 'none']
    """
    return "seen" if nats > SEEN_NATS else "none" if nats < -NONE_NATS else "assumed"


def bolt_nats(scene: Scene, joints: Iterable[Joint], members: Mapping[str, Member]) -> list[float]:
    """For each joint how much the photos speak for a bolt, nats: below 0 for an open hole, 0 unseen.

    Parameters
    ----------
    scene, joints, members
        As for `bolt_states`.
    """
    faces_in = [_FacesInPhoto(scene, photo, list(members.values())) for photo in scene.photos]
    found = []
    for j in joints:
        axis = np.asarray(j.axis, float)
        faces = ((members[j.a], j.a_hole, -axis), (members[j.b], j.b_hole, axis))
        found.append(
            sum(
                _face_nats(scene, shown, member, hole, normal)
                for member, hole, normal in faces
                for shown in faces_in
            )
        )
    return found


class _FacesInPhoto:
    """What one photo shows of the openings of all members' faces.

    Attributes
    ----------
    photo : PosedPhoto
    spots : cKDTree or None
        Over the places, px, of all openings that the photo should show; None where it should show none.
    """

    def __init__(self, scene: Scene, photo: PosedPhoto, members: Sequence[Member]) -> None:
        self.photo, self._scene = photo, scene
        self._faces: dict[tuple[str, tuple[float, ...]], Matches] = {}
        # Of a brace those across an axis alone: detections are matched along axes.
        faces = [
            (m.id, X, normal)
            for m in members
            for X, normal in zip(openings(m), face_normals(m)[2:])
            if np.abs(normal).max() >= 1 - 1e-6
        ]
        places = [np.zeros((0, 2))]
        if faces:
            seen = self._matches(
                np.concatenate([X for _, X, _ in faces]),
                np.concatenate([np.repeat(normal[None], len(X), 0) for _, X, normal in faces]),
            )
            places.append(seen.px[seen.visible])
            for (name, _, normal), (a, b) in zip(
                faces, pairwise(accumulate((len(X) for _, X, _ in faces), initial=0))
            ):
                self._faces[name, _rounded(normal)] = seen.take(slice(a, b))
        found = np.concatenate(places)
        self.spots = cKDTree(found) if len(found) else None

    def of(self, member: Member, X: FloatArray, normal: FloatArray) -> Matches:
        """The matches of the openings X (N, 3) of a member's face."""
        known = self._faces.get((member.id, _rounded(normal)))
        return known or self._matches(X, np.repeat(normal[None], len(X), 0))

    def _matches(self, X: FloatArray, normals: FloatArray) -> Matches:
        hidden = self._scene.occluders.hide(self.photo.camera.centre, lifted(X, normals))
        return match_predictions(self.photo, X, normals, hidden)


def _rounded(normal: FloatArray) -> tuple[float, ...]:
    return tuple((np.round(normal, 6) + 0.0).tolist())


def _face_nats(scene: Scene, shown: _FacesInPhoto, member: Member, hole: int, normal: FloatArray) -> float:
    """What one face says in one photo, nats; 0 where it is out of sight."""
    photo = shown.photo
    X = member.hole_centres() + 0.5 * scene.width * normal
    seen = shown.of(member, X, normal)
    if not seen.visible[hole]:
        return 0.0
    nats = _shape_nats(photo, shown.spots, X[hole], normal, _usual_opening(photo, X, seen, hole))
    if abs(nats) < UNDECIDED:
        nats += colour_nats(photo, scene.picture(photo), X[hole], normal, np.asarray(member.direction, float))
    return float(np.clip(nats, -MOST_NATS, MOST_NATS))


@dataclass(frozen=True)
class _Usual:
    """What open holes of a face look like in one photo.

    Attributes
    ----------
    size : float
        Natural logarithm of the diameter, pitches.
    contrast : float
        As in the table of openings; 0 where it is not known.
    shift : array, (2,)
        From where they are predicted to where they are, pitches in the picture.
    """

    size: float
    contrast: float
    shift: FloatArray


def _usual_opening(photo: PosedPhoto, X: FloatArray, seen: Matches, hole: int) -> _Usual:
    """How the open holes nearest to a hole look; like all of the photo's where too few are found."""
    others = [k for k in range(len(X)) if k != hole and seen.hit[k] >= 0 and seen.llr[k] > 1]
    if len(others) < LEAST_NEIGHBOURS:
        return _Usual(float(np.log(photo.hole)), 0.0, np.zeros(2))
    near = sorted(others, key=lambda k: abs(k - hole))[:NEIGHBOURS]
    o, scale = photo.openings[seen.hit[near]], _scale(photo, X[near])
    off = (np.c_[o["x"], o["y"]] - seen.px[near]) / scale[:, None]
    return _Usual(
        float(np.median(np.log(o["major"] / scale))),
        float(np.median(o["contrast"])),
        np.median(off, axis=0),
    )


def _shape_nats(
    photo: PosedPhoto, spots: cKDTree | None, centre: FloatArray, normal: FloatArray, usual: _Usual
) -> float:
    """A head against an open hole by the detections round the hole, nats: their size, place and contrast."""
    scale = float(_scale(photo, centre[None])[0])
    flat, raised = photo.camera.project(np.stack([centre, centre + HEAD_HEIGHT * normal]))
    near = [
        i
        for i in photo.tree.query_ball_point(flat, REACH * scale)
        if spots is None or not _is_another(photo, spots, i, flat, SAME_SPOT * scale)
    ]
    o = photo.openings[near]
    at = np.c_[o["x"], o["y"]] / scale - usual.shift
    size = np.log(np.maximum(o["major"], 0.1) / scale) - usual.size
    clutter = np.maximum(photo.density[near] * scale**2, LEAST_DENSITY) * CLUTTER_SIZE
    blur = PLACE_PX / scale
    as_open = _normal(size, OPEN_SIZE) * _round(at - flat / scale, float(np.hypot(OPEN_PLACE, blur)))
    as_head = _normal(size - HEAD_SIZE, HEAD_SIZE_SPREAD) * _round(
        at - raised / scale, float(np.hypot(HEAD_PLACE, blur))
    )
    alike = _contrast_odds(o["contrast"], usual.contrast)
    head = 1 - HEAD_FOUND + HEAD_FOUND * float((as_head / clutter).sum())
    opening = 1 - OPEN_FOUND + OPEN_FOUND * float((as_open * alike / clutter).sum())
    return float(np.log(head) - np.log(opening))


def _contrast_odds(contrast: FloatArray, usual: float) -> FloatArray:
    """How much likelier the contrasts of detections (N,) are of open holes than of anything else, (N,)."""
    if not usual:
        return np.ones(len(contrast))
    ratio = contrast / usual
    odds: FloatArray = _normal(np.log(np.maximum(ratio, 1e-3)), OPEN_CONTRAST) / CLUTTER_CONTRAST
    return np.where(ratio > 0, odds, 0.0)


def _is_another(photo: PosedPhoto, spots: cKDTree, index: int, own: FloatArray, reach: float) -> bool:
    """Whether a detection may be another opening in sight: one is near it, and nearer than its own."""
    at = np.array([photo.openings["x"][index], photo.openings["y"][index]])
    distance, _ = spots.query(at, k=2, distance_upper_bound=reach)
    mine = float(np.linalg.norm(at - own))
    return any(d < mine - 1e-6 for d in np.atleast_1d(distance))


def _scale(photo: PosedPhoto, points: FloatArray) -> FloatArray:
    """px to a pitch at places (N, 3)."""
    return photo.camera.f / np.maximum(world2camera(photo.camera, points)[:, 2], 1e-6)


def _normal(x: FloatArray, sigma: float) -> FloatArray:
    """Density of a normal distribution."""
    density: FloatArray = np.exp(-0.5 * (x / sigma) ** 2) / (sigma * np.sqrt(2 * np.pi))
    return density


def _round(xy: FloatArray, sigma: float) -> FloatArray:
    """Density of a round normal distribution in the plane, (N,), of places (N, 2)."""
    density: FloatArray = np.exp(-0.5 * (xy**2).sum(-1) / sigma**2) / (2 * np.pi * sigma**2)
    return density
