"""By hand: rows, camera and members taken, members in 3-D; unlikely ends; several edits as one."""

from dataclasses import replace

import pytest

from recon.corrections.by_hand import with_members_by_hand
from recon.corrections.codec import corrections_from_json, corrections_to_json
from recon.corrections.edits import edit
from recon.corrections.review import doubts
from recon.corrections.space_strokes import space_strokes, with_count
from recon.corrections.state import State, difference, patched
from recon.corrections.unlikely_ends import grown, unlikely_ends
from recon.errors import ReconError
from recon.frame.joints import find_joints
from recon.frame.model import End, EndChoice, Frame, Member
from recon.geometry.camera import Camera
from tests.corrections.frames import gate

CAMERA = Camera(900.0, 399.5, 299.5)
ROW = {"op": "row", "photo": "a.jpg", "start": [10, 20], "end": [110.04, 25], "holes": 11}


def ladder(short=0):
    """Two posts and three rails; the middle rail lacks so many holes at its last end."""
    posts = [Member("AB"[k], (8.0 * k, 0.0, 0.0), (0.0, 0.0, 1.0), 12) for k in (0, 1)]
    rails = [Member("CDE"[k], (0.0, 1.0, 2.0 + 4 * k), (1.0, 0.0, 0.0), 9) for k in range(3)]
    rails[1] = grown(rails[1], 1, -short) if short else rails[1]
    members = (*posts, *rails)
    return Frame(members, find_joints(members))


def test_rows_drawn_by_hand_are_kept_replaced_and_taken_out_and_come_back_from_the_journal():
    state, words = edit(State(), ROW)
    assert words == "Row of 11 holes in a.jpg" and state.corrections.rows["a.jpg"][0].end == (110.0, 25.0)
    again = corrections_from_json(corrections_to_json(state.corrections))
    assert again.rows == state.corrections.rows
    state, _ = edit(state, {**ROW, "holes": 12, "row": 0})
    assert [r.holes for r in state.corrections.rows["a.jpg"]] == [12]
    empty, _ = edit(state, {"op": "row_gone", "photo": "a.jpg", "row": 0})
    assert not empty.corrections.rows and patched(state, difference(state, empty)) == empty
    with pytest.raises(ReconError, match="no rows"):
        edit(empty, {"op": "row_gone", "photo": "a.jpg", "row": 0})
    with pytest.raises(ReconError, match="holes"):
        edit(empty, {**ROW, "holes": 1})


def test_members_taken_by_hand_are_the_users_word_and_those_known_are_not_added_again():
    frame = ladder()
    state, words = with_members_by_hand(State(), "a.jpg", (800, 600), CAMERA, frame.members)
    assert words == "5 members and the camera of a.jpg by hand" and len(state.frame.joints) == 6
    assert all(state.corrections.vouched(m.id).wholly for m in state.frame.members)
    again, words = with_members_by_hand(state, "b.jpg", (800, 600), CAMERA, frame.members)
    assert words == "The camera of b.jpg by hand" and len(again.frame.members) == 5
    assert [p.file for p in again.frame.photos] == ["a.jpg", "b.jpg"]


def test_a_member_drawn_in_3d_lies_on_the_face_it_was_drawn_on_and_grows_to_the_next_member():
    frame = ladder()
    post = frame.member("A")
    found = space_strokes(frame, post, 8, (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), 7)
    assert found[0].first == (0.0, 1.0, 8.0) and (found[0].holes, found[0].laps) == (7, 1)
    assert (found[1].holes, found[1].laps) == (9, 2)
    longer = with_count(frame, found[0], 9, keep_last=True)
    assert longer.first == (-2.0, 1.0, 8.0) and longer.holes == 9
    for normal, way in (((0.0, 0.0, 1.0), (1.0, 0.0, 0.0)), ((0.0, 1.0, 0.0), (0.0, 1.0, 0.0))):
        with pytest.raises(ReconError, match="lies flat"):
            space_strokes(frame, post, 8, normal, way, 7)


