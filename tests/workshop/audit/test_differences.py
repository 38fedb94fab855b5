"""Built against plan: what differs in a builder's words, nothing made up, nothing passed unseen."""

from dataclasses import replace
from pathlib import Path

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from recon.bench.audit import CHANGES, changed, disguised, one, seen
from recon.bench.random_frames import random_frame
from recon.frame.joints import find_joints
from recon.frame.lattice import mirrored, transform
from recon.frame.model import End, Frame, Member, Photo, StockUse, as_tuple, rename
from recon.workshop.audit.differences import audit_frame, audit_text
from recon.workshop.audit.matching import best_matching
from recon.workshop.rigidity.displacement import displaced
from recon.workshop.rigidity.mechanism import mobility
from tests.show.scenes import camera_at
from tests.workshop.frames import X, Y, Z, framed, gate, member

DATA = Path(__file__).parents[2] / "data" / "workshop"


def plan():
    """Two posts of different lengths, rails in front, a sill behind, all bolts seen; of no symmetry."""
    return seen(
        framed(
            member("A", (0, 0, 0), Z, 14),
            member("B", (9, 0, 0), Z, 12),
            member("C", (-1, -1, 2), X, 11),
            member("D", (-2, -1, 9), X, 13),
            member("E", (-1, 1, 5), X, 20),
            member("F", (4, 2, 2), Z, 9),
        )
    )


def with_member(frame, id, **changes):
    """The frame with one member changed and its laps found anew, all bolts seen."""
    members = tuple(replace(m, **changes) if m.id == id else m for m in frame.members)
    joints = tuple(replace(j, bolt="seen") for j in find_joints(members))
    return replace(frame, members=members, joints=joints)


def outcome(built, planned=None, **options):
    result = audit_frame(built, planned or plan(), **options)
    return result.verdict, [d.text for d in result.differences]


# The sentences for a builder


def test_the_same_frame_is_the_same():
    assert outcome(plan()) == ("same", [])
    assert audit_text(audit_frame(plan(), plan())).startswith(
        "Built as planned: every member, length and bolt was seen"
    )


def test_a_member_of_another_length():
    assert outcome(with_member(plan(), "E", holes=16)) == (
        "different",
        ["Member E: 16 holes, plan 20; the end at hole 20, the right one, is 4 holes too short."],
    )
    longer = with_member(plan(), "A", first=(0.0, 0.0, -1.0), holes=15)
    assert outcome(longer) == (
        "different",
        ["Member A: 15 holes, plan 14; the end at hole 1, the lower one, is 1 hole too long."],
    )


def test_a_rail_that_sits_a_hole_too_low():
    assert outcome(with_member(plan(), "C", first=(-1.0, -1.0, 1.0))) == (
        "different",
        ["C sits one hole too low on both posts (A and B)."],
    )
    assert outcome(with_member(plan(), "C", first=(-1.0, -1.0, 4.0))) == (
        "different",
        ["C sits two holes too high on both posts (A and B)."],
    )


def test_without_a_vertical_axes_are_named():
    assert outcome(with_member(plan(), "C", first=(-1.0, -1.0, 1.0)), z_up=False) == (
        "different",
        ["C sits one hole too far along -z on A and B."],
    )


def test_a_rail_that_was_slid_along_itself():
    assert outcome(with_member(plan(), "D", first=(-1.0, -1.0, 9.0))) == (
        "different",
        ["D sits one hole too far to the right."],
    )


def test_a_member_that_no_longer_lies_where_it_should():
    off = with_member(plan(), "F", first=(4.0, 2.0, 6.0))
    assert outcome(off) == ("different", ["F sits four holes too high and no longer lies on E."])


def test_a_member_that_hangs_elsewhere():
    moved = with_member(plan(), "F", first=(-2.0, 1.0, 3.0), direction=Y)
    verdict, texts = outcome(moved)
    assert verdict == "different" and len(texts) == 1
    assert texts[0].startswith("F (9 holes) is elsewhere: it lies on ") and texts[0].endswith(
        ", plan on E (its hole 4 on hole 6)."
    )


