"""Bolts at laps: a head or a nut on one of the two outer faces, an open hole, or out of sight."""

from __future__ import annotations

import numpy as np

from recon.geometry.boxes import lifted, occluded
from recon.solve.evidence.predictions import look
from recon.solve.members.ends import _colours

HEAD_RADIUS = 0.20  # pitches: within the head of any bolt that fills the hole, M6 in 25 mm to M12 in 50 mm
FACE_RADII = (0.36, 0.44)  # outside every washer, still on the face
SEEN_RATIO = 3.0  # head against face, over what the bare face shows between holes


def bolt_states(views, images, joints, members, boxes_, width: float) -> list[str]:
    """ "seen", "none" or "assumed" for each joint.

    Parameters
    ----------
    views, images : photos with cameras and their pictures.   joints : recon.frame.model.Joint.
    members : id -> recon.frame.model.Member in the views' world.   boxes_ : (lo, hi) of all members.
    """
    states = []
    for j in joints:
        axis = np.asarray(j.axis, float)
        faces = [(members[j.a], j.a_hole, -axis), (members[j.b], j.b_hole, axis)]
        head, open_hole = 0.0, 0.0
        for member, hole, normal in faces:
            for view, image in zip(views, images):
                h, o = _face_says(view, image, member, hole, normal, width, boxes_)
                head, open_hole = max(head, h), max(open_hole, o)
        if head > SEEN_RATIO and head / SEEN_RATIO > open_hole / 4:
            states.append("seen")
        elif open_hole > 4:
            states.append("none")
        else:
            states.append("assumed")
    return states


def _face_says(view, image, member, hole, normal, width, boxes_):
    """(contrast of a head over the bare face's, nats for an open hole) on one face in one photo; 0, 0 if out of sight."""
    direction = np.asarray(member.direction, float)
    X = member.hole_centres() + 0.5 * width * normal
    normals = np.repeat(normal[None], len(X), 0)
    seen = look(view, X, normals, occluded(view.camera.centre, lifted(X, normal), *boxes_))
    if not seen.visible[hole]:
        return 0.0, 0.0
    if seen.hit[hole] >= 0 and seen.llr[hole] > 2 and _like_its_neighbours(view, seen, hole):
        return 0.0, float(seen.llr[hole])
    side = np.cross(normal, direction)
    contrast = [
        _disc_contrast(view, image, X[hole] + d * direction, normal, direction, side)
        for d in (0.0, -0.5, 0.5)
    ]
    if contrast[0] is None:
        return 0.0, 0.0
    bare = [c for c in contrast[1:] if c is not None]
    return contrast[0] / (max(bare, default=0.01) + 0.008), 0.0


def _like_its_neighbours(view, seen, hole) -> bool:
    """Is the spot at a hole of the size and darkness of the open holes of the same face?

    A bolt's head stands out from the face like a hole, but it is wider and of another lightness.
    """
    others = [k for k in range(len(seen.hit)) if k != hole and seen.hit[k] >= 0 and seen.llr[k] > 2]
    if len(others) < 3:
        return False
    near = sorted(others, key=lambda k: abs(k - hole))[:5]
    o = view.openings
    here, there = o[seen.hit[hole]], o[seen.hit[near]]
    size = np.log(here["major"] / np.median(there["major"]))
    step = here["contrast"] / np.median(there["contrast"])
    return bool(abs(size) < 0.25 and 0.6 < step < 1.6)


def _disc_contrast(view, image, centre, normal, direction, side):
    """Length of the mean colour difference between a disc on the face and the face round it."""
    angle = np.arange(12) * np.pi / 6
    rings = [
        (r * np.cos(angle)[:, None] * direction + r * np.sin(angle)[:, None] * side)
        for r in (0.07, 0.14, HEAD_RADIUS, *FACE_RADII)
    ]
    px = view.camera.project(np.concatenate([centre + r for r in rings]))
    H, W = image.shape[:2]
    if not np.isfinite(px).all() or px.min() < 1 or (px[:, 0] > W - 2).any() or (px[:, 1] > H - 2).any():
        return None
    colour = _colours(image, px).reshape(len(rings), 12, 3)
    return float(np.linalg.norm(colour[:3].mean((0, 1)) - np.median(colour[3:].reshape(-1, 3), axis=0)))
