"""The confidence of a member: a logistic curve over how sure its ends are and how much speaks for it.

A bolt seen in one of the last two holes at an end says that the member reaches there, whatever the openings
say: builders bolt members near their ends.

`python -m recon.bench confidence` fits it to frames with truth and checks it on others.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np

from recon.frame.model import Frame, Joint, Member
from recon.geometry.arrays import FloatArray
from recon.solve.evidence.candidate import Candidate, EndGuess
from recon.solve.evidence.scene import Scene

Curve: TypeAlias = tuple[float, float, float, float]

# Constant term, and what one unit of each of the `terms` is worth.  Fitted to 438 members of 20 rendered
# frames of many kinds (1 to 6 photos): 254 called sure, 249 of them exact; of 203 of 19 others 199.
CURVE: Curve = (-4.95, 0.58, 0.69, 1.14)
HELD_WITHIN = 2  # holes from an end: builders leave none or one beyond a bolt
LEAST, MOST = 0.01, 0.99  # confidence that is ever given
SURE_RANGE = (0.02, 0.999)  # of an end: beyond, probabilities are not known so well


@dataclass(frozen=True)
class MemberEvidence:
    """What a member's confidence is made of.

    Attributes
    ----------
    nats : float
        Evidence for the member.
    ends : tuple of two float
        Probability of its low and its high end.
    held : int
        Ends, 0 to 2, at which a bolt is seen in one of the last two holes.
    """

    nats: float
    ends: tuple[float, float]
    held: int = 0

    @property
    def terms(self) -> FloatArray:
        """(3,) the odds of both ends being right and the evidence, natural logarithms; and the ends held."""
        low, high = np.clip(self.ends, *SURE_RANGE)
        return np.array([np.log(low * high / (1 - low * high)), np.log(max(self.nats, 1.0)), self.held])


def ends_held(member: Member, joints: Iterable[Joint]) -> int:
    """At how many of a member's ends a bolt is seen in one of the last HELD_WITHIN holes.

    Examples
    --------
    >>> rail = Member("A", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 8)
    >>> laps = [Joint("A", hole, "B", 3, (0.0, 0.0, 1.0), "seen") for hole in (1, 4)]
    >>> ends_held(rail, laps)
    1
    """
    seen = [j for j in joints if j.bolt == "seen" and member.id in (j.a, j.b)]
    holes = {j.a_hole if j.a == member.id else j.b_hole for j in seen}
    low = any(hole < HELD_WITHIN for hole in holes)
    high = any(hole >= member.holes - HELD_WITHIN for hole in holes)
    return int(low) + int(high)


def evidence_of(
    candidate: Candidate, ends: tuple[EndGuess, EndGuess], member: Member, joints: Iterable[Joint]
) -> MemberEvidence:
    """What speaks for a candidate with its low and its high end, as a member with the frame's laps."""
    low, high = ends
    return MemberEvidence(float(candidate.evidence), (low.sure, high.sure), ends_held(member, joints))


def with_confidence(members: Sequence[Member], joints: Sequence[Joint], scene: Scene) -> list[Member]:
    """The members with the confidence of those along the axes, which are the scene's candidates, in order.

    Parameters
    ----------
    members : the scene's candidates first
    joints : laps between all of them, with what is seen of their bolts
    scene : solved, with the ends of its candidates
    """
    seen = [evidence_of(c, e, m, joints) for m, c, e in zip(members, scene.candidates, scene.ends)]
    known = [replace(m, confidence=round(confidence_of(e), 3)) for m, e in zip(members, seen)]
    return [*known, *members[len(known) :]]


def member_evidence(frame: Frame, scene: Scene) -> dict[str, MemberEvidence]:
    """Member -> what its confidence is made of, of those along the axes.

    Parameters
    ----------
    frame, scene : as :func:`recon.solve.result.frame.make_frame` gives them
        The scene's candidates are the frame's first members, in order.
    """
    known = zip(frame.members, scene.candidates, scene.ends)
    return {m.id: evidence_of(c, ends, m, frame.joints) for m, c, ends in known}


def confidence_of(evidence: MemberEvidence, curve: Curve = CURVE) -> float:
    """Probability that a member is exactly right.

    Examples
    --------
    >>> [round(confidence_of(MemberEvidence(300.0, (0.99, 0.99), held)), 2) for held in (0, 1, 2)]
    [0.78, 0.92, 0.97]
    """
    odds = curve[0] + float(evidence.terms @ curve[1:])
    return float(np.clip(1 / (1 + np.exp(-odds)), LEAST, MOST))
