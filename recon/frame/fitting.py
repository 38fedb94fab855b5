"""Fittings: what is bolted into holes of members and is no member, as plain values."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import count
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from recon.geometry.arrays import Vector

KINDS = ("castor", "wheel", "foot", "board", "shelf", "bearing", "bracket", "motor", "other")
# Of these the whole height is one board, so that its bolts clamp all of it.
BOARDS = ("board", "shelf")
ROLLING = ("castor", "wheel", "motor")  # of these the caution is said beside them
LARGEST_MM = 10_000.0  # of a fitting's sizes, as in the frame file's schema
HEAVIEST_KG = 10_000.0  # likewise of its mass
MOST_HOLES = 100  # likewise of the holes that it is bolted to
LONGEST_NAME = 80  # characters, likewise

Hole = tuple[str, int]  # member and hole, counted from 0


@dataclass(frozen=True)
class Fitting:
    """A castor, foot, board and the like, bolted into holes of members.

    Its place follows from its holes (`recon.frame.fitting_boxes`), so it goes along with its members.

    Attributes
    ----------
    id : str
        Its label; no member has the same.
    kind : str
        One of `KINDS`.
    holes : tuple of (str, int)
        The holes that it is bolted to.  A hole may lie beyond its member's ends, where the member was made
        shorter since: then the checks say so, and it is right again once the member is as long as before.
    face : tuple of three float
        Unit vector out of the face that it lies on, the same for all its holes.
    size_mm : tuple of three float
        Of the box round it, mm: along the first hole's member, across that member, and out of the face.
    plate_mm : float
        Thickness of what its bolts clamp beside the members, mm: of a castor's plate, of a whole board.
    name : str
        What it is called in shops and lists; may be empty.
    mass_kg : float or None
        Of one, kg, where it is known.
    shift_mm : tuple of two float
        From the middle between its outermost holes to the middle of its box, mm: along the first hole's
        member, and across.

    Examples
    --------
    >>> Fitting("F1", "castor", (("A", 0), ("A", 2)), (0.0, 0.0, -1.0), (95, 67, 120), 3.0).words
    'castor F1'
    """

    id: str
    kind: str
    holes: tuple[Hole, ...]
    face: Vector
    size_mm: tuple[float, float, float]
    plate_mm: float
    name: str = ""
    mass_kg: float | None = None
    shift_mm: tuple[float, float] = (0.0, 0.0)

    @property
    def words(self) -> str:
        """'castor F1'; 'F1' where it is of another kind."""
        return self.id if self.kind == "other" else f"{self.kind} {self.id}"

    @property
    def article(self) -> str:
        """What to look for in a shop: its name, else its kind."""
        return self.name or ("fitting" if self.kind == "other" else self.kind)

    @property
    def members(self) -> tuple[str, ...]:
        """The members that it is bolted to, each once."""
        return tuple(dict.fromkeys(id for id, _ in self.holes))

    def renamed(self, names: Mapping[str, str]) -> Fitting:
        """The fitting on the same members, called `names[id]` now."""
        return replace(self, holes=tuple((names[id], hole) for id, hole in self.holes))

    def turned(self, turn: ArrayLike) -> Fitting:
        """The fitting in a frame that was turned or mirrored, `turn` (3, 3)."""
        x, y, z = (float(v) + 0.0 for v in np.asarray(turn) @ np.asarray(self.face, float))
        along, across = self.shift_mm
        handed = 1 if np.linalg.det(np.asarray(turn, float)) > 0 else -1  # which way "across" is
        return replace(self, face=(x, y, z), shift_mm=(along, across * handed + 0.0))

    def counted_back(self) -> Fitting:
        """The fitting once the first of its members is counted from its other end, holes apart."""
        along, across = self.shift_mm
        return replace(self, shift_mm=(0.0 - along, 0.0 - across))


def on_members(fittings: Iterable[Fitting], ids: Collection[str]) -> tuple[Fitting, ...]:
    """The fittings with those of their holes that are in members of these labels, where any are.

    Examples
    --------
    >>> foot = Fitting("F1", "foot", (("A", 0), ("B", 2)), (0.0, 0.0, -1.0), (40, 40, 20), 5.0)
    >>> [f.holes for f in on_members([foot], {"B"})], on_members([foot], {"C"})
    ([(('B', 2),)], ())
    """
    found = []
    for f in fittings:
        holes = tuple(h for h in f.holes if h[0] in ids)
        if holes:
            found.append(f if len(holes) == len(f.holes) else replace(f, holes=holes))
    return tuple(found)


def free_fitting_id(taken: Collection[str]) -> str:
    """The first of F1, F2, ... that no fitting and no member has.

    Examples
    --------
    >>> free_fitting_id({"A", "F1"})
    'F2'
    """
    return next(name for name in (f"F{n}" for n in count(1)) if name not in taken)


def fitting_to_dict(fitting: Fitting) -> dict[str, Any]:
    """The fitting as a frame file has it; what is not known is left out.

    Examples
    --------
    >>> foot = Fitting("F1", "foot", (("A", 0),), (0.0, 0.0, -1.0), (40, 40, 20), 5.0)
    >>> fitting_from_dict(fitting_to_dict(foot)) == foot
    True
    """
    entry: dict[str, Any] = {
        "id": fitting.id,
        "kind": fitting.kind,
        "name": fitting.name,
        "holes": [{"member": id, "hole": hole} for id, hole in fitting.holes],
        "face": list(fitting.face),
        "size_mm": list(fitting.size_mm),
        "plate_mm": fitting.plate_mm,
    }
    if fitting.mass_kg is not None:
        entry["mass_kg"] = fitting.mass_kg
    if any(fitting.shift_mm):
        entry["shift_mm"] = list(fitting.shift_mm)
    return entry


def fitting_from_dict(entry: Mapping[str, Any]) -> Fitting:
    """The fitting; raises KeyError, TypeError or ValueError where it is none."""
    x, y, z = map(float, entry["face"])
    along, across, out = map(float, entry["size_mm"])
    shift_along, shift_across = map(float, entry.get("shift_mm") or (0, 0))
    mass = entry.get("mass_kg")
    return Fitting(
        str(entry["id"]),
        str(entry["kind"]),
        tuple((str(h["member"]), int(h["hole"])) for h in entry["holes"]),
        (x, y, z),
        (along, across, out),
        float(entry["plate_mm"]),
        str(entry.get("name") or ""),
        None if mass is None else float(mass),
        (shift_along, shift_across),
    )
