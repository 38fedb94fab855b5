"""Which way round, and in what parts, a frame is put together with the fewest hands and turns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from recon.workshop.assembly.disassembly import DIRECTIONS, AssemblyModel, Move, Part, Stuck, opposite
from recon.workshop.assembly.ordering import UP, assembly_moves
from recon.workshop.assembly.sub_frames import flat_groups, laid_up
from recon.workshop.assembly.support import Support

# Members up to which a frame is tried with each of its sides up: larger ones stand on their feet, since each
# try takes seconds.  This project's choice.
TURNED = 40
GROUPED = 150  # members up to which several ways of splitting off flat groups are compared: likewise
TURN = 2  # pairs of hands that turn a whole frame over: this project's choice


@dataclass(frozen=True)
class MovePlan:
    """Moves that put a frame together.

    Attributes
    ----------
    moves : list of Move
        All of them, in order.
    sub_frames : list of frozenset of int
        What is built by itself first, as it is built.
    core : frozenset of int
        Members for which no order was found; they are taken as together before the first move.
    core_up : int
        Which way is up when they are.
    """

    moves: list[Move]
    sub_frames: list[Part]
    core: Part = frozenset()
    core_up: int = UP


def plan_moves(model: AssemblyModel, upright: bool) -> MovePlan:
    """Moves that put a frame together, flat groups by themselves first where that takes fewer hands.

    Parameters
    ----------
    model : AssemblyModel
    upright : bool
        Whether +z is up once the frame is done, so that it has to be turned where it was built another way.

    Returns
    -------
    MovePlan
        Where there is no order of all members, that with the fewest in its core.
    """
    support = Support(model)
    large = len(model.frame.members) > TURNED
    least = _least_effort(model, support, upright)
    best: tuple[tuple[int, int], MovePlan] | None = None
    for plan in _plans(model, support, large):
        rating = len(plan.core), effort(model, support, plan, upright)
        if best is None or rating < best[0]:
            best = rating, plan
        if not rating[0] and (len(model.frame.members) > GROUPED or rating[1] <= least):
            break
    assert best is not None
    return best[1]


def _least_effort(model: AssemblyModel, support: Support, upright: bool) -> int:
    """What no plan is below: the hands that the whole frame takes when it is done."""
    members = range(len(model.frame.members))
    return min(
        len(support.hanging(members, up)) + support.tips(members, up) + TURN * (upright and up != UP)
        for up in range(len(DIRECTIONS))
    )


def _plans(model: AssemblyModel, support: Support, large: bool) -> Iterator[MovePlan]:
    """Plans to choose from, those that are tried first if they are as good as others."""
    ways = (UP,) if large else (UP, opposite(UP), *(d for d in range(len(DIRECTIONS)) if d % 3 != UP))
    singles = [frozenset([k]) for k in range(len(model.frame.members))]
    groupings: list[dict[Part, list[Move]]] = []
    for groups in flat_groups(model):
        built = {group: moves for group, axis in groups if (moves := laid_up(model, group, axis))}
        if whole := next((moves for group, moves in built.items() if len(group) == len(singles)), None):
            yield MovePlan(whole, [])
        elif built:
            groupings.append(built)
    for up in ways:
        for built in [*groupings, {}]:
            loose = set(range(len(singles))).difference(*built)
            parts = [*built, *(frozenset([k]) for k in sorted(loose))]
            try:
                yield _with_sub_frames(assembly_moves(model, parts, up, support), built)
            except Stuck as stuck:
                yield _with_sub_frames(stuck.moves, built, stuck.members, stuck.up)


def _with_sub_frames(
    moves: Sequence[Move], built: dict[Part, list[Move]], core: Part = frozenset(), core_up: int = UP
) -> MovePlan:
    """The plan where groups are built by themselves first; `built` gives the moves that build each."""
    order = list(dict.fromkeys(move.part for move in moves if move.part in built))
    first = [move for group in order for move in built[group]]  # so that nothing stands and waits meanwhile
    return MovePlan([*first, *moves], order, core, core_up)


def effort(model: AssemblyModel, support: Support, plan: MovePlan, upright: bool) -> int:
    """How many hands and turns a plan takes, over all its moves."""
    hands, up_of = 0, {plan.core: plan.core_up}
    up = plan.core_up
    for move in plan.moves:
        whole = move.part | move.onto
        up = move.up
        if move.onto:
            hands += TURN * (up_of.get(move.onto, up) != up and move.onto not in plan.sub_frames)
            hands += support.floor(move.part, up) < support.floor(move.onto, up)
        hands += len(support.hanging(whole, up)) + support.tips(whole, up)
        up_of[whole] = up
    return hands + TURN * (upright and up != UP)
