"""Build steps: which member or sub-frame comes next, which way it is brought in, and which bolts go in then.

Two identical frames get identical steps, however they stand and whatever their members are called: the
order is found on the canonical twin and written in the frame's own labels and hole numbers.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from recon.frame.model import Frame, Joint
from recon.geometry.arrays import Vector
from recon.workshop.assembly.canonical_twin import canonical_twin
from recon.workshop.assembly.disassembly import AssemblyModel, Move, Part, Stuck
from recon.workshop.assembly.step_words import Labels, StepWriter, blockage_sentences
from recon.workshop.assembly.sub_frames import plan_moves
from recon.workshop.assembly.tool_access import room_words
from recon.workshop.hardware.bolts import Bolt
from recon.workshop.solids import HOLE

NO_ORDER = "There is no order in which every member comes straight to its place and every bolt can be turned."


@dataclass(frozen=True)
class BuildStep:
    """One step of putting a frame together.

    Attributes
    ----------
    number : int
        From 1.
    new : tuple of str
        Ids of the members that come in.
    bolts : tuple of Bolt
        Those that go in, in this order.
    bare : tuple of Joint
        Laps of the new members with what is there that get no bolt in this step.
    there : tuple of str
        Ids already in place, to which the new ones are brought.
    there_bolts : tuple of Bolt
        Bolts already in.
    direction : (3,) or None
        The way in which the new members are brought, a unit vector in the frame's own space; None where
        they are laid down to begin with.
    group : int
        Number of the sub-frame that is being built, from 1; 0 for the frame itself.
    text : str
        What to do.
    laid : tuple of str
        Where nothing is there yet, those of `new` that are laid down first, for the others to come to.
    """

    number: int
    new: tuple[str, ...]
    bolts: tuple[Bolt, ...]
    bare: tuple[Joint, ...]
    there: tuple[str, ...]
    there_bolts: tuple[Bolt, ...]
    direction: Vector | None
    group: int
    text: str
    laid: tuple[str, ...] = ()


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
    """

    steps: tuple[BuildStep, ...]
    groups: tuple[tuple[str, ...], ...] = ()
    stuck: tuple[str, ...] = ()
    why: tuple[str, ...] = ()


def build_steps(frame: Frame, hole: float = HOLE, z_up: bool = True) -> BuildOrder:
    """An order in which every member can be brought straight to its place and every bolt put in and turned.

    Members move along one of the six directions of space, clear of all that is there; `tool_access` says
    what room a bolt needs.  Flat groups are built by themselves first where that works.

    Parameters
    ----------
    frame : Frame
        The frame.
    hole : float
        Diameter of the holes, pitches.
    z_up : bool
        Whether +z may be called "up" and -z "down".

    Raises
    ------
    ReconError
        Where two members or two laps are in the same place.

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.model import Member
    >>> members = Member("A", (0, 0, 0), (0, 0, 1), 12), Member("B", (-2, -1, 5), (1, 0, 0), 8)
    >>> for step in build_steps(Frame(members, find_joints(members))).steps:
    ...     print(step.text.split(". ")[1])
    Bring B (8 holes) in from the front, hole 3 of B on hole 6 of A
    """
    if not frame.members:
        return BuildOrder(())
    twin = canonical_twin(frame)
    model = AssemblyModel(twin.frame, hole)
    labels = Labels(model, twin, frame)
    try:
        moves, sub_frames, flat = plan_moves(model)
    except Stuck as stuck:
        return BuildOrder((), (), labels.ids(stuck.members), blockage_sentences(labels, stuck.members))
    writer = StepWriter(labels, sub_frames, flat, z_up)
    return BuildOrder(tuple(_steps(moves, sub_frames, writer)), tuple(map(labels.ids, sub_frames)))


def _steps(moves: Sequence[Move], sub_frames: Sequence[Part], writer: StepWriter) -> Iterator[BuildStep]:
    number, laid = 0, set()
    for move in moves:
        if not move.onto and len(moves) > 1:
            if move.part not in sub_frames:
                laid.add(move.part)  # what is laid down first makes a step with what comes to it
            continue
        number += 1
        yield _step(number, move, move.onto in laid, sub_frames, writer)


def _step(number: int, move: Move, begins: bool, sub_frames: Sequence[Part], writer: StepWriter) -> BuildStep:
    """A move as a step; `begins` : whether what it comes to is laid down in the same step."""
    labels = writer.labels
    whole = move.part | move.onto
    group = next((n for n, members in enumerate(sub_frames, 1) if whole <= members), 0)
    before = labels.model.inner(move.part) + labels.model.inner(move.onto)
    bolted = {j for b in (*move.bolts, *before) for j in labels.bolts[b].joints}
    mine, rest = set(labels.ids(move.part)), set(labels.ids(move.onto))
    bare = tuple(
        j
        for j in labels.frame.joints
        if j not in bolted and ((j.a in mine and j.b in rest) or (j.b in mine and j.a in rest))
    )
    return BuildStep(
        number=number,
        new=labels.ids(whole if begins else move.part),
        bolts=tuple(labels.bolts[b] for b in move.bolts),
        bare=bare,
        there=() if begins else labels.ids(move.onto),
        there_bolts=tuple(labels.bolts[b] for b in before),
        direction=labels.direction(move),
        group=group,
        text=writer.text(move, begins, bare, group),
        laid=labels.ids(move.onto) if begins else (),
    )


def steps_text(order: BuildOrder, name: str = "", pitch_mm: float | None = None) -> str:
    """The steps for a person to read, without the caution; `name` and pitch are the frame's."""
    if not order.steps:
        return "\n".join([NO_ORDER, *(f"  - {why}" for why in order.why)])
    lines = [f"Build steps{': ' + name if name else ''}", ""]
    lines += [f"{s.number:>4}. {s.text}" for s in order.steps]
    return "\n".join([*lines, "", "Leave bolts finger-tight until the last step.", room_words(pitch_mm)])