def test_missing_and_extra_members():
    planned = plan()
    less = replace(
        planned,
        members=planned.members[:-1],
        joints=tuple(j for j in planned.joints if "F" not in (j.a, j.b)),
    )
    assert outcome(less) == ("different", ["F (9 holes) is missing; plan on E (its hole 4 on hole 6)."])
    assert outcome(planned, less) == (
        "different",
        [
            (
                "A member that is not in the plan (F in the built frame, 9 holes) lies on E "
                "(its hole 4 on hole 6)."
            )
        ],
    )


def test_two_rails_that_were_moved_together_are_one_difference():
    low = with_member(with_member(plan(), "C", first=(-1.0, -1.0, 3.0)), "D", first=(-2.0, -1.0, 10.0))
    assert outcome(low) == ("different", ["C and D sit one hole too high together."])


def test_bolts_missing_and_bolts_that_the_plan_has_not():
    planned = plan()
    k = next(i for i, j in enumerate(planned.joints) if {j.a, j.b} == {"A", "C"})
    unbolted = replace(
        planned, joints=tuple(replace(j, bolt="none") if i == k else j for i, j in enumerate(planned.joints))
    )
    assert outcome(unbolted) == ("different", ["Bolt missing at hole 3 of A on hole 2 of C."])
    left_out = replace(planned, joints=planned.joints[:k] + planned.joints[k + 1 :])
    assert outcome(left_out) == ("different", ["Bolt missing at hole 3 of A on hole 2 of C."])
    assert outcome(planned, unbolted) == (
        "different",
        ["A bolt that is not in the plan is at hole 3 of A on hole 2 of C."],
    )
    assert outcome(planned, left_out) == (
        "different",
        ["A bolt that is not in the plan is at hole 3 of A on hole 2 of C."],
    )


def test_the_mirror_image_is_one_difference():
    assert outcome(mirrored(plan())) == ("different", ["The frame is built as the mirror image of the plan."])
    both = with_member(mirrored(plan()), "E", holes=19)
    _, texts = outcome(both)
    assert (
        texts[0]
        == "The frame is built as the mirror image of the plan; what follows is against the mirrored plan."
    )
    assert len(texts) == 2 and "Member E: 19 holes, plan 20" in texts[1]


def test_a_frame_that_is_its_own_mirror_image_is_not_mirrored():
    cross = seen(framed(member("A", (0, 0, 0), Z, 9), member("B", (-2, -1, 3), X, 5)))
    assert outcome(mirrored(cross), cross) == ("same", [])


def test_stock_pitch_and_width():
    wide = replace(plan(), pitch_mm=25.4, stock=StockUse("steel-38"))
    assert outcome(wide) == (
        "different",
        ["The pitch is 25.4 mm, plan 38.1 mm.", "The stock is steel-38, plan softwood-38."],
    )
    unsure = replace(plan(), stock=StockUse("steel-38", "recognised", 0.6))
    assert outcome(unsure)[0] == "cannot say"


def test_built_labels_are_added_where_they_differ():
    built = rename(with_member(plan(), "E", holes=16), {id: id.lower() * 2 for id in "ABCDEF"})
    assert outcome(built)[1] == [
        (
            "Member E (ee in the built frame): 16 holes, plan 20; the end at hole 20, the right one, is 4 "
            "holes too short."
        )
    ]
    assert audit_frame(built, plan()).names == {id: id.lower() * 2 for id in "ABCDEF"}


# What was not seen


def unseen(frame, id, which, end):
    members = tuple(
        replace(m, ends=(end, m.ends[1]) if which == 0 else (m.ends[0], end)) if m.id == id else m
        for m in frame.members
    )
    return replace(frame, members=members)


@pytest.mark.parametrize("state, words", [("hidden", "hidden"), ("cut", "beyond the photos' border")])
def test_an_end_out_of_sight_is_not_checked(state, words):
    result = audit_frame(unseen(plan(), "B", 1, End(state, 2)), plan())
    assert result.verdict == "cannot say" and result.differences == ()
    assert [d.text for d in result.not_checked] == [
        f"B: the end at hole 12, the upper one, was {words}; up to 2 holes more may be there."
    ]
    assert "fine" not in audit_text(result) and "Cannot say" in audit_text(result)


