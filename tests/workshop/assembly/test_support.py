"""What holds a part of a frame up while it is built."""

import networkx as nx
import pytest

from recon.bench.random_frames import hole_of, random_frame
from recon.bench.scaffold import scaffold
from recon.workshop.assembly.disassembly import AssemblyModel
from recon.workshop.assembly.support import Support

FLOOR = "floor"


def held_by_one_lap(support: Support, members: set[int], up: int, without: set[int]) -> list[frozenset[int]]:
    """Groups that a single lap holds, or none: by networkx's bridges."""
    graph = nx.Graph()
    graph.add_nodes_from([FLOOR, *members])
    feet = support.on_floor(members, up)
    for k in feet:
        graph.add_edge(FLOOR, k)
        if support.level[up, k] or len(feet) == 1:
            graph.add_edges_from([(FLOOR, ("end", k)), (("end", k), k)])
    for b in set(support.model.inner(members)) - without:
        graph.add_edges_from((("bolt", b), k) for k in support.model.through[b])
    graph.remove_edges_from(list(nx.bridges(graph)))
    pieces = [piece for piece in nx.connected_components(graph) if FLOOR not in piece]
    groups = [frozenset(k for k in piece if isinstance(k, int)) for piece in pieces]
    return sorted(filter(None, groups), key=min)


@pytest.mark.parametrize("seed", range(12))
def test_what_hangs_on_one_lap_is_cut_off_by_a_bridge_of_networkx(seed):
    frame = random_frame(seed) if seed else scaffold(2, 1, 2)
    model = AssemblyModel(frame, hole_of(frame))
    support, count = Support(model), len(frame.members)
    for up in range(6):
        for most in range(1, count + 1):
            members = set(range(0, count, 2)[:most]) | set(range(most))
            without = set(range(0, len(model.bolts), 3)) if most % 2 else set()
            assert support.hanging(members, up, without) == held_by_one_lap(support, members, up, without)
