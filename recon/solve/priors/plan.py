"""The plan as a prior: when it is known what should stand there, each planned member is looked for in its place.

The frame is read without the plan first, so that the plan cannot put anything into the photos.  Then the plan
is laid on what was read; a planned member that was not read is taken in if its openings are found where it
should be, on less evidence than a member needs of which nothing is known; and an end that the photos leave
open is more likely where the plan has it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from recon.frame.lattice import align, transform
from recon.frame.model import Frame, Member, as_tuple
from recon.solve.evidence.candidate import Stick, boxes, grown, runs_into, same_line
from recon.solve.members.ends import EndGuess, find_ends
from recon.solve.members.selection import lap_faces, line_evidence_of
from recon.solve.priors.constraints import stick_of

EXPECTED = (
    4.0  # nats for a member in its planned place; without a plan LEAST_EVIDENCE = 14 pays for the search
)
PLANNED_END = 2.5  # nats for an end where the plan has it: builders follow plans 9 times of 10 and more
SURE_END = 0.95  # ends this sure are what they are, whatever the plan says


def with_plan(views, images, sticks, ends, plan: Frame, width: float):
    """Sticks and their ends, with the plan's members looked for where they should be.

    Parameters
    ----------
    views, images : photos with cameras in the sticks' world, and photo name -> (H, W, 3) uint8.
    plan : the frame that was to be built; any turn, any origin.

    Returns
    -------
    sticks, ends.  Unchanged where the plan cannot be laid on what was read (fewer than two members agree).
    """
    read = Frame(
        tuple(
            Member(str(i), as_tuple(s.first), as_tuple(np.eye(3)[s.axis]), s.holes, width)
            for i, s in enumerate(sticks)
        )
    )
    laid = align(plan, read)
    if laid is None or len(laid.pairs) < min(2, len(sticks)):
        return sticks, ends
    pictures = [images[v.name] for v in views]
    sticks, ends = list(sticks), list(ends)
    for m in transform(plan, laid.turn, laid.shift).members:
        planned = stick_of(m)
        if planned is None:
            continue
        i = next((i for i, s in enumerate(sticks) if same_line(s, planned)), None)
        if i is None:
            found = _looked_for(views, planned, sticks, width)
            if found is not None:
                others = list(sticks)
                sticks.append(found)
                ends.append(find_ends(views, pictures, found, others, width))
                i = len(sticks) - 1
            else:
                continue
        others = [s for j, s in enumerate(sticks) if j != i]
        sticks[i], ends[i] = _ends_by_plan(sticks[i], ends[i], planned, others, width)
    return sticks, ends


def _looked_for(views, planned: Stick, sticks, width: float) -> Stick | None:
    """The planned member with what the photos show of it; None where they do not show it."""
    if runs_into(planned, sticks, width):
        return None
    llr, _ = line_evidence_of(
        views,
        planned.axis,
        planned.first,
        planned.holes,
        width,
        boxes(sticks, width),
        lap_faces(planned.axis, planned.first, planned.holes, sticks, width),
    )
    profile = llr.sum((0, 1))
    seen = (llr > 0).sum((0, 1))
    if profile.sum() < EXPECTED or (seen > 0).sum() < 2:
        return None
    return replace(planned, evidence=float(profile.sum()), profile=profile, seen=seen)


def _ends_by_plan(stick: Stick, guesses, planned: Stick, others, width: float):
    shift = int(round(planned.first[stick.axis] - stick.first[stick.axis]))
    wanted = (shift, shift + planned.holes - 1)
    judged = tuple(g if g.sure > SURE_END else _favoured(g, w) for g, w in zip(guesses, wanted))
    longer = (
        grown(stick, -judged[0].best, judged[1].best - (stick.holes - 1))
        if judged[1].best >= judged[0].best
        else stick
    )
    if longer is stick or longer.holes < 1 or runs_into(longer, others, width):
        return stick, guesses
    return longer, tuple(g.recounted(judged[0].best) for g in judged)


def _favoured(guess: EndGuess, hole: int) -> EndGuess:
    log = guess.log_p + PLANNED_END * (guess.hole == hole)
    return replace(guess, log_p=log - np.logaddexp.reduce(log))
