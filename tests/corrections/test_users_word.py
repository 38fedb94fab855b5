"""The user's word stays: whatever comes out of an edit or a reading, `uphold` brings it in line."""

import random
from dataclasses import replace

import numpy as np
import pytest

from recon.corrections.edits import EDIT_KINDS, edit
from recon.corrections.merge import merge_reading
from recon.corrections.model import LapWord, VouchedMember
from recon.corrections.state import State, joint_key
from recon.corrections.users_word import as_vouched, deleted_number, lies_on, uphold, vouch_wholly
from recon.frame.joints import find_joints
from recon.frame.model import End, Member, Photo
from tests.corrections.frames import gate


def vouched(*ids):
    state = gate()
    return State(state.frame, vouch_wholly(state.corrections, ids))


def without(state, *ids):
    members = tuple(m for m in state.frame.members if m.id not in ids)
    return State(replace(state.frame, members=members), state.corrections)


def with_member(state, **changes):
    members = tuple(replace(m, **changes) if m.id == "A" else m for m in state.frame.members)
    return State(replace(state.frame, members=members), state.corrections)


@pytest.mark.parametrize("reading", [False, True])
def test_a_vouched_member_that_is_missing_is_put_back_in_its_place(reading):
    before = vouched("B")
    after = uphold(before, without(before, "B"), reading=reading)
    assert [m.id for m in after.frame.members] == ["A", "B", "C", "D"]
    assert after.frame.member("B") == before.frame.member("B")


@pytest.mark.parametrize("reading", [False, True])
def test_a_vouched_member_that_lies_elsewhere_is_moved_back(reading):
    before = vouched("A")
    after = uphold(before, with_member(before, holes=9, first=(0.0, 0.0, 1.0)), reading=reading)
    a = after.frame.member("A")
    assert (a.first, a.holes, a.confidence) == ((0.0, 0.0, 0.0), 12, 1.0)


def test_a_member_of_which_the_change_is_the_users_word_stays_as_the_change_made_it():
    before = vouched("A")
    changed = with_member(before, holes=9)
    assert uphold(before, changed, renewed={"A"}).frame.member("A").holes == 9
    assert uphold(before, changed, renewed=None).frame.member("A").holes == 9


def test_a_free_end_follows_the_photos_and_a_vouched_one_does_not():
    mine = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12)
    shown = replace(mine, first=(0.0, 0.0, -2.0), holes=10, ends=(End("hidden", 1), End("cut")))
    found = as_vouched(mine, shown, VouchedMember(True, (False, True)))
    assert (found.first, found.holes) == ((0.0, 0.0, -2.0), 14)
    assert found.ends == (End("hidden", 1), End("seen", 0))


def test_what_was_read_on_a_vouched_member_gives_way():
    before = vouched("A")
    ghost = replace(before.frame.member("A"), id="E", first=(0.0, 0.0, 1.0), holes=8)
    members = (*map(replace, before.frame.members), ghost)
    read = State(replace(before.frame, members=members), before.corrections)
    assert [m.id for m in uphold(before, read, reading=True).frame.members] == ["A", "B", "C", "D"]


def test_a_deleted_member_is_known_by_its_place_until_the_user_draws_one_there():
    d = gate().frame.member("D")
    state, _ = edit(gate(), {"op": "delete", "members": ["D"]})
    assert deleted_number(state, replace(d, id="X", holes=11)) == 0
    assert deleted_number(state, replace(d, first=(-1.0, -1.0, 5.0))) is None
    again, _ = edit(
        state, {"op": "add", "first": list(d.first), "direction": list(d.direction), "holes": d.holes}
    )
    assert deleted_number(again, d) is None and lies_on(d, again.frame.members)


def test_words_on_laps_hold_where_laps_are_found_anew():
    state = gate()
    corrections = state.corrections.changed(
        laps=(LapWord(("A", 2, "C", 1), "apart"), LapWord(("B", 2, "C", 11), "none"))
    )
    for after in (
        uphold(state, State(state.frame, corrections), moved={"C"}),
        uphold(state, State(state.frame, corrections), reading=True),
    ):
        bolts = {joint_key(j): (j.bolt, j.bolt_by) for j in after.frame.joints}
        assert ("A", 2, "C", 1) not in bolts and bolts["B", 2, "C", 11] == ("none", "person")


def test_a_reading_that_sees_a_bolt_makes_it_seen_where_a_person_had_said_so():
    state = gate()
    corrections = state.corrections.changed(laps=(LapWord(("B", 2, "C", 11), "said"),))
    for shown, known in (("seen", "seen"), ("assumed", "said"), ("none", "said")):
        read = replace(state.frame, joints=tuple(replace(j, bolt=shown) for j in state.frame.joints))
        after = uphold(state, State(read, corrections), reading=True)
        bolts = {joint_key(j): j.bolt for j in after.frame.joints}
        assert bolts["B", 2, "C", 11] == known and bolts["A", 2, "C", 1] == shown


def test_a_photo_that_was_set_aside_is_not_used():
    state = gate()
    state = State(
        replace(state.frame, photos=(Photo("a.jpg", (10, 8)), Photo("b.jpg", (10, 8)))),
        state.corrections.changed(set_aside=("a.jpg",)),
    )
    photos = uphold(state, state, reading=True).frame.photos
    assert [(p.used, p.reason) for p in photos] == [(False, "set aside by hand"), (True, "")]


def test_a_reading_keeps_the_measured_pitch_and_the_stock_that_was_given():
    state, _ = edit(gate(), {"op": "scale", "text": "A = 600 mm"})
    read = State(replace(state.frame, pitch_mm=38.1), state.corrections)
    assert uphold(state, read, reading=True).frame.pitch_mm == 50
    given = State(state.frame, gate().corrections.changed(stock_given=True))
    read = State(replace(given.frame, stock=None), given.corrections)
    assert uphold(given, read, reading=True).frame.stock == given.frame.stock


def test_every_kind_of_edit_passes_through_uphold(monkeypatch):
    from recon.corrections.edits import registry

    seen = []
    real = registry.users_word.uphold
    monkeypatch.setattr(registry.users_word, "uphold", lambda *a, **k: (seen.append(1), real(*a, **k))[1])
    edit(gate(), {"op": "name", "name": "x"})
    edit(gate(), {"op": "turn", "quarter": "x+"})
    assert len(seen) == 2 and len(EDIT_KINDS) == 25


def test_no_edit_of_one_member_and_no_reading_moves_another_that_is_vouched_for():
    rng = random.Random(11)
    for _ in range(30):
        state = vouched("A", "D")
        kept = {id: state.frame.member(id) for id in "AD"}
        for _ in range(4):
            id = rng.choice([m.id for m in state.frame.members if m.id in "BC"] or ["A"])
            if id == "A":
                break
            request = rng.choice(
                [
                    {"op": "end", "member": id, "end": rng.choice([0, 1]), "by": rng.choice([-1, 1])},
                    {"op": "shift", "members": [id], "by": [0, 0, rng.choice([-1, 1])]},
                    {"op": "confirm", "member": id},
                ]
            )
            state, _ = edit(state, request)
            solved = tuple(
                replace(m, holes=max(1, m.holes + rng.choice([-1, 0, 1])))
                for m in gate().frame.members
                if rng.random() < 0.8
            )
            state = merge_reading(state, replace(gate().frame, members=solved, joints=find_joints(solved)))
        for id, m in kept.items():
            there = state.frame.member(id)
            assert there.holes == m.holes and np.allclose(there.first, m.first)
