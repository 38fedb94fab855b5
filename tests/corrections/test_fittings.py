"""Fittings put on, changed, copied and taken off, and what becomes of them when their members change."""

from dataclasses import replace

import numpy as np
import pytest

from recon.corrections.edits import edit
from recon.corrections.merge import merge_reading
from recon.corrections.state import State, difference, patched
from recon.errors import ReconError
from recon.frame.fitting import Fitting
from recon.frame.fitting_boxes import fitting_box, fitting_boxes
from recon.frame.lattice import transform
from recon.frame.model import Frame, Member, reversed_member
from tests.corrections.frames import X, gate

FRONT = [0.0, -1.0, 0.0]
CASTOR = {
    "op": "fitting",
    "fitting": None,
    "kind": "castor",
    "name": "swivel 80",
    "holes": [["C", 3], ["C", 5]],
    "face": [0.0, 0.0, -1.0],
    "size_mm": [95, 67, 120],
    "plate_mm": 3,
    "mass_kg": 0.4,
}


def fitted(**changes):
    """A gate with a castor below its lower rail C, on holes 4 and 6."""
    return edit(gate(), {**CASTOR, **changes})[0]


def where(state, id="F1"):
    fitting = next(f for f in state.frame.fittings if f.id == id)
    return fitting_box(fitting, state.frame).centre


def test_a_fitting_is_put_on_and_its_member_is_vouched_for():
    state, words = edit(gate(), CASTOR)
    assert words == "castor F1 put on holes 4 and 6 of C"
    (fitting,) = state.frame.fittings
    assert (fitting.id, fitting.holes, fitting.mass_kg) == ("F1", (("C", 3), ("C", 5)), 0.4)
    assert state.corrections.vouched("C").place and not any(state.corrections.vouched("C").ends)


def test_a_fitting_is_changed_under_its_label_and_taken_off():
    state, words = edit(fitted(), {**CASTOR, "fitting": "F1", "kind": "foot", "holes": [["D", 0]]})
    assert words == "foot F1 changed, on hole 1 of D" and len(state.frame.fittings) == 1
    state, words = edit(state, {"op": "fitting_gone", "fitting": "F1"})
    assert (state.frame.fittings, words) == ((), "foot F1 taken off")


@pytest.mark.parametrize(
    "changes, words",
    [
        ({"holes": [["C", 13]]}, "C has holes 1 to 13, not 14."),
        ({"holes": [["Q", 0]]}, "There is no member 'Q' (any more)."),
        ({"holes": [["C", 1], ["C", 1]]}, "A hole is named twice."),
        ({"holes": []}, "Choose 1 to 100 holes for the fitting."),
        ({"face": [1, 0, 0]}, "No holes of C open on that side; choose holes that do."),
        ({"face": [0, 0, 0]}, "The face's direction is zero."),
        ({"plate_mm": 130}, "more than the whole height (120 mm)"),
        ({"size_mm": [0, 1, 2]}, "must be above 0 mm"),
        ({"kind": "hook"}, "'kind' must be one of castor"),
        ({"fitting": "F7"}, "There is no fitting 'F7' (any more)."),
        ({"mass_kg": "heavy"}, "'mass_kg' must be a number from 0 to 10000."),
    ],
)
def test_what_makes_no_fitting_is_refused(changes, words):
    with pytest.raises(ReconError) as caught:
        edit(gate(), {**CASTOR, **changes})
    assert words in str(caught.value)


def test_without_a_size_of_the_frame_no_fitting_is_put_on():
    state = State(replace(gate().frame, pitch_mm=None))
    with pytest.raises(ReconError, match="give its stock or one measured length first"):
        edit(state, CASTOR)


