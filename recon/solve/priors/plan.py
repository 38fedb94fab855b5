"""The plan as a prior: where it is known what should stand there, each planned member is looked for.

The frame is read without the plan first, so that the plan cannot put anything into the photos.  Then the plan
is laid on what was read; a planned member that was not read is taken in if its openings are found where it
should be, on less evidence than a member needs of which nothing is known; and an end that the photos leave
open is more likely where the plan has it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from recon.frame.lattice import align, transform
from recon.frame.model import Frame, Member, as_tuple
from recon.solve.evidence.candidate import Candidate, EndGuess, grown, runs_into, same_line
from recon.solve.evidence.scene import Ends, Scene
from recon.solve.members.ends import find_ends
from recon.solve.members.laps import candidate_evidence
from recon.solve.priors.constraints import candidate_of

EXPECTED = (
    4.0  # nats for a member in its planned place; without a plan LEAST_EVIDENCE = 14 pays for the search
)
LEAST_SEEN = 2  # distinct holes seen of a planned member
PLANNED_END = 2.5  # nats for an end where the plan has it: builders follow plans 9 times of 10 and more
SURE_END = 0.95  # ends this sure are what they are, whatever the plan says


def with_plan(scene: Scene, plan: Frame) -> Scene:
    """The scene with the plan's members looked for where they should be.

    Parameters
    ----------
    scene : Scene
        With its candidates and their ends.
    plan : Frame
        The frame that was to be built; any turn, any origin.

    Returns
    -------
    The scene unchanged where the plan cannot be laid on it (fewer than two members agree).

    Examples
    --------
    The photos leave the far end of a rail open between 5 and 6 holes; its plan has 6.

    >>> post, beam = Candidate.bare(2, [0, 1, -1], 9), Candidate.bare(1, [3, -2, 1], 7)
    >>> rail = Candidate.bare(0, [0, 0, 0], 5)
    >>> at = lambda hole: EndGuess(np.array([hole]), np.zeros(1), False)
    >>> either = EndGuess(np.array([4, 5]), np.log([0.6, 0.4]), False)
    >>> ends = [(at(0), at(8)), (at(0), at(6)), (at(0), either)]
    >>> scene = Scene((), {}, 1.0).with_candidates([post, beam, rail], ends)
    >>> way = [((0, 1, -1), (0, 0, 1), 9), ((3, -2, 1), (0, 1, 0), 7), ((0, 0, 0), (1, 0, 0), 6)]
    >>> plan = Frame(tuple(Member(str(i), *w) for i, w in enumerate(way)))
    >>> [c.holes for c in with_plan(scene, plan).candidates]
    [9, 7, 6]
    """
    laid = align(plan, _frame_of(scene))
    if laid is None or len(laid.pairs) < min(2, len(scene.candidates)):
        return scene
    for member in transform(plan, laid.turn, laid.shift).members:
        planned = candidate_of(member)
        if planned is not None:
            scene = _with_planned(scene, planned)
    return scene


def _frame_of(scene: Scene) -> Frame:
    """The candidates as a frame, to lay the plan on."""
    return Frame(
        tuple(
            Member(str(i), as_tuple(c.first), as_tuple(np.eye(3)[c.axis]), c.holes, scene.width)
            for i, c in enumerate(scene.candidates)
        )
    )


def _with_planned(scene: Scene, planned: Candidate) -> Scene:
    """The scene with one planned member looked for, and its ends judged by the plan."""
    i = next((i for i, c in enumerate(scene.candidates) if same_line(c, planned)), None)
    if i is None:
        found = _looked_for(scene, planned)
        if found is None:
            return scene
        i = len(scene.candidates)
        more = scene.with_candidates((*scene.candidates, found))
        scene = more.with_candidates(more.candidates, (*scene.ends, find_ends(more, i)))
    candidates, ends = list(scene.candidates), list(scene.ends)
    candidates[i], ends[i] = _ends_by_plan(candidates[i], ends[i], planned, scene.others(i), scene.width)
    return scene.with_candidates(candidates, ends)


def _looked_for(scene: Scene, planned: Candidate) -> Candidate | None:
    """The planned member with what the photos show of it; None where they do not show it."""
    if runs_into(planned, scene.candidates, scene.width):
        return None
    found = candidate_evidence(scene, planned)
    profile, seen = found.profile, (found.llr > 0).sum((0, 1))
    if profile.sum() < EXPECTED or (seen > 0).sum() < LEAST_SEEN:
        return None
    return replace(planned, evidence=float(profile.sum()), profile=profile, seen=seen)


def _ends_by_plan(
    candidate: Candidate, guesses: Ends, planned: Candidate, others: Sequence[Candidate], width: float
) -> tuple[Candidate, Ends]:
    """A candidate as long as its ends and the plan together say, and its ends; unchanged without room."""
    shift = round(float(planned.first[candidate.axis] - candidate.first[candidate.axis]))
    low, high = (
        g if g.sure > SURE_END else _favoured(g, wanted)
        for g, wanted in zip(guesses, (shift, shift + planned.holes - 1))
    )
    if high.best < low.best:
        return candidate, guesses
    longer = grown(candidate, -low.best, high.best - (candidate.holes - 1))
    if runs_into(longer, others, width):
        return candidate, guesses
    return longer, (low.recounted(low.best), high.recounted(low.best))


def _favoured(guess: EndGuess, hole: int) -> EndGuess:
    log_p = guess.log_p + PLANNED_END * (guess.hole == hole)
    return replace(guess, log_p=log_p - np.logaddexp.reduce(log_p))
