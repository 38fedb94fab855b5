"""Motions as they are shown moving: on their bolts, on the floor, and no farther than said."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from recon.frame.boxes import corners
from recon.frame.joints import collisions, find_joints
from recon.frame.model import Frame, Joint, Member
from recon.workshop.rigidity.displacement import placed
from recon.workshop.rigidity.mechanism import mobility
from recon.workshop.rigidity.playback import SHOWN_DEG, playback, playback_words

PITCH_MM = 38.1
X, Z = (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)


def rack(posts=2, rails=2) -> Frame:
    """Posts with rails on one bolt each: it folds as a parallelogram."""
    high = 4 * rails
    members = [Member(f"P{k}", (8.0 * k, 0.0, 0.0), Z, high) for k in range(posts)]
    members += [Member(f"R{k}", (-1.0, -1.0, 4.0 * k + 1), X, 8 * posts - 5) for k in range(rails)]
    return Frame(tuple(members), find_joints(members), PITCH_MM)


def stations(frame, way, groups):
    """The frame at each station of a way."""
    for row in way.placements:
        moved = {}
        for group, p in zip(groups, row):
            moved |= dict.fromkeys(group, (Rotation.from_quat(p[:4]), p[4:]))
        yield placed(frame, moved)


@pytest.mark.parametrize("frame", [rack(), rack(4, 5)], ids=["a panel", "a long one"])
def test_members_stay_on_their_bolts_and_the_lowest_one_on_the_floor(frame):
    (motion,) = mobility(frame).motions
    shown = playback(frame, motion)
    for way in (shown.forth, shown.back):
        assert len(way.placements) == 12
        for now in stations(frame, way, shown.groups):
            assert now.member("R0") == frame.member("R0")
            at = {m.id: m for m in now.members}
            for j in frame.joints:
                gap = np.subtract(at[j.a].hole_centre(j.a_hole), at[j.b].hole_centre(j.b_hole))
                assert np.linalg.norm(gap) == pytest.approx(1.0, abs=2e-3)  # face to face, as at rest


def test_degrees_and_millimetres_are_those_of_what_is_shown():
    frame = rack(3, 4)
    (motion,) = mobility(frame).motions
    shown = playback(frame, motion)
    last = list(stations(frame, shown.forth, shown.groups))[-1]
    turned = np.degrees(np.arccos(last.member("P0").direction[2]))
    farthest = 0.0
    for group, p in zip(shown.groups, shown.forth.placements[-1]):
        for rest in (corners(frame.member(id)) for id in group):
            way = Rotation.from_quat(p[:4]).apply(rest) + p[4:] - rest
            farthest = max(farthest, np.linalg.norm(way, axis=1).max())
    words = playback_words(shown, PITCH_MM)
    assert turned == pytest.approx(SHOWN_DEG, abs=0.05)
    assert words == f"Shown to either side: {turned:.1f} degrees, {farthest * PITCH_MM:.0f} mm at the top."


def test_it_ends_where_members_meet_and_says_so():
    frame = rack()
    stop = Member("S", (1.12, 0.0, 6.0), Z, 2)  # beside a post, no hole of it on a hole
    held = Joint("S", 0, "R1", 2, (0.0, -1.0, 0.0), "seen")
    members = (*frame.members, stop)
    joints = (*frame.joints, held, replace(held, a_hole=1))
    (motion,) = mobility(Frame(members, joints)).motions
    shown = playback(Frame(members, joints), motion)
    short, long = sorted((shown.forth, shown.back), key=lambda way: len(way.placements))
    assert 0 < len(short.placements) < len(long.placements) == 12
    assert set(short.meets) == {"P0", "S"} and long.meets is None
    assert "It ends where P0 meets S." in playback_words(shown, PITCH_MM)
    for now in stations(Frame(members, joints), short, shown.groups):
        assert not [c for c in collisions(now.members) if c[2] > 0.06]


def test_what_gives_way_only_at_first_is_said_to_be_drawn_larger():
    # A post between two others on one line of bolts: the middle one gives way at a right angle to the line,
    # and no farther (a four-bar linkage at its dead centre).
    members = [Member("A", (0.0, 0.0, 0.0), X, 5), Member("B", (4.0, -1.0, 0.0), X, 5)]
    members.append(Member("G", (0.0, 1.0, 0.0), X, 9))
    joints = (
        Joint("A", 0, "G", 0, (0.0, 1.0, 0.0), "seen"),
        Joint("A", 4, "B", 0, (0.0, -1.0, 0.0), "seen"),
        Joint("B", 4, "G", 8, (0.0, 1.0, 0.0), "seen"),
    )
    frame = Frame(tuple(members), joints, PITCH_MM)
    (motion,) = mobility(frame).motions
    shown = playback(frame, motion)
    assert shown.enlarged and len(shown.forth.placements) == len(shown.back.placements) == 12
    assert "drawn larger than the frame gives" in playback_words(shown, PITCH_MM)
