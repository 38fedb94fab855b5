"""The fittings of a frame file, checked against its members."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

from recon.errors import ReconError
from recon.frame.fitting import Fitting, fitting_from_dict, free_fitting_id
from recon.frame.model import Member
from recon.frame.user_files import suggest
from recon.geometry.arrays import Vector

Unit = Callable[[Sequence[float], str, str], Vector]  # a vector, where it stands, its field -> a unit vector
MOST_NAMED = 12  # members that an error lists


def fittings_of(
    entries: Sequence[Mapping[str, Any]], members: Sequence[Member], where: str, unit: Unit
) -> tuple[Fitting, ...]:
    """The fittings of a frame file that fits its schema.

    Parameters
    ----------
    entries : sequence of dict
    members : sequence of Member
    where : str
        Names the file in errors.
    unit : callable
        (vector, place, field) -> the unit vector; raises ReconError where it is none.

    Raises
    ------
    ReconError
        Where a label is there twice, a member is not there, a hole is named twice, a vector has no length,
        or the plate is thicker than the whole.  A hole beyond a member's ends is left to the checks.
    """
    taken = {m.id for m in members}
    for entry in entries:
        if "id" in entry:
            if entry["id"] in taken:
                raise ReconError(
                    f"{where}: a fitting is called '{entry['id']}', as is another part of the frame; give it "
                    "another label."
                )
            taken.add(entry["id"])
    fittings = []
    for n, entry in enumerate(entries, 1):
        id = entry.get("id") or free_fitting_id(taken)
        taken.add(id)
        fittings.append(_fitting({**entry, "id": id}, members, f"{where}: fitting {n} ({id})", unit))
    return tuple(fittings)


def _fitting(entry: Mapping[str, Any], members: Sequence[Member], place: str, unit: Unit) -> Fitting:
    fitting = replace(fitting_from_dict(entry), face=unit(entry["face"], place, "face"))
    known = [m.id for m in members]
    for id in fitting.members:
        if id not in known:
            raise ReconError(
                f"{place}: it is bolted to '{id[:40]}', and there is no such member; "
                f"{suggest(id[:40], known[:MOST_NAMED], 'members are')}."
            )
    twice = next((a for a, b in pairwise(sorted(fitting.holes)) if a == b), None)
    if twice:
        raise ReconError(f"{place}: hole {twice[1]} of {twice[0]} is named twice; name each hole once.")
    if fitting.plate_mm > fitting.size_mm[2]:
        raise ReconError(
            f"{place}: 'plate_mm' is {fitting.plate_mm:g}, more than its height of {fitting.size_mm[2]:g} mm "
            "out of the face (the last of 'size_mm'); correct one of them."
        )
    return fitting
