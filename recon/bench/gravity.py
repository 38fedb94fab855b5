"""Build steps on a floor, checked by other means than they were found with: what falls or comes from below.

Two ways to the floor are counted as maximum flow (edge connectivity), where the planner looks for bridges;
whether a thing stands is a linear program over its feet, tilted all round, where the planner has a hull.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import networkx as nx
import numpy as np
from scipy.optimize import linprog

from recon.frame.boxes import centre, corners
from recon.frame.model import Frame
from recon.geometry.arrays import FloatArray
from recon.workshop.assembly.build_step import BuildStep
from recon.workshop.assembly.steps import BuildOrder
from recon.workshop.assembly.support import TIP_DEG
from recon.workshop.hardware.bolts import Bolt

TOUCH = 0.02  # pitches above the floor up to which a corner rests on it
TILTS = 24  # directions in which a thing is tilted
SHARE = 0.98  # of the tilt, for a plane tilted in so many directions lies a little inside the cone


def gravity_faults(frame: Frame, steps: BuildOrder, z_up: bool = True) -> list[str]:
    """What of the steps cannot be done on a floor, in words; nothing where all can.

    Parameters
    ----------
    frame : Frame
    steps : BuildOrder
        As `build_steps` gives them.
    z_up : bool
        Whether the frame ends with +z up.

    Examples
    --------
    >>> from recon.bench.scaffold import scaffold
    >>> from recon.workshop.assembly.steps import build_steps
    >>> frame = scaffold(1, 1, 1)
    >>> gravity_faults(frame, build_steps(frame))
    []
    """
    found: list[str] = []
    up_of: dict[frozenset[str], tuple[float, ...]] = {}
    for step in steps.steps:
        found += [f"step {step.number}: {text}" for text in _turned(step, up_of)]
        found += [f"step {step.number}: {text}" for text in _from_below(frame, step)]
        found += [f"step {step.number}: {text}" for text in _falls(frame, step)]
        if step.steady and not _stands(frame, step):
            found.append(f"step {step.number}: falls over")
        up_of[frozenset(step.there) | frozenset(step.new)] = step.up
    found += _unsaid(steps.steps)
    if z_up and steps.steps and len(frame.members) > 1 and tuple(steps.steps[-1].up) != (0.0, 0.0, 1.0):
        found.append("the frame does not end upright")
    return found


def _turned(step: BuildStep, up_of: dict[frozenset[str], tuple[float, ...]]) -> Iterator[str]:
    """Whether what is joined lies as it was left, or the step says that it is turned."""
    there, new = frozenset(step.there), frozenset(step.new)
    before = up_of.get(there)
    if before is not None and step.kind == "join" and before != step.up:
        yield "what is there has another side up"
    if step.kind == "turn" and before != step.up_before:
        yield "turns from a side that was not up"
    if new in up_of and up_of[new] != step.up:
        yield "what comes in had another side up"


def _heights(frame: Frame, ids: Sequence[str] | frozenset[str], up: Sequence[float]) -> FloatArray:
    """Heights of the corners of these members, (n, 8)."""
    return np.array([corners(frame.member(id)) @ np.asarray(up, float) for id in ids]).reshape(-1, 8)


def _from_below(frame: Frame, step: BuildStep) -> Iterator[str]:
    """Whether anything is brought up from below the floor."""
    if step.direction is None:
        return
    moving = frozenset(step.new) - frozenset(step.laid)
    everything = frozenset(step.there) | frozenset(step.new)
    floor = _heights(frame, everything, step.up).min()
    rise = float(np.dot(step.direction, step.up))
    for back in np.linspace(0.0, 30.0, 31):
        if (_heights(frame, moving, step.up) - back * rise).min() < floor - TOUCH:
            yield f"{', '.join(sorted(moving))} comes in from below the floor"
            return


def _falls(frame: Frame, step: BuildStep) -> Iterator[str]:
    """Members that neither two laps nor a hand hold."""
    ids = [*dict.fromkeys((*step.there, *step.new))]
    graph = nx.Graph()
    graph.add_node("floor")
    heights = _heights(frame, ids, step.up)
    standing = (heights.min(axis=1) < heights.min() + TOUCH).sum()
    for id, rows in zip(ids, heights):
        feet = int((rows < heights.min() + TOUCH).sum())
        level = np.ptp(rows) < frame.member(id).width * 1.5 and feet >= 4
        slender = frame.member(id).holes > 1 and abs(np.dot(frame.member(id).direction, step.up)) < 0.01
        alone = standing == 1  # all on one foot: whether that stands is another question
        _link(graph, id, (2 if alone or (level and slender) else 1) if feet else 0)
    for group in step.hands:
        for id in group:
            _link(graph, id, 2)
    bolts: set[Bolt] = {*step.bolts, *step.there_bolts}
    for k, bolt in enumerate(sorted(bolts, key=lambda b: b.through)):
        graph.add_edges_from((f"bolt {k}", id) for id, _ in bolt.through)
    for id in ids:
        ways = nx.edge_connectivity(graph, id, "floor") if graph.degree(id) else 0
        if ways < 2:
            yield f"nothing but {ways} lap holds {id}"


def _link(graph: nx.Graph, id: str, ways: int) -> None:
    """Join a member to the floor in so many ways that have nothing in common."""
    for k in range(ways):
        graph.add_edges_from([("floor", (id, k)), ((id, k), id)])


def _stands(frame: Frame, step: BuildStep) -> bool:
    """Whether what is there stands when it is tilted all round."""
    ids = [*dict.fromkeys((*step.there, *step.new))]
    points = np.concatenate([corners(frame.member(id)) for id in ids])
    up = np.asarray(step.up, float)
    u = np.cross(up, [0.3, 0.5, 0.8])
    u /= np.linalg.norm(u)
    plane = np.stack([u, np.cross(up, u)], axis=1)
    height = points @ up
    feet = points[height < height.min() + TOUCH] @ plane
    mass = np.array([frame.member(id).holes * frame.member(id).width ** 2 for id in ids], float)
    middle = mass @ np.array([centre(frame.member(id)) for id in ids]) / mass.sum()
    reach = (float(middle @ up) - height.min()) * np.tan(np.radians(TIP_DEG)) * SHARE
    for turn in np.linspace(0, 2 * np.pi, TILTS, endpoint=False):
        target = middle @ plane + reach * np.array([np.cos(turn), np.sin(turn)])
        # target is a mean of the feet, weighted by what each of them bears
        rows = np.vstack([feet.T, np.ones(len(feet))])
        if linprog(np.zeros(len(feet)), A_eq=rows, b_eq=[*target, 1.0], bounds=(0, None)).status != 0:
            return False
    return True


def _unsaid(steps: Sequence[BuildStep]) -> Iterator[str]:
    """What must be held and no step says."""
    for k, step in enumerate(steps):
        texts = [s.text for s in steps[: k + 1]]
        for group in step.hands:
            if not any("Hold " in text and all(id in text for id in group) for text in texts):
                yield f"step {step.number}: does not say that {', '.join(group)} must be held"
        if not step.steady and not any("does not stand by itself" in text for text in texts):
            yield f"step {step.number}: does not say that it does not stand"
