from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from recon.frame.joints import find_joints
from recon.frame.lattice import (
    LINE_TOL,
    align,
    alignments,
    canonical,
    mirrored,
    on_lattice,
    on_one_line,
    overlap,
    symmetries,
    transform,
)
from recon.frame.model import End, Frame, Member, Photo, as_tuple, flipped, rename, reversed_member
from recon.geometry.camera import Camera
from recon.geometry.lattice import rotations, upright_rotations
from tests.growing import grow_frame

SEEDS = st.integers(0, 10**6)
TURNS = st.sampled_from(list(rotations()))
SHIFTS = st.tuples(*[st.integers(-50, 50)] * 3)
WIDTHS = st.sampled_from([1.0, 1.5, 1.75, 2.0, 0.8])
OFFS = st.floats(0, 0.6).filter(lambda off: min(abs(off - 0.05), abs(off - LINE_TOL)) > 1e-6)


def sticks(*rows):
    """A frame of (first, direction, holes) rows."""
    members = [
        Member(f"m{i}", tuple(map(float, f)), tuple(map(float, d)), n) for i, (f, d, n) in enumerate(rows)
    ]
    return Frame(tuple(members), find_joints(members), 38.1)


def disguised(frame, turn, shift, random):
    """The frame as another reading might give it: elsewhere, other labels, members in another order and
    counted from other ends."""
    frame = transform(frame, turn, shift)
    back = {m.id: m.holes - 1 for m in frame.members if random.random() < 0.5}
    members = [reversed_member(m) if m.id in back else m for m in frame.members]
    joints = [
        replace(
            j,
            a_hole=back[j.a] - j.a_hole if j.a in back else j.a_hole,
            b_hole=back[j.b] - j.b_hole if j.b in back else j.b_hole,
        )
        for j in frame.joints
    ]
    joints = [flipped(j) if random.random() < 0.5 else j for j in joints]
    random.shuffle(members)
    random.shuffle(joints)
    return rename(
        replace(frame, members=tuple(members), joints=tuple(joints)),
        {m.id: f"x{i}" for i, m in enumerate(members)},
    )


# Turns and shifts


@given(SEEDS, TURNS, SHIFTS)
@settings(max_examples=20)
def test_a_moved_frame_keeps_its_laps(seed, turn, shift):
    frame = transform(grow_frame(seed), turn, shift)
    found = find_joints(frame.members)
    assert {(j.a, j.a_hole, j.b, j.b_hole, j.axis) for j in found} == {
        (j.a, j.a_hole, j.b, j.b_hole, j.axis) for j in frame.joints
    }


@given(TURNS, SHIFTS, SEEDS)
@settings(max_examples=30)
def test_cameras_see_a_moved_frame_where_they_saw_it(turn, shift, seed):
    R = Rotation.random(rng=np.random.default_rng(seed)).as_matrix()
    camera = Camera(1500.0, 1.0, 2.0, R=R, t=np.array([1.0, 2.0, 40.0]))
    frame = replace(
        grow_frame(seed, 4),
        photos=(Photo("a.jpg", (640, 480), camera=camera), Photo("b.jpg", (640, 480), False)),
    )
    moved = transform(frame, turn, shift)
    for before, after in zip(frame.members, moved.members):
        now = moved.photos[0].camera
        assert after.last @ now.R.T + now.t == pytest.approx(before.last @ R.T + camera.t)
    assert moved.photos[1] == frame.photos[1]


# Canonical form


@settings(max_examples=80)
@given(SEEDS, WIDTHS, TURNS, SHIFTS, st.randoms(use_true_random=False))
def test_any_turn_and_shift_gives_the_same_canonical_frame(seed, width, turn, shift, random):
    frame = grow_frame(seed, random.randint(1, 10), width)
    assert canonical(disguised(frame, turn, shift, random)) == canonical(frame)


@settings(max_examples=30)
@given(SEEDS, TURNS, st.tuples(*[st.sampled_from([0.3125, -7.123456789, 1 / 3, 0.0])] * 3))
def test_a_shift_by_part_of_a_pitch_gives_the_same_canonical_frame(seed, turn, shift):
    frame = grow_frame(seed, 6)
    assert canonical(transform(frame, turn, shift)) == canonical(frame)


@settings(max_examples=30)
@given(SEEDS, WIDTHS)
def test_the_canonical_frame_is_its_own(seed, width):
    once = canonical(grow_frame(seed, 8, width))
    assert canonical(once) == once


