"""Made-up photos as lists of openings: frames projected by known cameras, with noise, misses and clutter."""

from dataclasses import dataclass

import numpy as np
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from recon.frame.boxes import corners, face_normals, hidden, openings
from recon.geometry.camera import Camera, project_jacobian
from recon.geometry.lattice import rotations
from recon.image.openings import OPENING
from recon.image.rows import Row
from recon.solve.evidence.candidate import Candidate
from recon.solve.evidence.posed_photo import PosedPhoto, make_posed_photo
from recon.solve.evidence.scene import Scene
from tests.growing import grow_frame

SIZE = (1600, 1200)
HOLE = 0.29  # diameter in pitches: 11.1 mm of 38.1 mm; common practice, no source


@dataclass(frozen=True)
class Shot:
    """A made-up photo: openings, the camera that saw them, and (member, face, hole) or -1 for each."""

    openings: np.ndarray
    camera: Camera
    source: np.ndarray


def camera_round(frame, azimuth, elevation, f=1300.0, roll=2.0, k1=0.0, fill=0.8, size=SIZE) -> Camera:
    """A camera that looks at the frame from azimuth and elevation (degrees); the frame fills the photo."""
    points = np.concatenate([corners(m) for m in frame.members])
    middle = (points.min(0) + points.max(0)) / 2
    a, e = np.radians([azimuth, elevation])
    away = np.array([np.cos(a) * np.cos(e), np.sin(a) * np.cos(e), np.sin(e)])
    right = np.cross(-away, [0, 0, 1.0])
    right /= np.linalg.norm(right)
    level = np.array([right, np.cross(-away, right), -away])
    R = Rotation.from_euler("z", roll, degrees=True).as_matrix() @ level
    near, far = 3.0, 500.0
    for _ in range(40):
        distance = np.sqrt(near * far)
        c = Camera(f, (size[0] - 1) / 2, (size[1] - 1) / 2, k1, 0.0, R, -R @ (middle + distance * away))
        px = c.project(points)
        fits = np.isfinite(px).all() and (np.abs(px - [c.cx, c.cy]) < fill * np.array(size) / 2).all()
        near, far = (near, distance) if fits else (distance, far)
    return c


def shoot(
    frame, camera, seed=0, noise_px=0.3, found=0.95, clutter=60, size=SIZE, hole=HOLE, least_px=2.5
) -> Shot:
    """The openings that a detector would give: those in sight, a few missed, and clutter of their sizes."""
    rng = np.random.default_rng(seed)
    rows, source = [], []
    for i, member in enumerate(frame.members):
        for face, (normal, centres) in enumerate(zip(face_normals(member)[2:], openings(member))):
            to_eye = camera.centre - centres
            facing = to_eye @ normal / np.linalg.norm(to_eye, axis=1)
            px, _, by_point = project_jacobian(camera, centres)
            u = np.asarray(member.direction, float)
            shape = by_point @ (hole / 2 * np.c_[u, np.cross(normal, u)])  # (K, 2, 2)
            turn, axes, _ = np.linalg.svd(shape)
            ok = (
                (facing > 0.17)
                & (2 * axes[:, 1] > least_px)
                & (px > 3).all(1)
                & (px < np.array(size) - 4).all(1)
            )
            ok &= ~hidden(centres + 0.02 * normal, camera.centre, frame.members)
            ok &= rng.random(len(ok)) < found
            for k in np.nonzero(ok)[0]:
                rows.append(
                    (
                        *px[k],
                        *(2 * axes[k]),
                        np.arctan2(turn[k, 1, 0], turn[k, 0, 0]),
                        -0.3,
                        rng.uniform(3, 9),
                    )
                )
                source.append((i, face, k))
    true = np.array(rows, dtype=OPENING)
    for name in ("x", "y"):
        true[name] += rng.normal(0, noise_px, len(true))
    for name in ("major", "minor"):
        true[name] *= np.exp(rng.normal(0, 0.04, len(true)))
    spots = np.zeros(clutter, OPENING)
    spots["x"], spots["y"] = rng.uniform(3, size[0] - 4, clutter), rng.uniform(3, size[1] - 4, clutter)
    spots["major"] = rng.choice(true["major"], clutter) * rng.uniform(0.6, 1.6, clutter)
    spots["minor"] = spots["major"] * rng.uniform(0.3, 1, clutter)
    spots["angle"], spots["contrast"] = rng.uniform(0, np.pi, clutter), -0.2
    spots["score"] = rng.uniform(1, 4, clutter)
    both, source = np.concatenate([true, spots]), np.array(source + [(-1, -1, -1)] * clutter)
    order = np.argsort(-both["score"], kind="stable")
    return Shot(both[order], camera, source[order])


