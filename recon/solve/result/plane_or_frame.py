"""Frame or planes: whether what the members explain is explained as well by openings that lie in planes.

Dots, tiles, a grating, perforated sheet and channel are rows, and rows can be laid on members.  What a
frame shows beyond any plane is width: openings on a second face of a member, and members that lap, one width
off one another.  So an opening that a plane pattern explains says nothing for a member; nor does one that
lies midway between two like it in three directions or more, as those of woven cloth do, which lies in no
plane.  A frame is claimed where members with evidence of their own left show width, by a lap with another
such member or by two faces, and explain more than those that show none; where no lap ties the members, there
must be two at least that explain more than the planes, too.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from recon.frame.confidence import SURE
from recon.frame.model import Frame, Member
from recon.geometry.arrays import BoolArray, FloatArray, IntArray
from recon.image.rows import pattern_directions
from recon.solve.evidence.along_line import LineEvidence
from recon.solve.evidence.candidate import LEAST_EVIDENCE
from recon.solve.evidence.scene import Scene
from recon.solve.members.laps import candidates_evidence, lap_faces
from recon.solve.photo.plane_pattern import PlanePattern, find_plane_patterns
from recon.solve.photo.read_photo import PATTERN_DIRECTIONS

LEAST_FACE = 8.0  # nats of a second face: a row in three thousand of clutter; this project's choice
# Of a member's openings that repeat in three directions, from which it is a row of a pattern: at most 0.44 of
# 168 members in 16 photos of frames, mostly under 0.1; in pictures of weave 0.7 to 0.85.
MOST_REPEATED = 0.5
EVEN_CHANCE = 0.5  # probability of a member from which it is likelier right than wrong
UNTIED = SURE - 0.05  # confidence, at most, of a member that nothing ties to the frame; this project's choice
# Bolts seen that tie a member off the lattice: in readings of rendered frames 8 of 8 braces with two were
# exact, 2 of 13 with fewer.
LEAST_PINS = 2


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
        Laps with other candidates that no pattern explains.
    repeated : (C,) array
        Of the openings found, the share that repeats in PATTERN_DIRECTIONS directions or more.
    """

    patterns: Mapping[str, list[PlanePattern]]
    on_planes: FloatArray
    beyond: FloatArray
    faces: IntArray
    laps: IntArray
    repeated: FloatArray

    @property
    def plane_nats(self) -> float:
        """Evidence of all plane patterns."""
        return float(sum(p.evidence for patterns in self.patterns.values() for p in patterns))

    @property
    def supported(self) -> BoolArray:
        """(C,) which candidates no pattern explains."""
        return _supported(self.beyond, self.repeated)

    @property
    def tied(self) -> bool:
        """Does a lap tie any two members that no pattern explains?"""
        return bool((self.supported & (self.laps > 0)).any())

    @property
    def is_frame(self) -> bool:
        """Do members explain what planes cannot, and show that they have width?"""
        own, tied = self.supported, self.laps > 0
        wide = own & (tied | (self.faces > 1))
        if self.beyond[wide].sum() <= self.beyond[own & ~wide].sum():
            return False  # a row or two of many chance to lie one width off one another
        if self.tied:
            return True
        return bool(wide.sum() > 1 and self.beyond[own].sum() > self.plane_nats)


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
    repeats = [pattern_directions(p.openings) >= PATTERN_DIRECTIONS for p in scene.photos]
    rows = [_weighed(seen, taken, repeats) for seen in candidates_evidence(scene)]
    on, beyond, faces, repeated = np.array(rows, float).reshape(-1, 4).T
    own = [c for c, ok in zip(scene.candidates, _supported(beyond, repeated)) if ok]
    laps = [
        lap_faces(c.axis, c.first, c.holes, [o for o in own if o is not c], scene.width).sum()
        for c in scene.candidates
    ]
    return PlanesOrFrame(patterns, on, beyond, faces.astype(int), np.array(laps, int), repeated)


def _supported(beyond: FloatArray, repeated: FloatArray) -> BoolArray:
    """Which candidates no pattern explains, from fields of :class:`PlanesOrFrame`."""
    enough: BoolArray = (beyond >= LEAST_EVIDENCE) & (repeated <= MOST_REPEATED)
    return enough


def _openings_of(patterns: Sequence[PlanePattern]) -> IntArray:
    """Numbers of the openings of some patterns."""
    return np.concatenate([np.zeros(0, int), *(p.index for p in patterns)])


def _weighed(
    seen: LineEvidence, taken: Sequence[IntArray], repeats: Sequence[BoolArray]
) -> tuple[float, float, int, float]:
    """Of one candidate nats on planes and beyond, faces beyond them, and the share that repeats."""
    repeated = np.concatenate([r[h[h >= 0]] for h, r in zip(seen.hit, repeats)])
    explained = np.stack([(h >= 0) & np.isin(h, t) for h, t in zip(seen.hit, taken)])
    beyond = np.where(explained, 0, seen.llr)
    return (
        float(seen.llr[explained].sum()),
        float(beyond.sum()),
        int((beyond.sum((0, 2)) > LEAST_FACE).sum()),
        float(repeated.mean()) if len(repeated) else 0.0,
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


def none_likely(frame: Frame, test: PlanesOrFrame) -> bool:
    """Is each member likelier wrong than right, and no lap or no second face there?  That is no frame.

    Stars, gravel and leaves have rows enough for a few members side by side; perforated strips on a table
    cross as members do, but show one face.

    Parameters
    ----------
    frame : Frame
        With the confidence of its members.
    test : PlanesOrFrame
        Of its scene.
    """
    shown = test.tied and bool((test.supported & (test.faces > 1)).any())
    return not shown and all(m.confidence < EVEN_CHANCE for m in frame.members)


def untied_not_sure(frame: Frame) -> Frame:
    """The frame in which no member is sure that laps no other one, and none off the lattice without bolts.

    A member on the lattice fits in by its place; one off it lies wherever its openings say, so that bolts
    seen at LEAST_PINS laps are asked for.

    Examples
    --------
    >>> from recon.frame.model import Member
    >>> alone = Member("A", (0, 0, 0), (1, 0, 0), 5, 1.0, confidence=0.97)
    >>> untied_not_sure(Frame((alone,))).members[0].confidence < SURE
    True
    """
    laps = Counter(name for j in frame.joints for name in (j.a, j.b))
    pins = Counter(name for j in frame.joints if j.bolt == "seen" for name in (j.a, j.b))

    def tied(m: Member) -> bool:
        return laps[m.id] > 0 if m.on_lattice else pins[m.id] >= LEAST_PINS

    members = (m if tied(m) else replace(m, confidence=min(m.confidence, UNTIED)) for m in frame.members)
    return replace(frame, members=tuple(members))
