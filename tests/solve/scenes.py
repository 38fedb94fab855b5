"""Made-up photos as lists of openings: frames projected by known cameras, with noise, misses and clutter."""

import numpy as np
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from recon.bench.made_photos import HOLE, SIZE, Shot, camera_round, shoot
from recon.geometry.camera import Camera
from recon.geometry.lattice import rotations
from recon.image.rows import Row
from recon.solve.evidence.candidate import Candidate
from recon.solve.evidence.posed_photo import PosedPhoto, make_posed_photo
from recon.solve.evidence.scene import Scene
from tests.growing import grow_frame


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
