"""Mobility where counting fails: the rule of Gruebler and Kutzbach, and linkages that move against it.

The rule counts 6 (members - 1) - 5 hinges.  It holds for hinges in general position and fails where their
axes are special: K. J. Waldron, G. L. Kinzel, "Kinematics, Dynamics, and Design of Machinery", Wiley 1999
(from memory); mobility of Bennett-based linkages: ASME IDETC-CIE 2009, paper 49040-485.  Bennett's condition:
G. T. Bennett, "A new mechanism", Engineering 76, 1903, 777-778 (from memory).
"""

import numpy as np
import pytest

from recon.workshop.rigidity.null_space import free_rates


def counted(members, hinges):
    return 6 * (members - 1) - 5 * hinges


def ring(lengths, twists, angles):
    """Hinges of a closed ring of members as twists (n, 6), and the gap left, by Denavit and Hartenberg.

    lengths, twists : of each member, from its hinge to the next.   angles : at each hinge, radians.
    """
    place, found = np.eye(4), []
    for length, twist, angle in zip(lengths, twists, angles):
        ca, sa, ct, st = np.cos(twist), np.sin(twist), np.cos(angle), np.sin(angle)
        axis, point = place[:3, 2], place[:3, 3]
        found.append(np.concatenate([axis, np.cross(point, axis)]))
        step = np.array(
            [
                [ct, -st * ca, st * sa, length * ct],
                [st, ct * ca, -ct * sa, length * st],
                [0, sa, ca, 0],
                [0, 0, 0, 1],
            ]
        )
        place = place @ step
    return np.array(found), float(np.abs(place - np.eye(4)).max())


def freedom(twists):
    n = len(twists)
    return free_rates([(k, (k + 1) % n) for k in range(n)], twists).shape[1]


@pytest.mark.parametrize("first", [0.4, 1.1, 2.0])
def test_bennetts_linkage_moves_although_it_counts_minus_two(first):
    # Opposite members alike, and sin(alpha) / a = sin(beta) / b; then
    # tan(theta1 / 2) tan(theta2 / 2) = sin((beta + alpha) / 2) / sin((beta - alpha) / 2).
    a, alpha, beta = 4.0, 0.5, 1.2
    b = a * np.sin(beta) / np.sin(alpha)
    ratio = np.sin((beta + alpha) / 2) / np.sin((beta - alpha) / 2)
    second = 2 * np.arctan(ratio / np.tan(first / 2))
    twists, gap = ring((a, b, a, b), (alpha, beta, alpha, beta), (first, second, -first, -second))
    assert gap < 1e-9 and counted(4, 4) == -2
    assert freedom(twists) == 1
    # Turned out of their places the same four hinges hold one another.
    shaken = twists + np.random.default_rng(0).normal(0, 0.1, twists.shape)
    assert freedom(shaken) == 0


@pytest.mark.parametrize("hinges", [4, 5, 6, 7, 8, 9])
def test_hinges_in_general_position_move_as_counted(hinges):
    rng = np.random.default_rng(hinges)
    axes, points = rng.normal(size=(hinges, 3)), rng.normal(size=(hinges, 3)) * 5
    axes /= np.linalg.norm(axes, axis=1, keepdims=True)
    twists = np.hstack([axes, np.cross(points, axes)])
    assert freedom(twists) == max(0, counted(hinges, hinges))


@pytest.mark.parametrize("hinges", [4, 5, 6])
def test_parallel_hinges_move_as_in_the_plane_and_crossing_ones_as_on_a_sphere(hinges):
    rng = np.random.default_rng(hinges)
    points = np.column_stack([rng.normal(size=(hinges, 2)) * 5, np.zeros(hinges)])
    level = np.tile([0.0, 0.0, 1.0], (hinges, 1))
    assert freedom(np.hstack([level, np.cross(points, level)])) == hinges - 3
    axes = rng.normal(size=(hinges, 3))
    axes /= np.linalg.norm(axes, axis=1, keepdims=True)
    assert freedom(np.hstack([axes, np.zeros((hinges, 3))])) == hinges - 3
    assert counted(hinges, hinges) <= 0


def test_the_linkage_of_sarrus_moves_although_it_counts_nothing():
    # Two groups of three parallel hinges, across one another: P. F. Sarrus, 1853 (from memory).
    one = [([1.0, 0.0, 0.0], p) for p in ((0, -3, 0), (0, -5, 2), (0, -3, 4))]
    other = [([0.0, 1.0, 0.0], p) for p in ((3, 0, 4), (5, 0, 2), (3, 0, 0))]
    twists = np.array([np.concatenate([axis, np.cross(point, axis)]) for axis, point in (*one, *other)])
    assert counted(6, 6) == 0 and freedom(twists) == 1
