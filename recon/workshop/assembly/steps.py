"""Build steps: which member or sub-frame comes next, which way it is brought in, and which bolts go in then.

Two identical frames get identical steps, wherever they stand and whatever their members are called: the
order is found on the canonical twin and written in the frame's own labels and hole numbers.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from recon.frame.model import Frame, Joint
from recon.workshop.assembly.build_step import BuildStep
from recon.workshop.assembly.canonical_twin import canonical_twin
from recon.workshop.assembly.disassembly import DIRECTIONS, AssemblyModel, Move, Part
from recon.workshop.assembly.fitting_steps import with_fittings, with_shared_bolts
from recon.workshop.assembly.hand_words import hand_sentences
from recon.workshop.assembly.ordering import UP
from recon.workshop.assembly.plan import MovePlan, plan_moves
from recon.workshop.assembly.square import square_checks, square_words
from recon.workshop.assembly.step_words import Labels, StepWriter, blockage_sentences
from recon.workshop.assembly.support import ON_FLOOR, Support
from recon.workshop.assembly.tool_access import room_words
from recon.workshop.sides import Sides
from recon.workshop.solids import HOLE

NO_ORDER = "There is no order in which every member comes straight to its place and every bolt can be turned."
SOME_ORDER = (
    "There is no order for all members: for those of step 1 none was found in which each comes straight to "
    "its place and every bolt can be turned. The others follow in order."
)
LOOSE = "Leave bolts finger-tight until the end: nuts so far on that nothing falls off, and laps still turn."


@dataclass(frozen=True)
class BuildOrder:
    """The steps of a frame, or why there are none.

    Attributes
    ----------
    steps : tuple of BuildStep
        Empty where no order was found.
    groups : tuple of tuples of str
        Ids of each sub-frame, sub-frame 1 first.
    stuck : tuple of str
        Ids that keep one another from coming free.
    why : tuple of str
        Sentences that say what blocks what.
    finish : tuple of str
        Sentences: what to check and do once all is together.
    """

    steps: tuple[BuildStep, ...]
    groups: tuple[tuple[str, ...], ...] = ()
    stuck: tuple[str, ...] = ()
    why: tuple[str, ...] = ()
    finish: tuple[str, ...] = ()


def build_steps(frame: Frame, hole: float = HOLE, z_up: bool = True) -> BuildOrder:
    """An order in which every member can be brought straight to its place and every bolt put in and turned.

    Members move along one of the six directions of space, clear of all that is there, and none from under
    the floor; `tool_access` says what room a bolt needs, `support` what holds a member.  Flat groups are
    built by themselves first where that takes fewer hands.

    Parameters
    ----------
    frame : Frame
        The frame.
    hole : float
        Diameter of the holes, pitches.
    z_up : bool
        Whether +z is up once the frame is done.

    Raises
    ------
    ReconError
        Where two members or two laps are in the same place.

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.model import Member
    >>> members = Member("A", (0, 0, 0), (0, 1, 0), 12), Member("B", (-2, 5, 1), (1, 0, 0), 8)
    >>> for step in build_steps(Frame(members, find_joints(members))).steps:
    ...     print(step.text[:87])
    Lay A (12 holes) down. Put B (8 holes) on top, hole 3 of B on hole 6 of A. Join it with
    """
    if not frame.members:
        return BuildOrder(())
    twin = canonical_twin(frame, z_up)
    model = AssemblyModel(twin.frame, hole)
    labels = Labels(model, twin, frame)
    support = Support(model)
    plan = plan_moves(model, support, z_up)
    core = labels.ids(plan.core)
    why = blockage_sentences(labels, plan.core) if core else ()
    groups = tuple(map(labels.ids, plan.sub_frames))
    if core and not plan.moves:
        return BuildOrder((), (), core, why)
    checks = square_words(square_checks(frame, {m.id for m in frame.members}), frame.pitch_mm)
    steps = tuple(_Steps(support, labels, plan, Sides(frame.members, z_up)).made(bool(checks)))
    tighten = (
        "Then tighten all bolts, those of one corner after another, and check once more." if checks else ""
    )
    finish = (*checks, tighten or "Tighten all bolts.") if any(step.bolts for step in steps) else ()
    return BuildOrder(steps, groups, core, why, finish)


class _Steps:
    """Moves of a plan as steps."""

    def __init__(self, support: Support, labels: Labels, plan: MovePlan, sides: Sides):
        self.model, self.labels, self.plan, self.support = support.model, labels, plan, support
        self.writer = StepWriter(labels, plan.sub_frames, sides)
        self._up_of: dict[Part, int] = {}  # what is together, and which way was up when it was built
        self._laid: set[Part] = set()

    def made(self, squared: bool) -> list[BuildStep]:
        """All steps, numbered, with fittings and what a hand holds; `squared`: diagonals are measured."""
        frame, hole = self.labels.frame, self.model.hole
        steps = with_fittings(list(self._unnumbered()), frame, hole, self.writer.sides, squared)
        steps = [replace(step, number=number) for number, step in enumerate(steps, 1)]
        return hand_sentences(with_shared_bolts(steps, frame))

    def _unnumbered(self) -> Iterator[BuildStep]:
        moves = self.plan.moves
        if self.plan.core:
            self._up_of[self.plan.core] = self.plan.core_up
            yield self._core()
        for move in moves:
            if not move.onto and len(moves) > 1:
                if move.part not in self.plan.sub_frames:
                    self._laid.add(move.part)  # what is laid down first makes a step with what comes to it
                    self._up_of[move.part] = move.up
                continue
            for part in (move.onto, move.part):
                before = self._up_of.get(part, move.up)
                if before != move.up:
                    yield self._turn(part, before, move.up)
            yield self._join(move)
            self._up_of[move.part | move.onto] = move.up
        whole = moves[-1].part | moves[-1].onto
        if self.writer.sides.z_up and self._up_of[whole] != UP and len(whole) > 1:
            yield self._turn(whole, self._up_of[whole], UP)

    def _join(self, move: Move) -> BuildStep:
        labels, begins = self.labels, move.onto in self._laid
        whole = move.part | move.onto
        group = self._group(whole)
        before = self.model.inner(move.part) + self.model.inner(move.onto)
        bare = self._bare(move, before)
        return BuildStep(
            number=0,
            new=labels.ids(whole if begins else move.part),
            bolts=tuple(labels.bolts[b] for b in move.bolts),
            bare=bare,
            there=() if begins else labels.ids(move.onto),
            there_bolts=tuple(labels.bolts[b] for b in before),
            direction=labels.direction(move),
            group=group,
            text=self._join_text(move, begins, bare, group),
            laid=labels.ids(move.onto) if begins else (),
            heads=tuple(self.writer.heads(move)),
            **self._held(whole, move.up),
        )

    def _join_text(self, move: Move, begins: bool, bare: Sequence[Joint], group: int) -> str:
        text = self.writer.text(move, begins, bare, group)
        if move.onto and (lower := self._lower(move)):
            text = f"Set what is there on blocks {lower} high first, for {self._reach(move)}. {text}"
        whole = move.part | move.onto
        if group and whole == self.plan.sub_frames[group - 1]:
            checks = square_words(
                square_checks(self.labels.frame, set(self.labels.ids(whole))), self.labels.frame.pitch_mm
            )
            text = " ".join([text, *checks])
        return text

    def _lower(self, move: Move) -> str:
        """By how much what comes in reaches below what is there, in words; '' where it does not."""
        down = self.support.floor(move.onto, move.up) - self.support.floor(move.part, move.up)
        return self.labels.length_words(down) if down > ON_FLOOR else ""

    def _reach(self, move: Move) -> str:
        ids = self.labels.ids(move.part)
        return f"{ids[0]} reaches lower" if len(ids) == 1 else "what comes in reaches lower"

    def _bare(self, move: Move, before: Sequence[int]) -> tuple[Joint, ...]:
        """The laps of what comes in with what is there that get no bolt in this step."""
        labels = self.labels
        bolted = {j for b in (*move.bolts, *before) for j in labels.bolts[b].joints}
        mine, rest = set(labels.ids(move.part)), set(labels.ids(move.onto))
        return tuple(
            j
            for j in labels.frame.joints
            if j not in bolted and ((j.a in mine and j.b in rest) or (j.b in mine and j.a in rest))
        )

    def _group(self, whole: Part) -> int:
        return next((n for n, members in enumerate(self.plan.sub_frames, 1) if whole <= members), 0)

    def _turn(self, whole: Part, before: int, up: int) -> BuildStep:
        """What is there is turned."""
        labels = self.labels
        inside = tuple(labels.bolts[b] for b in self.model.inner(whole))
        return BuildStep(
            number=0,
            new=(),
            bolts=(),
            bare=(),
            there=labels.ids(whole),
            there_bolts=inside,
            direction=None,
            group=0,
            text=self.writer.turn(whole, before, up) + ".",
            kind="turn",
            up_before=labels.own(DIRECTIONS[before]),
            **self._held(whole, up),
        )

    def _core(self) -> BuildStep:
        """Members are put together for which no order was found."""
        labels, core = self.labels, self.plan.core
        bolts = self.model.inner(core)
        count = f"{len(bolts)} bolt{'s' if len(bolts) != 1 else ''}"
        return BuildStep(
            number=0,
            new=labels.ids(core),
            bolts=tuple(labels.bolts[b] for b in bolts),
            bare=(),
            there=(),
            there_bolts=(),
            direction=None,
            group=0,
            text=f"Put {self.writer.name(core)} together with {count}, as well as it can be done: no order "
            "was found for these.",
            kind="core",
            heads=tuple(labels.own(-np.asarray(self.model.bolts[b].axis)) for b in bolts),
            **self._held(core, self.plan.core_up),
        )

    def _held(self, whole: Part, up: int) -> dict[str, Any]:
        """Which way is up once a step is done, what hangs then, and whether it stands."""
        return {
            "up": self.labels.own(DIRECTIONS[up]),
            "hands": tuple(map(self.labels.ids, self.support.hanging(whole, up))),
            "steady": not self.support.tips(whole, up),
        }


def steps_text(order: BuildOrder, frame: Frame) -> str:
    """The steps of a frame for a person to read, without the caution."""
    if not order.steps:
        return "\n".join([NO_ORDER, *(f"  - {why}" for why in order.why)])
    lines = [f"Build steps{': ' + frame.name if frame.name else ''}", ""]
    if order.stuck:
        lines += [SOME_ORDER, *(f"  - {why}" for why in order.why), ""]
    lines += [f"{s.number:>4}. {s.text}" for s in order.steps]
    if order.finish:
        lines += ["", "At the end:", *(f"  - {text}" for text in order.finish)]
    return "\n".join([*lines, "", LOOSE, room_words(frame.pitch_mm)])
