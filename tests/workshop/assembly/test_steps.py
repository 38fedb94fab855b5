"""Build steps: valid by a separate check, alike for alike frames, and honest where there is no order."""

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recon.bench.audit import disguised
from recon.bench.gravity import gravity_faults
from recon.bench.random_frames import hole_of, random_frame
from recon.bench.scaffold import scaffold
from recon.bench.steps import faults
from recon.errors import ReconError
from recon.frame.joints import find_joints
from recon.frame.lattice import canonical, transform
from recon.frame.model import Frame, flipped, rename
from recon.geometry.lattice import rotations, upright_rotations
from recon.workshop.assembly.canonical_twin import canonical_twin
from recon.workshop.assembly.square import square_checks
from recon.workshop.assembly.steps import build_steps
from recon.workshop.hardware.bolts import find_bolts
from tests.workshop.frames import X, Y, Z, corner, framed, gate, member


def box() -> Frame:
    """Four posts, rails along x in front and behind, rails along y on both sides."""
    posts = [member(f"P{i}", (x, y, 0), Z, 10) for i, (x, y) in enumerate(((0, 0), (10, 0), (0, 7), (10, 7)))]
    rails = [
        member(f"X{i}", (-1, y, z), X, 13) for i, (y, z) in enumerate(((-1, 1), (-1, 8), (8, 1), (8, 8)))
    ]
    sides = [
        member(f"Y{i}", (x, -1, z), Y, 10) for i, (x, z) in enumerate(((-1, 2), (-1, 7), (11, 2), (11, 7)))
    ]
    return framed(*posts, *rails, *sides)


# Valid orders


@pytest.mark.parametrize("seed", [0, 2, 3, 5, 6, 7])
def test_every_step_of_random_frames_can_be_done(seed):
    frame = random_frame(seed)
    steps = build_steps(frame, hole_of(frame))
    assert steps.steps and faults(frame, steps, hole_of(frame)) == [] == gravity_faults(frame, steps)


def test_the_check_finds_steps_in_a_wrong_order_and_from_a_wrong_side():
    frame = gate()
    steps = build_steps(frame)
    assert faults(frame, steps) == []
    *joins, turn = steps.steps
    assert turn.kind == "turn"
    backwards = replace(
        steps, steps=tuple(replace(s, direction=tuple(-np.array(s.direction))) for s in joins)
    )
    assert any("on its way" in text for text in faults(frame, backwards))
    late = replace(steps, steps=(*joins[1:], joins[0]))
    assert faults(frame, late) != []
    assert faults(frame, replace(steps, steps=tuple(joins[:-1]))) == [
        "the steps do not end with the whole frame"
    ]
    bare = replace(steps, steps=(*joins[:-1], replace(joins[-1], bolts=())))
    assert faults(frame, bare) == ["the steps do not put in every bolt once"]


def test_a_bolt_behind_a_member_must_go_in_before_it():
    # C behind A and D in front of B each shut the way of the bolt through A and B: the last of the two
    # comes after it.
    frame = framed(
        member("A", (0, 0, 0), Z, 8),
        member("B", (0, -1, 3), X, 5),
        member("C", (-1, 2, 3), X, 4),
        member("D", (0, -3, 0), Z, 8),
        member("G", (-1, 0, 4), Y, 3),
        member("H", (1, -3, 6), Y, 4),
    )
    steps = build_steps(frame)
    assert faults(frame, steps) == []
    (step,) = (s for s in steps.steps if any({id for id, _ in b.through} == {"A", "B"} for b in s.bolts))
    assert not {"C", "D"} <= set(step.new) | set(step.there)


@pytest.mark.parametrize("seed", range(6))
def test_every_member_and_every_bolt_comes_in_once(seed):
    frame = random_frame(seed)
    steps = build_steps(frame, hole_of(frame)).steps
    bolts = [b for s in steps for b in s.bolts]
    assert sorted(b.through for b in bolts) == sorted(b.through for b in find_bolts(frame))
    brought = [id for s in steps if s.group for id in s.new]
    brought += [id for s in steps if not s.group for id in s.new if id not in brought]
    assert sorted(brought) == sorted(m.id for m in frame.members)
    assert [s.number for s in steps] == list(range(1, len(steps) + 1))
    for s in steps:
        assert (
            not set(s.new) & set(s.there)
            and not set(s.bolts) & set(s.there_bolts)
            and (set(s.laid) < set(s.new) or s.kind == "turn")
        )


