from itertools import combinations

import networkx as nx
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from recon.frame.joints import collisions, components, find_joints, joint_graph, loose_members, mark_three_way
from recon.frame.model import Frame, Joint, Member, as_tuple, member_cells, section_axes
from tests.growing import grow_frame

SEEDS = st.integers(0, 10**6)


def member(id, first, direction, holes, width=1.0, on_lattice=True):
    return Member(
        id, tuple(map(float, first)), tuple(map(float, direction)), holes, width, on_lattice=on_lattice
    )


def told(joints):
    return [(j.a, j.a_hole, j.b, j.b_hole, j.axis) for j in joints]


# Laps


def test_crossing_members_one_width_apart_are_a_lap():
    post, rail = member("A", (0, 0, 0), (0, 0, 1), 12), member("B", (-1, -1, 3), (1, 0, 0), 8)
    assert find_joints([post, rail]) == (Joint("A", 3, "B", 1, (0.0, -1.0, 0.0), "assumed", False),)


def test_hole_numbers_follow_the_end_that_is_counted_from():
    post, rail = member("A", (0, 0, 11), (0, 0, -1), 12), member("B", (6, -1, 3), (-1, 0, 0), 8)
    assert told(find_joints([post, rail])) == [("A", 8, "B", 6, (0.0, -1.0, 0.0))]


@pytest.mark.parametrize("first", [(-1, -2, 3), (-1, -1, 12), (1, -1, 3), (-1.5, -1, 3), (-1, -1.5, 3)])
def test_members_that_do_not_touch_hole_to_hole_are_no_lap(first):
    assert find_joints([member("A", (0, 0, 0), (0, 0, 1), 12), member("B", first, (1, 0, 0), 8)]) == ()


def test_members_end_to_end_are_no_lap():
    assert find_joints([member("A", (0, 0, 0), (0, 0, 1), 4), member("B", (0, 0, 4), (0, 0, 1), 4)]) == ()


def test_members_side_by_side_are_bolted_at_both_ends_of_the_overlap():
    side = [member("A", (0, 0, 0), (0, 0, 1), 10), member("B", (1, 0, 6), (0, 0, 1), 10)]
    assert told(find_joints(side)) == [("A", 6, "B", 0, (1.0, 0.0, 0.0)), ("A", 9, "B", 3, (1.0, 0.0, 0.0))]
    counted_down = [side[0], member("B", (1, 0, 15), (0, 0, -1), 10)]
    assert told(find_joints(counted_down)) == [
        ("A", 6, "B", 9, (1.0, 0.0, 0.0)),
        ("A", 9, "B", 6, (1.0, 0.0, 0.0)),
    ]


def test_an_overlap_of_one_hole_takes_one_bolt():
    assert told(
        find_joints([member("A", (0, 0, 0), (0, 0, 1), 10), member("B", (1, 0, 9), (0, 0, 1), 5)])
    ) == [("A", 9, "B", 0, (1.0, 0.0, 0.0))]


@pytest.mark.parametrize("width, apart", [(1.5, 1.5), (1.75, 1.75), (2.0, 2.0)])
def test_stock_wider_than_its_pitch_laps_a_width_apart(width, apart):
    post = member("A", (0, 0, 0), (0, 0, 1), 12, width)
    assert told(find_joints([post, member("B", (-1, apart, 3), (1, 0, 0), 8, width)])) == [
        ("A", 3, "B", 1, (0.0, 1.0, 0.0))
    ]
    assert find_joints([post, member("B", (-1, 1, 3), (1, 0, 0), 8, width)]) == ()


def test_members_of_two_widths_lap_half_their_sum_apart():
    post, rail = member("A", (0, 0, 0), (0, 0, 1), 12, 1.5), member("B", (-1, 1.75, 3), (1, 0, 0), 8, 2.0)
    assert told(find_joints([post, rail])) == [("A", 3, "B", 1, (0.0, 1.0, 0.0))]


def test_a_brace_of_five_pitches_fits_three_by_four():
    # The 3-4-5 triangle: Euclid, Elements, book I, proposition 47.
    rail, post = member("A", (0, 0, 0), (1, 0, 0), 6), member("B", (0, 1, 0), (0, 0, 1), 8)
    brace = member("C", (3, -1, 0), (-0.6, 0, 0.8), 6, on_lattice=False)
    spacer = member("D", (-1, 0, 4), (1, 0, 0), 3)
    found = find_joints([rail, post, brace, spacer])
    assert ("A", 3, "C", 0, (0.0, -1.0, 0.0)) in told(found)  # the brace's first hole on the rail
    assert ("C", 5, "D", 1, (0.0, 1.0, 0.0)) in told(found)  # and its last, 3 along and 4 up, on the spacer
    assert {frozenset((j.a, j.b)) for j in found} == {frozenset(p) for p in ("AB", "AC", "BD", "CD")}


