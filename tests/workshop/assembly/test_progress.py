"""Ticks, notes and photos at steps: what they belong to, and what becomes of them when the frame changes."""

from dataclasses import replace

import pytest

from recon.corrections.edits import edit
from recon.corrections.state import State
from recon.errors import ReconError
from recon.workshop.assembly.progress import (
    Ticks,
    at_the_end,
    extras_by_step,
    progress,
    step_items,
    tick,
    untick,
)
from recon.workshop.assembly.record import (
    END,
    Act,
    AssemblyRecord,
    StepDone,
    StepKey,
    StepNote,
    StepPhoto,
    act_from_json,
    act_to_json,
    step_from_json,
)
from recon.workshop.assembly.steps import build_steps
from recon.workshop.hardware.bolts import find_bolts
from tests.corrections.frames import gate


class Bench:
    """A frame, its steps, and what is ticked."""

    def __init__(self, state: State, record: AssemblyRecord | None = None):
        self.state, self.record = state, record or AssemblyRecord()

    @property
    def frame(self):
        return self.state.frame

    @property
    def items(self):
        return step_items(build_steps(self.frame))

    @property
    def bolts(self):
        return {tuple(sorted(bolt.through)) for bolt in find_bolts(self.frame)}

    @property
    def progress(self):
        return progress(self.record, self.items, self.frame)

    def do(self, change, **ticks):
        act = change(self.record, Ticks(**ticks), self.bolts, self.frame)
        self.record = self.record.after(act)
        return act

    def step(self, place):
        item = self.items[place]
        steps = (item.key,) if item.ticked_itself else ()
        return self.do(tick, members=item.members, bolts=item.bolts, steps=steps)

    def edited(self, **ask):
        """The same ticks, the frame edited."""
        return Bench(edit(self.state, ask)[0], self.record)


@pytest.fixture
def bench():
    return Bench(gate())


def test_a_step_is_done_when_all_that_comes_in_with_it_is_ticked(bench):
    item = bench.items[0]
    assert bench.progress.words == f"Step 1 of {len(bench.items)}, 0 of 4 bolts in" and bench.progress.at == 0
    bench.do(tick, members=item.members)
    assert not bench.progress.done[0]
    bench.do(tick, bolts=item.bolts)
    assert bench.progress.done[0] and bench.progress.at == 1
    assert bench.progress.words == f"Step 2 of {len(bench.items)}, {len(item.bolts)} of 4 bolts in"


def test_all_steps_done_is_said_and_turns_are_ticked_by_themselves(bench):
    for place in range(len(bench.items)):
        bench.step(place)
    assert bench.progress.words == f"All {len(bench.items)} steps done, 4 of 4 bolts in"
    assert bench.progress.at == len(bench.items) and all(bench.progress.done)
    assert any(item.ticked_itself and item.key.kind == "turn" for item in bench.items)


def test_it_goes_on_where_it_was_ticked_last_and_names_what_was_left_behind(bench):
    bench.step(1)
    assert bench.progress.at == 2 and bench.progress.behind == (0,)
    bench.step(0)
    assert bench.progress.at == 2 and bench.progress.behind == ()


def test_members_of_a_bolt_that_is_in_are_in_and_with_a_member_go_its_bolts(bench):
    bolt = next(through for through in bench.bolts if dict(through).keys() == {"A", "C"})
    bench.do(tick, bolts=(bolt,))
    assert bench.progress.members == {"A", "C"}
    act = bench.do(untick, members=("C",))
    assert bench.progress.members == {"A"} and not bench.progress.bolts
    assert act.words == "C and 1 bolt not in"


def test_an_act_is_taken_back_by_its_inverse(bench):
    bench.step(0)
    before = bench.record
    act = untick(before, Ticks(members=bench.items[0].members), bench.bolts, bench.frame)
    again = before.after(act).after(before.inverse(act))
    assert dict(again.entries) == dict(before.entries) != dict(before.after(act).entries)


def test_what_the_frame_does_not_have_is_not_ticked(bench):
    for wrong in ({"members": ("Z",)}, {"bolts": ((("A", 0), ("C", 0)),)}):
        with pytest.raises(ReconError, match="changed meanwhile"):
            bench.do(tick, **wrong)


# The frame is changed afterwards


@pytest.fixture
def built(bench):
    for place in range(len(bench.items)):
        bench.step(place)
    return bench


