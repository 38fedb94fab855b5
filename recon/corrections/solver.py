"""What the solver takes and gives of corrections: the one place that knows the solver's own types."""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING, Any

import numpy as np

from recon.corrections.codec import member_from_json, member_to_json
from recon.corrections.model import PhotoMarks
from recon.corrections.state import State
from recon.frame.objection import Objection
from recon.geometry.arrays import FloatArray

if TYPE_CHECKING:
    from recon.solve.priors.constraints import Constraints


def constraints_for_solver(state: State, photos: Collection[str]) -> Constraints | None:
    """What a solver must keep, in the frame's present place.

    Parameters
    ----------
    state : State
    photos : collection of str
        Names of the photos that will be read.

    Returns
    -------
    recon.solve.priors.constraints.Constraints or None
        None where there is nothing to keep or no camera to begin from.
    """
    corrections, frame = state.corrections, state.frame
    ends = {m.id: corrections.members[m.id].ends for m in frame.members if m.id in corrections.members}
    known = any(p.used and p.camera and p.file in photos for p in frame.photos)
    if not known or not any(m.on_lattice for m in frame.members):
        return None
    if not (ends or corrections.deleted or corrections.marks):
        return None
    # With it comes the whole solver, which the page's own process does without.
    from recon.solve.priors.constraints import Constraints

    missed, false = ({photo: _pixels(m, kind) for photo, m in corrections.marks.items()} for kind in (0, 1))
    return Constraints(frame, ends, corrections.deleted, missed, false)


def _pixels(marks: PhotoMarks, kind: int) -> FloatArray:
    """The marks of a kind (0: missed, 1: false) as (N, 2) px."""
    return np.array((marks.missed, marks.false)[kind], float).reshape(-1, 2)


def constrained_width(constraints: Constraints) -> float:
    """The width, pitches, of the members that the solver is to keep."""
    from recon.solve.priors.constraints import width_of

    return float(width_of(constraints))


def objections_of(reading: Any) -> list[Objection]:
    """The objections of what a solver's `read` gave; none where that solver knows of none."""
    return list(getattr(reading, "against", ()))


def objection_to_json(objection: Objection) -> list[Any]:
    """[member as the user has it, as the photos show it or null, whether it was deleted]."""
    shown = None if objection.shown is None else member_to_json(objection.shown)
    return [member_to_json(objection.member), shown, objection.deleted]


def objection_from_json(value: list[Any]) -> Objection:
    """The objection of its JSON."""
    member, shown, deleted = value
    return Objection(member_from_json(member), shown and member_from_json(shown), bool(deleted))
