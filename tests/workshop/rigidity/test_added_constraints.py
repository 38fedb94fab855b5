"""What makes the checks quick gives the same as the plain way: all equations, all pairs, all laps."""

from dataclasses import replace

import numpy as np
import pytest

from recon.bench.random_frames import hole_of, random_frame
from recon.frame.joints import collisions, find_joints
from recon.frame.model import Frame, Member, label
from recon.workshop import solids
from recon.workshop.hardware.bolts import find_bolts
from recon.workshop.rigidity.added_constraints import motion_space, motion_twists, motions_left
from recon.workshop.rigidity.bracing import trials
from recon.workshop.rigidity.free_space import fits, free_space, laps_of_new, new_member_boxes
from recon.workshop.rigidity.mechanism import (
    blocks,
    bolt_graph,
    hinge_twists,
    loop_matrix,
    mobility,
)
from recon.workshop.rigidity.null_space import free_rates, null_space
from recon.workshop.solids import bolt_ends, member_boxes, met_on_the_way, overlapping, overlaps

X, Z = (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)


def trellis(posts, slats, step=2):
    sticks = [((i * step, 0, 0), Z, (slats - 1) * step + 1) for i in range(posts)]
    sticks += [((0, -1, j * step), X, (posts - 1) * step + 1) for j in range(slats)]
    members = tuple(Member(label(k), tuple(map(float, at)), way, n) for k, (at, way, n) in enumerate(sticks))
    return Frame(members, find_joints(members), 38.1)


def without_some(frame, seed):
    """The frame with no bolt in a third of its laps."""
    rng = np.random.default_rng(seed)
    return replace(
        frame, joints=tuple(replace(j, bolt="none") if rng.random() < 1 / 3 else j for j in frame.joints)
    )


# Member by member and all at once


@pytest.mark.parametrize(
    "frame",
    [
        *(random_frame(s, 40) for s in range(4)),
        *(random_frame(s) for s in range(8)),
        trellis(4, 7),
        trellis(3, 40),
    ],
)
def test_members_added_one_by_one_move_as_all_loops_together_let_them(frame):
    twists = hinge_twists(frame)
    for block in blocks(bolt_graph(frame)):
        edges = [(frame.joints[i].a, frame.joints[i].b) for i in block]
        together, added = null_space(loop_matrix(edges, twists[block])), free_rates(edges, twists[block])
        assert added.shape == together.shape
        assert added.T @ added == pytest.approx(np.eye(added.shape[1]), abs=1e-9)
        assert added @ added.T == pytest.approx(together @ together.T, abs=1e-9)


def test_a_ring_that_closes_last_is_held_by_its_last_bolt():
    # Six hinges in a ring have no freedom but by special lengths: 6 (6 - 1) - 5 x 6 = 0 (Grübler,
    # Kutzbach); seven have one.
    rng = np.random.default_rng(4)
    for n, ways in ((5, 0), (6, 0), (7, 1), (9, 3)):
        axes, points = rng.normal(size=(n, 3)), rng.normal(size=(n, 3))
        axes /= np.linalg.norm(axes, axis=1, keepdims=True)
        rates = free_rates([(i, (i + 1) % n) for i in range(n)], np.hstack([axes, np.cross(points, axes)]))
        assert rates.shape == (n, ways)


# What a proposal leaves


@pytest.mark.parametrize("seed", range(16))
def test_ways_left_are_counted_without_the_equations_of_the_whole(seed):
    # Every other frame has bolts out, and so pieces; in every third some bolts may turn.
    frame = random_frame(seed) if seed % 2 else without_some(random_frame(seed), seed)
    may_turn = (
        tuple(j for k, j in enumerate(frame.joints) if j.bolt != "none" and k % 2) if seed % 3 == 0 else ()
    )
    state = mobility(frame, may_turn)
    space, tried = motion_space(frame, state, may_turn), 0
    for trial in trials(frame, motion_twists(frame, state), hole_of(frame), None, 0.03):
        left = len(mobility(trial.frame, may_turn).motions)
        assert motions_left(space, trial.member, trial.joints) == left
        tried += 1
        if tried == 10:
            break
    assert tried or not state.motions


# Room


@pytest.mark.parametrize("seed", range(6))
def test_boxes_far_apart_are_left_out_and_no_others(seed, monkeypatch):
    frame = random_frame(seed, 25)
    boxes, ends = member_boxes(frame.members), bolt_ends(find_bolts(frame), 0.4)
    shaken = solids.Boxes(
        ends.centre + np.random.default_rng(seed).normal(0, 0.3, ends.centre.shape),
        ends.axes,
        ends.half,
        ends.play,
    )
    for a, b in ((ends, boxes), (boxes, shaken), (shaken, shaken), (ends, shaken)):
        plain = met_on_the_way(a, b, (0.0, 0.0, 0.0))
        assert (overlaps(a, b) == plain).all() and plain.any() | (a is ends)
        monkeypatch.setattr(solids, "DENSE", 7)  # rows at a time, and the tree
        assert np.array_equal(np.array(overlapping(a, b)), np.array(np.nonzero(plain)))
        monkeypatch.undo()


@pytest.mark.parametrize("direction", [(1.0, 0.0, 0.0), (0.0, -1.0, 0.0), (0.6, 0.0, -0.8)])
def test_what_is_met_on_the_way_takes_room_at_some_place_on_it(direction):
    boxes = member_boxes(random_frame(2, 25).members)
    met = met_on_the_way(boxes, boxes, direction)
    at_places = np.zeros_like(met)
    for way in np.arange(0, 60, 0.05):
        moved = solids.Boxes(boxes.centre + way * np.array(direction), boxes.axes, boxes.half, boxes.play)
        at_places |= overlaps(moved, boxes)
    assert (
        not (at_places & ~met).any() and (met & ~at_places).sum() <= 2
    )  # a corner may be passed between two places
    assert met.any() and not met.all()


@pytest.mark.parametrize("seed", range(8))
def test_a_new_member_laps_and_collides_as_in_the_frame_with_it(seed):
    frame = random_frame(seed, 12)
    rng = np.random.default_rng(seed)
    hosts, lapped, met = frame.members, 0, 0
    space = free_space(replace(frame, joints=()), hole_of(frame))
    for _ in range(200):
        host = hosts[rng.integers(len(hosts))]
        way = np.eye(3)[rng.integers(3)]
        side = np.eye(3)[rng.integers(3)] * rng.choice((-1, 1)) * host.width
        holes = int(rng.integers(2, 9))
        new = Member(
            "new",
            tuple(host.hole_centre(int(rng.integers(host.holes))) + side - way * int(rng.integers(holes))),
            tuple(way),
            holes,
            host.width,
        )
        whole = (new, *hosts)
        collides = any("new" in pair for pair in collisions(whole))
        body = new_member_boxes(
            (np.array(new.first) + new.last)[None] / 2, way[None], np.array([holes]), new.width
        )
        assert fits(space, body)[0] == (not collides)
        laps = [j for j in find_joints(whole) if j.a == "new"]
        if not collides:
            assert [replace(j, three_way=False) for j in laps] == laps_of_new(space, new)
            lapped += bool(laps)
        met += collides
    assert lapped > 5 and met > 5