@settings(max_examples=30)
@given(SEEDS, st.integers(0, 3), SHIFTS, st.randoms(use_true_random=False))
def test_with_z_up_the_four_upright_turns_give_the_same_frame(seed, quarter, shift, random):
    frame = grow_frame(seed)
    upright = upright_rotations()
    same = canonical(disguised(frame, upright[quarter], shift, random), upright)
    assert same == canonical(frame, upright)
    heights = np.concatenate([m.hole_centres()[:, 2] for m in frame.members])
    assert max(m.last[2] for m in same.members) == pytest.approx(np.ptp(heights))


@settings(max_examples=60)
@given(SEEDS)
def test_a_mirrored_frame_is_another_unless_a_turn_undoes_the_mirror(seed):
    frame = grow_frame(seed, 6)
    mirror = mirrored(frame)
    holes = [_hole_set(transform(mirror, turn)) for turn in rotations()]
    own_mirror_image = _hole_set(frame) in holes
    assert (canonical(mirror) == canonical(frame)) == own_mirror_image


def _hole_set(frame):
    """What is drilled where, without any order: each member as the set of its holes, shifted to 0."""
    low = np.min([m.hole_centres().min(axis=0) for m in frame.members], axis=0)
    return frozenset(
        frozenset(map(tuple, np.round(m.hole_centres() - low).astype(int).tolist())) for m in frame.members
    )


def test_a_right_handed_corner_is_not_a_left_handed_one():
    right = sticks(((0, 0, 0), (0, 0, 1), 4), ((0, -1, 1), (1, 0, 0), 5), ((-1, 0, 2), (0, 1, 0), 6))
    assert canonical(mirrored(right)) != canonical(right)
    cross = sticks(((0, 0, 0), (0, 0, 1), 3), ((-1, -1, 1), (1, 0, 0), 3))
    assert canonical(mirrored(cross)) == canonical(cross)


@settings(max_examples=30)
@given(SEEDS, TURNS, SHIFTS, st.randoms(use_true_random=False))
def test_what_is_told_of_the_members_goes_along(seed, turn, shift, random):
    frame = grow_frame(seed, 5)
    ends = (End("seen"), End("hidden", 3))
    told = replace(
        frame,
        members=tuple(replace(m, ends=ends, confidence=0.5 + i / 20) for i, m in enumerate(frame.members)),
    )
    # Two equal answers of a symmetric frame are told apart by what was seen, so this holds for those as well.
    assert canonical(disguised(told, turn, shift, random)) == canonical(told)


def test_joints_of_the_canonical_frame_are_those_found_in_it():
    for seed in range(20):
        frame = canonical(grow_frame(seed, 10))
        assert frame.joints == find_joints(frame.members)


def test_an_empty_frame_is_canonical():
    assert canonical(Frame(())) == Frame(())


# Symmetries: the orders of the rotation groups D4 (square bar), D2, C2 and C1.


@pytest.mark.parametrize(
    "frame, count",
    [
        (sticks(((0, 0, 0), (0, 0, 1), 5)), 8),
        (
            sticks(((0, 0, 0), (0, 0, 1), 5), ((-2, -1, 2), (1, 0, 0), 5)),
            4,
        ),  # half turns about y and both diagonals
        (sticks(((0, 0, 0), (0, 0, 1), 5), ((-1, -1, 1), (1, 0, 0), 5)), 2),  # a half turn about one diagonal
        (sticks(((0, 0, 0), (0, 0, 1), 5), ((-1, -1, 1), (1, 0, 0), 6)), 1),
        (sticks(*[((x, y, 0), (0, 0, 1), 5) for x in (0, 6) for y in (0, 6)]), 8),
    ],
)
def test_symmetry_counts(frame, count):
    assert len(symmetries(frame)) == count


@settings(max_examples=20)
@given(SEEDS, TURNS, SHIFTS)
def test_a_turn_does_not_change_the_symmetry_count(seed, turn, shift):
    frame = grow_frame(seed, 3)
    assert len(symmetries(transform(frame, turn, shift))) == len(symmetries(frame))


# Snapping


@pytest.mark.parametrize("width", [1.0, 1.5])
def test_grown_frames_are_on_the_lattice(width):
    for seed in range(10):
        assert on_lattice(grow_frame(seed, 10, width).members).all()


def test_a_brace_and_a_half_hole_offset_are_off_the_lattice():
    frame = grow_frame(3, 6)
    brace = Member("x", (40.0, 0, 0), (0.6, 0.8, 0), 6)
    offset = Member("y", (50.0, 0.5, 0), (0, 0, 1.0), 6)
    assert on_lattice([*frame.members, brace, offset]).tolist() == [True] * 6 + [False, False]