@pytest.mark.parametrize("short", [1, 2, 3])
def test_an_end_short_of_a_post_that_its_neighbours_reach_is_a_doubt_that_says_what_else_it_could_be(short):
    frame = ladder(short)
    unlikely = [u for u in unlikely_ends(frame) if u.member == "D"]
    assert [(u.end, u.by, u.at, u.beside) for u in unlikely] == [(1, short, "B", ("C", "E"))]
    item = next(i for i in doubts(State(frame)) if i["kind"] == "unlikely" and i["members"] == ["D"])
    assert f"{9 - short} or 9 (at B)" in item["text"]
    assert [(c["holes"], c["by"], c["at"], c["member"]["holes"]) for c in item["choices"]] == [
        (9, short, "B", 9)
    ]
    state, _ = edit(
        State(frame), {"op": "end", "member": "D", "end": 1, "by": 0}
    )  # a person says: it ends here
    assert not [i for i in doubts(state) if i["members"] == ["D"] and i["kind"] == "unlikely"]


def test_a_right_frame_has_no_unlikely_ends_and_one_held_at_one_end_has():
    assert unlikely_ends(ladder()) == []
    frame = ladder()
    away = replace(frame, members=tuple(m for m in frame.members if m.id != "B"))
    away = replace(away, joints=find_joints(away.members))
    assert {(u.member, u.free) for u in unlikely_ends(away)} == {("C", 8), ("D", 8), ("E", 8)}


def test_a_moved_end_loses_the_confidence_of_its_old_count_and_the_other_end_keeps_its_chance():
    state = gate()
    m = replace(state.frame.member("B"), confidence=0.6)
    sure = State(replace(state.frame, members=tuple(m if o.id == "B" else o for o in state.frame.members)))
    moved, _ = edit(sure, {"op": "end", "member": "B", "end": 1, "by": 1})
    assert moved.frame.member("B").confidence == 1.0
    open_end = replace(m, ends=(End("hidden", 2, (EndChoice(12, 0.7), EndChoice(14, 0.3))), End()))
    other = State(
        replace(sure.frame, members=tuple(open_end if o.id == "B" else o for o in sure.frame.members))
    )
    moved, _ = edit(other, {"op": "end", "member": "B", "end": 1, "by": 1})
    assert moved.frame.member("B").confidence == 0.7


def test_several_edits_are_one_change_or_none():
    state = gate()
    laps = [[j.a, j.a_hole, j.b, j.b_hole] for j in state.frame.joints[:3]]
    said = [{"op": "lap", "lap": lap, "word": "said"} for lap in laps]
    after, words = edit(state, {"op": "several", "edits": said})
    assert words.endswith("and 2 more like it") and len(after.corrections.laps) == 3
    with pytest.raises(ReconError):
        edit(state, {"op": "several", "edits": [*said, {"op": "confirm", "member": "?"}]})
    with pytest.raises(ReconError, match="'edits'"):
        edit(state, {"op": "several", "edits": [{"op": "several", "edits": said}]})


def test_members_are_copied_and_mirrored_where_none_lies_yet():
    frame = ladder()
    state, words = edit(State(frame), {"op": "copy", "members": ["C", "D"], "by": [0, 8, 0]})
    assert words == "C and D copied: 2 members added"
    assert state.frame.member("F").first == (0.0, 9.0, 2.0) and state.corrections.vouched("G").wholly
    state, words = edit(state, {"op": "copy", "members": ["A"], "mirror": "y"})
    assert state.frame.member("H").first == (0.0, 9.0, 0.0)
    assert words == "A mirrored left to right: 1 member added"
    laps = [j for j in state.frame.joints if "H" in (j.a, j.b)]
    assert len(laps) == 0 or all(j.bolt == "assumed" for j in laps)
    with pytest.raises(ReconError, match="already"):
        edit(State(frame), {"op": "copy", "members": ["A"], "mirror": "x"})
