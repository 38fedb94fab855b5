"""Which pictures of a video are kept: sharp ones, from all round, one from where somebody stood still."""

import numpy as np
import pytest

from recon.image.video.choice import APART, LEAST, MOST, choose
from recon.image.video.movement import CameraPath
from recon.image.video.sharpness import edge_contrasts, sharpness
from tests.image.video.made import on_circle, seen_from, shaken


def around(degrees):
    """The path of a camera on a circle, at these angles."""
    a = np.radians(degrees)
    place = np.column_stack([np.sin(a), np.zeros(len(a)), -np.cos(a)])
    return CameraPath(place, np.zeros(len(a), int), -place)


def test_a_jolt_is_seen_beside_its_neighbours_whatever_the_texture():
    pictures = [seen_from(on_circle(a)) for a in range(0, 24, 2)]
    pictures[6:] = [(p // 8 + 100).astype(np.uint8) for p in pictures[6:]]  # hardly any contrast from here on
    for k in (3, 9):
        pictures[k] = shaken(pictures[k])
    sharp = sharpness(np.array([edge_contrasts(p) for p in pictures]), np.arange(12) * 0.5)
    assert pictures[3].std() > 3 * pictures[8].std()
    assert sharp[[3, 9]].max() < 0.6 and np.delete(sharp, [3, 9]).min() > 0.6


def test_the_chosen_are_spread_over_the_way_and_not_over_time():
    degrees = np.concatenate([np.linspace(0, 60, 30), np.full(300, 60.0), np.linspace(60, 150, 45)])
    chosen = choose(around(degrees), np.ones(len(degrees)))
    gaps = np.diff([0, *degrees[chosen], 150])
    assert LEAST <= len(chosen) <= MOST and gaps.min() > np.degrees(APART) and gaps.max() < 25
    assert sum(30 <= k < 330 for k in chosen) <= 1


def test_the_same_way_back_adds_nothing():
    there = np.linspace(0, 120, 61)
    ones = np.ones(61)
    once = choose(around(there), ones)
    both = choose(around(np.concatenate([there, there[::-1]])), np.ones(122))
    assert abs(len(both) - len(once)) <= 1


def test_the_sharper_of_neighbours_is_chosen():
    degrees = np.linspace(0, 100, 101)
    sharp = np.where(np.arange(101) % 4 == 1, 1.0, 0.5)
    assert all(k % 4 == 1 for k in choose(around(degrees), sharp))


def test_a_longer_way_gives_more_pictures_within_bounds():
    counts = [len(choose(around(np.linspace(0, to, 200)), np.ones(200))) for to in (40, 120, 240)]
    assert counts == sorted(counts) and LEAST <= counts[0] < counts[-1] <= MOST
    wild = CameraPath(
        np.cumsum(np.full((400, 3), 0.2), axis=0), np.zeros(400, int), np.tile([0, 0, 1.0], (400, 1))
    )
    assert len(choose(wild, np.ones(400))) == MOST


def test_stretches_that_cannot_be_compared_each_give_pictures():
    path = around(np.linspace(0, 40, 80))
    cut = CameraPath(path.place, np.repeat([0, 1], 40), path.axis)
    chosen = choose(cut, np.ones(80))
    assert min(chosen) < 40 <= max(chosen)


def test_what_is_banned_is_not_chosen():
    path, ones = around(np.linspace(0, 90, 90)), np.ones(90)
    first = choose(path, ones)
    assert set(choose(path, ones, banned=first)).isdisjoint(first)
    assert choose(path, ones, banned=range(90)) == []


@pytest.mark.parametrize("count", [1, 2])
def test_few_pictures_are_all_that_there_is(count):
    assert len(choose(around(np.linspace(0, 20, count)), np.ones(count))) == count
