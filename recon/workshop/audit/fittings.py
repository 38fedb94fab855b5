"""The fittings of a built frame against those of its plan: which are there, and in which holes they are."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.optimize import linear_sum_assignment

from recon.frame.fitting import Fitting, Hole
from recon.frame.fitting_boxes import FACE_TOL, bolt_spots
from recon.frame.lattice import MATCH_TOL
from recon.frame.model import Frame, Member
from recon.geometry.arrays import FloatArray
from recon.workshop.parts.fitting_lines import bought_as
from recon.workshop.sides import Sides
from recon.workshop.wording import holes_in_words, listed

if TYPE_CHECKING:
    from recon.workshop.audit.matching import Matching

ELSEWHERE = 1.0  # what a fitting in other holes costs where they are paired, and as much again for each hole
TAKE_OFF = "Take it off."
PER_PITCH = 1e-3  # of its way, which breaks ties


class FittingFinding(NamedTuple):
    """What differs of one fitting, or could not be checked of all.

    Attributes
    ----------
    severity : str
        "different" or "not checked".
    text, remedy : str
        What it is, and what to do about it.
    members : tuple of str
        The plan's members that it is about.
    fittings : tuple of str
        The plan's that it is about; of one that is not in the plan the built frame's.
    """

    severity: str
    text: str
    remedy: str = ""
    members: tuple[str, ...] = ()
    fittings: tuple[str, ...] = ()


class _Place(NamedTuple):
    """Where a fitting is: its holes in the plan's labels and counts, its face, the middle of its bolts."""

    holes: tuple[Hole, ...]
    face: FloatArray
    middle: FloatArray

    def same(self, other: _Place) -> bool:
        """Whether both are in the same holes, on the same side."""
        return sorted(self.holes) == sorted(other.holes) and self.same_side(other)

    def same_side(self, other: _Place) -> bool:
        """Whether both lie on the same side."""
        return bool(self.face @ other.face > FACE_TOL)


def compare_fittings(
    matching: Matching, plan: Frame, sides: Sides
) -> tuple[tuple[FittingFinding, ...], dict[str, str]]:
    """What differs of the fittings or could not be checked; and plan id -> built id of those in both.

    No reading finds fittings in photos, so a built frame that names none has not been looked at for them.

    Parameters
    ----------
    matching : Matching
        The built frame on the plan.
    plan : Frame
    sides : Sides
        Names of the plan's sides.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from recon.workshop.audit.matching import best_matching
    >>> rail = Member("A", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 9)
    >>> foot = Fitting("F1", "foot", (("A", 0), ("A", 2)), (0.0, 0.0, -1.0), (40, 40, 20), 5.0)
    >>> plan = Frame((rail,), pitch_mm=40.0, fittings=(foot,))
    >>> built = replace(plan, fittings=(replace(foot, holes=(("A", 1), ("A", 3))),))
    >>> (found,), names = compare_fittings(best_matching(built, plan), plan, Sides(plan.members))
    >>> print(found.text, found.remedy)
    Foot F1 is at holes 2 and 4 of A, plan holes 1 and 3 of A. Move it to holes 1 and 3 of A.
    """
    wanted = plan.fittings
    if wanted and not matching.built.fittings:
        counts = Counter(bought_as(f) for f in wanted)
        named = listed(f"{n} {name}" for name, n in counts.items())
        text = f"Fittings were not looked for; the plan has {named}."
        members = tuple(dict.fromkeys(id for f in wanted for id in f.members))
        return (FittingFinding("not checked", text, "", members, tuple(f.id for f in wanted)),), {}
    comparison = _Comparison(matching, plan, sides)
    return tuple(comparison.findings()), comparison.names


