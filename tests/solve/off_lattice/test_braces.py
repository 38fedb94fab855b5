"""Members off the lattice, on made-up photos of a small gate whose members are known."""

from functools import cache

import numpy as np
import pytest

from recon.frame.joints import collisions, find_joints
from recon.frame.model import Frame, Member
from recon.geometry.lattice import rotations
from recon.solve.evidence.along_line import along_line, lattice_openings
from recon.solve.evidence.candidate import Candidate, boxes
from recon.solve.evidence.occluders import occluders_of
from recon.solve.evidence.posed_photo import with_camera
from recon.solve.off_lattice.brace import as_member, off_lattice_hits, off_lattice_members
from recon.solve.off_lattice.braces import find_braces
from recon.solve.off_lattice.line_fit import adjusted_line
from recon.solve.off_lattice.lines import Line, line_openings, overlap_boxes
from recon.solve.off_lattice.pinned_lines import pinned_lines
from recon.solve.off_lattice.search import Search
from recon.solve.result.frame import end_of
from tests.solve.scenes import SIZE, camera_round, photo_of, scene_of, shoot

GATE = (
    Member("A", (0, 0, 0), (0, 0, 1), 14),
    Member("B", (8, 0, 0), (0, 0, 1), 14),
    Member("C", (-1, 1, 2), (1, 0, 0), 12),
    Member("D", (-1, 1, 11), (1, 0, 0), 11),
    Member("E", (1, -1, 1), (0, 1, 0), 6),
)
# Pinned to A at hole 3 and to B at hole 9: 8 across and 6 up, so 10 pitches apart; a hole past each pin.
BRACE = Member("F", (-0.8, -1, 2.4), (0.8, 0, 0.6), 13, on_lattice=False)
HALF = Member("G", (-1.5, -1, 12.37), (1, 0, 0), 11, on_lattice=False)  # half a hole along, 0.37 up
BLANK = np.full((SIZE[1], SIZE[0], 3), 128, np.uint8)


def as_candidate(member, evidence=100.0):
    axis = int(np.abs(member.direction).argmax())
    nothing = np.zeros(member.holes)
    return Candidate(
        axis, np.array(member.first, float), member.holes, evidence, nothing, nothing.astype(int)
    )


CANDIDATES = [as_candidate(m) for m in GATE]


@cache
def photos_of(members, seed=0, clutter=150, azimuths=(-60, -120, 50)):
    frame = Frame(members)
    return [
        photo_of(shoot(frame, camera_round(frame, a, 15 + 5 * i), seed + i, clutter=clutter), f"photo {i}")
        for i, a in enumerate(azimuths)
    ]


def found_in(members, candidates=CANDIDATES, **how):
    photos = photos_of(members, **how)
    return find_braces(scene_of(photos, candidates, 1.0, [BLANK] * len(photos)))


def ends_of(b):
    return sorted(np.round([b.first, b.first + (b.holes - 1) * b.direction], 6).tolist())


def test_pins_three_four_five_apart_are_listed_and_pins_of_one_member_are_not():
    lines = pinned_lines(CANDIDATES, 1.0)
    at = np.linalg.norm(np.cross(lines.first - [0, -1, 3], [0.8, 0, 0.6]), axis=1)
    same = (at < 1e-6) & (np.abs(lines.direction @ [0.8, 0, 0.6]) > 1 - 1e-9)
    assert same.sum() == 1 and lines.steps[same] == 10 and lines.normal[same] == 1
    assert not len(pinned_lines(CANDIDATES[:1], 1.0).steps)


def test_every_listed_line_has_its_pins_one_width_off_holes_of_two_members():
    lines = pinned_lines(CANDIDATES, 1.0)
    holes = np.concatenate([m.hole_centres() for m in GATE])
    for k in (np.zeros(len(lines.steps)), lines.steps):
        pin = lines.first + k[:, None] * lines.direction
        off = np.abs(pin[:, None] - holes[None]) - np.eye(3)[lines.normal][:, None]
        assert (np.abs(off).max(2).min(1) <= 0.051).all()  # half the play of 0.1 at each end


def test_a_pinned_brace_is_found_exactly_and_its_pins_are_joints():
    braces = found_in((*GATE, BRACE))
    assert len(braces) == 1
    b = braces[0]
    assert ends_of(b) == pytest.approx(np.array(sorted([list(BRACE.first), BRACE.last.tolist()])), abs=1e-6)
    assert b.pins == 2 and b.hits > 15
    member = as_member(b, "F", 1.0)
    laps = {(j.a, j.a_hole) for j in find_joints((*GATE, member)) if "F" in (j.a, j.b)}
    assert laps == {("A", 3), ("B", 9)} and not collisions((*GATE, member))


def test_cameras_and_members_are_left_as_they_were():
    photos = photos_of((*GATE, BRACE))
    before = [(p.camera, p.free.copy()) for p in photos], [s.first.copy() for s in CANDIDATES]
    assert find_braces(scene_of(photos, CANDIDATES, 1.0, [BLANK] * 3))
    for p, (camera, free) in zip(photos, before[0]):
        assert p.camera is camera and (p.free == free).all()
    assert all((s.first == f).all() for s, f in zip(CANDIDATES, before[1]))


def test_a_member_half_a_hole_off_is_found_where_it_is():
    braces = found_in((*GATE, HALF))
    assert len(braces) == 1
    got = np.array(ends_of(braces[0]))
    assert np.abs(got - sorted([list(HALF.first), HALF.last.tolist()])).max() < 0.05
    assert np.abs(braces[0].direction).max() == 1


