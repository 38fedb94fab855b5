"""Bolts at laps: a head or a nut on one of the two outer faces, an open hole, or out of sight."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from recon.frame.model import Joint, Member
from recon.geometry.arrays import FloatArray
from recon.geometry.boxes import lifted
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.predictions import Matches, match_predictions
from recon.solve.evidence.scene import Scene
from recon.solve.members.colours import colours_at

HEAD_RADIUS = 0.20  # pitches: within the head of any bolt that fills the hole, M6 in 25 mm to M12 in 50 mm
FACE_RADII = (0.36, 0.44)  # outside every washer, still on the face
SEEN_RATIO = 3.0  # head against face, over what the bare face shows between holes
OPEN_HOLE = 4.0  # nats for an open hole from which the bolt is called missing; this project's choice
PLAIN_FACE = 0.01  # contrast, L*a*b* / 100: a bare face, where none can be seen beside the hole
FLOOR = 0.008  # contrast of noise


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
    states = []
    for j in joints:
        axis = np.asarray(j.axis, float)
        faces = [(members[j.a], j.a_hole, -axis), (members[j.b], j.b_hole, axis)]
        head, open_hole = 0.0, 0.0
        for member, hole, normal in faces:
            for photo in scene.photos:
                h, o = _face_evidence(scene, photo, member, hole, normal)
                head, open_hole = max(head, h), max(open_hole, o)
        if head > SEEN_RATIO and head / SEEN_RATIO > open_hole / OPEN_HOLE:
            states.append("seen")
        elif open_hole > OPEN_HOLE:
            states.append("none")
        else:
            states.append("assumed")
    return states


def _face_evidence(
    scene: Scene, photo: PosedPhoto, member: Member, hole: int, normal: FloatArray
) -> tuple[float, float]:
    """What one face shows in one photo: contrast of a head over the bare face's, and nats for an open hole.

    0, 0 where it is out of sight.
    """
    direction = np.asarray(member.direction, float)
    X = member.hole_centres() + 0.5 * scene.width * normal
    normals = np.repeat(normal[None], len(X), 0)
    hidden = scene.occluders.hide(photo.camera.centre, lifted(X, normal))
    seen = match_predictions(photo, X, normals, hidden)
    if not seen.visible[hole]:
        return 0.0, 0.0
    if seen.hit[hole] >= 0 and seen.llr[hole] > 2 and _like_its_neighbours(photo, seen, hole):
        return 0.0, float(seen.llr[hole])
    image = scene.picture(photo)
    head, *beside = (
        _disc_contrast(photo, image, X[hole] + d * direction, normal, direction) for d in (0.0, -0.5, 0.5)
    )
    if head is None:
        return 0.0, 0.0
    bare = max((c for c in beside if c is not None), default=PLAIN_FACE)
    return head / (bare + FLOOR), 0.0


def _like_its_neighbours(photo: PosedPhoto, seen: Matches, hole: int) -> bool:
    """Is the spot at a hole of the size and darkness of the open holes of the same face?

    A bolt's head stands out from the face like a hole, but it is wider and of another lightness.
    """
    others = [k for k in range(len(seen.hit)) if k != hole and seen.hit[k] >= 0 and seen.llr[k] > 2]
    if len(others) < 3:
        return False
    near = sorted(others, key=lambda k: abs(k - hole))[:5]
    o = photo.openings
    here, there = o[seen.hit[hole]], o[seen.hit[near]]
    size = np.log(here["major"] / np.median(there["major"]))
    step = here["contrast"] / np.median(there["contrast"])
    return bool(abs(size) < 0.25 and 0.6 < step < 1.6)


def _disc_contrast(
    photo: PosedPhoto, image: np.ndarray, centre: FloatArray, normal: FloatArray, direction: FloatArray
) -> float | None:
    """Mean colour difference between a disc on the face and the face round it; None if out of the photo."""
    side = np.cross(normal, direction)
    angle = np.arange(12) * np.pi / 6
    rings = [
        (r * np.cos(angle)[:, None] * direction + r * np.sin(angle)[:, None] * side)
        for r in (0.07, 0.14, HEAD_RADIUS, *FACE_RADII)
    ]
    px = photo.camera.project(np.concatenate([centre + r for r in rings]))
    H, W = image.shape[:2]
    if not np.isfinite(px).all() or px.min() < 1 or (px[:, 0] > W - 2).any() or (px[:, 1] > H - 2).any():
        return None
    colour = colours_at(image, px).reshape(len(rings), 12, 3)
    return float(np.linalg.norm(colour[:3].mean((0, 1)) - np.median(colour[3:].reshape(-1, 3), axis=0)))
