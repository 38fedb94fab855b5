"""Fittings of a built frame against its plan: which, in which holes, on which side; and what mends it."""

from dataclasses import replace

import numpy as np
import pytest

from recon.bench.audit import disguised
from recon.bench.random_frames import random_frame
from recon.corrections.edits import edit
from recon.corrections.plan_audit import compare_with_plan
from recon.corrections.state import State
from recon.frame.boxes import face_normals
from recon.frame.fitting import Fitting
from recon.frame.lattice import mirrored
from recon.workshop.audit.differences import audit_frame, audit_text
from recon.workshop.hardware.bolts import find_bolts
from tests.workshop.carts import UP, cart, castor

PLAN = cart()
SEEN = replace(PLAN, joints=tuple(replace(j, bolt="seen") for j in PLAN.joints))
NOT_LOOKED_FOR = "Fittings were not looked for; the plan has 4 castor 80 and 1 board 520 x 400 x 18 mm."


def with_fittings(*fittings):
    return replace(SEEN, fittings=fittings)


def differences(built, plan=PLAN):
    found = audit_frame(built, plan)
    assert found.verdict == ("different" if found.differences else "same")
    return [d.full_text for d in found.differences]


F1, *OTHERS, BOARD = PLAN.fittings


ONE_DIFFERENCE = {
    "other holes": (
        (castor("F1", "C", (3, 5)), *OTHERS, BOARD),
        "Castor F1 is at holes 4 and 6 of C, plan holes 3 and 5 of C.",
        "Move it to holes 3 and 5 of C.",
    ),
    "other side": (
        (replace(F1, face=UP), *OTHERS, BOARD),
        "Castor F1 is at holes 3 and 5 of C, on the top side, plan holes 3 and 5 of C, on the bottom side.",
        "Move it to holes 3 and 5 of C, on the bottom side.",
    ),
    "missing": (
        (*OTHERS, BOARD),
        "Castor F1 (castor 80) is missing; plan holes 3 and 5 of C, on the bottom side.",
        "Put it on at holes 3 and 5 of C, on the bottom side.",
    ),
    "extra": (
        (F1, *OTHERS, BOARD, castor("F6", "A", (9, 11))),
        (
            "A fitting that is not in the plan (castor 80, F6 in the built frame) is at holes 10 and 12 of "
            "A, on the bottom side."
        ),
        "Take it off.",
    ),
    "another": (
        (replace(F1, name="castor 100"), *OTHERS, BOARD),
        "Castor F1, at holes 3 and 5 of C, is castor 100, plan castor 80.",
        "Put castor 80 in its place.",
    ),
    "another size": (
        (replace(F1, size_mm=(100, 70, 130)), *OTHERS, BOARD),
        "Castor F1 is 100 x 70 x 130 mm with a plate of 3 mm, plan 100 x 70 x 105 mm with a plate of 3 mm.",
        "",
    ),
}


@pytest.mark.parametrize("fittings, text, remedy", ONE_DIFFERENCE.values(), ids=ONE_DIFFERENCE)
def test_what_differs_of_a_fitting_is_said_with_its_place_and_what_to_do(fittings, text, remedy):
    assert differences(with_fittings(*fittings)) == [f"{text} {remedy}".strip()]


def test_labels_do_not_matter_and_holes_are_counted_as_in_the_plan():
    swapped = [replace(f, id=f"X{k}") for k, f in enumerate((*OTHERS, F1, BOARD))]
    assert differences(with_fittings(*swapped)) == []
    plan = replace(PLAN, fittings=(F1, *OTHERS[:2], BOARD))  # with all four castors, half a turn is the same
    built = with_fittings(castor("F1", "C", (3, 5)), *OTHERS[:2], BOARD)
    rng = np.random.default_rng(3)
    for _ in range(3):  # turned, shifted, counted from other ends, with other labels
        (text,) = differences(disguised(built, rng), plan)
        assert text.startswith("Castor F1 is at holes 4 and 6 of C, plan holes 3 and 5 of C.")


def test_of_a_symmetric_frame_the_fittings_tell_which_way_round_it_stands():
    motor = Fitting("F1", "motor", (("A", 1), ("A", 3)), UP, (60, 40, 50), 3.0)
    plan = replace(PLAN, fittings=(motor,))
    turned = replace(motor, holes=(("B", 18), ("B", 16)))  # half a turn: the same frame
    assert differences(with_fittings(turned), plan) == []
    (text,) = differences(with_fittings(replace(motor, holes=(("A", 2), ("A", 4)))), plan)
    assert text.startswith("Motor F1 is at holes 3 and 5 of A, plan holes 2 and 4 of A.")


def test_without_fittings_they_were_not_looked_for():
    found = audit_frame(with_fittings(), PLAN)
    assert found.verdict == "cannot say" and [d.text for d in found.not_checked] == [NOT_LOOKED_FOR]
    assert audit_frame(with_fittings(), with_fittings()).verdict == "same"
    assert NOT_LOOKED_FOR in audit_text(found)


def test_fittings_of_a_mirror_image_are_compared_with_the_mirrored_plan():
    frame = random_frame(2)
    taken = {hole for bolt in find_bolts(frame) for hole in bolt.through}
    free = next((m.id, k) for m in frame.members for k in range(m.holes) if (m.id, k) not in taken)
    foot = Fitting(
        "F1", "foot", (free,), tuple(map(float, face_normals(frame.member(free[0]))[2])), (30, 30, 12), 4.0
    )
    seen = tuple(replace(j, bolt="seen") for j in frame.joints)
    plan = replace(frame, joints=seen, pitch_mm=40.0, fittings=(foot,))
    found = audit_frame(mirrored(plan), plan)
    assert found.mirrored and [d.kind for d in found.differences] == ["mirrored"]


def test_each_difference_of_fittings_can_be_mended_on_the_page():
    built = with_fittings(castor("F1", "C", (3, 5)), *OTHERS, castor("F7", "A", (9, 11)))
    state = State(built)
    while rows := compare_with_plan(state.frame, PLAN)["differences"]:
        row = rows[0]
        assert row["kind"] == "fitting" and row["members"]
        for request in row["mend"][0]["requests"]:
            state, _ = edit(state, request)
    assert audit_frame(state.frame, PLAN).verdict == "same"

    state = State(with_fittings())
    (row,) = compare_with_plan(state.frame, PLAN)["not_checked"]
    (answer,) = row["mend"]
    assert answer["text"] == "There, as planned" and len(answer["requests"]) == 5
    for request in answer["requests"]:
        state, _ = edit(state, request)
    assert compare_with_plan(state.frame, PLAN)["verdict"] == "same"
