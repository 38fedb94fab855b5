"""Hole numbers round loops of laps, against networkx's cycle basis."""

from dataclasses import replace

import networkx as nx
import numpy as np
import pytest

from recon.frame.joints import find_joints
from recon.frame.loops import loops, step
from recon.frame.model import Frame
from recon.workshop.rigidity.frame_check import check_frame
from tests.growing import grow_frame


def grown(seed, members=14):
    frame = grow_frame(seed, members, holes=(5, 12))
    return replace(frame, joints=find_joints(frame.members))


def graph_of(frame):
    """The joint graph with a node for each lap, so that two laps of the same two members stay apart."""
    graph = nx.Graph()
    graph.add_nodes_from(m.id for m in frame.members)
    for n, joint in enumerate(frame.joints):
        graph.add_edge(joint.a, n)
        graph.add_edge(joint.b, n)
    return graph


def round_trip(frame, nodes):
    """The sum of the laps' steps round a cycle of that graph."""
    members = {m.id: m for m in frame.members}
    start = next(k for k, node in enumerate(nodes) if isinstance(node, str))
    nodes = [*nodes[start:], *nodes[:start]]
    return sum(step(frame.joints[nodes[k + 1]], members, nodes[k]) for k in range(0, len(nodes), 2))


# Source: networkx.cycle_basis (Paton 1969, doi:10.1145/363219.363232): a basis of a graph's cycle space.
@pytest.mark.parametrize("seed", range(8))
def test_there_are_as_many_loops_as_in_networkx_and_all_of_a_true_frame_close(seed):
    frame = grown(seed)
    basis = nx.cycle_basis(graph_of(frame))
    found = loops(frame)
    assert len(found) == len(basis)
    assert all(loop.closed for loop in found)
    assert max((np.abs(round_trip(frame, nodes)).max() for nodes in basis), default=0.0) < 1e-9
    for loop in found:  # each is one cycle: every member in it has two of its laps
        ends = [id for j in loop.joints for id in (j.a, j.b)]
        assert all(ends.count(id) % 2 == 0 for id in ends)


@pytest.mark.parametrize("seed", range(8))
def test_a_wrong_hole_number_opens_a_loop_exactly_where_networkx_finds_one_open(seed):
    frame = grown(seed)
    rng = np.random.default_rng(seed)
    n = int(rng.integers(len(frame.joints)))
    joint = frame.joints[n]
    joints = list(frame.joints)
    joints[n] = replace(joint, a_hole=joint.a_hole + (1 if joint.a_hole == 0 else -1))
    wrong = replace(frame, joints=tuple(joints))
    graph = graph_of(wrong)
    theirs = [nodes for nodes in nx.cycle_basis(graph) if np.abs(round_trip(wrong, nodes)).max() > 0.5]
    ours = [loop for loop in loops(wrong) if not loop.closed]
    assert bool(ours) == bool(theirs) == (not any(n in edge for edge in nx.bridges(graph)))
    assert all(joints[n] in loop.joints for loop in ours)
    assert all(sorted(map(abs, loop.gap)) == pytest.approx([0, 0, 1]) for loop in ours)


def test_a_frame_without_laps_has_no_loop():
    assert loops(Frame(grown(1).members)) == []


def test_check_names_the_laps_of_an_open_loop():
    frame = next(f for f in map(grown, range(8)) if loops(f))
    assert not [f for f in check_frame(frame).findings if f.kind == "loop"]
    bad = loops(frame)[0].joints[0]
    wrong = replace(bad, a_hole=bad.a_hole + (1 if bad.a_hole == 0 else -1))
    frame = replace(frame, joints=tuple(wrong if j is bad else j for j in frame.joints))
    found = [f for f in check_frame(frame).findings if f.kind == "loop"]
    assert found and all(wrong in f.joints and "miss by 1 hole along" in f.text for f in found)
