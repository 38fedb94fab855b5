"""Hidden lines, against rays that are traced point by point (slab method, in recon.frame.boxes)."""

from dataclasses import replace

import numpy as np
import pytest

from recon.frame.boxes import hidden
from recon.frame.model import Member
from recon.workshop.drawing.hidden_lines import (
    front_edges,
    hidden_stretches,
    merged,
    points_hidden,
    rest,
    shadows,
)
from recon.workshop.solids import member_boxes
from tests.growing import grow_frame

FAR = 1e6  # pitches: rays are as good as parallel


def braced(seed: int):
    """A grown frame with a brace at an angle through empty space beside it."""
    members = list(grow_frame(seed, 9).members)
    brace = Member("brace", (-30.0, -3.0, 2.0), (0.8, 0.0, 0.6), 12, on_lattice=False)
    return [
        *members,
        brace,
        replace(brace, id="other", first=(-28.0, -4.0, 12.0), direction=(0.6, 0.0, -0.8)),
    ]


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(
    "towards", [(0, -1, 0), (0, 0, 1), (1, 0, 0), (0.48, -0.64, 0.6), (-0.2, 0.5, 0.84261)]
)
def test_stretches_are_hidden_where_rays_say_so(seed, towards):
    members = braced(seed)
    towards = np.array(towards, float) / np.linalg.norm(towards)
    boxes = member_boxes(members)
    fronts = front_edges(boxes, towards)
    owner = np.repeat(np.arange(len(members)), [len(f) for f in fronts])
    lines = np.concatenate(fronts)
    stretches = hidden_stretches(lines, shadows(boxes, towards), owner)
    checked = 0
    for line, own, parts in zip(lines, owner, stretches):
        shares = np.linspace(0.013, 0.987, 24)
        ends = np.array(parts).ravel()
        shares = shares[
            np.all(np.abs(shares[:, None] - ends) > 0.02, axis=1)
        ]  # rays at a boundary may go either way
        points = line[0] + shares[:, None] * (line[1] - line[0])
        others = [m for k, m in enumerate(members) if k != own]
        sure = hidden(points, FAR * towards, others, slack=0.0) == hidden(
            points, FAR * towards, others, slack=0.04
        )
        told = np.array([any(a < s < b for a, b in parts) for s in shares], bool)
        assert np.array_equal(told[sure], hidden(points, FAR * towards, others)[sure])
        checked += sure.sum()
    assert checked > 500


@pytest.mark.parametrize("towards", [(0, -1, 0), (0.48, -0.64, 0.6)])
def test_points_are_hidden_where_rays_say_so(towards):
    members = braced(2)
    towards = np.array(towards, float)
    points = np.random.default_rng(0).uniform(-12, 12, (3000, 3))
    told = points_hidden(points, shadows(member_boxes(members), towards)).any(axis=1)
    near, far = (hidden(points, FAR * towards, members, slack=s) for s in (0.0, 0.04))
    assert np.array_equal(told[near == far], near[near == far])
    assert 50 < told.sum() < 2950


def test_faces_that_touch_leave_each_others_lines_in_sight():
    a, b = (
        Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 6),
        Member("B", (-2.0, -1.0, 3.0), (1.0, 0.0, 0.0), 5),
    )
    towards = np.array([0, -1.0, 0])
    boxes = member_boxes([a, b])
    fronts = front_edges(boxes, towards)
    stretches = hidden_stretches(np.concatenate(fronts), shadows(boxes, towards), np.repeat([0, 1], [4, 4]))
    assert all(not s for s in stretches[4:])  # B is in front
    uprights = [s for s, line in zip(stretches[:4], fronts[0]) if abs(line[1, 2] - line[0, 2]) > 1]
    # A reaches from -0.5 to 5.5 and B covers it from 2.5 to 3.5: exact arithmetic.
    assert uprights == [[(pytest.approx(0.5, abs=0.01), pytest.approx(4 / 6, abs=0.01))]] * 2


def test_an_edge_seen_end_on_is_no_line():
    towards = np.array([0, -1.0, 0])
    assert [len(e) for e in front_edges(member_boxes([Member("A", (0, 0, 0), (0, 1, 0), 4)]), towards)] == [4]
    assert [
        len(e)
        for e in front_edges(member_boxes([Member("A", (0, 0, 0), (0, 1, 0), 4)]), np.array([0.6, 0.0, 0.8]))
    ] == [7]


def test_stretches_are_joined_and_what_they_leave_is_the_rest():
    assert merged([(0.5, 0.7), (0.1, 0.3), (0.3, 0.4), (0.55, 0.6)]) == [(0.1, 0.4), (0.5, 0.7)]
    assert rest([(0.1, 0.4), (0.5, 0.7)]) == [(0.0, 0.1), (0.4, 0.5), (0.7, 1.0)]
    assert rest([(0.0, 1.0)]) == []
    assert rest([]) == [(0.0, 1.0)]