def test_a_slanted_member_that_no_two_pins_hold_is_found_where_it_is():
    angle = np.radians(23)
    slanted = Member("H", (-1.27, -1, 5.34), (np.cos(angle), 0, np.sin(angle)), 12, on_lattice=False)
    braces = found_in((*GATE, slanted))
    assert len(braces) == 1 and braces[0].pins < 2
    assert (
        np.abs(np.array(ends_of(braces[0])) - sorted([list(slanted.first), slanted.last.tolist()])).max()
        < 0.05
    )


def test_brace_and_half_hole_member_are_found_together():
    assert sorted(b.holes for b in found_in((*GATE, BRACE, HALF))) == [11, 13]


@pytest.mark.parametrize("clutter", [0, 1200])
def test_nothing_is_found_where_there_is_nothing(clutter):
    assert not found_in(GATE, seed=3, clutter=clutter)


def test_one_photo_shows_a_pinned_brace_but_is_not_trusted_with_half_a_hole():
    braces = found_in((*GATE, BRACE, HALF), azimuths=(-60,))
    assert [b.holes for b in braces] == [13]


@pytest.mark.parametrize("left_out", range(5))
def test_a_lattice_member_that_the_reading_missed_is_not_called_off_the_lattice(left_out):
    candidates = [s for i, s in enumerate(CANDIDATES) if i != left_out]
    assert not found_in(GATE, candidates)


def test_a_brace_where_a_member_is_in_the_way_is_refused():
    through = as_candidate(Member("X", (4, -4, 6), (0, 1, 0), 8))
    assert not found_in((*GATE, BRACE), [*CANDIDATES, through])


@pytest.mark.parametrize("turn", [7, 18])
def test_any_turn_of_the_lattice_gives_the_same_brace(turn):
    Q = rotations()[turn]
    turned = [with_camera(p, p.camera.posed(p.camera.R @ Q.T, p.camera.t)) for p in photos_of((*GATE, BRACE))]
    candidates = [
        as_candidate(
            Member(
                m.id,
                tuple(Q @ (m.first if min(Q @ m.direction) >= 0 else m.last)),
                tuple(np.abs(Q @ m.direction)),
                m.holes,
            )
        )
        for m in GATE
    ]
    braces = find_braces(scene_of(turned, candidates, 1.0, [BLANK] * 3))
    assert len(braces) == 1
    ends = np.array([braces[0].first, braces[0].first + (braces[0].holes - 1) * braces[0].direction]) @ Q
    true = np.array(sorted([list(BRACE.first), BRACE.last.tolist()]))
    assert np.array(sorted(ends.tolist())) == pytest.approx(true, abs=1e-6)


def test_along_an_axis_the_evidence_is_that_for_a_candidate():
    photos = photos_of(GATE)
    others = occluders_of(CANDIDATES[1:], 1.0)
    line = Line(np.zeros(3), np.array([0.0, 0, 1]), np.array([0.0, 1, 0]))
    found = along_line(photos, line_openings(line, 14, 1.0), others, only_free=True)
    along = along_line(photos, lattice_openings(2, np.zeros(3), 14, 1.0), others)
    assert (
        found.llr.sum((1, 2)) == pytest.approx(along.llr.sum((1, 2)))
        and found.visible.sum() == along.visible.sum() > 20
    )


def test_how_deep_a_brace_lies_in_a_box_agrees_with_the_frames_rule():
    rng = np.random.default_rng(1)
    for _ in range(40):
        c = rng.integers(3)
        u = np.insert(np.array([0.6, 0.8]), c, 0.0)
        line = Line(rng.uniform(-3, 3, 3), u, np.eye(3)[c])
        box = Member("box", tuple(rng.uniform(-2, 2, 3)), tuple(np.eye(3)[rng.integers(3)]), 4)
        lo, hi = boxes([as_candidate(box)], 1.0)
        depth = overlap_boxes(line, 6, 1.0, lo, hi)[0]
        found = collisions([box, Member("brace", tuple(line.first), tuple(u), 6, on_lattice=False)])
        assert (found[0][2] == pytest.approx(depth)) if depth > 0.06 else (not found or found[0][2] < 0.061)


def test_a_line_a_little_off_is_brought_back_by_its_openings():
    photos = photos_of((*GATE, BRACE), clutter=0)
    search = Search(scene_of(photos, CANDIDATES))
    a = np.arctan2(0.6, 0.8) + np.radians(0.3)
    line = Line(
        np.array(BRACE.first) + [0.04, 0, -0.03], np.array([np.cos(a), 0, np.sin(a)]), np.array([0, 1.0, 0])
    )
    for _ in range(2):
        line = adjusted_line(photos, line, search.evidence(line, 13), 1.0)
    assert np.abs(line.first - BRACE.first).max() < 0.02 and line.direction @ BRACE.direction > np.cos(
        np.radians(0.1)
    )


def test_braces_become_members_with_ends_and_doubt():
    photos = photos_of((*GATE, BRACE))
    braces = find_braces(scene_of(photos, CANDIDATES, 1.0, [BLANK] * 3))
    (m,) = off_lattice_members(braces, 1.0, ["F"], end_of)
    assert m.id == "F" and not m.on_lattice and m.holes == 13 and 0.3 < m.confidence <= 0.99
    assert {e.state for e in m.ends} <= {"seen", "hidden", "cut"}
    on_brace = photos[0].camera.project(m.hole_centres() - [0, 0.5, 0])
    o = photos[0].openings[off_lattice_hits(scene_of(photos, CANDIDATES), photos[0], [m])]
    off = np.hypot(o["x"][:, None] - on_brace[:, 0], o["y"][:, None] - on_brace[:, 1]).min(1)
    assert (off < 2).sum() >= 8
