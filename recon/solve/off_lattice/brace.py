"""A member off the lattice as found, and as a member of a frame."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np

from recon.frame.model import End, Member, as_tuple, section_axes
from recon.geometry.arrays import FloatArray, IntArray
from recon.solve.evidence.candidate import EndGuess
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.scene import Ends, Scene
from recon.solve.off_lattice.lines import Line
from recon.solve.off_lattice.search import Search, unexplained

# Nats.  Rendered photos with truth: the best false pinned line had 14, the weakest true one, 4 holes in
# sight, 31;
# the best false free line seen in two photos 48 (it touched nothing), true ones 103 to 404.
LEAST_PINNED = 20.0
LEAST_FREE = 45.0


@dataclass(frozen=True)
class Brace:
    """A member off the lattice.

    Attributes
    ----------
    first : (3,) centre of hole 0, pitches.
    direction : (3,) unit.
    normal : (3,) unit, of one pair of faces: the axis of the bolts.
    holes : its length.
    evidence : nats.
    hits : openings found.
    ends : the low and the high end.
    pins : holes in line with a hole of another member that it touches.
    """

    first: FloatArray
    direction: FloatArray
    normal: FloatArray
    holes: int
    evidence: float
    hits: int
    ends: Ends
    pins: int

    @property
    def line(self) -> Line:
        """The line of its holes."""
        return Line(self.first, self.direction, self.normal)


def as_member(brace: Brace, name: str, width: float) -> Member:
    """The brace as a member of a frame, of a width in pitches; ends and confidence left open."""
    return Member(
        name,
        as_tuple(np.round(brace.first, 6)),
        as_tuple(np.round(brace.direction, 9)),
        brace.holes,
        width,
        on_lattice=False,
        seen=brace.hits,
    )


def off_lattice_members(
    braces: Iterable[Brace], width: float, labels: Iterable[str], end_of: Callable[[EndGuess, int], End]
) -> list[Member]:
    """The braces as members with ends and confidence.

    Parameters
    ----------
    braces : as found
    width : of all members, pitches
    labels : at least one for each brace
    end_of : from a guess and the way out of the member, -1 or 1, to an end, as for all members
    """
    return [
        replace(
            as_member(b, name, width),
            confidence=round(brace_confidence(b), 3),
            ends=(end_of(b.ends[0], -1), end_of(b.ends[1], 1)),
        )
        for b, name in zip(braces, labels)
    ]


def brace_confidence(brace: Brace) -> float:
    """Probability that the brace is exactly right: its ends' probabilities times that of its place.

    The place: even odds at half the evidence asked for, near certainty at three times that; rendered frames
    with truth showed no brace out of place, too few to fit a curve.
    """
    least = LEAST_PINNED if brace.pins >= 2 else LEAST_FREE
    place = 1 / (1 + np.exp(-(brace.evidence - least / 2) / (0.4 * least)))
    return float(np.clip(brace.ends[0].sure * brace.ends[1].sure * place, 0.01, 0.99))


def off_lattice_hits(scene: Scene, photo: PosedPhoto, members: Iterable[Member]) -> IntArray:
    """Numbers of a photo's detections that are openings of members off the lattice.

    Parameters
    ----------
    scene : with the candidates on the lattice
    photo : one of its photos
    members : all members off the lattice
    """
    members = tuple(members)
    alone = scene.with_photos([replace(photo, free=unexplained(scene, photo))])
    hits = [np.zeros(0, int)]
    for m in members:
        line = Line(np.asarray(m.first, float), np.asarray(m.direction, float), section_axes(m)[0])
        search = Search(alone, tuple(o for o in members if o is not m))
        found = search.evidence(line, m.holes)
        hits.append(found.hit[(found.hit >= 0) & (found.llr > 0)])
    return np.unique(np.concatenate(hits))