def test_holes_that_may_be_out_of_sight_are_no_difference():
    short = with_member(plan(), "E", holes=17)
    hidden = audit_frame(unseen(short, "E", 1, End("hidden", 3)), plan())
    assert hidden.verdict == "cannot say"
    assert [d.text for d in hidden.not_checked] == [
        "E: 17 of its 20 holes were seen; the others may be out of sight."
    ]
    assert audit_frame(unseen(short, "E", 1, End("hidden", 2)), plan()).verdict == "different"
    assert audit_frame(unseen(short, "E", 0, End("hidden", 3)), plan()).verdict == "different"


def test_a_member_that_is_too_long_is_so_however_little_was_seen_of_its_end():
    longer = unseen(with_member(plan(), "E", holes=22), "E", 1, End("hidden", 3))
    assert audit_frame(longer, plan()).verdict == "different"


def test_an_assumed_bolt_is_not_checked():
    built = plan()
    built = replace(
        built,
        joints=tuple(replace(j, bolt="assumed") if {j.a, j.b} == {"A", "C"} else j for j in built.joints),
    )
    result = audit_frame(built, plan())
    assert (result.verdict, result.differences) == ("cannot say", ())
    assert [d.text for d in result.not_checked] == ["Bolt at hole 3 of A on hole 2 of C: not seen."]


def with_bolt(frame, a, b, bolt, by=""):
    """The frame with the bolts between two members known otherwise."""
    joints = (replace(j, bolt=bolt, bolt_by=by) if {j.a, j.b} == {a, b} else j for j in frame.joints)
    return replace(frame, joints=tuple(joints))


def test_a_bolt_by_a_persons_word_is_as_planned_and_not_called_seen():
    result = audit_frame(with_bolt(plan(), "A", "C", "said", "person"), plan())
    assert (result.verdict, result.differences, result.not_checked) == ("same", (), ())
    assert [d.text for d in result.said] == [
        "Bolt at hole 3 of A on hole 2 of C: there, as a person says; not seen."
    ]
    text = audit_text(result)
    assert "bolt was seen" not in text and "As planned by a person's word, in no photo" in text


def test_a_bolt_missing_by_a_persons_word_is_told_from_one_that_photos_show_missing():
    said = audit_frame(with_bolt(plan(), "A", "C", "none", "person"), plan())
    shown = audit_frame(with_bolt(plan(), "A", "C", "none"), plan())
    assert said.verdict == shown.verdict == "different"
    assert [d.text for d in said.differences] == [
        "Bolt missing at hole 3 of A on hole 2 of C, as a person says."
    ]
    assert [d.text for d in shown.differences] == ["Bolt missing at hole 3 of A on hole 2 of C."]


def test_a_bolt_by_a_persons_word_that_the_plan_has_not_is_extra():
    unbolted = with_bolt(plan(), "A", "C", "none")
    assert outcome(with_bolt(plan(), "A", "C", "said", "person"), unbolted) == (
        "different",
        ["A bolt that is not in the plan is at hole 3 of A on hole 2 of C, as a person says."],
    )


def test_a_member_that_the_reading_doubts_proves_nothing():
    unsure = with_member(plan(), "C", confidence=0.6)
    result = audit_frame(unsure, plan())
    assert result.verdict == "cannot say"
    assert [d.text for d in result.not_checked] == ["C agrees, but its reading is only 60% sure."]
    low = audit_frame(with_member(plan(), "C", confidence=0.6, first=(-1.0, -1.0, 1.0)), plan())
    assert low.verdict == "cannot say" and [d.severity for d in low.differences] == ["doubtful"]