class _Comparison:
    """Fittings of both frames, paired and in words."""

    def __init__(self, matching: Matching, plan: Frame, sides: Sides) -> None:
        self.plan, self.built, self.sides = plan, matching.built, sides
        self._pairs = {pair.built.id: pair for pair in matching.pairs}
        own = {m.id: m for m in plan.members}
        laid = {m.id: m for m in self.built.members}
        self._planned = {f.id: _place(f, own, lambda hole: hole) for f in plan.fittings}
        self._there = {f.id: _place(f, laid, self._plan_hole) for f in self.built.fittings}
        self.names: dict[str, str] = {}

    def _plan_hole(self, hole: Hole) -> Hole:
        """A hole of a built member in the plan's label and count; of one that is not in the plan as it is."""
        id, k = hole
        pair = self._pairs.get(id)
        if pair is None:
            return hole
        base: Member = pair.plan if pair.stays else pair.built
        off = self.built.member(id).hole_centre(k) - np.asarray(base.first, float)
        return pair.plan.id, round(float(off @ np.asarray(base.direction, float)))

    def findings(self) -> Iterator[FittingFinding]:
        """All that differs, in the plan's order."""
        wanted, there = list(self.plan.fittings), list(self.built.fittings)
        found: dict[str, list[FittingFinding]] = {}
        for f, g in self._paired(wanted, there, bought_as):
            found[f.id] = [*self._elsewhere(f, g), *self._size(f, g)]
            self.names[f.id] = g.id
            wanted.remove(f)
            there.remove(g)
        for f, g in self._in_place(wanted, there):
            found[f.id] = [self._another(f, g)]
            self.names[f.id] = g.id
            wanted.remove(f)
            there.remove(g)
        found |= {f.id: [self._missing(f)] for f in wanted}
        for f in self.plan.fittings:
            yield from found[f.id]
        yield from map(self._extra, there)

    def _paired(
        self, wanted: Sequence[Fitting], there: Sequence[Fitting], what: Callable[[Fitting], str]
    ) -> list[tuple[Fitting, Fitting]]:
        """Which built fitting is which of the plan's of the same kind, with the fewest in other holes."""
        pairs = []
        for name in dict.fromkeys(map(what, wanted)):
            rows, columns = ([f for f in fs if what(f) == name] for fs in (wanted, there))
            cost = [[self._cost(f, g) for g in columns] for f in rows]
            chosen = linear_sum_assignment(np.array(cost).reshape(len(rows), len(columns)))
            pairs += [(rows[i], columns[k]) for i, k in zip(*chosen)]
        return pairs

    def _in_place(self, wanted: Iterable[Fitting], there: Iterable[Fitting]) -> list[tuple[Fitting, Fitting]]:
        """Those of the plan in whose place another fitting is."""
        free = list(there)
        pairs = []
        for f in wanted:
            g = next((g for g in free if self._planned[f.id].same(self._there[g.id])), None)
            if g is not None:
                free.remove(g)
                pairs.append((f, g))
        return pairs

    def _cost(self, f: Fitting, g: Fitting) -> float:
        planned, there = self._planned[f.id], self._there[g.id]
        if planned.same(there):
            return 0.0
        other = len(set(planned.holes) ^ set(there.holes)) / 2
        far = float(np.linalg.norm(planned.middle - there.middle))
        return ELSEWHERE * (1 + other) + PER_PITCH * far

    def _elsewhere(self, f: Fitting, g: Fitting) -> Iterator[FittingFinding]:
        planned, there = self._planned[f.id], self._there[g.id]
        if planned.same(there):
            return
        sided = not planned.same_side(there)
        is_at, at = (self._place_words(place, sided) for place in (there, planned))
        text = f"{self._name(f, g)} is at {is_at}, plan {at}."
        yield self._finding(f, text, f"Move it to {at}.", there)

    def _size(self, f: Fitting, g: Fitting) -> Iterator[FittingFinding]:
        own, wanted = ((*fitting.size_mm, fitting.plate_mm) for fitting in (g, f))
        if np.allclose(own, wanted, atol=0.5):
            return
        words = [
            f"{' x '.join(f'{x:g}' for x in s[:3])} mm with a plate of {s[3]:g} mm" for s in (own, wanted)
        ]
        yield self._finding(f, f"{self._name(f, g)} is {words[0]}, plan {words[1]}.", "", self._there[g.id])

    def _another(self, f: Fitting, g: Fitting) -> FittingFinding:
        at = self._place_words(self._planned[f.id], False)
        text = f"{self._name(f, g)}, at {at}, is {bought_as(g)}, plan {bought_as(f)}."
        return self._finding(f, text, f"Put {bought_as(f)} in its place.", self._there[g.id])

    def _missing(self, f: Fitting) -> FittingFinding:
        name = f" ({f.name})" if f.name else ""
        at = self._place_words(self._planned[f.id], True)
        text = f"{f.words[:1].upper()}{f.words[1:]}{name} is missing; plan {at}."
        return self._finding(f, text, f"Put it on at {at}.")

    def _extra(self, g: Fitting) -> FittingFinding:
        place = self._there[g.id]
        at = self._place_words(place, True)
        text = f"A fitting that is not in the plan ({bought_as(g)}, {g.id} in the built frame) is at {at}."
        members = tuple(dict.fromkeys(id for id, _ in place.holes))
        return FittingFinding("different", text, TAKE_OFF, members, (g.id,))

    def _finding(self, f: Fitting, text: str, remedy: str, at: _Place | None = None) -> FittingFinding:
        holes = (*self._planned[f.id].holes, *(at.holes if at else ()))
        members = tuple(dict.fromkeys(id for id, _ in holes))
        return FittingFinding("different", text, remedy, members, (f.id,))

    @staticmethod
    def _name(f: Fitting, g: Fitting) -> str:
        """'Castor F1', 'Castor F1 (F3 in the built frame)'."""
        other = f" ({g.id} in the built frame)" if g.id != f.id else ""
        return f"{f.words[:1].upper()}{f.words[1:]}{other}"

    def _place_words(self, place: _Place, sided: bool) -> str:
        """'holes 3 and 5 of C', 'holes 3 and 5 of C, on the top side'."""
        return holes_in_words(place.holes) + (f", on the {self.sides.side(place.face)}" if sided else "")


def _place(fitting: Fitting, members: dict[str, Member], to: Callable[[Hole], Hole]) -> _Place:
    face = np.asarray(fitting.face, float)
    middle: FloatArray = bolt_spots(fitting, members).mean(axis=0)
    return _Place(tuple(map(to, fitting.holes)), face / np.linalg.norm(face), middle)


def fittings_off(built: Frame, plan: Frame) -> tuple[int, float]:
    """How many fittings of one of the two frames are not in the other, and how far all are off, pitches.

    Parameters
    ----------
    built, plan : Frame
        The one laid on the other.
    """
    spots = [_spots(frame) for frame in (built, plan)]
    other, far = 0, 0.0
    for name in spots[0].keys() | spots[1].keys():
        own, planned = (np.array(s.get(name, [])).reshape(-1, 6) for s in spots)
        apart = np.abs(own[:, None] - planned[None]).max(axis=2)
        rows, columns = linear_sum_assignment(apart)
        away = apart[rows, columns]
        other += len(own) + len(planned) - 2 * int((away < MATCH_TOL).sum())
        far += float(away.sum())
    return other, round(far, 3)


def _spots(frame: Frame) -> dict[str, list[FloatArray]]:
    """What lies where: by what is bought, the middle of its bolts and its face, (6,)."""
    members = {m.id: m for m in frame.members}
    found: dict[str, list[FloatArray]] = {}
    for f in frame.fittings:
        place = _place(f, members, lambda hole: hole)
        found.setdefault(bought_as(f), []).append(np.array([*place.middle, *place.face]))
    return found
