"""Corrections as functions: what each does to members, laps and the user's word, and that every one is a
difference in JSON."""

import json
import random
from dataclasses import replace

import numpy as np
import pytest

from recon.corrections.edits import EDIT_KINDS, edit
from recon.corrections.laps import clashes, relapped
from recon.corrections.model import PhotoMarks, VouchedMember
from recon.corrections.review import doubts
from recon.corrections.state import State, difference, joint_key, patched
from recon.errors import ReconError
from recon.frame.joints import find_joints
from recon.frame.model import End, EndChoice, reversed_member
from recon.frame.stock import load_stocks
from tests.corrections.frames import gate, scaffold

STOCKS = load_stocks()


def do(state, **ask):
    """The state after an edit; checks that the difference, through JSON, leads there and back."""
    new, words = edit(state, ask, STOCKS)
    assert words
    assert patched(state, json.loads(json.dumps(difference(state, new)))) == new
    assert patched(new, json.loads(json.dumps(difference(new, state)))) == state
    return new


def laps(state):
    return {joint_key(j): j.bolt for j in state.frame.joints}


def test_a_member_moved_away_and_back_has_its_bolts_as_they_were_seen():
    start = gate()
    joints = tuple(replace(j, bolt="seen" if k else "none") for k, j in enumerate(start.frame.joints))
    state = State(replace(start.frame, joints=joints), start.corrections)
    away, _ = edit(state, {"op": "shift", "members": ["A"], "by": [0, 0, 20]})
    assert len(away.frame.joints) < len(joints)
    further, _ = edit(away, {"op": "shift", "members": ["A"], "by": [0, 5, 0]})
    back, _ = edit(further, {"op": "shift", "members": ["A"], "by": [0, -5, -20]})
    assert back.frame.joints == joints and not back.corrections.bolts


def test_the_gate_has_its_four_laps():
    assert laps(gate()) == {
        ("A", 2, "C", 1): "seen",
        ("A", 9, "D", 1): "seen",
        ("B", 2, "C", 11): "seen",
        ("B", 9, "D", 11): "seen",
    }


def test_an_end_moves_and_holes_are_counted_anew():
    state = do(gate(), op="end", member="A", end=0, by=2)
    a = state.frame.member("A")
    assert (a.holes, a.first) == (14, (0.0, 0.0, -2.0))
    assert ("A", 4, "C", 1) in laps(state) and ("A", 11, "D", 1) in laps(state)
    assert laps(state)[("A", 4, "C", 1)] == "seen"
    assert state.corrections.members["A"] == VouchedMember(True, (True, False))


def test_an_end_that_leaves_a_lap_takes_the_lap_with_it():
    state = do(gate(), op="end", member="A", end=1, by=-4)
    assert state.frame.member("A").holes == 8
    assert ("A", 9, "D", 1) not in laps(state) and ("A", 2, "C", 1) in laps(state)


def test_an_end_that_reaches_a_member_makes_a_lap():
    state = do(gate(), op="end", member="C", end=1, by=-3)
    assert ("B", 2, "C", 11) not in laps(state)
    assert laps(do(state, op="end", member="C", end=1, by=3))[("B", 2, "C", 11)] == "assumed"


@pytest.mark.parametrize("by", [-12, 1000])
def test_an_end_keeps_one_to_a_thousand_holes(by):
    with pytest.raises(ReconError, match="must keep 1 to 1000"):
        edit(gate(), {"op": "end", "member": "A", "end": 1, "by": by})


def test_split_and_merge_are_each_other_undone():
    parted = do(gate(), op="split", member="A", after=5)
    assert [(m.id, m.holes) for m in parted.frame.members] == [
        ("A", 6),
        ("B", 12),
        ("C", 13),
        ("D", 13),
        ("E", 6),
    ]
    assert laps(parted)[("D", 1, "E", 3)] == "seen"
    one = do(parted, op="merge", members=["A", "E"])
    assert one.frame.member("A").holes == 12 and laps(one) == laps(gate())


def test_members_of_different_lines_do_not_merge():
    with pytest.raises(ReconError, match="do not lie on one line"):
        edit(gate(), {"op": "merge", "members": ["A", "B"]})