def test_three_members_on_one_bolt_wait_for_the_third():
    frame = framed(
        member("A", (0, 0, 0), Z, 8), member("B", (-1, -1, 3), X, 6), member("C", (-2, 1, 3), X, 6)
    )
    steps = build_steps(frame)
    assert sum(s.kind == "join" for s in steps.steps) == 2 and steps.steps[0].bolts == ()
    assert "No bolt holds it yet" in steps.steps[0].text and "Without a bolt for now: " in steps.steps[0].text
    assert "1 bolt through 3 members" in steps.steps[1].text
    assert "no bolt holds" in steps.steps[0].text and "Hold " in steps.steps[0].text
    assert faults(frame, steps) == []


def test_members_of_one_layer_that_are_bolted_to_one_another_are_bolted():
    # Two posts side by side: their bolts run across those of the flat frame that they are of.
    frame = framed(
        member("A", (0, 0, 0), Z, 14),
        member("A2", (1, 0, 0), Z, 14),
        member("B", (8, 0, 0), Z, 14),
        member("C", (-1, -1, 2), X, 11),
        member("D", (-1, -1, 9), X, 11),
    )
    steps = build_steps(frame)
    assert faults(frame, steps) == []
    assert {"A", "A2"} in [{id for id, _ in b.through} for s in steps.steps for b in s.bolts]


# Sub-frames and words


def test_flat_sides_of_a_box_are_built_first():
    steps = build_steps(box())
    assert steps.groups == (("P0", "P2", "Y0", "Y1"), ("P1", "P3", "Y2", "Y3"))
    assert [s.group for s in steps.steps if s.group] == [s.group for s in steps.steps][:4] == [1, 1, 2, 2]
    assert any("Bring sub-frame 2 (P1, P3, Y2 and Y3) in from the " in s.text for s in steps.steps)


def test_holes_are_counted_from_one_and_named_with_the_new_member_first():
    frame = framed(member("A", (0, 0, 0), Z, 12), member("B", (-2, -1, 5), X, 8))
    (step,) = build_steps(frame).steps
    assert step.text.startswith(
        "Stand A (12 holes) upright. Bring B (8 holes) in from the front, hole 3 of B on hole 6 of A. "
        "Join it with 1 bolt, head in front."
    )
    assert (step.new, step.laid, step.there) == (("A", "B"), ("A",), ())


def test_sides_have_names_only_where_z_is_up():
    words = " ".join(s.text for s in build_steps(box()).steps)
    assert re.search(r"in from the (front|back|left|right)", words) and not re.search(r"[+-][xyz]", words)
    words = " ".join(s.text for s in build_steps(box(), z_up=False).steps)
    assert re.search(r"[+-][xyz] side", words) and not re.search(r"\b(front|back|left|right)\b", words)


def test_one_member_is_a_frame_and_none_has_no_steps():
    (step,) = build_steps(framed(member("A", (0, 0, 0), Z, 12))).steps
    assert step.text == "A (12 holes) is the whole frame." and step.direction is None
    assert build_steps(Frame(())).steps == ()


def test_what_hangs_on_a_bolt_each_is_held_in_one_sentence():
    texts = [step.text for step in build_steps(random_frame(110)).steps]
    held = [t for t in texts if "one bolt alone holds each, here and in the finished frame." in t]
    assert len(held) == 1 and held[0].count("Hold ") == 1


def test_a_lap_without_a_bolt_is_named():
    frame = gate()
    open_lap = replace(
        frame, joints=tuple(replace(j, bolt="none") if {j.a, j.b} == {"A", "D"} else j for j in frame.joints)
    )
    text = " ".join(s.text for s in build_steps(open_lap).steps)
    assert "Without a bolt: hole 10 of A on hole 2 of D." in text


# No order


def test_where_nut_and_member_want_one_place_no_order_is_given_and_both_are_named():
    # D lies on the back of A where the bolt through A and B ends, and all three hang together.
    frame = framed(member("A", (0, 0, 0), Z, 8), member("B", (0, -1, 3), X, 6), member("D", (0, 1, 0), Z, 8))
    steps = build_steps(frame)
    assert steps.steps == () and steps.stuck == ("A", "B", "D")
    assert steps.why[0] == "The bolt that joins A and B cannot be put in and turned: D is in the way."


def test_a_flat_frame_with_a_member_in_the_place_of_a_nut_has_no_order_either():
    frame = gate()
    behind = member("V", (0, 1, 0), Z, 4)
    blocked = framed(*frame.members, behind)
    assert {"A", "C", "V"} <= set(build_steps(blocked).stuck)


def test_members_in_one_anothers_room_cannot_come_in():
    members = (member("A", (0, 0, 0), Z, 8), member("B", (-3, 0, 3), X, 8), member("C", (-3, -1, 3), X, 8))
    frame = Frame(members, tuple(j for j in find_joints(members) if "B" not in (j.a, j.b)), 38.1)
    steps = build_steps(frame)
    assert steps.stuck == ("A", "B") and [s.kind for s in steps.steps[:2]] == ["core", "join"]
    assert any(why.startswith("B cannot come in from any side: A") for why in steps.why)


