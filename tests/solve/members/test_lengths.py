"""Ends judged together: what parallel members say of an open end, and what they may not change."""

from dataclasses import replace

import numpy as np
import pytest

from recon.solve.evidence.candidate import Candidate, EndGuess
from recon.solve.members.lengths import settle_ends

UP = np.array([0.0, 0.0, 1.0])


def guess(best, spread=0, count=6):
    """An end at `best`, sure or (spread > 0) open between holes best and best + spread."""
    hole = np.arange(best - 2, best + count)
    log = np.where((hole >= best) & (hole <= best + spread), -0.02 * (hole - best), -8.0)
    return EndGuess(hole, log - np.logaddexp.reduce(log), False)


def settled(*members):
    """The last holes of members given by axis, first hole, low and high end."""
    candidates = [Candidate.bare(axis, first, high.best + 1) for axis, first, _, high in members]
    return [(low.best, high.best) for low, high in settle_ends(candidates, [m[2:] for m in members], UP, 1.0)]


def test_an_open_end_takes_the_plane_of_the_parallel_members():
    sure = [(2, (x, 0, 0), guess(0), guess(9)) for x in (0, 5, 9)]
    assert settled(*sure, (2, (14, 0, 0), guess(0), guess(7, 4)))[-1] == (0, 9)


def test_planes_count_in_the_world_not_from_a_member_s_first_hole():
    sure = [(2, (x, 0, 0), guess(0), guess(9)) for x in (0, 5, 9)]
    assert settled(*sure, (2, (14, 0, -2), guess(2), guess(9, 4)))[-1] == (2, 11)


def test_a_length_counts_where_no_plane_is_shared():
    sure = [(0, (x, 0, x), guess(0), guess(9)) for x in (0, 5, 9)]
    assert settled(*sure, (2, (14, 0, 0), guess(0), guess(7, 4)))[-1] == (0, 9)


def test_sure_ends_keep_their_own_length():
    sure = [(2, (x, 0, 0), guess(0), guess(9)) for x in (0, 5)]
    assert settled(*sure, (2, (9, 0, 0), guess(0), guess(6)))[-1] == (0, 6)


def test_no_hole_that_was_found_is_taken_off():
    """The others have 8 holes; the ninth and tenth of this one were found, weakly."""
    posts = [Candidate.bare(2, (x, 0, 0), 8) for x in (0, 5, 9)]
    longer = replace(Candidate.bare(2, (14, 0, 0), 10), seen=np.ones(10, int))
    slope = EndGuess(np.arange(7, 10), np.log([0.3, 0.3, 0.4]), False)
    ends = [(guess(0), guess(7))] * 3 + [(guess(0), slope)]
    assert settle_ends([*posts, longer], ends, UP, 1.0)[-1][1].best == 9
    unseen = replace(longer, seen=np.zeros(10, int))
    assert settle_ends([*posts, unseen], ends, UP, 1.0)[-1][1].best == 7


def test_chances_sum_to_one():
    sure = (2, (0, 0, 0), guess(0), guess(9))
    candidates = [Candidate.bare(2, (x, 0, 0), 10) for x in (0, 5)]
    for pair in settle_ends(candidates, [sure[2:], (guess(0, 3), guess(7, 4))], UP, 1.0):
        assert [round(float(np.exp(g.log_p).sum()), 9) for g in pair] == [1, 1]


def short_or_standing(short):
    """The low end of a post, most likely ``short`` holes above that of the other and less likely there."""
    hole = np.arange(4)
    log = np.where(hole == short, 0.0, np.where(hole == 0, -1.5, -9.0))
    return EndGuess(hole, log - np.logaddexp.reduce(log), False)


@pytest.mark.parametrize("up", (UP, -UP))
def test_a_post_stands_on_the_floor_rather_than_hangs_above_it(up):
    """One post stands, the foot of the other is hidden; which end is the foot depends on what is up."""
    stands, hangs = Candidate.bare(2, (0, 0, 0), 10), Candidate.bare(2, (7, 0, 0), 10)
    foot, top = short_or_standing(1), guess(12)
    ends = [(guess(0), guess(9)), (foot, top)]
    if up[2] < 0:  # the same upside down
        hangs = Candidate.bare(2, (7, 0, -3), 13)
        ends[1] = guess(0), EndGuess(12 - foot.hole, foot.log_p, False)
    low, high = settle_ends([stands, hangs], ends, up, 1.0)[1]
    assert (low.best if up[2] > 0 else high.best) == (0 if up[2] > 0 else 12)


def test_a_foot_that_was_found_is_believed():
    stands, hangs = Candidate.bare(2, (0, 0, 0), 10), Candidate.bare(2, (7, 0, 0), 10)
    ends = [(guess(0), guess(9)), (guess(2), guess(12))]
    assert settle_ends([stands, hangs], ends, UP, 1.0)[1][0].best == 2


def test_a_lying_member_is_the_floor_of_a_post_beside_it():
    lies, post = Candidate.bare(0, (0, 0, 0), 10), Candidate.bare(2, (4, 1, 0), 10)
    ends = [(guess(0), guess(9)), (short_or_standing(1), guess(12))]
    assert settle_ends([lies, post], ends, UP, 1.0)[1][0].best == 0


def hidden_low(seen=7):
    """The low end of a member hidden before hole ``seen``: likeliest there, less likely anywhere before."""
    hole = np.arange(seen - 10, seen + 1)[::-1]
    log = np.where(hole == seen, 0.0, -3.0)
    return EndGuess(hole, log - np.logaddexp.reduce(log), False)


def test_a_frame_of_twins_makes_a_hidden_end_the_twin_s():
    """Four pairs of rails have both ends alike; the lower half of a ninth member is hidden."""
    pairs = [(0, (0, y, 3 * y), guess(0), guess(9 + y)) for y in (0, 2, 4, 6)]
    pairs += [(0, (0, y + 1, 3 * y), *ends) for _, (_, y, _), *ends in pairs]
    twin = (1, (20, 0, 0), guess(0), guess(11))
    assert settled(*pairs, twin, (1, (25, 0, 0), hidden_low(), guess(11)))[-1] == (0, 11)


def test_a_frame_without_twins_leaves_a_hidden_end_where_it_was_seen():
    """The same, but no two members have their ends alike."""
    single = [(0, (y, y, 3 * y), guess(0), guess(9 + y)) for y in range(8)]
    other = (1, (20, 0, 0), guess(0), guess(11))
    assert settled(*single, other, (1, (25, 0, 0), hidden_low(), guess(11)))[-1] == (7, 11)