def test_merge_counts_a_member_that_runs_the_other_way():
    parted = do(gate(), op="split", member="A", after=5)
    members = tuple(reversed_member(m) if m.id == "E" else m for m in parted.frame.members)
    turned = State(relapped(replace(parted.frame, members=members, joints=()), {"A", "B", "C", "D", "E"}))
    one = do(turned, op="merge", members=["A", "E"])
    assert one.frame.member("A").holes == 12 and set(laps(one)) == set(laps(gate()))


def test_a_shifted_member_is_lapped_where_it_lies_now():
    state = do(gate(), op="shift", members=["C"], by=[0, 0, 1])
    assert ("A", 3, "C", 1) in laps(state) and ("A", 2, "C", 1) not in laps(state)
    along = do(gate(), op="shift", members=["C"], along=1)
    assert ("A", 2, "C", 0) in laps(along)


def test_a_member_shifted_off_its_line_leaves_word_that_nothing_is_there():
    assert [m.id for m in do(gate(), op="shift", members=["C"], by=[0, 0, 1]).corrections.deleted] == ["C"]
    assert do(gate(), op="shift", members=["C"], along=1).corrections.deleted == ()


def test_delete_takes_laps_along_and_leaves_word():
    state = do(gate(), op="delete", members=["C"])
    assert {m.id for m in state.frame.members} == {"A", "B", "D"} and len(state.frame.joints) == 2
    assert state.corrections.deleted[0].id == "C"


def test_a_new_member_takes_the_first_free_label_and_laps():
    state = do(gate(), op="add", first=[-1, 1, 5], direction=[1, 0, 0], holes=13)
    assert state.frame.members[-1].id == "E" and state.frame.members[-1].stock == "softwood-38"
    assert ("A", 5, "E", 1) in laps(state)
    with pytest.raises(ReconError, match="lies there already"):
        edit(state, {"op": "add", "first": [-1, 1, 5], "direction": [1, 0, 0], "holes": 4})


def test_a_parted_lap_stays_parted_when_its_member_is_lengthened():
    state = do(gate(), op="lap", lap=["A", 2, "C", 1], word="apart")
    state = do(state, op="end", member="A", end=0, by=1)
    assert ("A", 3, "C", 1) not in laps(state) and ("A", 10, "D", 1) in laps(state)
    state = do(state, op="lap", lap=["C", 1, "A", 3], word="joined")
    assert ("A", 3, "C", 1) in laps(state)


def test_a_lap_that_no_bolt_fits_is_refused():
    with pytest.raises(ReconError, match="No bolt fits"):
        edit(gate(), {"op": "lap", "lap": ["A", 5, "C", 1], "word": "joined"})


def test_a_bolt_is_there_or_not():
    state = do(gate(), op="lap", lap=["A", 2, "C", 1], word="none")
    assert laps(state)[("A", 2, "C", 1)] == "none"
    turning = do(state, op="may_turn", lap=["A", 2, "C", 1], wanted=True)
    assert turning.corrections.may_turn == (("A", 2, "C", 1),)


def test_one_measured_length_gives_the_pitch():
    assert do(gate(), op="scale", text="A = 600 mm").frame.pitch_mm == 50
    assert do(gate(), op="scale", text="16 holes = 24 in").frame.pitch_mm == 38.1
    with pytest.raises(ReconError, match="no unit|not a length"):
        edit(gate(), {"op": "scale", "text": "A = 600"})


def test_stock_of_all_brings_its_pitch_unless_the_user_measured():
    assert do(gate(), op="stock", members=None, stock="steel-38").frame.stock.id == "steel-38"
    measured = do(gate(), op="scale", text="A = 600 mm")
    assert do(measured, op="stock", members=None, stock="steel-38").frame.pitch_mm == 50
    one = do(gate(), op="stock", members=["A"], stock="steel-38")
    assert [m.stock for m in one.frame.members] == ["steel-38"] + ["softwood-38"] * 3


def test_four_quarter_turns_change_nothing():
    state = gate()
    for _ in range(4):
        state = do(state, op="turn", quarter="x+")
    assert state == gate()


