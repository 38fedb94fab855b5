"""Fittings: their place in space, their part of the frame file, and that they go along with a frame."""

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recon.errors import ReconError
from recon.frame.files import frame_from_dict, frame_to_dict, frame_to_text
from recon.frame.fitting import Fitting
from recon.frame.fitting_boxes import fitting_box, fitting_boxes
from recon.frame.lattice import canonical, mirrored, transform
from recon.frame.model import Frame, Member, rename
from recon.geometry.lattice import rotations

DOWN = (0.0, 0.0, -1.0)
RAIL = Member("A", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 9)
OTHER = Member("B", (0.0, 4.0, 0.0), (1.0, 0.0, 0.0), 9)
CASTOR = Fitting(
    "F1", "castor", (("A", 1), ("A", 3)), DOWN, (100, 70, 120), 4.0, "swivel 80", 0.6, (10.0, -5.0)
)
SHELF = Fitting(
    "F2", "shelf", (("A", 0), ("A", 8), ("B", 0), ("B", 8)), (0.0, 0.0, 1.0), (360, 200, 18), 18.0
)
CART = Frame((RAIL, OTHER), pitch_mm=40.0, fittings=(CASTOR, SHELF))


def corners(box):
    signs = np.array([[a, b, c] for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)])
    found = box.centre + (signs * box.half) @ box.axes
    return found[np.lexsort(np.round(found, 6).T)]


def test_a_fitting_lies_on_the_face_between_its_holes():
    boxes = fitting_boxes(CART)
    low, high = corners(boxes["F2"]).min(axis=0), corners(boxes["F2"]).max(axis=0)
    assert np.allclose(low, [-0.5, -0.5, 0.5]) and np.allclose(high, [8.5, 4.5, 0.95])
    low, high = corners(boxes["F1"]).min(axis=0), corners(boxes["F1"]).max(axis=0)
    # out x along: (0, 0, -1) x (1, 0, 0) = (0, -1, 0) is "across", so 5 mm back are towards +y
    assert np.allclose(low, [2.25 - 1.25, 0.125 - 0.875, -3.5]) and np.allclose(high, [3.5, 1.0, -0.5])


def test_without_a_pitch_a_fitting_has_no_box():
    assert fitting_boxes(replace(CART, pitch_mm=None)) == {}


@given(st.integers(0, 23), st.tuples(*[st.integers(-9, 9)] * 3), st.booleans())
def test_boxes_turn_along_with_the_frame(k, shift, mirror):
    turn = rotations()[k]
    frame = mirrored(CART) if mirror else CART
    flip = np.diag([-1, 1, 1]) if mirror else np.eye(3)
    moved = transform(frame, turn, shift)
    for id, box in fitting_boxes(CART).items():
        expected = corners(box) @ flip.T @ turn.T + shift
        expected = expected[np.lexsort(np.round(expected, 6).T)]
        assert np.allclose(corners(fitting_boxes(moved)[id]), expected, atol=1e-6)


@given(st.integers(0, 23))
def test_the_canonical_frame_has_its_fittings_where_they_were(k):
    turned = transform(CART, rotations()[k], (3, -2, 5))
    one, other = canonical(CART), canonical(turned)
    assert one.fittings[0].members[0] in {m.id for m in one.members}
    sizes = {id: np.ptp(corners(box), axis=0) for id, box in fitting_boxes(one).items()}
    for id, box in fitting_boxes(other).items():
        assert np.allclose(sorted(np.ptp(corners(box), axis=0)), sorted(sizes[id]))
    # The distance from a castor's box to every member's middle is the same in any pose.
    for frame in (one, other):
        centre = fitting_boxes(frame)["F1"].centre
        far = sorted(np.linalg.norm((np.array(m.first) + m.last) / 2 - centre) for m in frame.members)
        home = fitting_boxes(CART)["F1"].centre
        known = sorted(np.linalg.norm((np.array(m.first) + m.last) / 2 - home) for m in CART.members)
        assert np.allclose(far, known)


def test_fittings_keep_to_their_members_when_these_get_other_labels():
    named = rename(CART, {"A": "X", "B": "Y"})
    assert named.fittings[1].holes == (("X", 0), ("X", 8), ("Y", 0), ("Y", 8))
    assert np.allclose(corners(fitting_boxes(named)["F2"]), corners(fitting_boxes(CART)["F2"]))


# The frame file


def test_fittings_come_back_from_the_frame_file():
    assert frame_from_dict(json.loads(frame_to_text(CART))).fittings == CART.fittings


def test_a_frame_without_fittings_has_no_such_field_in_its_file():
    assert "fittings" not in frame_to_dict(replace(CART, fittings=()))


def file_with(**changes):
    data = frame_to_dict(CART)
    data["fittings"][0] |= changes
    return data


@pytest.mark.parametrize(
    "changes, words",
    [
        ({"kind": "hook"}, "fitting F1: 'kind' is \"hook\""),
        ({"holes": []}, "fitting F1: 'holes'"),
        ({"holes": [{"member": "Q", "hole": 1}]}, "bolted to 'Q', and there is no such member"),
        ({"holes": [{"member": "A", "hole": 1}] * 2}, "hole 1 of A is named twice"),
        ({"holes": [{"member": "A", "hole": 1.5}]}, "counted from 0"),
        ({"face": [0, 0, 0]}, "'face' is zero"),
        ({"face": [0, 0, -2]}, "'face' is 2 long"),
        ({"size_mm": [100, 0, 120]}, "above 0 and at most 10000 mm"),
        ({"plate_mm": 130}, "'plate_mm' is 130, more than its height of 120 mm"),
        ({"id": "A"}, "a fitting is called 'A', as is another part of the frame"),
        ({"id": "F2"}, "a fitting is called 'F2'"),
        ({"mass_kg": -1}, "0 to 10000 kg"),
        ({"colour": "red"}, "colour"),
    ],
)
def test_what_makes_no_fitting_is_refused_in_words(changes, words):
    with pytest.raises(ReconError) as caught:
        frame_from_dict(file_with(**changes), "cart.json")
    assert words in str(caught.value) and str(caught.value).startswith("cart.json: ")


def test_labels_that_are_left_out_are_given():
    data = file_with()
    del data["fittings"][0]["id"], data["fittings"][0]["mass_kg"], data["fittings"][0]["name"]
    fitting = frame_from_dict(data).fittings[0]
    assert (fitting.id, fitting.mass_kg, fitting.name, fitting.article) == ("F1", None, "", "castor")


def test_a_hole_beyond_the_ends_is_kept_for_the_checks_to_name():
    data = file_with(holes=[{"member": "A", "hole": 12}, {"member": "A", "hole": -1}])
    frame = frame_from_dict(data)
    assert frame.fittings[0].holes == (("A", 12), ("A", -1))
    assert fitting_box(frame.fittings[0], frame).centre[0] == pytest.approx(5.75)