# One line


@given(SEEDS, st.integers(0, 2), OFFS, st.floats(-9, 9), TURNS)
def test_members_on_one_line_overlap_by_the_holes_that_they_share(seed, axis, off, along, turn):
    """A member and the same one shifted along itself and off its line, however the two stand and are
    counted."""
    rng = np.random.default_rng(seed)
    way, side = np.eye(3)[axis], np.eye(3)[(axis + 1) % 3]
    a = Member("A", tuple(rng.integers(-9, 9, 3).astype(float)), tuple(way), 8)
    b = replace(a, first=as_tuple(np.array(a.first) + along * way + off * side))
    for pair in ((a, b), (b, a), (a, reversed_member(b))):
        one, other = transform(Frame(pair), turn).members
        assert on_one_line(one, other) == (off <= LINE_TOL)
        assert on_one_line(one, other, off=0.05) == (off <= 0.05)
        shared = max(0.0, 8 - abs(along)) if off <= LINE_TOL else 0.0
        assert overlap(one, other) == pytest.approx(shared)


def test_a_brace_is_not_on_the_line_of_a_member_along_an_axis():
    post = Member("A", (0.0, 0, 0), (0, 0, 1.0), 8)
    assert not on_one_line(post, Member("B", (0.0, 0, 0), (0.6, 0, 0.8), 8))


# Alignment


@settings(max_examples=60)
@given(SEEDS, WIDTHS, TURNS, SHIFTS, st.randoms(use_true_random=False))
def test_two_readings_of_one_frame_are_laid_on_each_other(seed, width, turn, shift, random):
    frame = grow_frame(seed, 8, width)
    other = disguised(frame, turn, np.add(shift, 0.37), random)
    best = align(frame, other)
    assert len(best.pairs) == len(frame.members)
    laid = transform(frame, best.turn, best.shift)
    for i, j in best.pairs:
        ends = {as_tuple(np.round(p, 6)) for p in (laid.members[i].first, laid.members[i].last)}
        assert ends == {as_tuple(np.round(p, 6)) for p in (other.members[j].first, other.members[j].last)}
    assert best.shared == sum(m.holes for m in frame.members)


@settings(max_examples=30)
@given(SEEDS, TURNS, SHIFTS, st.integers(0, 9), st.integers(0, 9))
def test_half_of_the_members_wrong_does_not_mislead(seed, turn, shift, lost, longer):
    frame = grow_frame(seed, 10)
    if len(symmetries(frame)) > 1:
        return
    members = list(transform(frame, turn, shift).members)
    for k in range(longer, longer + 4):
        members[k % len(members)] = replace(
            members[k % len(members)], holes=members[k % len(members)].holes + 1
        )
    del members[lost % len(members)]
    best = align(frame, replace(frame, members=tuple(members), joints=()))
    assert len(best.pairs) >= len(frame.members) - 5
    unmoved = [m for m in members if m in transform(frame, turn, shift).members]
    assert len(best.pairs) > len(unmoved) or (
        (best.turn == turn).all() and best.shift == pytest.approx(shift)
    )


def test_only_the_turns_given_are_tried():
    frame = grow_frame(5, 8)
    lying = transform(frame, rotations()[(rotations()[:, 2, 2] == 0)][0])
    assert len(align(frame, lying).pairs) == len(frame.members)
    assert len(align(frame, lying, upright_rotations()).pairs) < len(frame.members)


def test_a_symmetric_frame_has_several_equal_answers():
    frame = sticks(*[((x, y, 0), (0, 0, 1), 5) for x in (0, 6) for y in (0, 6)])
    full = [a for a in alignments(frame, frame) if len(a.pairs) == 4]
    assert len(full) == len(symmetries(frame))


def test_nothing_is_laid_where_nothing_can_be_parallel():
    upright = sticks(((0, 0, 0), (0, 0, 1), 5))
    brace = sticks(((0, 0, 0), (0.6, 0.8, 0), 5))
    assert align(upright, brace) is None
    assert align(upright, Frame(())) is None
    assert align(brace, transform(brace, rotations()[7], (3, 4, 5))).shared == 5


def test_a_frame_of_300_members_is_laid_on_itself():
    frame = grow_frame(1, 300)
    assert len(frame.members) == 300
    turn = rotations()[17]
    best = align(frame, transform(frame, turn, (5, 6, 7)))
    assert len(best.pairs) == 300 and (best.turn == turn).all() and best.shift == pytest.approx([5, 6, 7])
