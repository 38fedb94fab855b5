"""Frame or planes: whether what the members explain is explained as well by openings that lie in planes.

Dots, tiles, a grating, perforated sheet and channel are rows, and rows can be laid on members.  What a
frame shows beyond any plane is width: openings on a second face of a member, and members that lap, one width
off one another.  So an opening that a plane pattern explains says nothing for a member.  A frame is claimed
where a member has evidence of its own left and either laps another such member or shows two faces; where no
lap ties the members, that evidence must be more than the planes'.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from recon.frame.confidence import SURE
from recon.frame.model import Frame
from recon.geometry.arrays import BoolArray, FloatArray, IntArray
from recon.solve.evidence.candidate import LEAST_EVIDENCE, Candidate
from recon.solve.evidence.scene import Scene
from recon.solve.members.laps import candidate_evidence, lap_faces
from recon.solve.photo.plane_pattern import PlanePattern, find_plane_patterns

LEAST_FACE = 8.0  # nats of a second face: a row in three thousand of clutter; this project's choice
UNTIED = SURE - 0.05  # confidence, at most, of a member that laps no other: nothing ties it to the frame


@dataclass(frozen=True)
class PlanesOrFrame:
    """What speaks for a scene's C candidates once plane patterns have explained what they can.

    Attributes
    ----------
    patterns : Mapping[str, list[PlanePattern]]
        Photo -> its plane patterns.
    on_planes : (C,) array
        Nats from openings that a plane pattern explains, too.
    beyond : (C,) array
        Nats from all others.
    faces : (C,) int array
        Faces that show LEAST_FACE nats beyond the planes.
    laps : (C,) int array
        Laps with other candidates that the planes cannot explain.
    """

    patterns: Mapping[str, list[PlanePattern]]
    on_planes: FloatArray
    beyond: FloatArray
    faces: IntArray
    laps: IntArray

    @property
    def plane_nats(self) -> float:
        """Evidence of all plane patterns."""
        return float(sum(p.evidence for patterns in self.patterns.values() for p in patterns))

    @property
    def supported(self) -> BoolArray:
        """(C,) which candidates the planes cannot explain."""
        enough: BoolArray = self.beyond >= LEAST_EVIDENCE
        return enough

    @property
    def is_frame(self) -> bool:
        """Do members explain what planes cannot, and show that they have width?"""
        own = self.supported
        if (own & (self.laps > 0)).any():
            return True
        two_faced = own & (self.faces > 1)
        return bool(two_faced.any() and self.beyond[own].sum() > self.plane_nats)


def planes_or_frame(scene: Scene) -> PlanesOrFrame:
    """Weighs the scene's candidates against the plane patterns of its photos.

    Parameters
    ----------
    scene : Scene
        Solved.

    Examples
    --------
    >>> planes_or_frame(Scene((), {}, 1.0)).is_frame
    False
    """
    patterns = {p.name: find_plane_patterns(p.openings) for p in scene.photos}
    taken = [_openings_of(patterns[p.name]) for p in scene.photos]
    rows = [_weighed(scene, c, taken) for c in scene.candidates]
    on, beyond, faces = np.array(rows, float).reshape(-1, 3).T
    own = [c for c, nats in zip(scene.candidates, beyond) if nats >= LEAST_EVIDENCE]
    laps = [
        lap_faces(c.axis, c.first, c.holes, [o for o in own if o is not c], scene.width).sum()
        for c in scene.candidates
    ]
    return PlanesOrFrame(patterns, on, beyond, faces.astype(int), np.array(laps, int))


def _openings_of(patterns: Sequence[PlanePattern]) -> IntArray:
    """Numbers of the openings of some patterns."""
    return np.concatenate([np.zeros(0, int), *(p.index for p in patterns)])


def _weighed(scene: Scene, candidate: Candidate, taken: Sequence[IntArray]) -> tuple[float, float, int]:
    """Nats on planes and beyond, and faces beyond them, of one candidate."""
    seen = candidate_evidence(scene, candidate)
    explained = np.stack([(h >= 0) & np.isin(h, t) for h, t in zip(seen.hit, taken)])
    beyond = np.where(explained, 0, seen.llr)
    return (
        float(seen.llr[explained].sum()),
        float(beyond.sum()),
        int((beyond.sum((0, 2)) > LEAST_FACE).sum()),
    )


def without_plane_evidence(scene: Scene, test: PlanesOrFrame) -> Scene:
    """The scene in which candidates mostly on planes that lap no other count by what is beyond them.

    Their confidence, which follows from their evidence, falls with it.  What the user vouches for stays.
    """
    candidates = [
        replace(c, evidence=min(c.evidence, max(beyond, 0.0)))
        if beyond < on and not laps and c.fixed_ends is None
        else c
        for c, on, beyond, laps in zip(scene.candidates, test.on_planes, test.beyond, test.laps)
    ]
    return scene.with_candidates(candidates, scene.ends)


def untied_not_sure(frame: Frame) -> Frame:
    """The frame in which no member is sure that laps no other one.

    Examples
    --------
    >>> from recon.frame.model import Member
    >>> alone = Member("A", (0, 0, 0), (1, 0, 0), 5, 1.0, confidence=0.97)
    >>> untied_not_sure(Frame((alone,))).members[0].confidence < SURE
    True
    """
    tied = {name for j in frame.joints for name in (j.a, j.b)}
    members = (m if m.id in tied else replace(m, confidence=min(m.confidence, UNTIED)) for m in frame.members)
    return replace(frame, members=tuple(members))