def test_a_brace_whose_faces_are_not_square_to_the_bolt_is_not_lapped():
    post = member("A", (0, 0, 0), (0, 0, 1), 12)
    skew = np.array([1, 1, 1]) / np.sqrt(3)
    assert find_joints([post, Member("B", (0.0, 1.0, 3.0), as_tuple(skew), 8, on_lattice=False)]) == ()


def _laps_by_definition(members):
    """Every pair of holes tried, in whole pitches, for members as wide as their pitch."""
    laps = {}
    for a, b in combinations(members, 2):
        for i, p in enumerate(member_cells(a)):
            for k, q in enumerate(member_cells(b)):
                axis = q - p
                if np.abs(axis).sum() == 1 and axis @ a.direction == 0 and axis @ b.direction == 0:
                    laps.setdefault((a.id, b.id), []).append((i, k, as_tuple(axis)))
    return laps


@settings(max_examples=30)
@given(SEEDS)
def test_laps_are_those_that_the_definition_gives(seed):
    frame = grow_frame(seed, 10)
    laps = _laps_by_definition(frame.members)
    expected = {(a, i, b, k, axis) for (a, b), row in laps.items() for i, k, axis in (min(row), max(row))}
    assert set(told(frame.joints)) == expected
    assert len(frame.joints) == len(expected)


@given(SEEDS)
@settings(max_examples=20)
def test_a_grown_frame_hangs_together(seed):
    frame = grow_frame(seed, 12, width=1.5)
    assert components(frame) == [tuple(m.id for m in frame.members)]
    assert loose_members(frame) == ()


# Three-way laps

CORNER = (
    member("A", (0, 0, 0), (0, 0, 1), 8),
    member("B", (-1, -1, 2), (1, 0, 0), 8),
    member("C", (-1, -1, 3), (0, 1, 0), 8),
)


def test_three_members_lapped_in_pairs_round_a_corner_are_a_three_way_lap():
    joints = find_joints(CORNER)
    assert {frozenset((j.a, j.b)) for j in joints} == {frozenset("AB"), frozenset("AC"), frozenset("BC")}
    assert {tuple(np.abs(j.axis)) for j in joints} == {(1, 0, 0), (0, 1, 0), (0, 0, 1)}
    assert all(j.three_way for j in joints)


def test_a_corner_that_lacks_one_lap_is_not_three_way():
    joints = find_joints([CORNER[0], CORNER[1], member("C", (-1, -1, 4), (0, 1, 0), 8)])
    assert len(joints) == 2 and not any(j.three_way for j in joints)


def test_other_laps_of_the_same_members_frame_stay_two_way():
    far = member("D", (5, 0, 0), (0, 0, 1), 8)
    joints = find_joints([*CORNER, far])
    assert {(j.a + j.b): j.three_way for j in joints} == {"AB": True, "AC": True, "BC": True, "BD": False}


def test_three_members_side_by_side_are_not_three_way():
    joints = find_joints(
        [
            member("A", (0, 0, 0), (0, 0, 1), 8),
            member("B", (1, 0, 0), (0, 0, 1), 8),
            member("C", (0, 1, 0), (0, 0, 1), 8),
        ]
    )
    assert joints and not any(j.three_way for j in joints)


@settings(max_examples=20)
@given(SEEDS)
def test_three_way_laps_are_the_triangles_of_crossing_members(seed):
    frame = grow_frame(seed, 25, holes=(3, 6))
    at = {m.id: m for m in frame.members}
    crossing = nx.Graph((j.a, j.b) for j in frame.joints if np.dot(at[j.a].direction, at[j.b].direction) == 0)
    in_triangle = {
        frozenset(pair)
        for clique in nx.enumerate_all_cliques(crossing)
        if len(clique) == 3
        for pair in combinations(clique, 2)
    }
    assert {frozenset((j.a, j.b)) for j in frame.joints if j.three_way} == in_triangle
    assert mark_three_way(frame.joints, frame.members) == frame.joints


# The graph


def test_the_graph_has_a_node_a_member_and_an_edge_a_joint():
    frame = Frame(CORNER, find_joints(CORNER), 38.1)
    graph = joint_graph(frame)
    assert list(graph.nodes) == ["A", "B", "C"] and graph.nodes["B"]["member"] is CORNER[1]
    assert sorted((d["joint"] for _, _, d in graph.edges(data=True)), key=lambda j: (j.a, j.b)) == list(
        frame.joints
    )
    assert all(d["three_way"] and d["bolt"] == "assumed" for _, _, d in graph.edges(data=True))


def test_two_bolts_between_two_members_are_two_edges():
    side = (member("A", (0, 0, 0), (0, 0, 1), 10), member("B", (1, 0, 6), (0, 0, 1), 10))
    assert joint_graph(Frame(side, find_joints(side))).number_of_edges("A", "B") == 2


def _pieces_by_union(frame):
    root = {m.id: m.id for m in frame.members}

    def find(x):
        while root[x] != x:
            x = root[x]
        return x

    for j in frame.joints:
        root[find(j.a)] = find(j.b)
    return {frozenset(m.id for m in frame.members if find(m.id) == r) for r in map(find, root)}