def test_four_castors_come_from_one():
    rails = [Member(i, (0.0, y, 0.0), X, 13, stock="softwood-38") for i, y in (("A", 0.0), ("B", 8.0))]
    state = State(Frame(tuple(rails), pitch_mm=38.1))
    state, _ = edit(state, {**CASTOR, "holes": [["A", 1], ["A", 3]], "shift_mm": [10, -4]})
    state, words = edit(state, {"op": "fitting_copy", "fitting": "F1", "mirror": "x"})
    assert words == "castor F1 copied: castor F2 put on holes 10 and 12 of A"
    for id in ("F1", "F2"):
        state, _ = edit(state, {"op": "fitting_copy", "fitting": id, "mirror": "y"})
    assert [f.holes for f in state.frame.fittings] == [
        (("A", 1), ("A", 3)),
        (("A", 11), ("A", 9)),
        (("B", 1), ("B", 3)),
        (("B", 11), ("B", 9)),
    ]
    # each box is the first one mirrored in the middle, shift and all
    middle = np.array([6.0, 4.0, 0.0])
    places = {tuple(np.round(box.centre - middle, 6)) for box in fitting_boxes(state.frame).values()}
    x, y, z = np.round(where(state) - middle, 6)
    assert places == {(i * x, j * y, z) for i in (1, -1) for j in (1, -1)}
    with pytest.raises(ReconError, match="lies there already"):
        edit(state, {"op": "fitting_copy", "fitting": "F1", "mirror": "x"})


def test_without_a_hole_on_the_other_side_nothing_is_copied():
    with pytest.raises(ReconError, match="no holes where holes 4 and 6 of C would be"):
        edit(
            edit(fitted(), {"op": "delete", "members": ["D"]})[0],
            {"op": "fitting_copy", "fitting": "F1", "mirror": "z"},
        )


def test_members_are_copied_with_the_fittings_that_lie_on_them_alone():
    state = fitted(shift_mm=[10, -4])
    both, _ = edit(state, {**CASTOR, "kind": "board", "face": FRONT, "holes": [["C", 5], ["D", 5]]})
    copied, words = edit(both, {"op": "copy", "members": ["C"], "by": [0, 5, 0]})
    assert words == "C copied: 1 member added, with 1 fitting"
    assert [f.holes for f in copied.frame.fittings[2:]] == [(("E", 3), ("E", 5))]
    assert np.allclose(where(copied, "F3") - where(copied), [0, 5, 0])
    mirrored, words = edit(both, {"op": "copy", "members": ["C", "D"], "mirror": "y"})
    assert words.endswith("2 members added, with 2 fittings")
    for old, new in (("F1", "F3"), ("F2", "F4")):
        # posts lie at y = 0, 1 wide, rails at -1: the middle is at -0.5
        assert np.allclose(where(mirrored, new), where(mirrored, old) * [1, -1, 1] + [0, -1, 0])


# What becomes of a fitting when its member changes


def test_a_fitting_goes_with_its_last_member_and_that_is_said():
    state, words = edit(fitted(), {"op": "delete", "members": ["C"]})
    assert state.frame.fittings == () and words == "C deleted; castor F1 went with it"


def test_a_fitting_on_two_members_keeps_the_bolts_that_are_left():
    both = [["C", 3], ["D", 3]]
    state, words = edit(fitted(holes=both, face=FRONT), {"op": "delete", "members": ["D"]})
    assert state.frame.fittings[0].holes == (("C", 3),)
    assert words == "D deleted; castor F1 keeps 1 bolt of 2"


@pytest.mark.parametrize("end", (0, 1))
def test_a_fitting_stays_in_its_place_while_ends_move_past_it_and_back(end):
    state = fitted()
    home = where(state)
    for by in (2, -5, -6, 9):
        state, _ = edit(state, {"op": "end", "member": "C", "end": end, "by": by})
        assert np.allclose(where(state), home)
    assert state.frame.fittings == fitted().frame.fittings


def test_a_fitting_goes_along_with_a_member_that_is_shifted_or_placed_elsewhere():
    state = fitted()
    shifted, _ = edit(state, {"op": "shift", "members": ["C"], "by": [0, 0, 1]})
    assert np.allclose(where(shifted) - where(state), [0, 0, 1])
    row = {"member": "C", "first": [-1, 5, 2], "direction": [0, 1, 0], "holes": 13}
    placed, _ = edit(state, {"op": "place", "members": [row]})
    assert placed.frame.fittings[0].holes == state.frame.fittings[0].holes
    assert np.allclose(where(placed)[:2], [-1, 9])