def test_a_member_that_no_photo_would_show_is_not_missing():
    planned = plan()
    built = replace(
        planned,
        members=tuple(m for m in planned.members if m.id != "F"),
        joints=tuple(j for j in planned.joints if "F" not in (j.a, j.b)),
    )

    def photo(eye, target):
        camera = camera_at(np.array(eye, float), target)
        return Photo(
            "a.jpg",
            (800, 600),
            camera=camera,
        )

    # From behind F would be in full view.
    assert outcome(replace(built, photos=(photo((4, 30, 8), (4.0, 0.0, 6.0)),)))[0] == "different"
    # A board before it hides it from there.
    board = tuple(member(f"W{k}", (-10, 12, k), X, 30) for k in range(-4, 18))
    hidden = replace(built, members=built.members + board, photos=(photo((4, 30, 8), (4.0, 0.0, 6.0)),))
    walled = replace(planned, members=planned.members + board)
    assert [d.kind for d in audit_frame(hidden, walled).not_checked] == ["out of sight"]
    away = audit_frame(replace(built, photos=(photo((-30, -30, 5), (-60.0, -60.0, 5.0)),)), planned)
    assert away.verdict == "cannot say"
    assert [d.text for d in away.not_checked] == [
        "F (9 holes) was not found, but no photo would show it well; plan on E (its hole 4 on hole 6)."
    ]


def test_the_lens_decides_what_a_photo_would_show():
    """Two photos that differ in k1 alone: one shows where the member would stand, the other bends it out."""
    planned = plan()
    built = replace(
        planned,
        members=tuple(m for m in planned.members if m.id != "F"),
        joints=tuple(j for j in planned.joints if "F" not in (j.a, j.b)),
    )
    camera = replace(camera_at(np.array([4.0, 30, 6])), cx=399.5, cy=299.5)
    # The camera turns until F stands 15 px inside the border: a straight lens shows it.
    post = planned.member("F")
    for degrees in np.arange(0, 40, 0.02):
        turn = Rotation.from_euler("y", -degrees, degrees=True).as_matrix()
        turned = camera.posed(turn @ camera.R, turn @ camera.t)
        if not turned.project(post.hole_centres())[:, 0].min() > 15:
            break
    assert turned.project(post.hole_centres())[:, 0].min() < 16

    def verdict(k1):
        photo = Photo("a.jpg", (800, 600), camera=replace(turned, k1=k1))
        return audit_frame(replace(built, photos=(photo,)), planned)

    assert [d.kind for d in verdict(0.0).differences] == ["missing"]
    assert [d.kind for d in verdict(0.3).not_checked] == ["out of sight"]


# Random frames and changes; the measurement runs 200 of them


@pytest.mark.parametrize("change", CHANGES)
@pytest.mark.parametrize("seed", range(6))
def test_a_random_change_is_found_and_nothing_else_is_reported(seed, change):
    assert one(seed, change) in ("found", "another", "not made")


def test_two_changes_are_two_differences():
    rng = np.random.default_rng(3)
    planned = seen(random_frame(12))
    once, label = changed(planned, "length", rng)
    other = next(m.id for m in planned.members if m.id != label and m.holes > 4)
    twice = with_member(once, other, holes=once.member(other).holes + 1)
    result = audit_frame(disguised(twice, rng), planned)
    lengths = {d.members[0] for d in result.differences if d.kind == "length"}
    assert lengths == {label, other}


@pytest.mark.parametrize("chance", range(4))
def test_in_a_symmetric_frame_the_bolts_tell_which_way_round_it_is(chance):
    # Half a turn brings the members onto themselves; one lap of the plan has no bolt.
    frame = seen(
        framed(
            member("A", (0, 0, 0), Z, 12),
            member("B", (9, 0, 0), Z, 12),
            member("C", (-1, -1, 2), X, 12),
            member("D", (-1, -1, 9), X, 12),
        )
    )
    planned = replace(frame, joints=(replace(frame.joints[0], bolt="none"), *frame.joints[1:]))
    assert outcome(disguised(planned, np.random.default_rng(chance)), planned) == ("same", [])


# Who is who


