"""What of a rack goes into a frame: exact lengths first, longer ones where nothing is in the way."""

from itertools import permutations
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recon.frame.files import load_frame
from recon.frame.joints import collisions, find_joints
from recon.frame.stock import load_stocks
from recon.workshop.parts.oversize import fit_words, lengthened, oversize_fits, surroundings
from recon.workshop.parts.parts_formats import rack_sentences
from recon.workshop.parts.parts_list import parts_list
from recon.workshop.parts.rack import Rack, as_built, load_rack, use_rack
from tests.growing import grow_frame
from tests.workshop.frames import X, Z, framed, gate, member

STOCKS = load_stocks()
CASES = Path(__file__).parents[2] / "data" / "workshop"


def room_of(frame, id, holes, **options):
    return {
        (r.before, r.after): r
        for r in oversize_fits(surroundings(frame, STOCKS, **options), frame.member(id), holes)
    }


def test_a_longer_member_sticks_out_where_nothing_is_in_the_way():
    found = room_of(gate(), "A", 16)
    assert found[0, 4].free and found[4, 0].blocked_by == ("the floor",)
    assert room_of(gate(), "A", 16, floor=False)[4, 0].free
    assert fit_words([found[0, 4]]) == [
        "a 16-hole in place of the 12-hole A sticks out by 4 at hole 12: free"
    ]
    assert fit_words([found[4, 0]])[0].endswith("4 at hole 1: blocked by the floor")


def test_another_member_in_the_way_is_named():
    frame = framed(member("A", (0, 0, 0), Z, 12), member("B", (-2, 0, 13), X, 6))
    found = room_of(frame, "A", 16)
    assert found[0, 4].blocked_by == ("B",) and not found[4, 0].free


def test_touching_is_not_in_the_way_and_half_a_pitch_is():
    beside = framed(member("A", (0, 0, 0), Z, 12), member("B", (1, 0, 12), X, 4))
    assert room_of(beside, "A", 14)[0, 2].free
    half = framed(member("A", (0, 0, 0), Z, 12), member("B", (0.5, 0, 12), X, 4))
    assert room_of(half, "A", 14)[0, 2].blocked_by == ("B",)


def test_a_bolt_head_in_the_way_is_named():
    # C lies flat on the face of A above B's end; the bolt through A and C has its head where B would go on.
    frame = framed(
        member("A", (0, 0, 0), Z, 12),
        member("B", (1, 0, 0), Z, 4),
        member("C", (-1, -3, 6), (0.0, 1.0, 0.0), 8),
    )
    found = room_of(frame, "B", 6)
    assert found[0, 2].free
    taller = framed(
        member("A", (0, 0, 0), Z, 12),
        member("B", (1, 0, 0), Z, 6),
        member("C", (-1, -3, 6), (0.0, 1.0, 0.0), 8),
    )
    assert room_of(taller, "B", 8)[0, 2].blocked_by == ("the bolt through A and C",)


def test_places_to_keep_out_of_are_named():
    box = ((-1, -1, 13), (1, 1, 20))
    assert room_of(gate(), "A", 16, keep_out=[box])[0, 4].blocked_by == ("keep-out 1",)
    assert room_of(gate(), "A", 13, keep_out=[box])[0, 1].free


def test_both_ends_share_where_neither_takes_all():
    frame = framed(
        member("A", (0, 0, 0), X, 12),
        member("B", (-3, -2, 0), (0.0, 1.0, 0.0), 5),
        member("C", (14, -2, 0), (0.0, 1.0, 0.0), 5),
    )
    found = room_of(frame, "A", 16)
    assert set(found) == {(4, 0), (0, 4), (2, 2)} and found[2, 2].free


@pytest.mark.parametrize("holes, ways", [(11, 0), (12, 1), (18, 2), (19, 0)])
def test_shorter_ones_and_those_longer_by_more_than_half_are_not_looked_at(holes, ways):
    assert len(room_of(gate(), "A", holes)) == ways


def test_exact_lengths_go_where_they_belong_and_longer_ones_where_there_is_room():
    use = use_rack(
        gate(),
        Rack({("softwood-38", 12): 1, ("softwood-38", 16): 1, ("steel-38", 11): 5}),
        STOCKS,
        overhang=4,
    )
    assert sorted(fit.holes for fit in use.used.values()) == [12, 16] and set(use.used) == {"A", "B"}
    assert all(fit.free for fit in use.used.values()) and use.left == {("steel-38", 11): 5}
    assert {(r.before, r.after) for r in use.considered} == {(4, 0), (0, 4)}


