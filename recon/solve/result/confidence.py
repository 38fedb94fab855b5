"""The confidence of a member: a logistic curve over how sure its ends are and how much speaks for it.

`python -m recon.bench confidence` fits it to frames with truth and checks it on others.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recon.frame.model import Frame
from recon.geometry.arrays import FloatArray
from recon.solve.evidence.candidate import Candidate, EndGuess
from recon.solve.evidence.scene import Scene

# Constant term, and what one unit of each of the `terms` is worth.  Fitted to 243 members of 15 rendered
# frames; on 333 members of 23 others 177 of 178 called 0.95 or surer were right.
CURVE = (-6.12, 0.64, 1.05)
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
    """

    nats: float
    ends: tuple[float, float]

    @property
    def terms(self) -> FloatArray:
        """(2,) the odds of both ends being right, and the evidence; natural logarithms of both."""
        low, high = np.clip(self.ends, *SURE_RANGE)
        return np.array([np.log(low * high / (1 - low * high)), np.log(max(self.nats, 1.0))])


def evidence_of(candidate: Candidate, low: EndGuess, high: EndGuess) -> MemberEvidence:
    """What speaks for a candidate with its low and its high end."""
    return MemberEvidence(float(candidate.evidence), (low.sure, high.sure))


def member_evidence(frame: Frame, scene: Scene) -> dict[str, MemberEvidence]:
    """Member -> what its confidence is made of, of those along the axes.

    Parameters
    ----------
    frame, scene : as :func:`recon.solve.result.frame.make_frame` gives them
        The scene's candidates are the frame's first members, in order.
    """
    pairs = zip(frame.members, scene.candidates, scene.ends)
    return {m.id: evidence_of(c, low, high) for m, c, (low, high) in pairs}


def confidence_of(evidence: MemberEvidence, curve: tuple[float, float, float] = CURVE) -> float:
    """Probability that a member is exactly right.

    Examples
    --------
    >>> round(confidence_of(MemberEvidence(300.0, (0.99, 0.99))), 2)
    0.91
    """
    odds = curve[0] + float(evidence.terms @ curve[1:])
    return float(np.clip(1 / (1 + np.exp(-odds)), LEAST, MOST))
