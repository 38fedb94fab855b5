"""Steps in which fittings are put on: while what they are bolted to lies well and their bolts can be reached.

Each goes on as late as it can, so that it is in nobody's way: once all is together where it can be brought to
its place and its bolts turned then, else after the last step that leaves room for it, or on its member before
that comes in.  What reaches below the
frame, as feet and castors do, goes on while the frame lies or stands on its head, where it does so once its
members are in; what rolls waits until all members are in.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np

from recon.frame.fitting import Fitting
from recon.frame.model import Frame
from recon.geometry.arrays import FloatArray
from recon.workshop.assembly.build_step import BuildStep
from recon.workshop.assembly.fitting_room import FittingRoom, Placing, Together, together
from recon.workshop.assembly.fitting_words import ROLLS, FittingWords, shared_sentence
from recon.workshop.hardware.bolts import Bolt
from recon.workshop.hardware.fitting_bolts import shared_bolts
from recon.workshop.sides import Sides

ON_FLOOR = 0.02  # pitches: what lies less deep below the floor lies on it


@dataclass(frozen=True)
class _Choice:
    """A fitting, the place of the step after which it is put on, and how; None where nobody knows how.

    Where it is `loose`, it is put on its member before that comes in with the step after.
    """

    fitting: Fitting
    after: int
    placing: Placing | None
    loose: bool = False


def with_fittings(
    steps: Sequence[BuildStep], frame: Frame, hole: float, sides: Sides, squared: bool
) -> list[BuildStep]:
    """The steps with those in which fittings are put on between and after them.

    Parameters
    ----------
    steps : sequence of BuildStep
        Of the frame's members, not numbered yet.
    frame : Frame
    hole : float
        Diameter of the holes, pitches.
    sides : Sides
        Names of the frame's sides.
    squared : bool
        Whether there are diagonals to measure at the end.

    Examples
    --------
    >>> from recon.frame.model import Member
    >>> from recon.workshop.assembly.steps import build_steps
    >>> rail = Member("A", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 9)
    >>> foot = Fitting("F1", "foot", (("A", 0), ("A", 2)), (0.0, -1.0, 0.0), (40, 40, 20), 5.0)
    >>> for step in build_steps(Frame((rail,), pitch_mm=40.0, fittings=(foot,))).steps:
    ...     print(step.kind, step.text)
    join A (9 holes) is the whole frame.
    fit Put on foot F1 at holes 1 and 3 of A, on the front side, with 2 bolts, heads in front.
    """
    if not frame.fittings or not steps:
        return list(steps)
    planner = _Planner(steps, frame, hole)
    words = FittingWords(frame, sides, squared)
    found: list[BuildStep] = []
    on: list[str] = []  # fittings that are on
    for k, step in enumerate(steps):
        for choice in planner.loose_before(k):
            found.append(_fit_step(_alone(step, choice.fitting), (choice,), planner, words, ()))
            on += found[-1].fittings
        found.append(replace(step, there_fittings=_on(frame, on, step)))
        for group in planner.after(k, on):
            base = found[-1]
            found.append(_fit_step(base, group, planner, words, _on(frame, on, base)))
            on += found[-1].fittings
    return found


def _alone(step: BuildStep, fitting: Fitting) -> BuildStep:
    """What is there where a fitting is put on its member before that comes in with a step."""
    bare = replace(step, new=(), laid=(), bolts=(), heads=(), there_bolts=(), hands=(), steady=True)
    return replace(bare, there=fitting.members)


def _on(frame: Frame, on: Sequence[str], step: BuildStep) -> tuple[str, ...]:
    """The fittings that are on what is there in a step."""
    ids = {*step.there, *step.new}
    return tuple(f.id for f in frame.fittings if f.id in on and set(f.members) <= ids)


def _fit_step(
    base: BuildStep, group: Sequence[_Choice], planner: _Planner, words: FittingWords, on: tuple[str, ...]
) -> BuildStep:
    """The step in which a group of like fittings is put on what is together after the step `base`."""
    up = np.asarray(base.up, float)
    placings = [choice.placing or planner.room.plain(choice.fitting) for choice in group]
    bolts = tuple(bolt for placing in placings for bolt in placing.bolts)
    heads = tuple(head for placing in placings for head in placing.heads)
    fittings = tuple(choice.fitting for choice in group)
    down = 0.0 if group[0].loose else max(planner.depth(f, base) for f in fittings)
    known = all(choice.placing for choice in group)
    text = words.step(fittings, (bolts, heads), placings[0].direction, up, down, known)
    if group[0].loose:
        text = f"Before {base.there[0]} comes in: {text[0].lower()}{text[1:]}"
    return BuildStep(
        number=0,
        new=(),
        bolts=bolts,
        bare=(),
        there=tuple(dict.fromkeys((*base.there, *base.new))),
        there_bolts=(*base.there_bolts, *base.bolts),
        direction=placings[0].direction,
        group=base.group,
        text=text,
        kind="fit",
        up=base.up,
        heads=heads,
        hands=base.hands,
        steady=base.steady,
        fittings=tuple(f.id for f in fittings),
        there_fittings=on,
    )


class _Planner:
    """After which step each fitting is put on."""

    def __init__(self, steps: Sequence[BuildStep], frame: Frame, hole: float) -> None:
        self.room, self.steps, self.frame = FittingRoom(frame, hole), steps, frame
        self._choices = [self._choice(f) for f in frame.fittings]

    def _choice(self, f: Fitting) -> _Choice:
        last = len(self.steps) - 1
        holding = [k for k, s in enumerate(self.steps) if set(f.members) <= {*s.there, *s.new}]
        for k in sorted(holding, key=lambda k: (self._lies_well(f, self.steps[k]), k), reverse=True):
            step = self.steps[k]
            placing = self.room.placing(f, together(step), np.asarray(step.up, float))
            if placing and self.room.leaves_room(f, self.steps[k + 1 :]):
                return _Choice(f, k, placing)
        return self._loose(f) or _Choice(f, max(holding, default=last), None)

    def _loose(self, f: Fitting) -> _Choice | None:
        """A fitting put on its one member before that comes in; None where it cannot be, or is in the way."""
        for k, step in enumerate(self.steps):
            if set(f.members) <= set(step.new) and len(f.members) == 1:
                alone, up = Together(frozenset(f.members), frozenset()), np.asarray(step.up, float)
                placing = self.room.placing(f, alone, up)
                if placing and self.room.leaves_room(f, self.steps[k:]):
                    return _Choice(f, k - 1, placing, loose=True)
                return None
        return None

    def _lies_well(self, f: Fitting, step: BuildStep) -> bool:
        """Whether a fitting is put on without lifting what is there; what rolls only once all is together."""
        whole = len({*step.there, *step.new}) == len(self.frame.members)
        return self.depth(f, step) <= ON_FLOOR and (whole or f.kind not in ROLLS)

    def depth(self, f: Fitting, step: BuildStep) -> float:
        """How far a fitting reaches below what is together after a step, pitches."""
        up = np.asarray(step.up, float)
        low = self.room.lowest(f, up)
        return 0.0 if low is None else self.room.floor({*step.there, *step.new}, up) - low

    def loose_before(self, k: int) -> list[_Choice]:
        """What is put on loose members before step `k`."""
        return [choice for choice in self._choices if choice.loose and choice.after == k - 1]

    def after(self, k: int, on: Sequence[str]) -> Iterator[tuple[_Choice, ...]]:
        """What is put on after step `k`, like ones together, in order; `on`: those that are on already."""
        for _, group in groupby(self._ordered(k, on), key=lambda c: (_alike(c.fitting), c.placing is None)):
            yield tuple(group)

    def _ordered(self, k: int, on: Sequence[str]) -> list[_Choice]:
        """An order in which none is in the way of the next, found by taking them off."""
        left = [choice for choice in self._choices if choice.after == k and not choice.loose]
        there, up = together(self.steps[k]), np.asarray(self.steps[k].up, float)
        taken: list[_Choice] = []
        while left:
            kinds = sorted({_alike(c.fitting) for c in left}, reverse=True)
            free = {c.fitting.id: p for c in left if (p := self._freed(c, left, there, up, on))}
            of_kind = [[c for c in left if _alike(c.fitting) == kind] for kind in kinds]
            ready = next((cs for cs in of_kind if all(c.fitting.id in free for c in cs)), None)
            out = ready or [c for c in left if c.fitting.id in free][-1:] or left[-1:]
            taken += [replace(c, placing=free.get(c.fitting.id)) for c in reversed(out)]
            left = [c for c in left if all(c is not one for one in out)]
        return taken[::-1]

    def _freed(self, choice, left, there, up: FloatArray, on: Sequence[str]) -> Placing | None:
        """How a fitting is put on once all others that are left are on."""
        if choice.placing is None:
            return None
        others = {*on, *(c.fitting.id for c in left)} - {choice.fitting.id}
        known = {f.id for f in self.frame.fittings if set(f.members) <= there.members}
        return self.room.placing(choice.fitting, there, up, others & known)


def _alike(f: Fitting) -> tuple[int, str, str, str]:
    """What like fittings have in common; those below come first, boards that cover the rest last."""
    return (int(f.kind in ("board", "shelf")), f.kind, f.article, repr((f.size_mm, f.face)))


def with_shared_bolts(steps: Sequence[BuildStep], frame: Frame) -> list[BuildStep]:
    """The numbered steps, with words where a bolt goes in that holds a fitting which is put on later."""
    shared: dict[Bolt, tuple[Fitting, ...]] = shared_bolts(frame)
    put_on = {id: step.number for step in steps for id in step.fittings}
    found = []
    for step in steps:
        words = [
            shared_sentence(bolt, f, put_on[f.id])
            for bolt in step.bolts
            for f in shared.get(bolt, ())
            if put_on.get(f.id, 0) > step.number
        ]
        found.append(replace(step, text=" ".join([step.text, *words])) if words else step)
    return found