def test_the_frame_stands_on_the_member_that_is_said_to_stand_up():
    state = do(gate(), op="turn", up="C", end=1)
    assert np.allclose(state.frame.member("C").direction, [0, 0, 1])
    state = do(state, op="turn", origin="C", hole=3)
    assert np.allclose(state.frame.member("C").hole_centre(3), 0)


def test_marks_are_kept_by_photo_and_one_place_has_one_word():
    state = do(gate(), op="mark", photo="a.jpg", xy=[10, 20], word="missed")
    state = do(state, op="mark", photo="a.jpg", xy=[11, 20], word="false")
    assert state.corrections.marks == {"a.jpg": PhotoMarks(false=((11.0, 20.0),))}
    assert do(state, op="mark", photo="a.jpg", xy=[11, 20], word="clear").corrections.marks == {}


def test_a_member_driven_into_another_is_told():
    state = do(gate(), op="shift", members=["C"], by=[0, 1, 0])
    assert {c[:2] for c in clashes(state.frame, {"C"})} == {("A", "C"), ("B", "C")}


NONSENSE = [
    None,
    3,
    "A",
    [],
    {},
    True,
    -1,
    1e400,
    "\x00",
    "<script>alert(1)</script>",
    ["A", 0, "A", 1],
    ["A", 99, "B", 0],
    [1, 2],
    10**30,
]


@pytest.mark.parametrize("name", sorted(EDIT_KINDS))
def test_nonsense_is_refused_in_words(name):
    rng = random.Random(name)
    keys = [
        "member",
        "members",
        "end",
        "by",
        "after",
        "first",
        "direction",
        "holes",
        "lap",
        "word",
        "stock",
        "text",
        "file",
        "used",
        "quarter",
        "up",
        "origin",
        "hole",
        "photo",
        "xy",
        "wanted",
        "along",
        "like",
        "name",
    ]
    for _ in range(150):
        ask = {"op": name, **{k: rng.choice(NONSENSE) for k in rng.sample(keys, 8)}}
        try:
            state, _ = edit(gate(), ask, STOCKS)
        except ReconError as error:
            assert str(error)
        else:  # what is no nonsense to this operation is a change that can be told
            assert patched(gate(), json.loads(json.dumps(difference(gate(), state)))) == state


def test_random_changes_of_a_large_frame_are_told_as_differences():
    state, rng = scaffold(60), random.Random(7)
    for _ in range(40):
        ids = [m.id for m in state.frame.members]
        op = rng.choice(["end", "shift", "delete", "split"])
        ask = {
            "end": {"member": rng.choice(ids), "end": rng.choice([0, 1]), "by": rng.choice([-1, 1])},
            "shift": {"members": [rng.choice(ids)], "by": rng.choice([[0, 0, 1], [1, 0, 0]])},
            "delete": {"members": [rng.choice(ids)]},
            "split": {
                "member": rng.choice([m.id for m in state.frame.members if m.holes > 5]),
                "after": rng.randrange(5),
            },
        }[op]
        state = do(state, op=op, **ask)


def test_laps_kept_by_edits_are_those_found_from_scratch():
    state, rng = scaffold(40), random.Random(3)
    for _ in range(25):
        id = rng.choice([m.id for m in state.frame.members])
        state = do(state, op="end", member=id, end=rng.choice([0, 1]), by=rng.choice([-2, -1, 1]))
    assert set(laps(state)) == {joint_key(j) for j in find_joints(state.frame.members)}
    three = {joint_key(j) for j in find_joints(state.frame.members) if j.three_way}
    assert {joint_key(j) for j in state.frame.joints if j.three_way} == three


# What a person says of a bolt


def bolts(state):
    return {joint_key(j): (j.bolt, j.bolt_by) for j in state.frame.joints}


LAP = ("A", 2, "C", 1)


def with_bolt(bolt):
    """The gate, in which a photo shows so much of one bolt."""
    start = gate()
    joints = tuple(replace(j, bolt=bolt) if joint_key(j) == LAP else j for j in start.frame.joints)
    return State(replace(start.frame, joints=joints), start.corrections)


