"""Where an end that is not sure may be: hole counts, their chances, and the members reached."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from recon.frame.confidence import SURE
from recon.frame.joints import BOLT_TOL, find_joints
from recon.frame.model import EndChoice, Member, as_tuple
from recon.geometry.arrays import FloatArray
from recon.solve.evidence.candidate import EndGuess
from recon.solve.evidence.scene import Ends

LEAST_CHANCE = 0.05  # a place for an end less likely than this is not worth a question; this project's choice


def with_choices(
    members: Sequence[Member], ends: Sequence[Ends], around: Sequence[Member] = ()
) -> list[Member]:
    """The members with the choices of their ends that are not sure.

    Parameters
    ----------
    members : Sequence[Member]
    ends : Sequence[Ends]
        What is known of both ends of each; holes counted from its hole 0.
    around : Sequence[Member]
        Further members of the frame, which an end may reach.
    """
    found = []
    for m, (low, high) in zip(members, ends):
        others = [o for o in (*members, *around) if o is not m]
        first = replace(m.ends[0], choices=end_choices(m, low, -1, others))
        last = replace(m.ends[1], choices=end_choices(m, high, 1, others))
        found.append(replace(m, ends=(first, last)))
    return found


def end_choices(member: Member, guess: EndGuess, way: int, others: Sequence[Member]) -> tuple[EndChoice, ...]:
    """Where one end may be, the likeliest first; none where it is sure.

    Parameters
    ----------
    member : Member
    guess : EndGuess
        Of the end; holes counted from the member's hole 0.
    way : int
        -1 for the end at hole 0, 1 for the last.
    others : Sequence[Member]
        Members that it may reach.

    Examples
    --------
    >>> rail = Member("A", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 8)
    >>> post = Member("D", (9.0, 1.0, -4.0), (0.0, 0.0, 1.0), 9)
    >>> guess = EndGuess(np.array([7, 8, 9]), np.log([0.6, 0.02, 0.38]), False)
    >>> [(c.holes, c.chance, c.at) for c in end_choices(rail, guess, 1, [post])]
    [(8, 0.6, None), (10, 0.38, 'D')]
    """
    if guess.sure > SURE:
        return ()
    present = member.holes - 1 if way > 0 else 0
    choices = [
        EndChoice(
            member.holes + way * (int(hole) - present),
            round(float(chance), 3),
            _reached(member, int(hole), others),
        )
        for hole, chance in zip(guess.hole, np.exp(guess.log_p))
        if chance > LEAST_CHANCE or hole == present
    ]
    choices = sorted((c for c in choices if c.holes >= 1), key=lambda c: -c.chance)
    return tuple(choices) if len(choices) > 1 else ()


def _reached(member: Member, hole: int, others: Sequence[Member]) -> str | None:
    """Label of the member that a hole, which may lie past the member's ends, lies on; None for none."""
    place = member.hole_centre(hole)
    last = replace(member, first=as_tuple(place), holes=1)
    laps = (j for j in find_joints([last, *_near(place, member.width, others)]) if member.id in (j.a, j.b))
    return next((j.b if j.a == member.id else j.a for j in laps), None)


def _near(place: FloatArray, width: float, others: Sequence[Member]) -> list[Member]:
    """The members of which a hole may lap one at a place (3,) of a member so wide, and a few more."""
    if not others:
        return []
    first = np.array([o.first for o in others], float)
    last = np.array([o.last for o in others])
    way = last - first
    along = ((place - first) * way).sum(1) / np.maximum((way**2).sum(1), 1e-9)
    off = np.linalg.norm(place - first - np.clip(along, 0, 1)[:, None] * way, axis=1)
    reach = (np.array([o.width for o in others]) + width) / 2 + 2 * BOLT_TOL
    return [o for o, near in zip(others, off < reach) if near]
