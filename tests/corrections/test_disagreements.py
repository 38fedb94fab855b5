"""Where the user and the photos differ, the user can say which holds; what is settled is not asked again."""

from dataclasses import replace

import numpy as np
import pytest

from recon.corrections.edits import edit
from recon.corrections.merge import merge_reading
from recon.corrections.model import Disagreement
from recon.corrections.review import doubts
from recon.corrections.state import State, difference, patched
from recon.errors import ReconError
from recon.frame.joints import find_joints
from recon.frame.lattice import rotations, transform
from recon.frame.model import Frame, relabel
from tests.corrections.frames import gate


def edited(state, *asks):
    for ask in asks:
        state, _ = edit(state, ask)
    return state


def read(state, frame: Frame | None = None, turn=5):
    """The state after a reading that gives `frame`, turned and labelled in its own way."""
    frame = frame or gate().frame
    return merge_reading(
        state,
        relabel(transform(replace(frame, joints=find_joints(frame.members)), rotations()[turn], (3, -2, 7))),
    )


def holes(state):
    return {m.id: m.holes for m in state.frame.members}


def conflicts(state):
    return [d for d in doubts(state) if d["kind"] == "conflict"]


LONGER = {"op": "end", "member": "A", "end": 1, "by": 3}


def test_the_users_word_holds_and_the_same_difference_is_not_asked_again():
    state = read(edited(gate(), LONGER))
    (asked,) = conflicts(state)
    state = edited(state, {"op": "settle", "text": asked["text"], "word": "mine"})
    assert holes(state)["A"] == 15 and conflicts(state) == []
    assert conflicts(read(state)) == [] and holes(read(state))["A"] == 15
    shorter = replace(
        gate().frame, members=tuple(replace(m, holes=9) if m.id == "A" else m for m in gate().frame.members)
    )
    assert len(conflicts(read(state, shorter))) == 1  # another difference than the one that was settled


def test_a_member_is_taken_as_the_photos_show_it_with_its_laps():
    state = read(edited(gate(), LONGER))
    state = edited(state, {"op": "settle", "text": conflicts(state)[0]["text"], "word": "photos"})
    assert holes(state) == holes(gate()) and conflicts(state) == []
    assert {(j.a, j.a_hole, j.b, j.b_hole) for j in state.frame.joints} == {
        (j.a, j.a_hole, j.b, j.b_hole) for j in gate().frame.joints
    }
    assert conflicts(read(state)) == [] and holes(read(state)) == holes(gate())


def test_what_the_photos_show_holds_however_the_frame_was_turned_since():
    state = edited(
        gate(),
        {"op": "end", "member": "A", "end": 0, "by": -2},
        {"op": "end", "member": "A", "end": 1, "by": 0},
    )
    state = edited(read(state), {"op": "turn", "quarter": "x+"}, {"op": "turn", "origin": "B", "hole": 4})
    text = conflicts(state)[0]["text"]
    state = edited(
        state, {"op": "settle", "text": text, "word": "photos"}, {"op": "turn", "origin": "C", "hole": 0}
    )
    undone = edited(gate(), {"op": "turn", "quarter": "x+"}, {"op": "turn", "origin": "C", "hole": 0})
    for m in undone.frame.members:
        assert (
            np.allclose(state.frame.member(m.id).first, m.first) and state.frame.member(m.id).holes == m.holes
        )


def test_a_member_that_the_photos_do_not_show_is_taken_away():
    state = read(edited(gate(), {"op": "add", "first": [-1, 1, 5], "direction": [1, 0, 0], "holes": 13}))
    (asked,) = conflicts(state)
    assert asked["take"] == "none"
    state = edited(state, {"op": "settle", "text": asked["text"], "word": "photos"})
    assert holes(state) == holes(gate()) and conflicts(state) == []


def test_deleted_members_come_back_where_the_photos_show_them():
    state = read(edited(gate(), {"op": "delete", "members": ["C"]}, {"op": "delete", "members": ["D"]}))
    first, second = sorted(conflicts(state), key=lambda c: "deleted D" in c["text"])
    state = edited(state, {"op": "settle", "text": first["text"], "word": "photos"})
    assert set(holes(state)) == {"A", "B", "C"} and [c["text"] for c in conflicts(state)] == [second["text"]]
    state = edited(state, {"op": "settle", "text": second["text"], "word": "photos"})
    assert holes(state) == holes(gate()) and conflicts(state) == [] and state.corrections.deleted == ()
    assert holes(read(state)) == holes(gate()) and conflicts(read(state)) == []


@pytest.mark.parametrize(
    "ask",
    [
        {"op": "end", "member": "A", "end": 1, "by": -3},
        {"op": "delete", "members": ["A"]},
        {"op": "confirm", "member": "A"},
    ],
)
def test_a_difference_is_gone_once_the_member_is_another_or_said_to_be_right(ask):
    state = read(edited(gate(), LONGER))
    assert conflicts(edited(state, ask)) == []
    assert len(conflicts(edited(state, {"op": "end", "member": "B", "end": 1, "by": 1}))) == 1
    assert len(conflicts(edited(state, {"op": "turn", "quarter": "z+"}))) == 1


def test_a_member_drawn_again_where_it_was_deleted_settles_that():
    state = read(edited(gate(), {"op": "delete", "members": ["D"]}))
    d = gate().frame.member("D")
    assert (
        conflicts(
            edited(
                state, {"op": "add", "first": list(d.first), "direction": list(d.direction), "holes": d.holes}
            )
        )
        == []
    )


def test_a_difference_outlives_a_restart_and_cannot_be_settled_twice():
    state = read(edited(gate(), LONGER))
    state = patched(State(), difference(State(), state))
    text = conflicts(state)[0]["text"]
    state = edited(state, {"op": "settle", "text": text, "word": "photos"})
    with pytest.raises(ReconError, match="settled already"):
        edit(state, {"op": "settle", "text": text, "word": "photos"})


def test_a_difference_of_an_older_journal_can_be_left_as_it_is():
    state = edited(gate(), LONGER)
    state = State(
        state.frame, state.corrections.changed(disagreements=(Disagreement(("A",), "You said 15."),))
    )
    with pytest.raises(ReconError, match="solve again"):
        edit(state, {"op": "settle", "text": "You said 15.", "word": "photos"})
    assert conflicts(edited(state, {"op": "settle", "text": "You said 15.", "word": "mine"})) == []
