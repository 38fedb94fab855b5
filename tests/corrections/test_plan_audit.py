"""A build against its plan: where each difference is, and that what is offered mends it."""

from dataclasses import replace

import pytest

from recon.corrections.edits import edit
from recon.corrections.plan_audit import compare_with_plan
from recon.frame.joints import find_joints
from recon.frame.lattice import rotations, transform
from recon.frame.model import Frame, Member
from tests.corrections.frames import X, gate


def plan_of(*changed, without=()):
    """The gate's frame with some members otherwise, turned and counted from elsewhere, under other labels."""
    by_id = {m.id: m for m in changed}
    members = [by_id.pop(m.id, m) for m in gate().frame.members if m.id not in without]
    members = tuple(replace(m, id=f"p{m.id}") for m in (*members, *by_id.values()))
    frame = Frame(members, tuple(replace(j, bolt="seen") for j in find_joints(members)), 38.1)
    return transform(frame, rotations()[7], (3, -2, 5))


def mended(state, plan):
    """The state with the first thing done that is offered against each difference, again and again."""
    for _ in range(6):
        rows = compare_with_plan(state.frame, plan)["differences"]
        if not rows:
            return state
        assert rows[0]["mend"], rows[0]["text"]
        for request in rows[0]["mend"][0]["requests"]:
            state, _ = edit(state, request)
    raise AssertionError(rows)


C = Member("C", (-1.0, -1.0, 2.0), X, 13, stock="softwood-38")


@pytest.mark.parametrize(
    "plan",
    [
        plan_of(replace(C, holes=16)),  # longer
        plan_of(replace(C, first=(-4.0, -1.0, 2.0), holes=16)),  # longer at its first end
        plan_of(replace(C, first=(-1.0, -1.0, 4.0))),  # two holes higher
        plan_of(Member("E", (-1.0, 1.0, 6.0), X, 13, stock="softwood-38")),  # missing
        plan_of(without=("D",)),  # one too many
    ],
)
def test_what_is_offered_against_a_difference_mends_it(plan):
    state = mended(gate(), plan)
    lines = sorted((m.first, m.direction, m.holes) for m in state.frame.members)
    assert len(lines) == len(plan.members)
    assert compare_with_plan(state.frame, plan)["differences"] == []


def test_a_bolt_that_differs_is_offered_at_its_lap():
    state, _ = edit(gate(), {"op": "lap", "lap": ["A", 2, "C", 1], "word": "none"})
    (row,) = compare_with_plan(state.frame, plan_of())["differences"]
    assert (row["kind"], row["lap"]) == ("bolt missing", ["A", 2, "C", 1])
    assert [m["text"] for m in row["mend"]] == ["Bolt there"]


def test_a_member_placed_keeps_its_first_end_and_the_words_on_its_laps():
    state, _ = edit(gate(), {"op": "lap", "lap": ["A", 2, "C", 1], "word": "none"})
    turned = {"member": "C", "first": [13.0, -1.0, 2.0], "direction": [-1, 0, 0], "holes": 17}
    state, words = edit(state, {"op": "place", "members": [turned]})
    c = state.frame.member("C")
    assert (c.first, c.direction, c.holes, words) == ((-3.0, -1.0, 2.0), X, 17, "C placed, 17 holes")
    bolts = {(j.a, j.a_hole, j.b, j.b_hole): j.bolt for j in state.frame.joints}
    assert bolts[("A", 2, "C", 3)] == "none" and bolts[("B", 2, "C", 13)] == "seen"
