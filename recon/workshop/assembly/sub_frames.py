"""Flat groups of members that are built by themselves first, laid up on the floor layer by layer."""

from __future__ import annotations

import networkx as nx
import numpy as np

from recon.frame.joints import NORMAL_TOL
from recon.frame.model import as_tuple
from recon.workshop.assembly.disassembly import (
    DIRECTIONS,
    AssemblyModel,
    Move,
    Part,
    free_directions,
    unbolting_order,
)

SAME_LEVEL = 0.01  # pitches between members of one layer at most


def flat_groups(model: AssemblyModel) -> list[list[tuple[Part, int]]]:
    """Ways to split off flat groups, lists of (members, axis), the way with most bolts inside groups first.

    The bolts of a flat group lie along one axis, so it can be laid on the floor layer by layer; it is worth
    that where it makes a ring, which has as many bolts as members.
    """
    found = []
    for axis in range(3):
        graph = nx.Graph()
        for b, bolt in enumerate(model.bolts):
            if abs(bolt.axis[axis]) > NORMAL_TOL:
                first, *others = sorted(model.through[b])
                graph.add_edges_from((first, k) for k in others)
        components: list[Part] = sorted(map(frozenset, nx.connected_components(graph)), key=min)
        groups = [group for group in components if len(model.inner(group)) >= len(group)]
        if groups:
            found.append((-sum(len(model.inner(group)) for group in groups), axis, groups))
    return [[(group, axis) for group in groups] for _, axis, groups in sorted(found, key=lambda f: f[:2])]


def _layers(model: AssemblyModel, group: Part, axis: int) -> list[list[int]]:
    """The members of a flat group by level along an axis, lowest first."""
    level = {k: model.frame.members[k].first[axis] for k in group}
    layers: list[list[int]] = []
    for k in sorted(group, key=lambda k: (round(level[k] / SAME_LEVEL), k)):
        if layers and level[k] - level[layers[-1][-1]] < SAME_LEVEL:
            layers[-1].append(k)
        else:
            layers.append([k])
    return layers


def laid_up(model: AssemblyModel, group: Part, axis: int) -> list[Move]:
    """Moves that lay the lowest layer of a flat group down and bolt the others on; none where that fails."""
    layers = _layers(model, group, axis)

    # The layer at the bottom is the one of longer members; of two alike, the one that has the first member.
    def rank(layer: list[int]) -> tuple[float, list[int]]:
        return -sum(model.frame.members[k].holes for k in layer) / len(layer), layer

    sign = 1 if rank(layers[0]) <= rank(layers[-1]) else -1
    layers = layers[::sign]
    up = sign * np.eye(3)[axis]
    way = int((DIRECTIONS @ up).argmax())
    there: Part = frozenset(layers[0])
    if model.inner(there):
        return []
    moves = [Move(there, frozenset(), None, (), way)]
    for k in (k for layer in layers[1:] for k in layer):
        part = frozenset([k])
        bolts = unbolting_order(model, part, there)
        if not bolts or way not in free_directions(model, part, there):
            return []
        moves.append(Move(part, there, as_tuple(-up), tuple(bolts[::-1]), way))
        there |= part
    return moves