@settings(max_examples=30)
@given(SEEDS, st.randoms(use_true_random=False))
def test_pieces_are_those_that_union_finds(seed, random):
    frame = grow_frame(seed, 14)
    kept = [m for m in frame.members if random.random() < 0.6]
    assume(kept)
    broken = Frame(tuple(kept), find_joints(kept))
    pieces = components(broken)
    assert {frozenset(p) for p in pieces} == _pieces_by_union(broken)
    assert [len(p) for p in pieces] == sorted(map(len, pieces), reverse=True)
    assert loose_members(broken) == tuple(m.id for m in kept if (m.id,) in pieces)


def test_a_member_that_touches_nothing_is_loose():
    members = (*CORNER, member("D", (20, 0, 0), (0, 0, 1), 5))
    frame = Frame(members, find_joints(members))
    assert loose_members(frame) == ("D",)
    assert components(frame) == [("A", "B", "C"), ("D",)]


# Collisions

STICK = st.tuples(st.tuples(*[st.integers(-3, 3)] * 3), st.integers(0, 2), st.integers(1, 5))


@given(st.lists(STICK, min_size=2, max_size=6))
def test_members_collide_where_they_share_a_cell(rows):
    members = [member(f"m{i}", first, np.eye(3)[axis], holes) for i, (first, axis, holes) in enumerate(rows)]
    cells = [set(map(tuple, member_cells(m).tolist())) for m in members]
    expected = [(f"m{i}", f"m{k}") for i, k in combinations(range(len(rows)), 2) if cells[i] & cells[k]]
    assert [(a, b) for a, b, _ in collisions(members)] == expected


def test_depth_is_the_overlap_along_the_way_out():
    ((_, _, depth),) = collisions(
        [member("A", (0, 0, 0), (0, 0, 1), 8), member("B", (0.75, 0, 3), (0, 0, 1), 8)]
    )
    assert depth == pytest.approx(0.25)


def test_wide_members_collide_where_their_centre_lines_are_too_near():
    post = member("A", (0, 0, 0), (0, 0, 1), 8, 1.5)
    assert collisions([post, member("B", (-1, 1, 3), (1, 0, 0), 8, 1.5)])
    assert not collisions([post, member("B", (-1, 1.5, 3), (1, 0, 0), 8, 1.5)])


def _room_in_common(a, b):
    """Half the side of the largest cube, in the boxes' own terms, that fits both: above 0 where the boxes
    overlap (the Chebyshev centre: S. Boyd, L. Vandenberghe, Convex Optimization, section 8.5.1)."""
    rows, limits = [], []
    for m in (a, b):
        middle = (np.asarray(m.first) + m.last) / 2
        for axis, half in zip((m.direction, *section_axes(m)), (m.holes / 2, m.width / 2, m.width / 2)):
            for sign in (1, -1):
                normal = sign * np.asarray(axis)
                rows.append([*normal, 1.0])
                limits.append(half + normal @ middle)
    result = linprog([0, 0, 0, -1], rows, limits, bounds=[(None, None)] * 4)
    return -result.fun


@settings(max_examples=100)
@given(
    st.tuples(*[st.floats(-3, 3)] * 3),
    st.tuples(*[st.floats(-1, 1)] * 3),
    st.integers(1, 6),
    st.sampled_from([1.0, 1.5]),
)
def test_braces_collide_where_a_linear_programme_finds_room_in_both(first, direction, holes, width):
    assume(np.linalg.norm(direction) > 0.1)
    post = member("A", (0, 0, -2), (0, 0, 1), 5)
    brace = Member(
        "B", first, as_tuple(np.array(direction) / np.linalg.norm(direction)), holes, width, on_lattice=False
    )
    room = _room_in_common(post, brace)
    found = collisions([post, brace])
    if room < 0:
        assert not found
    elif room > 0.05:  # a ball of radius r in both boxes: no axis separates them by less than 2 r
        assert found and found[0][2] >= 2 * room - 1e-6


def test_a_brace_that_lies_flush_on_a_face_does_not_collide():
    post = member("A", (0, 0, 0), (0, 0, 1), 12)
    brace = Member("B", (-1.2, 1.0, 3.4), (0.6, 0.0, 0.8), 6, on_lattice=False)
    assert not collisions([post, brace])
    assert collisions([post, Member("B", (-1.2, 0.8, 3.4), (0.6, 0.0, 0.8), 6, on_lattice=False)])


def test_300_members_have_the_laps_that_their_parts_have():
    frame = grow_frame(2, 300)
    assert len(frame.members) == 300 and collisions(frame.members) == []
    some = frame.members[:40]
    names = {m.id for m in some}
    assert told(find_joints(some)) == [t for t in told(frame.joints) if t[0] in names and t[2] in names]


def test_one_member_or_none_has_neither_laps_nor_collisions():
    assert find_joints([]) == find_joints(CORNER[:1]) == ()
    assert collisions([]) == collisions(CORNER[:1]) == []
    assert components(Frame(())) == [] and loose_members(Frame(CORNER[:1])) == ("A",)
