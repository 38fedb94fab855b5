"""Solving again never undoes the user; where the photos say otherwise, it is said."""

from dataclasses import replace

import numpy as np

from recon.corrections.edits import edit
from recon.corrections.merge import merge_reading
from recon.corrections.solver import constraints_for_solver
from recon.corrections.state import joint_key
from recon.frame.joints import find_joints
from recon.frame.lattice import transform
from recon.frame.model import Frame, Photo, relabel, reversed_member
from recon.frame.objection import Objection
from recon.geometry.camera import Camera
from recon.geometry.lattice import rotations
from tests.corrections.frames import gate


def edited(state, *asks):
    for ask in asks:
        state, _ = edit(state, ask)
    return state


def solved(frame: Frame, turn=5, shift=(3, -2, 7)) -> Frame:
    """The frame as a solver would give it: turned, shifted, labelled its own way."""
    return relabel(transform(frame, rotations()[turn], shift))


def holes(state):
    return {m.id: m.holes for m in state.frame.members}


def test_a_solution_in_any_pose_comes_back_under_the_same_labels():
    again = merge_reading(gate(), solved(gate().frame))
    assert holes(again) == holes(gate()) and again.corrections.disagreements == ()
    assert all(
        np.allclose(again.frame.member(m.id).first, m.first)
        or np.allclose(again.frame.member(m.id).last, m.first)
        for m in gate().frame.members
    )
    assert len(again.frame.joints) == 4


def test_an_end_that_the_user_set_stays_and_the_difference_is_told():
    state = edited(gate(), {"op": "end", "member": "A", "end": 1, "by": 3})
    again = merge_reading(state, solved(gate().frame))
    assert again.frame.member("A").holes == 15
    (found,) = again.corrections.disagreements
    assert found.members == ("A",) and "15 holes" in found.text


def test_the_other_end_may_improve():
    state = edited(gate(), {"op": "end", "member": "A", "end": 1, "by": 0})
    longer = replace(
        gate().frame,
        members=tuple(
            replace(m, first=(0.0, 0.0, -2.0), holes=14) if m.id == "A" else m for m in gate().frame.members
        ),
    )
    again = merge_reading(state, solved(replace(longer, joints=find_joints(longer.members))))
    assert again.frame.member("A").holes == 14 and again.corrections.disagreements == ()


def test_members_without_a_word_follow_the_solution():
    shorter = replace(
        gate().frame,
        members=tuple(replace(m, holes=10) if m.id == "B" else m for m in gate().frame.members),
        joints=(),
    )
    again = merge_reading(gate(), solved(replace(shorter, joints=find_joints(shorter.members))))
    assert again.frame.member("B").holes == 10


def test_a_deleted_member_stays_away():
    state = edited(gate(), {"op": "delete", "members": ["D"]})
    again = merge_reading(state, solved(gate().frame))
    assert set(holes(again)) == {"A", "B", "C"}
    assert "stays away" in again.corrections.disagreements[0].text


def test_a_member_that_the_user_drew_stays_though_no_photo_shows_it():
    state = edited(gate(), {"op": "add", "first": [-1, 1, 5], "direction": [1, 0, 0], "holes": 13})
    again = merge_reading(state, solved(gate().frame))
    assert holes(again)["E"] == 13 and "do not show E" in again.corrections.disagreements[0].text
    assert any("E" in (j.a, j.b) for j in again.frame.joints)


def test_a_member_moved_to_another_line_does_not_come_back_on_the_old_one():
    state = edited(gate(), {"op": "shift", "members": ["C"], "by": [0, 0, 1]})
    again = merge_reading(state, solved(gate().frame))
    assert set(holes(again)) == {"A", "B", "C", "D"} and again.frame.member("C").first[2] == 3


def test_a_member_shifted_along_itself_stays_where_it_was_put():
    again = merge_reading(edited(gate(), {"op": "shift", "members": ["C"], "along": 1}), solved(gate().frame))
    assert again.frame.member("C").first == (0.0, -1.0, 2.0) and again.frame.member("C").holes == 13
    assert [d.members for d in again.corrections.disagreements] == [("C",)]


