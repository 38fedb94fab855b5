"""What is proposed against racking fits the holes, has room, and works."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from recon.bench.random_frames import hole_of, random_frame
from recon.frame.files import load_frame
from recon.frame.joints import collisions, find_joints
from recon.frame.model import Frame, Member, label
from recon.frame.stock import load_stocks
from recon.workshop.hardware.bolts import find_bolts
from recon.workshop.rigidity.bolt_conflicts import blocked_ends, crossing_bolts
from recon.workshop.rigidity.bracing import additions, with_additions
from recon.workshop.rigidity.frame_check import check_frame, report_text
from recon.workshop.rigidity.free_space import lowest, lowest_point
from recon.workshop.rigidity.mechanism import mobility
from recon.workshop.rigidity.possible_members import possible_members
from recon.workshop.solids import bolt_ends

CASES = Path(__file__).parents[2] / "data" / "workshop"
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


def sledge() -> Frame:
    """Two skids, three cross members on them, and a rail on these."""
    members = [Member(id, (0.0, y, 0.0), X, 16) for id, y in (("A", 0.0), ("B", 8.0))]
    members += [Member(id, (x, -1.0, 1.0), Y, 11) for id, x in (("C", 1.0), ("D", 8.0), ("E", 14.0))]
    members.append(Member("F", (0.0, 4.0, 2.0), X, 16))
    return Frame(tuple(members), find_joints(members), 38.1)


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
    # Some of what is proposed for these frames lies across holes that bolts go through already.
    across = 0
    for seed in (10, 25):
        frame = random_frame(seed)
        braced = with_additions(frame, additions(frame, hole=hole_of(frame)))
        assert crossing_bolts(find_bolts(braced)) == crossing_bolts(find_bolts(frame))
        new = {m.id for m in braced.members} - {m.id for m in frame.members}
        bolted = set(map(_holes, braced.joints))
        across += sum(
            {j.a, j.b} & new != set() and _holes(j) not in bolted for j in find_joints(braced.members)
        )
    assert across


def test_nothing_is_proposed_below_the_lowest_point():
    # The sledge's cross members are free below, between its skids; the rectangle's rail is over the feet of
    # its posts. In both a brace or a bolt's head below what the frame stands on used to be proposed.
    for frame in (sledge(), panel(10, 7, beyond=1), panel(8, 6)):
        ground = lowest_point(frame)
        for addition in additions(frame):
            assert lowest_point(with_additions(frame, [addition])) >= ground - 1e-6
            new = with_additions(frame, [addition])
            own = [b for b in find_bolts(new) if addition.member and addition.member.id in dict(b.through)]
            assert lowest(bolt_ends(own)) >= ground - 1e-6
    hung = additions(sledge(), floor=False)
    assert any(a.member and lowest_point(with_additions(sledge(), [a])) < -0.6 for a in hung)


@pytest.mark.parametrize("case", ["sledge", "k_rectangle"])
def test_of_the_cases_found_no_member_and_no_bolt_head_comes_under_what_the_frame_stands_on(case):
    # A brace G lay under the skids of the sledge; the head of a bolt of E lay under the foot of post A.
    frame = load_frame(CASES / f"{case}.json", load_stocks())
    ground = lowest_point(frame)
    new = with_additions(frame, additions(frame))
    added = {m.id for m in new.members} - {m.id for m in frame.members}
    assert added and lowest_point(new) >= ground - 1e-6
    own = [bolt for bolt in find_bolts(new) if added & set(dict(bolt.through))]
    assert own and lowest(bolt_ends(own)) >= ground - 1e-6


def test_what_leaves_less_to_give_comes_first():
    # A rack of 40 holes without side rails: one rail near the foot stops every motion but gives at the top.
    posts = [Member(id, (x, 0.0, 0.0), Z, 40) for id, x in (("A", 0.0), ("B", 20.0))]
    rails = [Member(id, (-1.0, -1.0, z), X, 23) for id, z in (("C", 2.0), ("D", 20.0), ("E", 38.0))]
    frame = Frame((*posts, *rails), find_joints((*posts, *rails)), 38.1)
    (found,) = additions(frame, play=0.041)
    assert found.left == 0 and not found.loose and found.gives.angle < np.radians(0.5)
    assert found.member.holes > 20


def test_a_short_block_counts_as_loose_and_a_rail_moved_by_a_hole_lets_a_brace_in():
    # Two posts of 10 holes, rails 7 apart: no brace fits, a block of 2 holes has a lever of one pitch; with
    # 1.56 mm of clearance at either bolt it leaves atan(2 x 1.56 / 38.1) = 4.7 degrees. 6-8-10 fits 8 apart.
    frame = panel(10, 7, beyond=1)
    report = check_frame(frame, play=1.5625 / 38.1)
    (found,) = report.additions
    assert found.member.holes == 2 and found.loose
    assert np.degrees(found.gives.angle) == pytest.approx(4.7, abs=0.05)
    assert "it hardly holds" in report_text(report)
    assert any("one hole up and add E, a brace of 11 holes, legs of 6 and 8" in t for t in report.better)


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