def test_ticks_stay_when_the_whole_frame_is_turned_or_moved_in_the_order(built):
    turned = built.edited(op="turn", quarter="z+")
    assert turned.progress.members == set("ABCD") and len(turned.progress.bolts) == 4
    assert not turned.progress.changed


@pytest.mark.parametrize("end", [0, 1])
def test_a_member_of_another_length_is_to_be_looked_at_and_its_bolts_stay(built, end):
    longer = built.edited(op="end", member="C", end=end, by=1)
    found = longer.progress
    assert found.members == set("ABD") and len(found.bolts) == 4
    (changed,) = found.changed
    assert changed.text == "C went in with 13 holes and has 14 now: exchange it." and changed.member == "C"
    longer.do(tick, members=("C",))
    assert longer.progress.members == set("ABCD") and not longer.progress.changed


def test_bolts_of_a_member_that_was_moved_are_out_and_are_named(built):
    moved = built.edited(op="shift", members=["C"], along=1)
    found = moved.progress
    assert found.members == set("ABCD")
    assert {frozenset(id for id, _ in bolt) for bolt in found.bolts} == {frozenset("AD"), frozenset("BD")}
    assert len(found.changed) == 2 and all("where there is none now" in c.text for c in found.changed)
    moved.record = moved.record.after(Act((), tuple(c.key for c in found.changed)))
    assert not moved.progress.changed


def test_a_member_that_is_gone_is_named_and_one_that_is_new_is_open(built):
    without = built.edited(op="delete", members=["D"])
    texts = [c.text for c in without.progress.changed]
    assert "D went in and is no longer in the frame: take it out." in texts
    more = built.edited(op="add", first=[-1, -1, 5], direction=[1, 0, 0], holes=13)
    assert not all(more.progress.done) and more.progress.members == set("ABCD")


def test_a_tick_made_again_after_the_change_replaces_the_older_one(built):
    longer = built.edited(op="end", member="C", end=0, by=1)
    longer.do(tick, members=("C",), bolts=tuple(b for b in longer.bolts if "C" in dict(b)))
    assert len(longer.record.bolts) == 4 and not longer.progress.changed


# Notes and photos


def test_notes_and_photos_go_with_what_comes_in_and_not_with_the_number_of_the_step(bench):
    place = next(k for k, item in enumerate(bench.items) if "D" in item.members)
    key = bench.items[place].key
    put = (StepNote(1, key, "Ream hole 3"), StepPhoto("d.jpg", key, "2026-11-26T09:00:00+00:00"))
    bench.record = bench.record.after(Act(put))
    steps, others = extras_by_step(bench.record, bench.items)
    assert [bool(s.notes) for s in steps].index(True) == place and not others.notes
    assert len(steps) == len(bench.items) + 1
    more = bench.edited(op="add", first=[-1, -1, 5], direction=[1, 0, 0], holes=13)
    steps, _ = extras_by_step(more.record, more.items)
    (there,) = [k for k, s in enumerate(steps) if s.photos]
    assert "D" in more.items[there].members and steps[there].notes[0].text == "Ream hole 3"
    gone = StepKey("join", ("Z",))
    _, others = extras_by_step(AssemblyRecord().after(Act((StepNote(1, gone, "?"),))), bench.items)
    assert others.notes[0].text == "?"


def test_entries_come_back_from_the_journal_and_kinds_of_a_newer_program_are_passed_over(bench):
    act = bench.step(0)
    turn = StepDone(StepKey("turn", ("A", "B"), 2))
    act = replace(act, put=(*act.put, turn, StepNote(3, turn.step, "a\nb", "2026")))
    data = act_to_json(act)
    data["put"].append({"kind": "sound", "file": "x.wav"})
    assert act_from_json(data, act.words) == act
    with pytest.raises(ReconError, match="must name a step"):
        step_from_json({"kind": "dance", "members": ["A"]})


def test_what_is_done_at_the_end_is_ticked_by_its_words_and_has_notes(bench):
    finish = build_steps(bench.frame).finish
    bench.do(tick, steps=(StepKey("end", (finish[0],)),))
    assert at_the_end(bench.record, finish) == [k == 0 for k in range(len(finish))]
    record = bench.record.after(Act((StepNote(1, END, "Oil it"),)))
    steps, others = extras_by_step(record, bench.items)
    assert steps[-1].notes[0].text == "Oil it" and not others.notes