def test_merged_members_stay_merged():
    parted = edited(gate(), {"op": "split", "member": "A", "after": 5})
    state = edited(parted, {"op": "merge", "members": ["A", "E"]})
    again = merge_reading(state, solved(parted.frame))
    assert holes(again) == holes(gate())


def test_a_parted_lap_and_a_bolt_that_is_not_there_stay():
    state = edited(
        gate(),
        {"op": "lap", "lap": ["A", 2, "C", 1], "word": "apart"},
        {"op": "lap", "lap": ["B", 2, "C", 11], "word": "none"},
    )
    again = merge_reading(state, solved(gate().frame, turn=0, shift=(0, 0, 0)))
    bolts = {joint_key(j): j.bolt for j in again.frame.joints}
    assert ("A", 2, "C", 1) not in bolts and bolts[("B", 2, "C", 11)] == "none"


def test_the_users_pitch_stays():
    state = edited(gate(), {"op": "scale", "text": "A = 600 mm"})
    assert merge_reading(state, solved(gate().frame)).frame.pitch_mm == 50


def photographed(state, *files):
    photos = tuple(
        Photo(
            f,
            (100, 80),
            camera=Camera(90.0, 50.0, 40.0, t=np.array([0, 0, 30.0])),
        )
        for f in files
    )
    return replace(state, frame=replace(state.frame, photos=photos))


def test_the_solver_is_told_what_it_must_keep():
    state = edited(
        gate(),
        {"op": "end", "member": "A", "end": 1, "by": 1},
        {"op": "delete", "members": ["D"]},
        {"op": "mark", "photo": "a.jpg", "xy": [5, 6], "word": "missed"},
    )
    constraints = constraints_for_solver(photographed(state, "a.jpg"), {"a.jpg"})
    assert constraints.ends == {"A": (False, True)} and [m.id for m in constraints.deleted] == ["D"]
    assert (
        constraints.frame.member("A").holes == 13
        and constraints.missed["a.jpg"].tolist() == [[5, 6]]
        and len(constraints.false["a.jpg"]) == 0
    )


def test_nothing_is_solved_around_where_nothing_was_said_or_no_photo_has_a_camera():
    state = edited(gate(), {"op": "confirm", "member": "A"})
    assert constraints_for_solver(photographed(gate(), "a.jpg"), {"a.jpg"}) is None
    assert (
        constraints_for_solver(state, {"a.jpg"}) is None
        and constraints_for_solver(photographed(state, "b.jpg"), {"a.jpg"}) is None
    )


def test_what_the_photos_hold_against_a_word_that_was_kept_is_told():
    state = edited(
        gate(),
        {"op": "end", "member": "A", "end": 1, "by": 3},
        {"op": "confirm", "member": "B"},
        {"op": "delete", "members": ["D"]},
    )
    a, b, d = (next(m for m in (*state.frame.members, *gate().frame.members) if m.id == id) for id in "ABD")
    against = [
        Objection(a, replace(reversed_member(a), first=(0.0, 0.0, 11.0), holes=12)),
        Objection(b, None),
        Objection(d, d, deleted=True),
    ]
    again = merge_reading(state, state.frame, against)
    assert again.frame.member("A").holes == 15
    assert [d.members for d in again.corrections.disagreements] == [("A",), ("B",), ()]
    assert [
        w in d.text
        for w, d in zip(("look like 12", "do not show B", "you deleted D"), again.corrections.disagreements)
    ] == [True] * 3


def test_an_objection_to_a_word_that_was_taken_back_meanwhile_is_not_told():
    state = edited(gate(), {"op": "end", "member": "A", "end": 1, "by": 3})
    old = gate().frame.member("A")
    objections = [Objection(replace(old, holes=14), old), Objection(old, old, deleted=True)]
    assert merge_reading(state, state.frame, objections).corrections.disagreements == ()


def test_a_solution_in_place_is_not_turned_though_the_frame_is_symmetric():
    state = edited(gate(), {"op": "confirm", "member": "A"})
    again = merge_reading(state, state.frame)
    assert [m.first for m in again.frame.members] == [m.first for m in state.frame.members]


def test_a_reading_that_finds_nothing_takes_nothing_from_the_user():
    state = edited(gate(), {"op": "confirm", "member": "A"})
    assert holes(merge_reading(state, Frame(()))) == {"A": 12}
