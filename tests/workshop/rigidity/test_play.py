"""How far a frame gives because of the play of its bolts, against statics worked out on its own."""

import numpy as np
import pytest

from recon.frame.joints import find_joints
from recon.frame.model import Frame, Member
from recon.frame.stock import load_stocks
from recon.workshop.rigidity.mechanism import mobility
from recon.workshop.rigidity.play import SIDES, clearance, left_over, turned_by
from tests.workshop.frames import gate

X, Z = (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)
PLAY = 0.04


def braced_panel(width, height, low, rise):
    """Two posts between two rails, free, and with a brace from post to post; the motion of the free one."""
    members = [Member(id, (float(x), 0.0, 0.0), Z, height + 1) for id, x in (("A", 0), ("B", width))]
    members += [Member(id, (0.0, -1.0, float(z)), X, width + 1) for id, z in (("C", 0), ("D", height))]
    free = Frame(tuple(members), find_joints(members), 38.1)
    length = np.hypot(width, rise)
    brace = Member("E", (0.0, 1.0, float(low)), (width / length, 0.0, rise / length), round(length) + 1)
    members.append(brace)
    (motion,) = mobility(free).motions
    return free, Frame(tuple(members), find_joints(members), 38.1), motion


def unit_load_sum(frame, body, point, way):
    """Sum of the bolts' forces in the plane x, z under a load of 1 on `body`; member C is held.

    The unit-load method: S. P. Timoshenko, D. H. Young, "Theory of Structures", McGraw-Hill 1965, chapter on
    displacements of trusses (from memory): a gap in a joint moves the loaded point by the gap times the force
    there.
    """
    bodies = [m.id for m in frame.members if m.id != "C"]
    rows, load = np.zeros((3 * len(bodies), 2 * len(frame.joints))), np.zeros(3 * len(bodies))
    for k, j in enumerate(frame.joints):
        x, _, z = frame.member(j.a).hole_centre(j.a_hole)
        for id, sign in ((j.a, 1.0), (j.b, -1.0)):
            if id in bodies:
                b = 3 * bodies.index(id)
                rows[b, 2 * k] = rows[b + 1, 2 * k + 1] = sign
                rows[b + 2, 2 * k], rows[b + 2, 2 * k + 1] = sign * z, -sign * x
    b = 3 * bodies.index(body)
    load[b], load[b + 1] = way[0], way[2]
    load[b + 2] = point[2] * way[0] - point[0] * way[2]
    force = np.linalg.solve(rows, -load)
    return float(np.hypot(force[::2], force[1::2]).sum())


@pytest.mark.parametrize("width, height, low, rise", [(4, 7, 2, 3), (12, 9, 2, 5), (8, 9, 1, 6)])
def test_a_braced_panel_gives_as_far_as_the_unit_load_method_says(width, height, low, rise):
    _, frame, motion = braced_panel(width, height, low, rise)
    found = left_over(frame, motion, PLAY)
    twists = {id: t - motion.twists["C"] for id, t in motion.twists.items()}
    # The corner that goes farthest: a post's top, on the side where it also goes up or down.
    corners = [
        (id, np.array([x + s, y, height + 0.5]))
        for id, x in (("A", 0.0), ("B", float(width)))
        for s in (-0.5, 0.5)
        for y in (-0.5, 0.5)
    ]
    sums = []
    for id, point in corners:
        way = twists[id][3:] + np.cross(twists[id][:3], point)
        sums.append(PLAY * unit_load_sum(frame, id, point, way / np.linalg.norm(way)))
    assert any(s <= found.travel <= s / np.cos(np.pi / SIDES) + 1e-9 for s in sums)
    assert found.at_top and found.angle == pytest.approx(found.travel / np.hypot(height + 0.5, 0.5), rel=1e-6)


def test_twice_the_play_gives_twice_as_far_and_a_longer_brace_less():
    _, frame, motion = braced_panel(12, 9, 2, 5)
    once, twice = (left_over(frame, motion, play) for play in (PLAY, 2 * PLAY))
    assert twice.travel == pytest.approx(2 * once.travel)
    _, steep, other = braced_panel(8, 9, 1, 6)
    assert left_over(steep, other, PLAY).angle < left_over(*braced_panel(4, 9, 2, 3)[1:], PLAY).angle


def test_a_frame_that_still_racks_has_no_end_to_its_play():
    free, _, motion = braced_panel(4, 7, 2, 3)
    assert left_over(free, motion, PLAY) is None


def test_a_turn_moves_the_top_by_its_height():
    free, _, motion = braced_panel(4, 7, 2, 3)
    assert turned_by(free, motion, 0.01).travel == pytest.approx(0.01 * np.hypot(7.5, 0.5))


def test_the_clearance_is_that_of_the_bolt_in_the_holes_of_its_stock():
    stocks = load_stocks()
    # 9.5 mm holes and bolts of 5/16 in, 7.94 mm (ASME B1.1).
    assert clearance(gate(), stocks) * 38.1 == pytest.approx(9.5 - 25.4 * 5 / 16)
    assert clearance(gate(), stocks, "metric") * 38.1 == pytest.approx(1.5)