def test_members_that_would_stick_out_into_one_another_are_not_both_used():
    # End to end with a gap of 3: a 13-hole fits in place of either, not of both, towards the other; the far
    # ends are blocked.
    frame = framed(
        member("A", (0, 0, 0), X, 12),
        member("B", (15, 0, 0), X, 12),
        member("C", (-1, -2, 0), (0.0, 1.0, 0.0), 5),
        member("D", (27, -2, 0), (0.0, 1.0, 0.0), 5),
    )
    both = use_rack(frame, Rack({("softwood-38", 13): 2}), STOCKS, overhang=2)
    assert len(both.used) == 2  # 1 + 1 of 3
    one = use_rack(frame, Rack({("softwood-38", 14): 2}), STOCKS, overhang=2)
    assert len(one.used) == 1 and one.left == {("softwood-38", 14): 1}


@settings(max_examples=25)
@given(st.integers(0, 10_000), st.lists(st.integers(3, 20), min_size=1, max_size=8))
def test_the_rack_makes_frames_that_can_be_built(seed, lengths):
    frame = grow_frame(seed, 8)
    owned = {("steel-38", n): lengths.count(n) for n in lengths}
    use = use_rack(frame, Rack(owned), STOCKS, overhang=5)
    built = [
        lengthened(m, use.used[m.id].before, use.used[m.id].after) if m.id in use.used else m
        for m in frame.members
    ]
    assert not collisions(built)
    taken = [fit.holes for fit in use.used.values()]
    assert all(taken.count(n) + use.left.get(("steel-38", n), 0) == lengths.count(n) for n in set(lengths))


@settings(max_examples=20)
@given(
    st.lists(st.integers(4, 12), min_size=1, max_size=5), st.lists(st.integers(4, 14), min_size=1, max_size=5)
)
def test_no_other_choice_covers_more_holes(needed, lengths):
    # Members far apart, so that nothing is ever in the way: checked against all assignments.
    frame = framed(*(member("ABCDE"[k], (0, 9 * k, 0), X, n) for k, n in enumerate(needed)))
    use = use_rack(frame, Rack({("softwood-38", n): lengths.count(n) for n in lengths}), STOCKS, overhang=12)
    covered = sum(frame.member(id).holes for id in use.used)
    size = max(len(needed), len(lengths))
    padded = lengths + [0] * (size - len(lengths))
    best = max(
        sum(n for n, own in zip(needed, order) if n <= own <= 1.5 * n)
        for order in permutations(padded, len(needed))
    )
    assert covered == best


# Longer members as they are bolted


def test_no_longer_member_is_taken_unless_it_is_allowed_and_the_sentence_says_what_would_allow_it():
    frame, rack = load_frame(CASES / "trestle.json", STOCKS), load_rack(CASES / "r1.csv", STOCKS)
    parts = parts_list(frame, STOCKS, rack=rack)
    assert not parts.rack.longer and as_built(frame, parts.rack) == frame
    assert "--overhang 2 allows the shortest of these." in " ".join(rack_sentences(parts.rack, frame))


@pytest.mark.parametrize("overhang", [2, 4])
def test_laps_of_longer_members_are_counted_on_these(overhang):
    frame, rack = load_frame(CASES / "trestle.json", STOCKS), load_rack(CASES / "r1.csv", STOCKS)
    use = use_rack(frame, rack, STOCKS, overhang=overhang)
    assert use.longer and all(fit.overhang <= overhang for fit in use.longer.values())
    built = as_built(frame, use)
    # The laps of the built frame, found anew from where its members lie, are those of the plan.
    planned = {frozenset([(j.a, j.a_hole), (j.b, j.b_hole)]) for j in built.joints}
    found = {frozenset([(j.a, j.a_hole), (j.b, j.b_hole)]) for j in find_joints(built.members)}
    assert planned <= found
    for j, own in zip(frame.joints, built.joints):
        for id, hole, number in ((j.a, j.a_hole, own.a_hole), (j.b, j.b_hole, own.b_hole)):
            place = frame.member(id).hole_centre(hole)
            assert built.member(id).hole_centre(number) == pytest.approx(place)
    assert {m.id: m.holes for m in built.members} == {
        m.id: use.used[m.id].holes if m.id in use.used else m.holes for m in frame.members
    }


def test_where_both_ends_are_free_the_longer_member_keeps_its_hole_numbers():
    frame = load_frame(CASES / "trestle.json", STOCKS)
    use = use_rack(frame, load_rack(CASES / "r1.csv", STOCKS), STOCKS, overhang=2)
    for id, fit in use.longer.items():
        past_last = next(f for f in use.considered if f.member == id and not f.before)
        assert not fit.before or not past_last.free
