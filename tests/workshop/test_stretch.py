"""A frame stretched across a plane: laps stay, there and back it is the same, and what cannot be is said."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from recon.bench.random_frames import random_frame
from recon.errors import ReconError
from recon.frame.fitting import Fitting
from recon.frame.fitting_boxes import fitting_box
from recon.frame.joints import collisions, find_joints
from recon.frame.loops import loops
from recon.frame.model import End, EndChoice, Frame, Member
from recon.workshop.stretch import Plane, plane_after, stretch, stretched_words
from tests.corrections.frames import X, Y, Z, gate

RIGHT = (1.0, 0.0, 0.0)


def lap_pairs(frame):
    """Which members lap how, by geometry alone."""
    at = {m.id: m for m in frame.members}
    return {
        (j.a, j.b, tuple(np.round(at[j.b].hole_centre(j.b_hole) - at[j.a].hole_centre(j.a_hole), 6)))
        for j in frame.joints
    }


def open_loops(frame):
    return sum(not loop.closed for loop in loops(frame))


def test_what_crosses_grows_and_what_lies_beyond_moves():
    frame = gate().frame
    done = stretch(frame, plane_after(frame.member("C"), 5, 1), 4)
    assert (done.grown, done.moved) == (("C", "D"), ("B",))
    assert done.frame.member("C").holes == 17 and done.frame.member("B").first == (14.0, 0.0, 0.0)
    assert done.frame.member("A") is frame.member("A")
    assert {(j.a, j.a_hole, j.b, j.b_hole) for j in done.frame.joints} == {
        ("A", 2, "C", 1),
        ("A", 9, "D", 1),
        ("B", 2, "C", 15),
        ("B", 9, "D", 15),
    }
    assert [j.bolt for j in done.frame.joints] == ["seen"] * 4
    plane = plane_after(frame.member("C"), 5, 1)
    assert stretched_words(done, plane, 4) == "2 members 4 holes longer, 1 moved to the right"
    assert stretched_words(done, plane, -4) == "2 members 4 holes shorter, 1 moved to the left"


def test_the_other_side_moves_where_it_is_asked_for():
    frame = gate().frame
    done = stretch(frame, plane_after(frame.member("C"), 5, 0), 4)
    assert done.moved == ("A",) and done.frame.member("A").first == (-4.0, 0.0, 0.0)
    assert done.frame.member("C").first == (-5.0, -1.0, 2.0) and done.frame.member("B").first == (
        10.0,
        0.0,
        0.0,
    )


FRAMES = st.integers(0, 10_000)


@settings(max_examples=40, deadline=None)
@given(FRAMES, st.data())
def test_there_and_back_it_is_the_same_frame_and_laps_stay(number, data):
    frame = random_frame(number)
    frame = replace(frame, joints=find_joints(frame.members))
    m = data.draw(st.sampled_from([m for m in frame.members if m.holes > 1]))
    plane = plane_after(m, data.draw(st.integers(0, m.holes - 2)), data.draw(st.integers(0, 1)))
    by = data.draw(st.integers(1, 9))
    try:
        longer = stretch(frame, plane, by)
    except ReconError as error:  # between two members of a lap, or across a brace
        assert str(error).endswith(".")
        assume(False)
    assert lap_pairs(longer.frame) == lap_pairs(frame)
    assert len(longer.frame.joints) == len(frame.joints)
    assert len(collisions(longer.frame.members)) == len(collisions(frame.members))
    assert {m.id for m in longer.frame.members if m.holes != frame.member(m.id).holes} == set(longer.grown)
    assert open_loops(longer.frame) == open_loops(frame)
    back = stretch(longer.frame, plane, -by).frame
    assert all(np.allclose(a.first, b.first) for a, b in zip(back.members, frame.members))
    assert [replace(m, first=b.first) for m, b in zip(back.members, frame.members)] == list(frame.members)
    assert back.joints == frame.joints


def test_choices_of_an_end_that_is_not_sure_count_on():
    rail = Member(
        "A", (0.0, 0.0, 0.0), X, 9, ends=(End(), End("hidden", 2, (EndChoice(9, 0.7), EndChoice(11, 0.3))))
    )
    longer = stretch(Frame((rail,)), Plane(RIGHT, 3.5), 2).frame.member("A")
    assert [c.holes for c in longer.ends[1].choices] == [11, 13]


# What cannot be


def refused(frame, plane, by):
    with pytest.raises(ReconError) as caught:
        stretch(frame, plane, by)
    return str(caught.value)


def test_laps_in_the_holes_that_would_go_are_named_with_how_far_it_can_shrink():
    frame = gate().frame
    text = refused(frame, plane_after(frame.member("C"), 5, 1), -6)
    assert "hole 12 of C has its lap with B" in text and "at most 5 holes" in text
    shorter = stretch(frame, plane_after(frame.member("C"), 5, 1), -5)
    assert shorter.frame.member("B").first == (5.0, 0.0, 0.0) and lap_pairs(shorter.frame) == lap_pairs(frame)


def test_an_open_end_can_be_taken_off():
    rails = [Member("A", (0.0, 0.0, 0.0), X, 9), Member("B", (0.0, 1.0, 0.0), Z, 5)]
    frame = Frame(tuple(rails), find_joints(rails))
    assert stretch(frame, Plane(RIGHT, 5.5), -3).frame.member("A").holes == 6
    assert "A ends there" in refused(frame, Plane(RIGHT, 5.5), -4)


def test_a_member_in_the_holes_that_would_go_is_named():
    rails = [Member("A", (0.0, 0.0, 0.0), X, 9), Member("B", (5.0, 5.0, 0.0), Z, 5)]
    assert "B lies there" in refused(Frame(tuple(rails)), Plane(RIGHT, 3.5), -2)


def test_a_plane_between_two_lapped_members_is_refused():
    frame = gate().frame
    text = refused(frame, Plane((0.0, 1.0, 0.0), -0.5), 2)
    assert "No member crosses" in text
    brace_across = Member("E", (0.0, -3.0, 5.0), Y, 9)
    crossed = replace(frame, members=(*frame.members, brace_across))
    text = refused(crossed, Plane((0.0, 1.0, 0.0), -0.5), 2)
    assert "between A and C" in text and "hole 3 of A on hole 2 of C" in text


def test_a_brace_at_an_angle_is_named_with_what_to_do():
    brace = Member("E", (0.0, -2.0, 2.0), (0.8, 0.0, 0.6), 11, on_lattice=False)
    frame = replace(gate().frame, members=(*gate().frame.members, brace))
    text = refused(frame, plane_after(frame.member("C"), 5, 1), 2)
    assert text.startswith("E runs at an angle across that plane") and "take it out first" in text
    beside = stretch(frame, plane_after(frame.member("C"), 9, 1), 2)  # it ends at x = 8
    assert beside.frame.member("E") == frame.member("E")


def test_fittings_follow_and_one_that_spans_the_plane_is_named():
    up = (0.0, 0.0, 1.0)
    castor = Fitting("F1", "castor", (("D", 9), ("D", 11)), up, (90, 60, 100), 3.0)
    board = Fitting("F2", "board", (("D", 2), ("D", 8)), up, (400, 60, 18), 18.0)
    frame = replace(gate().frame, fittings=(castor,))
    plane = plane_after(frame.member("D"), 5, 1)
    done = stretch(frame, plane, 3)
    assert done.frame.fittings[0].holes == (("D", 12), ("D", 14))
    assert np.allclose(
        fitting_box(done.frame.fittings[0], done.frame).centre - fitting_box(castor, frame).centre, [3, 0, 0]
    )
    assert "hole 10 of D has castor F1" in refused(frame, plane, -4)
    text = refused(replace(frame, fittings=(castor, board)), plane, 3)
    assert text.startswith("Board F2 is bolted on both sides of the plane (holes 3 and 9 of D)")


def test_members_that_would_meet_are_named():
    wide = [
        Member("A", (0.0, 0.0, 0.0), X, 12),
        Member("B", (2.0, 3.0, 0.0), Z, 5, width=2.0),
        Member("C", (7.0, 3.0, 0.0), Z, 5, width=2.0),
    ]
    assert "B and C would take the same room" in refused(Frame(tuple(wide)), Plane(RIGHT, 2.5), -4)


@pytest.mark.parametrize(
    "plane, by, words",
    [
        (Plane(RIGHT, 4.5), 0, "0 changes nothing"),
        (Plane(RIGHT, 99.5), 2, "No member crosses that plane"),
        (Plane(RIGHT, 4.5), 995, "would have more than 1000 holes"),
    ],
)
def test_what_changes_nothing_or_too_much_is_refused(plane, by, words):
    assert words in refused(gate().frame, plane, by)


def test_a_plane_lies_between_two_holes_of_a_member():
    rail = gate().frame.member("C")
    with pytest.raises(ReconError, match="a plane lies after hole 1 to 12, not after 13"):
        plane_after(rail, 12, 1)
    with pytest.raises(ReconError, match="runs at an angle"):
        plane_after(replace(rail, direction=(0.8, 0.0, 0.6)), 3, 1)