def test_a_lap_that_is_given_twice_is_refused_in_a_sentence():
    frame = gate()
    with pytest.raises(ReconError, match="two laps of the frame are in one and the same place"):
        build_steps(replace(frame, joints=(*frame.joints, flipped(frame.joints[0]))))


# Alike frames


@given(st.integers(0, 60), st.integers(0, 10**6))
@settings(max_examples=5)
def test_two_identical_frames_get_identical_steps(seed, chance):
    frame = random_frame(seed)
    other = disguised(frame, np.random.default_rng(chance))
    one, two = (build_steps(_posed(f), hole_of(frame), z_up=False) for f in (frame, other))
    assert one == two
    # and in labels and places of their own they are the same steps
    steps, others = (build_steps(f, hole_of(frame), z_up=False).steps for f in (frame, other))
    assert [(len(s.new), len(s.there), len(s.bolts), s.group) for s in steps] == [
        (len(s.new), len(s.there), len(s.bolts), s.group) for s in others
    ]
    lengths, their_lengths = ({m.id: m.holes for m in f.members} for f in (frame, other))
    assert [sorted(lengths[id] for id in s.new) for s in steps] == [
        sorted(their_lengths[id] for id in s.new) for s in others
    ]


def _posed(frame: Frame) -> Frame:
    """The frame as its canonical twin: labels, places and order depend on the geometry alone."""
    return canonical(replace(frame, joints=tuple(sorted(frame.joints, key=lambda j: (j.a, j.b)))))


@given(st.integers(0, 60), st.sampled_from(list(rotations())), st.tuples(*[st.integers(-20, 20)] * 3))
@settings(max_examples=15)
def test_the_canonical_twin_knows_whose_members_are_whose(seed, turn, shift):
    frame = transform(random_frame(seed), turn, shift)
    twin, names, back = canonical_twin(frame)
    assert sorted(names.values()) == sorted(m.id for m in frame.members)
    move = None
    for m in twin.members:
        own = frame.member(names[m.id])
        assert m.holes == own.holes
        ends = {tuple(np.round(back @ p, 4)) for p in (np.asarray(own.first), own.last)}
        step = np.min([np.round(p, 4) for p in (m.first, m.last)], axis=0) - np.min(list(ends), axis=0)
        move = step if move is None else move
        assert step == pytest.approx(move, abs=1e-3)


def test_what_was_seen_of_a_frame_does_not_change_its_steps():
    frame = box()
    seen = replace(
        frame,
        joints=tuple(replace(j, bolt="seen") for j in frame.joints),
        members=tuple(replace(m, confidence=0.5, seen=k) for k, m in enumerate(frame.members)),
    )
    assert [s.text for s in build_steps(seen).steps] == [s.text for s in build_steps(frame).steps]


def test_other_labels_change_the_words_alone():
    frame = box()
    names = {m.id: f"Q{k}" for k, m in enumerate(frame.members)}
    renamed = [s.text for s in build_steps(rename(frame, names)).steps]
    for text, other in zip([s.text for s in build_steps(frame).steps], renamed, strict=True):
        for id, name in names.items():
            text = text.replace(id, name)
        assert text == other


def test_a_corner_of_three_is_put_together():
    assert faults(corner(), build_steps(corner())) == []


# Floor and gravity


def table() -> Frame:
    """Four legs whose three-way corners with the top's members let them in from below alone."""
    legs = [member(f"L{k}", (x, y, 0), Z, 10) for k, (x, y) in enumerate(((0, 0), (9, 0), (0, 6), (9, 6)))]
    along = [member(f"X{k}", (-1, y, 8), X, 12) for k, y in enumerate((1, 5))]
    across = [member(f"Y{k}", (x, -1, 9), Y, 9) for k, x in enumerate((1, 8))]
    return framed(*legs, *along, *across)


@pytest.mark.parametrize(
    "frame", [table(), scaffold(1, 1, 1), gate(), corner()], ids=["table", "rack", "gate", "corner"]
)
def test_nothing_comes_up_from_under_the_floor(frame):
    steps = build_steps(frame)
    assert steps.steps and faults(frame, steps) == [] == gravity_faults(frame, steps)
    for step in steps.steps:
        assert step.direction is None or np.dot(step.direction, step.up) < 1e-9
    assert steps.steps[-1].up == Z


