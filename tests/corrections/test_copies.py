"""A part of a frame copied: where it may go, and what of its laps is known of the copies."""

import numpy as np
import pytest

from recon.corrections.copy_places import copy_place
from recon.corrections.edits import edit
from recon.corrections.state import joint_key
from recon.errors import ReconError
from tests.corrections.frames import Y, side_and_rest


def bolt(frame, a, b):
    return next((j.bolt for j in frame.joints if {j.a, j.b} == {a, b}), "no lap")


@pytest.mark.parametrize("how", [{"by": [10, 0, 0]}, {"mirror": "x"}, {"mirror": "x", "by": [-2, 0, 0]}])
def test_a_copied_part_keeps_what_is_known_of_its_laps(how):
    state = side_and_rest()
    after, words = edit(state, {"op": "copy", "members": list("ABCDE"), **how})
    assert words.endswith(": 5 members added")
    a, b, c, d, e = "HIJKL"  # copies of A to E
    assert bolt(after.frame, a, c) == "none" and bolt(after.frame, a, d) == "said"
    assert bolt(after.frame, b, c) == "no lap"  # parted
    assert bolt(after.frame, b, d) == "assumed"  # seen in the photos of B and D, not of these
    turning = [set(key[::2]) for key in after.corrections.may_turn]
    assert {a, e} in turning and {"A", "E"} in turning
    known = {joint_key(j) for j in after.frame.joints}
    assert all(key in known for key in after.corrections.may_turn)


def test_a_mirrored_member_counts_its_laps_from_its_own_hole_1():
    state = side_and_rest()
    after, words = edit(state, {"op": "copy", "members": ["A", "C"], "mirror": "y", "by": [20, 0, 0]})
    assert words.startswith("A and C mirrored front to back")
    was, now = (next(j for j in after.frame.joints if {j.a, j.b} == set(p)) for p in ("AC", "HI"))
    hole = {"C": was.b_hole if was.b == "C" else was.a_hole, "I": now.b_hole if now.b == "I" else now.a_hole}
    assert after.frame.member("I").direction == Y  # counted towards positive coordinates
    assert hole["I"] == after.frame.member("I").holes - 1 - hole["C"]
    assert now.bolt == "none"


def test_a_place_is_offered_beside_the_members_in_nobodys_room():
    state = side_and_rest()
    place = copy_place(state, {"members": list("ABCDE")})
    assert place.meets == () and place.there == 0 and len(place.members) == 5
    assert place.by[0] >= 2 and not any(place.by[1:])


def test_what_a_place_comes_to_is_said_before():
    state = side_and_rest()
    ids = list("ABCDE")
    place = copy_place(state, {"members": ids, "by": [9, 0, 0]})
    after, _ = edit(state, {"op": "copy", "members": ids, "by": [9, 0, 0]})
    new = {m.id for m in place.members}
    made = [j for j in after.frame.joints if (j.a in new) != (j.b in new)]
    assert place.laps == len(made) > 0 and set(place.joins) == {"F", "G"}
    assert [m.first for m in place.members] == [after.frame.member(m.id).first for m in place.members]
    assert copy_place(state, {"members": ids, "by": [9, 0, 1.5]}).meets != ()
    partly = copy_place(state, {"members": list("FGA"), "mirror": "x"})
    assert partly.there == 2  # F and G are their own mirror images
    with pytest.raises(ReconError, match="lie there already"):
        copy_place(state, {"members": ["F", "G"], "mirror": "x"})
    with pytest.raises(ReconError, match="name one member"):
        copy_place(state, {"members": []})


def test_a_copy_can_be_undone_and_copied_again():
    state = side_and_rest()
    once, _ = edit(state, {"op": "copy", "members": list("ABCDE"), "by": [9, 0, 0]})
    gone, _ = edit(once, {"op": "delete", "members": list("HIJKL")})
    again, _ = edit(gone, {"op": "copy", "members": list("ABCDE"), "by": [9, 0, 0]})
    places = [np.array([m.first for m in s.frame.members]) for s in (once, again)]
    assert (places[0] == places[1]).all()