@pytest.mark.parametrize(
    "shown, word, known",
    [
        ("assumed", "said", ("said", "person")),
        ("none", "said", ("said", "person")),
        ("seen", "said", ("seen", "")),
        ("assumed", "none", ("none", "person")),
        ("seen", "none", ("none", "person")),
        ("seen", "assumed", ("assumed", "")),
        ("assumed", "seen", ("said", "person")),
    ],
)
def test_a_person_says_a_bolt_is_there_but_never_makes_it_seen(shown, word, known):
    state = do(with_bolt(shown), op="lap", lap=list(LAP), word=word)
    assert bolts(state)[LAP] == known


def test_what_a_person_said_of_a_bolt_comes_back_with_its_member():
    for word, known in (("said", ("said", "person")), ("none", ("none", "person"))):
        state = do(with_bolt("assumed"), op="lap", lap=list(LAP), word=word)
        away = do(state, op="shift", members=["C"], by=[0, -20, 0])
        assert LAP not in bolts(away)
        assert bolts(do(away, op="shift", members=["C"], by=[0, 20, 0]))[LAP] == known


def test_a_bolt_said_in_an_older_build_opens_as_said():
    start = with_bolt("assumed")
    put = {"a": "A", "a_hole": 2, "b": "C", "b_hole": 1, "axis": [0, -1, 0], "three_way": False}
    older = {"joints": {"put": [put | {"bolt": "seen"}], "gone": []}, "said": {"laps": [[*LAP, "seen"]]}}
    assert bolts(patched(start, older))[LAP] == ("said", "person")
    none = {"joints": {"put": [put | {"bolt": "none"}], "gone": []}, "said": {"laps": [[*LAP, "none"]]}}
    assert bolts(patched(start, none))[LAP] == ("none", "person")


def test_a_bolt_seen_in_an_older_build_stays_seen_when_a_person_said_so_too():
    state = patched(with_bolt("seen"), {"said": {"laps": [[*LAP, "seen"]]}})
    assert bolts(state)[LAP] == ("seen", "")
    assert patched(State(), difference(State(), state)) == state


# The choices of an end


def with_choices():
    """The gate, C of which has 13 holes or 15, ending at D in truth or not."""
    start = gate()
    choices = (EndChoice(13, 0.6), EndChoice(15, 0.4, "B"))
    members = (
        replace(m, ends=(m.ends[0], End("hidden", 2, choices))) if m.id == "C" else m
        for m in start.frame.members
    )
    return State(replace(start.frame, members=tuple(members)), start.corrections)


def test_a_person_who_fixes_an_end_drops_its_choices():
    for by in (0, 2):
        state = do(with_choices(), op="end", member="C", end=1, by=by)
        assert state.frame.member("C").ends[1] == End("seen", 0)
    assert not do(with_choices(), op="confirm", member="C").frame.member("C").ends[1].choices


def test_choices_count_the_holes_of_the_member_as_it_is_when_its_other_end_moves():
    state = do(with_choices(), op="end", member="C", end=0, by=-2)
    assert state.frame.member("C").holes == 11
    assert [c.holes for c in state.frame.member("C").ends[1].choices] == [11, 13]
    parts = do(with_choices(), op="split", member="C", after=3)
    two = next(m for m in parts.frame.members if m.id not in "ABCD")
    assert two.holes == 9 and [c.holes for c in two.ends[1].choices] == [9, 11]
    assert not parts.frame.member("C").ends[1].choices


def test_the_queue_asks_among_the_choices_of_an_end():
    (end,) = (item for item in doubts(with_choices()) if item["kind"] == "end")
    assert "13 or 15, at B" in end["text"]


def test_the_queue_asks_for_assumed_bolts_and_not_for_those_that_are_said():
    start = with_bolt("assumed")
    assert [item["lap"] for item in doubts(start) if item["kind"] == "bolt"] == [list(LAP)]
    said = do(start, op="lap", lap=list(LAP), word="said")
    assert not [item for item in doubts(said) if item["kind"] == "bolt"]