@given(st.integers(0, 60), st.integers(0, 10**6))
@settings(max_examples=12)
def test_matched_members_make_an_isomorphism_of_the_graphs_of_laps(seed, chance):
    planned = random_frame(seed)
    built = disguised(planned, np.random.default_rng(chance))
    names = audit_frame(built, planned).names
    graphs = []
    for frame in (planned, built):
        graph = nx.MultiGraph()
        graph.add_nodes_from((m.id, {"holes": m.holes}) for m in frame.members)
        graph.add_edges_from((j.a, j.b) for j in frame.joints)
        graphs.append(graph)
    same = nx.relabel_nodes(graphs[0], names)
    assert dict(same.nodes(data="holes")) == dict(graphs[1].nodes(data="holes"))
    assert sorted(map(sorted, same.edges())) == sorted(map(sorted, graphs[1].edges()))
    matcher = nx.algorithms.isomorphism.MultiGraphMatcher(*graphs, node_match=lambda a, b: a == b)
    assert matcher.is_isomorphic()


def test_a_folded_frame_is_told_apart_by_its_laps():
    # Two arms on a post, folded by some angle: no turn of the lattice lays them on the plan, but the laps
    # tell who they are.
    planned = seen(
        framed(
            member("A", (0, 0, 0), Z, 16),
            member("B", (0, -1, 12), X, 9),
            member("C", (5, -2, 12), X, 7),
            member("D", (0, 1, 3), X, 5),
        )
    )
    motion = next(m for m in mobility(planned).motions if set(m.moving) == {"B", "C"})
    built = displaced(planned, motion, 5.0)
    built = rename(
        transform(built, np.eye(3, dtype=int), (3, 4, 5)), {"A": "p", "B": "q", "C": "r", "D": "s"}
    )
    result = audit_frame(built, planned)
    assert result.names == {"A": "p", "B": "q", "C": "r", "D": "s"}
    assert [d.members for d in result.differences] == [("B", "C")]
    assert result.differences[0].text == (
        "B (q in the built frame) and C (r in the built frame) are elsewhere together: they are joined "
        "as planned, but turned against the rest."
    )


def test_a_part_that_was_turned_as_a_whole_is_one_difference():
    # A flag of three members hung on the other face of the post, turned by a quarter about it.
    post = [
        member("A", (0, 0, 0), Z, 20),
        member("S", (-3, -1, 1), X, 9),
        member("T", (-3, -1, 17), X, 5),
        member("U", (1, -2, 2), Y, 9),
    ]
    flag = [member("B", (0, -1, 10), X, 9), member("C", (4, -2, 7), Z, 8), member("D", (5, -3, 8), Y, 6)]
    planned = seen(framed(*post, *flag))
    turn = np.array([[0, -1, 0], [1, 0, 0], [0, 0, 1]])
    turned = transform(Frame(tuple(flag)), turn).members
    built = seen(framed(*post, *turned))
    result = audit_frame(built, planned)
    moved = {id for d in result.differences for id in d.members}
    assert result.verdict == "different" and moved == {"B", "C", "D"}
    assert len(result.differences) == 1


def test_a_matching_does_not_depend_on_the_turn_in_which_the_frame_was_read():
    planned = plan()
    built = with_member(planned, "C", first=(-1.0, -1.0, 1.0))
    costs = {
        round(best_matching(disguised(built, np.random.default_rng(k)), planned).cost, 9) for k in range(6)
    }
    assert len(costs) == 1


def test_a_frame_that_nothing_can_be_laid_on_is_all_different():
    turn = Rotation.from_euler("xyz", [0.4, 0.5, 0.6])
    planned = plan()
    built = replace(
        planned,
        members=tuple(
            replace(
                m,
                first=as_tuple(turn.apply(m.first)),
                direction=as_tuple(turn.apply(m.direction)),
                holes=m.holes + 30,
            )
            for m in planned.members
        ),
        joints=(),
    )
    result = audit_frame(built, planned)
    assert result.verdict == "different"
    assert audit_frame(Frame(()), planned).verdict == "different"
    alone = audit_frame(Frame((Member("Q", (0, 0, 0), Z, 30),)), planned)
    assert sorted(d.kind for d in alone.differences) == ["length"] + 5 * ["missing"]


def test_the_gate_is_audited_in_words():
    built = with_member(seen(gate()), "E", first=(-1.0, 1.0, 4.0))
    text = audit_text(audit_frame(built, seen(gate())))
    assert text == "Not as planned.\n\nDifferent\n  - E sits one hole too low on post A. Move E one hole up."
