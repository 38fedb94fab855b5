"""A fitting before it is put on: holes picked one by one, its sides, usual sizes, its room, what is wrong."""

from dataclasses import replace

import numpy as np
import pytest

from recon.corrections.edits import edit
from recon.corrections.fitting_trial import fitting_trial
from recon.corrections.state import State
from recon.errors import ReconError
from recon.frame.boxes import openings
from recon.frame.model import Photo
from recon.geometry.camera import Camera
from tests.corrections.frames import gate
from webui.derived.fittings import fitting_rows

CAMERA = Camera(
    900.0, 400.0, 300.0, R=np.array([[1.0, 0, 0], [0, 0, -1.0], [0, 1.0, 0]]), t=np.array([-5.0, 5, 20])
)
EMPTY = {
    "fitting": None,
    "kind": "castor",
    "holes": [],
    "face": None,
    "size_mm": [None] * 3,
    "plate_mm": None,
}


def photographed():
    """A gate with one photo, from in front."""
    frame = gate().frame
    return replace(frame, photos=(Photo("a.jpg", (800, 600), camera=CAMERA),))


def trial(frame=None, **changes):
    return fitting_trial(frame or gate().frame, {**EMPTY, **changes}, {})


def test_the_first_hole_gives_the_side_and_more_are_added_and_taken_out_by_picking():
    one = trial(pick={"member": "C", "hole": 3, "face": 0})
    assert one["holes"] == [["C", 3]]
    words = {str(f["face"]): f["words"] for f in one["faces"]}
    assert set(words.values()) == {"bottom", "top", "front", "back"}
    picked = words[str(one["face"])]
    two = trial(holes=one["holes"], face=one["face"], pick={"member": "C", "hole": 5, "face": 2})
    assert two["holes"] == [["C", 3], ["C", 5]] and words[str(two["face"])] == picked
    back = trial(holes=two["holes"], face=two["face"], pick={"member": "C", "hole": 3, "face": 0})
    assert back["holes"] == [["C", 5]]


def test_a_hole_is_picked_on_a_photo():
    frame = photographed()
    row = openings(frame.member("D"))
    front = int(np.argmin(row[:, 4, 1]))  # the face that is turned to the camera
    x, y = CAMERA.project(row[front, 4])
    found = trial(frame, pick={"photo": "a.jpg", "xy": [float(x), float(y)], "within": 9})
    assert found["holes"] == [["D", 4]]
    assert {tuple(f["face"]): f["words"] for f in found["faces"]}[tuple(found["face"])] == "front"
    assert set(found["shapes"]) == {"a.jpg"} and len(found["shapes"]["a.jpg"]) >= 7


def test_typed_holes_lie_below_until_a_side_is_chosen():
    found = trial(holes=[["C", 3], ["C", 5]])
    assert found["face"] == [0.0, 0.0, -1.0] and found["problem"] == "" and found["wrong"] == []
    assert found["box"]["middle"] == pytest.approx([3.0, -1.0, 2 - 0.5 - 105 / 38.1 / 2])


def test_what_is_not_typed_is_usual_and_reaches_past_the_holes():
    board = trial(kind="board", holes=[["C", 1], ["C", 11], ["D", 1], ["D", 11]], face=[0, -1, 0])
    assert board["size_mm"] == [pytest.approx(11 * 38.1), pytest.approx(8 * 38.1), 18.0]
    assert board["plate_mm"] == 18.0
    thicker = trial(kind="board", holes=[["C", 1]], size_mm=[None, 50, 27])
    assert thicker["size_mm"] == [38.1, 50, 27] and thicker["plate_mm"] == 27


def test_lengths_and_weights_are_read_as_they_are_typed():
    found = trial(
        holes=[["C", 3]],
        size_mm=["4 in", "70 mm", 105],
        plate_mm="1/8 in",
        shift_mm=["-5 mm", "0 mm"],
        mass_kg="420 g",
    )
    assert found["problem"] == "" and found["size_mm"] == [pytest.approx(101.6), 70, 105]
    assert (found["plate_mm"], found["shift_mm"], found["mass_kg"]) == (3.175, [-5, 0], 0.42)
    assert trial(holes=[["C", 3]], mass_kg="2 lb")["mass_kg"] == pytest.approx(0.907185)
    assert trial(holes=[["C", 3]], plate_mm="0")["plate_mm"] == 0
    for wrong in ({"size_mm": ["wide", None, None]}, {"mass_kg": "heavy"}, {"plate_mm": "3 miles"}):
        assert "is no" in trial(holes=[["C", 3]], **wrong)["problem"], wrong


def test_members_without_a_common_side_are_said():
    found = trial(holes=[["A", 3], ["C", 3]])
    assert {f["words"] for f in found["faces"]} == {"front", "back"}
    frame = gate().frame
    brace = replace(frame.member("D"), id="E", direction=(0.6, 0.8, 0.0), on_lattice=False)
    found = trial(replace(frame, members=(*frame.members, brace)), holes=[["A", 3], ["E", 3]])
    assert found["problem"].startswith("No side is common to these members")


def test_what_is_wrong_there_is_said_and_what_is_impossible_is_a_problem():
    crossing = trial(holes=[["C", 1]])  # where the lap with A is
    assert "is bolted to hole 2 of C, where the bolt through" in crossing["wrong"][0]
    assert "more than the whole height" in trial(holes=[["C", 3]], plate_mm=500)["problem"]
    assert trial()["problem"] == "Pick the holes that it is bolted to."
    with pytest.raises(ReconError, match="C has holes 1 to 13, not 99"):
        trial(holes=[["C", 98]])


def test_rows_of_fittings_say_where_they_are_and_draw_them_in_photos():
    frame = photographed()
    asked = {**EMPTY, "op": "fitting", "holes": [["C", 3], ["C", 5]], "face": [0, 0, -1]}
    state, _ = edit(State(frame), {**asked, "size_mm": [95, 67, 120], "plate_mm": 3})
    (row,) = fitting_rows(state.frame)
    assert (row["words"], row["at"], row["side"]) == ("castor F1", "holes 4 and 6 of C", "bottom")
    assert len(row["shapes"]["a.jpg"]) >= 7 and row["box"]["half"] == pytest.approx(
        np.array([95, 67, 120]) / 76.2
    )
