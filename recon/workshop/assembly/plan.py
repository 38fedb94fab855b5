"""Which way round, and in what parts, a frame is put together with the fewest hands and turns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from recon.workshop.assembly.disassembly import DIRECTIONS, AssemblyModel, Move, Part, Stuck, opposite
from recon.workshop.assembly.ordering import BLOCKS, UP, assembly_moves
from recon.workshop.assembly.sub_frames import flat_groups, laid_up
from recon.workshop.assembly.support import ON_FLOOR, Support

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


def plan_moves(model: AssemblyModel, support: Support, upright: bool) -> MovePlan:
    """Moves that put a frame together, flat groups by themselves first where that takes fewer hands.

    Parameters
    ----------
    model : AssemblyModel
    support : Support
        The model's.
    upright : bool
        Whether +z is up once the frame is done, so that it has to be turned where it was built another way.

    Returns
    -------
    MovePlan
        Where there is no order of all members, that with the fewest in its core.
    """
    members = range(len(model.frame.members))
    built = _built(model)
    best: tuple[tuple[int, int], MovePlan] | None = None
    for up in _ways(len(members), upright):
        least = len(support.hanging(members, up)) + support.tips(members, up) + TURN * (upright and up != UP)
        if best and best[0] <= (0, least):
            continue  # no plan this way round is better
        for plan in _plans(model, support, built, up):
            rating = len(plan.core), effort(model, support, plan, upright)
            if best is None or rating < best[0]:
                best = rating, plan
            if best[0] <= (0, least) or (len(members) > GROUPED and not rating[0]):
                break
    assert best is not None
    return best[1]


def _ways(members: int, upright: bool) -> Sequence[int]:
    """Which ways may be up when the last part comes in, those that are tried first if they are as good."""
    if members > TURNED:
        return (UP,)
    return (UP, opposite(UP), *(d for d in range(len(DIRECTIONS)) if d % 3 != UP)) if upright else (UP, 0, 1)


def _built(model: AssemblyModel) -> list[dict[Part, list[Move]]]:
    """Ways to split off flat groups: for each group the moves that build it lying."""
    ways = []
    for groups in flat_groups(model):
        built = {group: moves for group, axis in groups if (moves := laid_up(model, group, axis))}
        ways += [built] if built else []
    return ways


def _plans(
    model: AssemblyModel, support: Support, ways: Sequence[dict[Part, list[Move]]], up: int
) -> Iterator[MovePlan]:
    """Plans to choose from where `up` is up when the last part comes in."""
    members = range(len(model.frame.members))
    for built in [*ways, {}]:
        whole = next((moves for group, moves in built.items() if len(group) == len(members)), None)
        if whole:
            if up == UP:  # it lies as it lies
                yield MovePlan(whole, [])
            continue
        loose = set(members).difference(*built)
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
            hands += BLOCKS * (support.floor(move.part, up) < support.floor(move.onto, up) - ON_FLOOR)
        hands += len(support.hanging(whole, up)) + support.tips(whole, up)
        up_of[whole] = up
    return hands + TURN * (upright and up != UP)
