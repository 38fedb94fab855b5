"""Every kind of finding on a small frame that has it, and none on frames that are sound."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from recon.bench.random_frames import hole_of, random_frame
from recon.errors import ReconError
from recon.frame.files import load_frame
from recon.frame.fitting import Fitting
from recon.frame.model import Frame, Joint, Member
from recon.frame.stock import load_stocks
from recon.workshop.hardware.bolts import find_bolts
from recon.workshop.rigidity.bolt_conflicts import crossing_bolts
from recon.workshop.rigidity.frame_check import check_frame, joints_between, report_text
from recon.workshop.solids import bolt_ends, boxes_of, member_boxes, met_on_the_way, overlaps
from tests.workshop.frames import X, Y, Z, corner, framed, gate, member

CASES, STOCKS = Path(__file__).parents[2] / "data" / "workshop", load_stocks()


def kinds(frame, **options):
    return [f.kind for f in check_frame(frame, **options).findings]


def texts(frame, kind, **options):
    return [f.text for f in check_frame(frame, **options).findings if f.kind == kind]


def test_a_sound_frame_has_no_findings():
    report = check_frame(corner())
    assert report.findings == () and report.additions == ()
    assert report_text(report) == "Nothing is wrong with members and bolts, and nothing racks or folds."


def test_members_in_one_anothers_room_are_reported_with_the_depth():
    frame = framed(member("A", (0, 0, 0), Z, 8), member("B", (-2, -0.75, 3), X, 6))
    assert texts(frame, "collision") == ["A and B take the same room, 0.25 pitches deep."]


def test_loose_members_are_reported_by_what_they_touch():
    frame = gate()
    far = replace(frame, members=(*frame.members, member("F", (30, 0, 0), Z, 5)))
    assert "F touches no other member." in texts(far, "loose")
    off = member("F", (0.5, 2, 5), Z, 5)  # lies on the sill, half a hole off
    assert "F touches E, but no holes lie on one axis there, so no bolt can hold it." in texts(
        replace(frame, members=(*frame.members, off)), "loose"
    )
    unbolted = replace(
        frame, joints=tuple(replace(j, bolt="none") if "E" in (j.a, j.b) else j for j in frame.joints)
    )
    assert texts(unbolted, "loose") == ["E is held by no bolt."]
    assert texts(unbolted, "no bolt") == ["No bolt joins A and E: hole 6 of A on hole 2 of E."]


def test_parts_that_no_bolt_joins_are_reported():
    a, b = gate(), gate()
    moved = tuple(
        replace(m, id=m.id + "2", first=(m.first[0], m.first[1] + 20, m.first[2])) for m in b.members
    )
    both = framed(*a.members, *moved)
    assert texts(both, "pieces") == [
        "No bolt joins these 2 parts of the frame: A, B, C, D, E; A2, B2, C2, D2, E2."
    ]
    assert "pieces" not in kinds(a)


def test_a_lap_that_the_file_leaves_out_is_a_lap_without_a_bolt():
    frame = gate()
    assert texts(replace(frame, joints=frame.joints[1:]), "no bolt") == [
        "No bolt joins A and C: hole 3 of A on hole 2 of C."
    ]


def test_bolts_through_one_hole_in_two_directions_cross():
    frame = framed(member("A", (0, 0, 0), Z, 8), member("B", (0, -1, 3), X, 6), member("C", (-1, 0, 3), Y, 6))
    assert texts(frame, "bolts cross") == [
        (
            "Two bolts cross in hole 4 of A: the one through hole 4 of A on hole 1 of B and the one through "
            "hole 4 of A on hole 1 of C; leave one out or move a member by a hole."
        )
    ]
    one = replace(frame, joints=tuple(replace(j, bolt="none") if j.b == "C" else j for j in frame.joints))
    assert texts(one, "no bolt") == [
        (
            "No bolt joins A and C: hole 4 of A on hole 1 of C; the bolt through hole 4 of A on hole 1 of B "
            "is in its way."
        )
    ]


def test_the_bolts_of_a_three_way_lap_miss_each_other():
    assert all(j.three_way for j in corner().joints)
    assert crossing_bolts(find_bolts(corner())) == []
    # With all three through one hole's height there are none of these laps, but two bolts that cross.
    level = framed(member("A", (0, 0, 0), Z, 6), member("B", (0, 1, 2), X, 6), member("C", (1, 0, 2), Y, 6))
    assert "bolts cross" in kinds(level) or "collision" in kinds(level)


def test_a_member_in_the_place_of_a_nut_is_reported_with_the_longer_bolt():
    # D lies on the back of A, unbolted there, where the nut of the bolt through A and B would be.
    frame = framed(member("A", (0, 0, 0), Z, 8), member("B", (0, -1, 3), X, 6), member("D", (0, 1, 0), Z, 8))
    assert texts(frame, "bolt end") == [
        (
            "There is no room for an end of the bolt through hole 4 of A on hole 1 of B: D lies there; "
            "a longer bolt would go through hole 4 of D as well."
        )
    ]


def test_ends_of_two_bolts_in_an_inner_corner_meet():
    # The bolts through A and B and through C and D end in one corner, half a pitch from one another.
    frame = framed(
        member("A", (0, 0, 0), Z, 6),
        member("B", (0, -1, 3), X, 4),
        member("C", (1, 1, 0), Z, 6),
        member("D", (2, 1, 3), Y, 4),
    )
    assert texts(frame, "bolt end") == [
        (
            "The ends of the bolts through hole 4 of A on hole 1 of B and through hole 4 of C on hole 1 of D "
            "meet."
        )
    ]


def test_a_frame_that_racks_is_reported_with_what_stops_it():
    report = check_frame(gate())
    assert [f.kind for f in report.findings] == ["motion", "motion"]
    assert report.additions and report.additions[-1].left == 0
    text = report_text(report)
    assert (
        "Ways to move that are not wanted\n"
        "  1. E turns about a front-to-back axis; 1 bolt turns: hole 6 of A on hole 2 of E.\n"
        "  2. " in text
    )
    assert re.search(r"nothing racks any more but for the play of all bolts: at most .* at the top\.$", text)


def test_motions_that_are_wanted_are_counted_and_not_reported():
    frame = gate()
    joints = joints_between(frame, [("A", "E")])
    assert kinds(frame, may_turn=joints) == ["motion"]
    assert "1 way to move is wanted" in report_text(check_frame(frame, joints))
    assert kinds(frame, may_turn=frame.joints) == []


def test_pairs_that_no_bolt_joins_are_refused():
    with pytest.raises(ReconError, match="no member 'Q' in the frame"):
        joints_between(gate(), [("A", "Q")])
    with pytest.raises(ReconError, match="No bolt joins A and B; name two members that a bolt joins"):
        joints_between(gate(), [("A", "B")])


@pytest.mark.parametrize("seed", range(10))
def test_random_sound_frames_have_no_findings_but_motions_and_laps_left_open(seed):
    frame = random_frame(seed)
    assert set(kinds(frame, hole=hole_of(frame))) <= {"motion", "no bolt", "stands"}


def test_a_frame_that_would_stand_on_ends_of_bolts_is_reported():
    # Skids with cross members on them, their bolts upright: nine ends lie below the skids.
    frame = load_frame(CASES / "sledge.json", STOCKS)
    (text,) = texts(frame, "stands")
    assert text.startswith("The frame would stand on ends of the bolts through hole 2 of A on hole 2 of C, ")
    assert text.endswith("as thick as a head or nut with its washer.") and "2 more" in text
    assert texts(frame, "stands", z_up=False) == []
    feet = tuple(
        Fitting(f"F{k}", "foot", ((id, hole),), (0.0, 0.0, -1.0), (40, 40, 20), 5.0)
        for k, (id, hole) in enumerate([("A", 3), ("A", 12), ("B", 3), ("B", 12)], 1)
    )
    assert texts(replace(frame, fittings=feet), "stands") == []
    assert texts(gate(), "stands") == []


# Boxes: against points strewn in them


def strewn(boxes, k, count, rng):
    return boxes.centre[k] + (rng.uniform(-1, 1, (count, 3)) * boxes.half[k]) @ boxes.axes[k]


def inside(points, boxes, k):
    return (np.abs((points - boxes.centre[k]) @ boxes.axes[k].T) < boxes.half[k]).all(axis=1)


@pytest.mark.parametrize("straight", [True, False])
def test_boxes_meet_on_their_way_where_points_in_them_say_so(straight):
    rng = np.random.default_rng(int(straight))
    n = 30
    turns = Rotation.random(n, rng=rng).as_matrix()
    rows = [
        (rng.uniform(-4, 4, 3), np.eye(3) if straight or k % 3 == 0 else turns[k], rng.uniform(0.2, 2, 3))
        for k in range(n)
    ]
    boxes = boxes_of(rows)
    direction = np.array([0.0, 0.0, 1.0]) if straight else np.array([0.6, 0.0, 0.8])
    met, still = met_on_the_way(boxes, boxes, direction), overlaps(boxes, boxes)
    hits = 0
    for i in range(n):
        points = strewn(boxes, i, 200, rng)
        for k in range(n):
            if i == k:
                continue
            way = points[None] + np.linspace(0, 14, 60)[:, None, None] * direction
            touched = inside(way.reshape(-1, 3), boxes, k)
            if touched.any():
                # a sampled hit may be shallower than the play; it must then be at the rim
                hits += 1
                assert met[i, k] or touched.mean() < 2e-3
            if inside(points, boxes, k).mean() > 0.02:
                assert still[i, k]
            if still[i, k]:
                assert met[i, k]
    assert hits > 60
    # What counts as free is not hit (above); what counts as hit does not do so for all pairs.
    assert 0.1 < met.mean() < 0.9


def test_touching_members_do_not_meet_and_slide_along_one_another():
    boxes = member_boxes(
        [Member("A", (0, 0, 0), Z, 8), Member("B", (0, -1, 0), Z, 8), Member("C", (0, -1, 9), Z, 3)]
    )
    assert not overlaps(boxes, boxes)[np.triu_indices(3, 1)].any()
    up = met_on_the_way(boxes, boxes, Z)
    assert not up[0].any(where=[False, True, True]) and up[1, 2] and not up[2, 1]


def test_the_ends_of_a_bolt_lie_on_both_sides_of_its_lap():
    frame = framed(member("A", (0, 0, 0), Z, 8), member("B", (0, -1, 3), X, 6))
    ends = bolt_ends(find_bolts(frame), hole=0.3)
    assert np.sort(ends.centre[:, 1]) == pytest.approx([-1.5 - 0.7 * 0.27, 0.5 + 0.7 * 0.27])
    assert ends.centre[:, [0, 2]] == pytest.approx(np.array([[0, 3], [0, 3]]))


def test_joints_of_a_frame_by_hand_may_be_any_bolts():
    frame = gate()
    frame = Frame(frame.members, (Joint("A", 2, "C", 1, (0.0, -1.0, 0.0)),), 38.1)
    assert set(kinds(frame)) == {"loose", "no bolt", "motion"}
