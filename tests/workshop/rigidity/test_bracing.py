"""What is proposed against racking fits the holes, has room, and works."""

from dataclasses import replace

import numpy as np
import pytest

from recon.bench.random_frames import hole_of, random_frame
from recon.frame.joints import collisions, find_joints
from recon.frame.model import Frame, Member, label
from recon.workshop.hardware.bolts import find_bolts
from recon.workshop.rigidity.bolt_conflicts import blocked_ends, crossing_bolts
from recon.workshop.rigidity.bracing import additions
from recon.workshop.rigidity.mechanism import mobility
from recon.workshop.rigidity.possible_members import possible_members
from tests.workshop.frames import gate

X, Y, Z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)


def panel(width: int, height: int, beyond: int = 0) -> Frame:
    """Two uprights between two rails, one bolt in each lap; uprights and rails reach `beyond` their laps."""
    members = tuple(
        Member(label(i), tuple(map(float, f)), d, n)
        for i, (f, d, n) in enumerate(
            (
                ((0, 0, -beyond), Z, height + 1 + 2 * beyond),
                ((width, 0, -beyond), Z, height + 1 + 2 * beyond),
                ((-beyond, -1, 0), X, width + 1 + 2 * beyond),
                ((-beyond, -1, height), X, width + 1 + 2 * beyond),
            )
        )
    )
    return Frame(members, find_joints(members), 38.1)


def pin_distance(frame: Frame, addition) -> float:
    """Pitches between the outermost holes that a new member is bolted through on its hosts."""
    places = []
    for j in addition.joints:
        host, hole = (j.b, j.b_hole) if j.a == addition.member.id else (j.a, j.a_hole)
        places.append(frame.member(host).hole_centre(hole))
    return max(np.linalg.norm(p - q) for p in places for q in places)


@pytest.mark.parametrize("width, height, legs", [(4, 3, (3, 4)), (12, 5, (5, 12)), (15, 8, (8, 15))])
def test_pythagorean_triples_brace_the_panels_that_they_fit(width, height, legs):
    # 3-4-5, 5-12-13, 8-15-17: Euclid, Elements X, lemma to proposition 29.  The corners are taken by the
    # laps' bolts, so the brace goes from upright to upright a hole beyond them.
    frame = panel(width, height, beyond=2)
    (found,) = additions(frame)
    assert found.left == 0 and not found.member.on_lattice
    assert pin_distance(frame, found) == pytest.approx(found.member.holes - 1, abs=1e-6)
    if found.member.holes == round(np.hypot(*legs)) + 1:
        assert f"legs of {legs[0]} and {legs[1]}" in found.text


def test_three_four_five_is_offered_where_nothing_shorter_does():
    frame = panel(4, 3, beyond=2)
    (found,) = additions(frame)
    assert (
        found.text == "Add E, a brace of 6 holes, legs of 3 and 4: hole 1 of E on hole 1 of C "
        "and hole 6 of E on hole 5 of D."
    )


def test_a_near_fit_within_the_clearance_of_the_bolts_is_taken():
    # 8 and 9 make 12.04: 0.04 pitch off, 0.8 mm at a pitch of 20 mm, and 2 mm at one of 50 mm.
    assert any(_nearly(a) for a in _all_braces(20.0))
    assert not any(_nearly(a) for a in _all_braces(50.0))


def _all_braces(pitch_mm):
    frame = replace(panel(9, 12, beyond=1), pitch_mm=pitch_mm)
    motions = mobility(frame).motions
    twists = np.array([[m.twists[f.id] for f in frame.members] for m in motions])
    taken = {hole for bolt in find_bolts(frame) for hole in bolt.through}
    return possible_members(frame, taken, twists).legs


def _nearly(legs):
    return sorted(np.round(legs).astype(int)) == [8, 9]


def test_a_rigid_frame_needs_nothing():
    corner = (Member("A", (0, 0, 0), Z, 5), Member("B", (0, -1, 1), X, 5), Member("C", (1, -2, 2), Y, 5))
    assert additions(Frame(corner, find_joints(corner), 38.1)) == ()


def test_a_lap_without_a_bolt_is_the_first_thing_to_bolt():
    frame = panel(4, 3, beyond=2)
    braced = additions(frame)[0]
    whole = replace(frame, members=(*frame.members, braced.member), joints=(*frame.joints, *braced.joints))
    assert mobility(whole).freedom == 0
    unbolted = replace(
        whole, joints=tuple(replace(j, bolt="none") if j is whole.joints[-1] else j for j in whole.joints)
    )
    (found,) = additions(unbolted)
    assert found.member is None and found.text.startswith("Put a bolt through ") and found.left == 0


def test_no_bolt_is_proposed_through_another():
    # The first member proposed for the gate lies across a hole of A that a bolt goes through already.
    frame = gate()
    for addition in additions(frame):
        frame = replace(
            frame, members=(*frame.members, addition.member), joints=(*frame.joints, *addition.joints)
        )
    assert crossing_bolts(find_bolts(frame)) == []
    assert set(map(_holes, find_joints(frame.members))) - set(map(_holes, frame.joints))


def test_wanted_motions_are_not_stopped():
    frame = panel(4, 3, beyond=2)
    assert additions(frame, frame.joints) == ()


@pytest.mark.parametrize("seed", range(10))
def test_proposals_have_room_and_leave_as_many_ways_as_they_say(seed):
    frame = random_frame(seed)
    hole = hole_of(frame)
    before = mobility(frame).freedom
    for addition in additions(frame, hole=hole):
        others = tuple(
            j
            for j in frame.joints
            if addition.member
            or {(j.a, j.a_hole), (j.b, j.b_hole)}
            != {
                (addition.joints[0].a, addition.joints[0].a_hole),
                (addition.joints[0].b, addition.joints[0].b_hole),
            }
        )
        frame = replace(
            frame,
            members=frame.members + ((addition.member,) if addition.member else ()),
            joints=others + addition.joints,
        )
        after = mobility(frame).freedom
        assert after == addition.left < before
        before = after
        if addition.member:
            assert not [pair for pair in collisions(frame.members) if addition.member.id in pair]
            assert {_holes(j) for j in addition.joints} <= {_holes(j) for j in find_joints(frame.members)}
            names = {addition.member.id}
            bolts = [b for b in find_bolts(frame) if names & {id for id, _ in b.through}]
            assert not blocked_ends(frame, bolts, hole) and not crossing_bolts(find_bolts(frame))


def _holes(joint):
    return frozenset(((joint.a, joint.a_hole), (joint.b, joint.b_hole)))
