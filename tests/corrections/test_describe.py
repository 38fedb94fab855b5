"""What lies between two versions, in words."""

import pytest

from recon.corrections.describe import between, members
from recon.corrections.edits import edit
from recon.corrections.state import State
from tests.corrections.frames import gate, scaffold


def after(state, *asks):
    for ask in asks:
        state, _ = edit(state, ask)
    return state


@pytest.mark.parametrize(
    "ask, words",
    [
        ({"op": "end", "member": "A", "end": 1, "by": 2}, "A: 12 holes → 14"),
        ({"op": "end", "member": "A", "end": 0, "by": -1}, "A: 12 holes → 11"),
        ({"op": "delete", "members": ["C"]}, "C: deleted"),
        ({"op": "confirm", "member": "B"}, "B: confirmed"),
        ({"op": "shift", "members": ["C"], "along": 2}, "C: shifted along itself by 2 holes"),
        ({"op": "shift", "members": ["C"], "by": [0, 0, 1]}, "C: moved to another line"),
        ({"op": "add", "first": [-1, 1, 5], "direction": [1, 0, 0], "holes": 13}, "E: added, 13 holes"),
        ({"op": "lap", "lap": ["A", 2, "C", 1], "word": "none"}, "Bolt none: "),
        ({"op": "lap", "lap": ["A", 2, "C", 1], "word": "apart"}, "Joint separated: "),
        ({"op": "scale", "text": "12 holes = 480 mm"}, "Pitch: 38.1 mm → 40 mm"),
        ({"op": "name", "name": "Gate 2"}, "Name: Gate 2"),
        ({"op": "mark", "photo": "a.jpg", "xy": [1, 2], "word": "false"}, "Holes marked"),
        ({"op": "turn", "quarter": "z+"}, "C: turned"),
    ],
)
def test_every_change_can_be_told_in_words(ask, words):
    state = gate()
    assert any(line.startswith(words) for line in between(state, after(state, ask))[1])


def test_what_was_taken_back_is_no_difference():
    state = gate()
    again = after(
        state,
        {"op": "name", "name": "x"},
        {"op": "mark", "photo": "a.jpg", "xy": [1, 2], "word": "false"},
        {"op": "mark", "photo": "a.jpg", "xy": [1, 2], "word": "clear"},
        {"op": "name", "name": "Gate"},
    )
    assert between(state, State(again.frame))[1] == [] and between(state, state)[1] == []


def test_one_changed_member_of_many_is_told_alone():
    state = scaffold(300)
    assert list(members(state, after(state, {"op": "end", "member": "P7", "end": 1, "by": 1}))) == ["P7"]
