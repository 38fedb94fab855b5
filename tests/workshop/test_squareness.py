"""What is said of a built frame that is racked, and of members off their places."""

import numpy as np
import pytest

from recon.frame.lattice import canonical, transform
from recon.frame.model import Frame, Member
from recon.frame.squareness import OffPlace, Racked
from recon.geometry.lattice import rotations
from recon.workshop.audit.differences import audit_frame, audit_text
from recon.workshop.rigidity.frame_check import check_frame, report_text
from recon.workshop.squareness import squareness

EXACT = (0.01, 0.01, 0.01)


def rail(shift=(0.0, 0.0, 0.0), turn=(0.0, 0.0, 0.0), error=EXACT, holes=11):
    off = OffPlace(shift, turn, error, (0.05, 0.05, 0.05))
    return Member("R", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), holes, off_place=off)


def texts(*members, racked=None, pitch_mm=40.0):
    return [s.text for s in squareness(Frame(members, pitch_mm=pitch_mm, racked=racked))]


def test_a_rack_is_said_with_its_axis_only_where_it_is_more_than_its_error():
    assert texts(racked=Racked((-2.0, 0.2, 0.0), (0.1, 0.1, 0.1))) == [
        "Racked 2.0° (± 0.1°) about x: y and z meet at 92.0°."
    ]
    assert texts(racked=Racked((-2.0, 0.2, 0.0), (0.8, 0.1, 0.1))) == []


def test_a_member_within_the_play_of_its_bolts_is_in_its_place():
    assert texts(rail(shift=(0.0, 0.04, 0.0))) == []  # 1.6 mm
    assert texts(rail(shift=(0.0, 0.1, 0.0), error=(0.05, 0.05, 0.05))) == []  # hardly known
    assert texts(rail(shift=(0.3, 0.0, 0.0))) == []  # along itself: nothing crosses it


def test_a_member_off_its_place_is_said_in_mm_where_it_is_farthest_off_first():
    (text,) = texts(rail(shift=(0.0, 0.1, 0.0), turn=(0.0, 0.0, 0.5)))
    at_last = 40 * (0.1 + 5 * np.radians(0.5))
    assert text.startswith(f"R lies off its place by {at_last:.1f} mm (± ")
    assert "at hole 11, towards +y and by 2.3 mm" in text and text.endswith("at hole 1, towards +y.")


def test_without_a_pitch_lengths_are_in_pitches():
    (text,) = texts(rail(shift=(0.0, 0.0, -0.1)), pitch_mm=None)
    assert "by 0.10 pitches (± 0.01 pitches) at hole 1, towards -z" in text


@pytest.mark.parametrize("turn", rotations()[::5], ids=str)
def test_a_turned_frame_is_off_by_as_much_the_turned_way(turn):
    frame = Frame((rail(shift=(0.0, 0.1, 0.02)),), racked=Racked((2.0, 0.0, 0.5), EXACT), pitch_mm=40.0)
    moved = transform(frame, turn, (3, 1, 2))
    off, was = moved.members[0].off_place, frame.members[0].off_place
    assert np.allclose(off.shift, turn @ was.shift)
    # The angle between two axes of the racked frame is the same whatever they are called.
    axes = np.eye(3) + np.array([[0, 0.5, 0], [0.5, 0, 2.0], [0, 2.0, 0]]) * np.radians(1) / 2
    turned = turn @ axes @ turn.T
    under = [np.degrees(turned[:, i] @ turned[:, j]) for i, j in ((1, 2), (0, 2), (0, 1))]
    assert np.allclose(moved.racked.deg, under, atol=0.05)
    assert len(squareness(moved)) == len(squareness(frame)) == 3


def test_check_and_audit_say_it_and_the_verdict_stays():
    plain = Frame((Member("R", (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 11),), pitch_mm=40.0)
    built = Frame((rail(shift=(0.0, 0.1, 0.0)),), racked=Racked((0.0, 0.0, 1.0), EXACT), pitch_mm=40.0)
    report = check_frame(built)
    assert [f.kind for f in report.findings if f.kind == "squareness"] == ["squareness"] * 2
    assert "Out of square, as measured in the photos\n  - Racked 1.0°" in report_text(report)
    result = audit_frame(built, plain)
    assert result.verdict == audit_frame(plain, plain).verdict == "same"
    assert [d.members for d in result.squareness] == [(), ("R",)]
    assert "Out of square" in audit_text(result) and "Out of square" not in audit_text(
        audit_frame(plain, plain)
    )


def test_canonical_frames_keep_what_was_measured():
    built = Frame((rail(shift=(0.0, 0.1, 0.0)),), racked=Racked((0.0, 0.0, 1.0), EXACT))
    assert np.linalg.norm(canonical(built).members[0].off_place.shift) == pytest.approx(0.1)
    assert max(np.abs(canonical(built).racked.deg)) == 1.0