def test_a_fitting_comes_off_no_face_when_its_member_is_turned_over():
    row = {"member": "C", "first": [-1, -1, 2], "direction": [0, 0, 1], "holes": 13}
    state, _ = edit(fitted(), {"op": "place", "members": [row]})
    face = np.array(state.frame.fittings[0].face)
    assert abs(face @ [0, 0, 1]) < 1e-9 and np.isclose(np.linalg.norm(face), 1)


def test_a_fitting_stays_where_it_is_when_its_member_is_split_and_merged():
    state = fitted()
    home = where(state)
    split, _ = edit(state, {"op": "split", "member": "C", "after": 4})
    assert split.frame.fittings[0].holes == (("C", 3), ("E", 0))
    assert np.allclose(where(split), home)
    merged, _ = edit(split, {"op": "merge", "members": ["E", "C"]})
    assert merged.frame.fittings[0].holes == (("E", 3), ("E", 5))
    assert np.allclose(where(merged), home)


def test_a_fitting_stays_where_it_is_when_a_member_that_runs_back_is_merged():
    state = fitted(shift_mm=[12, 5])
    split, _ = edit(state, {"op": "split", "member": "C", "after": 2})
    (fitting,) = split.frame.fittings
    back = reversed_member(split.frame.member("E"))
    fitting = replace(
        fitting, holes=tuple(("E", back.holes - 1 - k) for _, k in fitting.holes)
    ).counted_back()
    members = tuple(back if m.id == "E" else m for m in split.frame.members)
    turned = State(replace(split.frame, members=members, fittings=(fitting,)), split.corrections)
    assert np.allclose(where(turned), where(state))
    merged, _ = edit(turned, {"op": "merge", "members": ["C", "E"]})
    assert np.allclose(where(merged), where(state))


def test_a_fitting_turns_with_the_frame():
    state, _ = edit(fitted(), {"op": "turn", "quarter": "y+"})
    assert state.frame.fittings[0].face == (-1.0, 0.0, 0.0)


def test_a_new_reading_keeps_fittings_where_they_are():
    state = fitted(shift_mm=[7, 0])
    home = where(state)
    rail = state.frame.member("C")
    read = replace(reversed_member(rail), first=(13.0, -1.0, 2.0), holes=15)  # counted from the other end
    members = (*(m for m in state.frame.members if m.id != "C"), replace(read, id="Q"))
    solved = transform(Frame(members, pitch_mm=38.1), np.eye(3), (5, 5, 5))
    after = merge_reading(state, solved)
    assert np.allclose(where(after), home)
    gone = merge_reading(state, Frame(tuple(m for m in state.frame.members if m.id != "C"), pitch_mm=38.1))
    assert [f.id for f in gone.frame.fittings] == ["F1"], "its member is vouched for, and stays"


# The journal


def test_fittings_come_back_from_the_journal_and_older_ones_do_not_know_them():
    before, after = gate(), fitted()
    delta = difference(before, after)
    assert set(delta) == {"fittings", "said"} and delta["fittings"][0]["kind"] == "castor"
    assert patched(before, delta) == after
    assert patched(after, difference(after, before)) == before
    assert "fittings" not in difference(before, edit(before, {"op": "name", "name": "New"})[0])


def test_a_member_that_an_older_program_took_away_takes_its_fittings_along():
    state = fitted(holes=[["C", 3], ["D", 3]], face=FRONT)
    gone = {"members": {"put": [], "gone": ["D"]}, "joints": {"put": [], "gone": []}}
    gone["joints"]["gone"] = [[j.a, j.a_hole, j.b, j.b_hole] for j in state.frame.joints if "D" in (j.a, j.b)]
    assert patched(state, gone).frame.fittings[0].holes == (("C", 3),)


def test_a_fitting_of_the_journal_that_makes_no_sense_is_said():
    with pytest.raises(ReconError, match="makes no sense"):
        patched(gate(), {"fittings": [{"id": "F1"}]})


def test_a_fitting_is_a_plain_value():
    assert fitted().frame.fittings[0] == Fitting(
        "F1", "castor", (("C", 3), ("C", 5)), (0.0, 0.0, -1.0), (95.0, 67.0, 120.0), 3.0, "swivel 80", 0.4
    )