def test_the_check_finds_what_hangs_what_tips_and_what_comes_from_below():
    frame = scaffold(1, 1, 1)
    steps = build_steps(frame)

    def spoilt(change):
        return gravity_faults(frame, replace(steps, steps=tuple(map(change, steps.steps))))

    upwards = spoilt(lambda s: replace(s, direction=s.up) if s.direction and not s.group else s)
    assert any("from below the floor" in text for text in upwards)
    mute = spoilt(lambda s: replace(s, text=""))
    assert any("does not say" in text for text in mute)
    bold = spoilt(lambda s: replace(s, steady=True, hands=()))
    assert any("falls over" in text for text in bold)
    turned = build_steps(table())
    left_out = replace(turned, steps=tuple(s for s in turned.steps if s.kind != "turn"))
    assert any("another side up" in text for text in gravity_faults(table(), left_out))
    loose = spoilt(lambda s: replace(s, bolts=s.bolts[:1]))
    assert any("lap holds" in text for text in loose)


def test_what_hangs_on_one_bolt_is_held_until_the_step_that_is_named():
    frame = random_frame(2)
    steps = build_steps(frame, hole_of(frame)).steps
    said = [
        (step.number, re.split(", | and ", names), int(until))
        for step in steps
        for names, until in re.findall(r"Hold ([^.]*?) up until step (\d+):", step.text)
    ]
    assert said
    for number, names, until in said:
        held = [s.number for s in steps if any(set(names) <= set(group) for group in s.hands)]
        assert number in held and until not in held


def test_turned_frames_that_stand_alike_get_the_same_steps():
    frame = scaffold(1, 1, 1)
    for turn in upright_rotations():
        other = build_steps(transform(frame, turn, (3, -2, 0)))
        assert [(s.kind, len(s.new), len(s.bolts), s.steady) for s in other.steps] == [
            (s.kind, len(s.new), len(s.bolts), s.steady) for s in build_steps(frame).steps
        ]


def test_a_step_says_where_the_heads_are():
    frame = box()
    steps = build_steps(frame).steps
    centre = np.mean([m.hole_centre((m.holes - 1) / 2) for m in frame.members], axis=0)
    for step in steps:
        assert len(step.heads) == len(step.bolts)
        for bolt, head in zip(step.bolts, step.heads):
            assert abs(np.dot(head, bolt.axis)) == pytest.approx(1)
            if np.allclose(head, step.up):
                continue
            out = (np.asarray(bolt.start) + bolt.end) / 2 - centre
            assert abs(np.dot(step.up, bolt.axis)) < 1e-6 and np.dot(head, out) > -1e-6
        if step.bolts:
            assert "head" in step.text


def test_a_sub_frame_is_turned_in_a_step_of_its_own():
    steps = build_steps(box()).steps
    turns = [s for s in steps if s.kind == "turn"]
    assert turns and all(not s.new and not s.bolts and s.up_before != s.up for s in turns)
    assert all(re.match("(Stand|Turn) ", s.text) for s in turns)


def test_at_the_end_the_frame_is_made_square_and_the_diagonals_are_equal():
    frame = box()
    finish = build_steps(frame).finish
    assert finish[-1].startswith("Then tighten all bolts")
    checks = square_checks(frame, {m.id for m in frame.members})
    assert len(checks) == len(finish) - 1 and checks
    for check in checks:
        ends = [[frame.member(id).hole_centre(k) for id, k in pair] for pair in (check.first, check.second)]
        lengths = [np.linalg.norm(np.subtract(*pair)) for pair in ends]
        assert lengths == pytest.approx([check.length] * 2)
        # They are the diagonals of a rectangle: they halve one another.
        assert np.mean(ends[0], axis=0) == pytest.approx(np.mean(ends[1], axis=0))


def test_where_some_members_are_stuck_the_others_follow_in_order():
    # D lies where the bolt through A and B ends; the gate beside them can be put on afterwards.
    stuck = [member("A", (0, 0, 0), Z, 8), member("B", (0, -1, 3), X, 12), member("D", (0, 1, 0), Z, 8)]
    frame = framed(*stuck, member("E", (10, 0, 0), Z, 8), member("F", (8, -1, 6), X, 4))
    steps = build_steps(frame)
    assert steps.stuck and steps.why and {"A", "B", "D"} <= set(steps.stuck) < {m.id for m in frame.members}
    core, *others = steps.steps
    assert core.kind == "core" and set(core.new) == set(steps.stuck) and others
    assert faults(frame, steps) == [] == gravity_faults(frame, steps)
    assert {id for s in steps.steps for id in s.new} == {m.id for m in frame.members}


def test_no_bolt_is_only_said_to_hold_a_member_where_the_finished_frame_has_none_in_it():
    for seed in (7, 12):
        frame = random_frame(seed)
        bolted = {id for bolt in find_bolts(frame) for id, _ in bolt.through}
        text = " ".join(step.text for step in build_steps(frame, hole_of(frame)).steps)
        said = re.findall(r"Hold ([\w, ]+) while you tighten: no bolt holds", text)
        assert not bolted & {id for ids in said for id in re.split(r", | and ", ids)}
    assert "one bolt alone will hold it" in " ".join(s.text for s in build_steps(random_frame(7)).steps)
