"""The size by one length: what a pick on a photo means, what a tape tells before it is taken, and the change
it makes."""

import json
from dataclasses import asdict, replace

import numpy as np
import pytest

from recon.corrections.edits import edit
from recon.corrections.picking import measurement, picked
from recon.corrections.state import State, difference, patched
from recon.errors import ReconError
from recon.frame.boxes import face_normals
from recon.frame.stock import load_stocks
from recon.frame.tape import Spot
from tests.corrections.frames import SAMPLE, gate, true_frame

STOCKS = load_stocks()


def test_a_pick_on_an_opening_in_sight_means_that_opening():
    # Against the truth file: where another program projected every opening, and whether all of its rim was in
    # sight.
    frame, truth = true_frame(), json.loads((SAMPLE / "truth.json").read_text())
    right = count = 0
    for photo in truth["photos"]:
        for hole in photo["holes"]:
            if hole["seen"] < 8:
                continue
            spot = picked(frame, photo["file"], hole["xy"], 3)
            m = frame.members[hole["stick"]]
            right += (
                spot.member == m.id
                and spot.hole == hole["hole"]
                and np.allclose(face_normals(m)[2:][spot.face], hole["normal"])
            )
            count += 1
    assert count > 250 and right == count


def test_a_pick_beside_all_members_is_refused():
    with pytest.raises(ReconError, match="no hole of a member there"):
        picked(true_frame(), "photo_1.jpg", [5, 5], 10)
    with pytest.raises(ReconError, match="camera is not known"):
        picked(gate().frame, "photo_1.jpg", [5, 5], 10)


def points(*spots):
    return [asdict(Spot(*s)) for s in spots]


def measure(state, text, *spots):
    new, words = edit(state, {"op": "scale", "text": text, "points": points(*spots)}, STOCKS)
    assert patched(state, json.loads(json.dumps(difference(state, new)))) == new
    return new, words


def test_the_pitch_is_the_length_by_the_pitches_between_the_centres():
    state, words = measure(gate(), "22 1/2 in", ("C", 0, 0), ("C", 12, 0))
    assert (
        state.frame.pitch_mm == pytest.approx(22.5 * 25.4 / 12, abs=1e-4)
        and state.frame.stock.how == "length"
    )
    assert words == "Pitch 47.6 mm from 571.5 mm over 12 pitches (hole 1 to hole 13 of C, centre to centre)"


def test_a_length_within_what_measuring_explains_leaves_no_doubt_and_one_beyond_does():
    agreeing, _ = measure(gate(), "458 mm", ("C", 0, 0), ("C", 12, 0))  # 457.2 mm by the stock
    assert agreeing.frame.pitch_mm == pytest.approx(458 / 12, abs=1e-4) and agreeing.frame.doubts == ()
    against, _ = measure(agreeing, "480 mm", ("C", 0, 0), ("C", 12, 0))
    assert (
        against.frame.pitch_mm == 40
        and len(against.frame.doubts) == 1
        and "more than measuring explains" in against.frame.doubts[0]
    )
    again, _ = measure(against, "457 mm", ("C", 0, 0), ("C", 12, 0))
    assert again.frame.doubts == ()


def test_a_doubt_about_the_size_goes_with_another_stock_and_with_a_measure():
    unsure = State(
        replace(
            gate().frame,
            doubts=("The size in millimetres is not sure: a pitch of 38.1 mm or 40 mm.", "Something else."),
        )
    )
    assert measure(unsure, "457 mm", ("C", 0, 0), ("C", 12, 0))[0].frame.doubts == ("Something else.",)
    other = next(s for s in STOCKS.values() if s.pitch_mm == 25.4)
    against, _ = measure(gate(), f"{12 * 25.4} mm", ("C", 0, 0), ("C", 12, 0))
    assert (
        against.frame.doubts
        and edit(against, {"op": "stock", "members": None, "stock": other.id}, STOCKS)[0].frame.doubts == ()
    )


def test_a_member_that_was_measured_and_is_lengthened_is_asked_about():
    state, words = edit(gate(), {"op": "scale", "text": "C = 495 mm"}, STOCKS)
    assert (
        words == "Pitch 38.1 mm from 495 mm over C with its 13 holes, end to end" and state.frame.doubts == ()
    )
    state, _ = edit(state, {"op": "end", "member": "C", "end": 1, "by": 1}, STOCKS)
    assert "C with 13 holes; it has 14 now" in state.frame.doubts[0]
    assert edit(state, {"op": "end", "member": "C", "end": 1, "by": -1}, STOCKS)[0].frame.doubts == ()


@pytest.mark.parametrize(
    "text, spots, why",
    [
        ("600", [("C", 0, 0), ("C", 12, 0)], "no unit"),
        ("-3 mm", [("C", 0, 0), ("C", 12, 0)], "not a length"),
        ("3/0 in", [("C", 0, 0), ("C", 12, 0)], "divides by 0"),
        ("600 mm", [("C", 0, 0), ("C", 0, 0)], "same opening"),
        ("600 mm", [("C", 0, 0), ("C", 12, 2)], "different faces"),
        ("600 mm", [("C", 0, 0), ("C", 13, 0)], "whole number from 0 to 12"),
        ("600 mm", [("Q", 0, 0), ("C", 1, 0)], "no member 'Q'"),
        ("600 mm", [("C", 0, 0)], "Pick two holes"),
        ("5 mm", [("C", 0, 0), ("C", 12, 0)], "must be 1 to 1000 mm"),
        ("40 m", [("C", 0, 0), ("C", 12, 0)], "must be 1 to 1000 mm"),
    ],
)
def test_nonsense_is_refused_in_a_sentence(text, spots, why):
    with pytest.raises(ReconError, match=why):
        edit(gate(), {"op": "scale", "text": text, "points": points(*spots)}, STOCKS)


def test_what_a_measure_comes_to_is_known_before_it_is_taken():
    frame = true_frame()
    found = measurement(frame, {"points": points(("B", 0, 0), ("B", 15, 0)), "text": "571.5 mm"})
    assert found["where"] == "Hole 1 to hole 16 of B: 15 pitches, centre of hole to centre of hole."
    assert found["words"].startswith("Pitch 38.1 mm from 571.5 mm over 15 pitches") and found[
        "how_sure"
    ].startswith("A tape tells it to ±0.25 mm")
    assert set(found["places"]) == {"photo_1.jpg", "photo_2.jpg", "photo_3.jpg"}
    assert (
        "no unit"
        in measurement(frame, {"points": points(("B", 0, 0), ("B", 15, 0)), "text": "571.5"})["problem"]
    )
    one = measurement(frame, {"points": points(("B", 0, 0))})
    assert "where" not in one and one["points"] == [{"member": "B", "hole": 0, "face": 0, "holes": 16}]
