"""What an audit says to do can be done by its words alone, and gives the plan."""

import re
from dataclasses import replace

import numpy as np
import pytest

from recon.frame.files import load_frame
from recon.frame.joints import find_joints
from recon.frame.lattice import canonical, mirrored
from recon.frame.stock import load_stocks
from recon.workshop.audit.differences import audit_frame
from tests.workshop.audit.interpreter import carried_out, several
from tests.workshop.audit.statements import untrue
from tests.workshop.audit.test_differences import DATA, plan, with_member
from tests.workshop.frames import X, Y, Z, framed, gate, member


def said(built, planned):
    good, words = carried_out(built, planned)
    assert good, words
    return words


def test_exchanged_members_are_called_so_and_each_place_is_named():
    # A cart whose members C and D have each other's length: they were said to "hang together as planned, but
    # turned against the rest", and which length belongs where was not said.
    planned = load_frame(DATA / "a_swap.json", load_stocks())
    lengths = {"C": planned.member("D").holes, "D": planned.member("C").holes}
    built = planned
    for id, holes in lengths.items():
        built = with_member(built, id, holes=holes)
    (words,) = said(built, planned)
    assert words == (
        "C and D are exchanged: C has 24 holes, plan 16 and D has 16 holes, plan 24. "
        "Exchange C and D: the 16-hole member goes where C belongs, hole 1 where it is now; "
        "the 24-hole member goes where D belongs, hole 1 where it is now."
    )


def test_rails_exchanged_about_their_middles_are_laid_by_their_holes():
    planned = framed(
        member("A", (0, 0, 0), Z, 14),
        member("B", (9, 0, 0), Z, 12),
        member("C", (-1, -1, 2), X, 12),
        member("D", (-2, -1, 9), X, 14),
        member("E", (-1, 1, 5), X, 20),
    )
    built = with_member(planned, "C", first=(-2.0, -1.0, 2.0), holes=14)
    built = with_member(built, "D", first=(-1.0, -1.0, 9.0), holes=12)
    (words,) = said(built, planned)
    assert words.startswith("C and D are exchanged: C (12 holes; D in the built frame) lies where D belongs")
    assert "the 12-hole member goes where C belongs, it runs to the right, its hole 2 on hole 3 of A" in words


def test_a_member_on_the_other_side_of_its_posts_is_moved_there():
    (words,) = said(with_member(plan(), "C", first=(-1.0, 1.0, 2.0)), plan())
    assert words.endswith("Move C two holes to the front, to the other side of A and B.")


@pytest.mark.parametrize(
    "id, changes, remedy",
    [
        ("C", {"first": (-1.0, -1.0, 4.0)}, "Move C two holes down."),
        ("E", {"holes": 22}, "Cut E off after its hole 20."),
        ("A", {"first": (0.0, 0.0, -1.0), "holes": 15}, "Cut 1 hole off A at its hole 1."),
        ("B", {"holes": 10}, "Put one of 12 holes in place of B: 2 holes longer at its hole 12."),
        (
            "F",
            {"first": (-2.0, 1.0, 3.0), "direction": Y},
            "Move F: it runs up, its hole 4 on hole 6 of E, on its back side.",
        ),
    ],
)
def test_each_change_is_answered_by_what_undoes_it(id, changes, remedy):
    (words,) = said(with_member(plan(), id, **changes), plan())
    assert words.endswith(remedy)


def test_missing_and_extra_members_are_added_and_taken_out():
    less = plan()
    less = framed(*(m for m in less.members if m.id != "F"))
    (words,) = said(less, plan())
    assert words.endswith("Add F, 9 holes: it runs up, its hole 4 on hole 6 of E, on its back side.")
    (words,) = said(plan(), less)
    assert words.endswith("Take out F.")


def test_a_mirrored_frame_is_built_anew_from_left_to_right():
    built = mirrored(plan())
    result = audit_frame(built, plan())
    assert result.differences[0].remedy == (
        "Take it apart and build its mirror image: what is on its left is to be on its right."
    )
    assert canonical(result.laid) == canonical(mirrored(built))
    said(built, plan())


def test_only_members_that_laps_join_are_said_to_be_moved_together():
    far = [member("G", (30, 0, 0), Z, 5), member("H", (30, 6, 0), Z, 7)]
    planned = framed(*gate().members, *far)
    turned = [member("G", (30, 0, 0), X, 5), member("H", (30, 6, 0), X, 7)]
    built = framed(*gate().members, *turned)
    assert not any("together" in d.text for d in audit_frame(built, planned).differences)


@pytest.mark.parametrize("count", [1, 2, 3])
@pytest.mark.parametrize("seed", [3, 17, 41])
def test_words_on_random_frames_give_the_plan(seed, count):
    built, planned, made = several(seed, count)
    good, words = carried_out(built, planned)
    assert good, (made, words)
    assert len(made) == count and np.all([w.endswith(".") for w in words])


@pytest.mark.parametrize("seed", [110, 125])
def test_a_brace_is_laid_by_two_holes_and_not_by_rounded_parts_of_its_way(seed):
    # "0.904 to the back and 0.428 to the right for each hole" put the last of 22 holes 0.01 pitch off.
    built, planned, made = several(seed, 2)
    words = " ".join(said(built, planned))
    assert "it runs at an angle, " in words and "for each hole" not in words, made


def test_a_brace_with_one_lap_is_laid_by_where_its_last_hole_comes():
    slant = member("G", (9, -1, 11), (0.6, 0.0, 0.8), 11)
    planned = framed(*gate().members, slant)
    (words,) = said(gate(), planned)
    assert words.endswith(
        "Add G, 11 holes: it runs at an angle, hole 11 eight holes up and six holes to the right of its hole "
        "1, its hole 1 on hole 12 of B, on its front side."
    )


@pytest.mark.parametrize("count", [1, 2, 3])
@pytest.mark.parametrize("seed", [3, 17])
def test_what_is_stated_of_random_frames_is_so(seed, count):
    built, planned, _ = several(seed, count)
    result = audit_frame(built, planned)
    assert result.differences and untrue(result, planned) == []
    for d in result.differences:  # one number changed is seen
        wrong = re.sub(r"\d+(?=\D*$)", lambda n: str(int(n[0]) + 1), d.text)
        if wrong != d.text:
            assert untrue(replace(result, differences=(replace(d, text=wrong),)), planned)


def test_the_interpreter_sees_a_wrong_word():
    built = with_member(plan(), "C", first=(-1.0, -1.0, 4.0))
    joints = find_joints(built.members)
    assert joints and carried_out(built, plan())[0]
    other = with_member(plan(), "C", first=(-1.0, -1.0, 3.0))
    assert not carried_out(built, other)[0] or said(built, other) != said(built, plan())