def grown_scene(seed, azimuth=30.0, elevation=25.0, members=8, width=1.0, **how):
    """A frame that could be built and a photo of it."""
    frame = grow_frame(seed, members, width, holes=(6, 13))
    lens = {k: how.pop(k) for k in ("f", "roll", "k1", "fill") if k in how}
    return frame, shoot(frame, camera_round(frame, azimuth, elevation, **lens), seed, **how)


def photo_of(shot: Shot, name="photo", size=SIZE, hole=HOLE) -> PosedPhoto:
    """The photo with its true camera."""
    return make_posed_photo(name, shot.camera, size, shot.openings, hole)


def scene_of(photos=(), candidates=(), width=1.0, pictures=()) -> Scene:
    """A scene; pictures side by side with the photos, or none."""
    names = [p.name for p in photos]
    return Scene(tuple(photos), dict(zip(names, pictures)), width, tuple(candidates))


def lattice_change(found: Camera, true: Camera):
    """Turn and shift from the true world to the one a camera was found in: X' = turn X + shift.

    Returns turn (3, 3), shift (3,), and by how many degrees the rotation differs from that of a lattice.
    """
    free = found.R.T @ true.R
    turn = max(rotations(), key=lambda t: float(np.trace(free.T @ t)))
    off = np.degrees(np.linalg.norm(Rotation.from_matrix(free @ turn.T).as_rotvec()))
    return turn, found.centre - turn @ true.centre, float(off)


def true_rows(shot, least=4):
    """Rows as they are: the openings of each face, at their steps; and the axis of each."""
    rows, faces = [], []
    for member, face in sorted({(m, f) for m, f, _ in shot.source.tolist() if m >= 0}):
        index = np.nonzero((shot.source[:, 0] == member) & (shot.source[:, 1] == face))[0]
        index = index[np.argsort(shot.source[index, 2])]
        if len(index) >= least:
            rows.append(Row(index, shot.source[index, 2] - shot.source[index[0], 2], -6.0))
            faces.append(member)
    return rows, faces


def axes_of(frame, members):
    return np.array([int(np.abs(frame.members[m].direction).argmax()) for m in members])


def candidates_of(frame):
    """A frame's members as candidates that run towards positive coordinates."""
    return [
        Candidate.bare(int(np.abs(m.direction).argmax()), np.minimum(m.first, m.last), m.holes)
        for m in frame.members
    ]


unit = st.floats(-1, 1)


@st.composite
def rows_in_space(draw):
    """A camera at the origin and a row before it: first opening, direction (camera coordinates), steps."""
    camera = Camera(draw(st.floats(900, 4000)), 799.5, 599.5, 0.1 * draw(unit))
    way = np.array([draw(unit), draw(unit), 0.7 * draw(unit)])
    way = way / max(np.linalg.norm(way), 1e-9) if np.linalg.norm(way[:2]) > 0.3 else np.array([0.6, 0.8, 0.0])
    middle = np.array([4 * draw(unit), 3 * draw(unit), draw(st.floats(18, 40))])
    steps = np.array(sorted(draw(st.sets(st.integers(0, 12), min_size=3, max_size=13))))
    return camera, middle - way * steps.mean(), way, steps - steps[0]
