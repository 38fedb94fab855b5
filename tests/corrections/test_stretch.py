"""The edit that stretches a frame: words on laps follow, a reading does not take it back, undo is exact."""

from dataclasses import replace

import pytest

from recon.corrections.edits import edit
from recon.corrections.merge import merge_reading
from recon.corrections.state import difference, patched
from recon.errors import ReconError
from recon.frame.lattice import transform
from tests.corrections.frames import gate

LONGER = {"op": "stretch", "member": "C", "after": 5, "end": 1, "by": 4}


def joints(state):
    return {(j.a, j.a_hole, j.b, j.b_hole): (j.bolt, j.bolt_by) for j in state.frame.joints}


def test_a_stretched_frame_keeps_its_laps_with_their_bolts_and_the_words_on_them():
    state, _ = edit(gate(), {"op": "lap", "lap": ["B", 2, "C", 11], "word": "none"})
    state, _ = edit(state, {"op": "may_turn", "lap": ["B", 9, "D", 11], "wanted": True})
    state, words = edit(state, LONGER)
    assert words == "Frame stretched: 2 members 4 holes longer, 1 moved to the right"
    assert joints(state) == {
        ("A", 2, "C", 1): ("seen", ""),
        ("A", 9, "D", 1): ("seen", ""),
        ("B", 2, "C", 15): ("none", "person"),
        ("B", 9, "D", 15): ("seen", ""),
    }
    assert state.corrections.may_turn == (("B", 9, "D", 15),)
    assert [(w.lap, w.word) for w in state.corrections.laps] == [(("B", 2, "C", 15), "none")]


def test_by_a_side_and_a_place_it_is_the_same():
    assert edit(gate(), LONGER) == edit(gate(), {"op": "stretch", "way": [1, 0, 0], "at": 4.5, "by": 4})


def test_the_difference_brings_it_there_and_back_exactly():
    before, (after, _) = gate(), edit(gate(), LONGER)
    assert patched(before, difference(before, after)) == after
    assert patched(after, difference(after, before)) == before


def test_a_new_reading_does_not_take_it_back():
    state, _ = edit(gate(), LONGER)
    after = merge_reading(state, transform(gate().frame, [[1, 0, 0], [0, 1, 0], [0, 0, 1]], (2, 0, 0)))
    assert {m.id: (m.first, m.holes) for m in after.frame.members} == {
        m.id: (m.first, m.holes) for m in state.frame.members
    }


@pytest.mark.parametrize(
    "request_, words",
    [
        ({**LONGER, "by": 501}, "'by' must be a whole number from -500 to 500"),
        ({**LONGER, "after": 12}, "a plane lies after hole 1 to 12, not after 13"),
        ({**LONGER, "member": "Q"}, "There is no member 'Q'"),
        ({"op": "stretch", "way": [1, 1, 0], "at": 1, "by": 1}, "'way' must be along an axis"),
        ({"op": "stretch", "way": [1, 0, 0], "at": None, "by": 1}, "'at' must be a number"),
    ],
)
def test_what_makes_no_stretch_is_refused(request_, words):
    with pytest.raises(ReconError) as caught:
        edit(gate(), request_)
    assert words in str(caught.value)


def test_without_members_there_is_nothing_to_stretch():
    empty = replace(gate(), frame=replace(gate().frame, members=(), joints=()))
    with pytest.raises(ReconError, match="There is no frame yet"):
        edit(empty, {"op": "stretch", "way": [1, 0, 0], "at": 1, "by": 1})
