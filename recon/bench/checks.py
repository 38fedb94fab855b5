"""The checks of frames of about 50 and 300 members: which share of the time goes where, and what more members
cost.

Frames that do not rack (a scaffold), that rack in a few ways (the same without some rails and bolts), that
fold in many (random ones), and one in which hardly anything that is tried has room (a trellis).  Times are of
one run on one machine; only what they come to against one another says much.
"""

import time
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from recon.bench.random_frames import random_frame
from recon.bench.scaffold import scaffold
from recon.frame.joints import find_joints
from recon.frame.model import Frame, Member, as_tuple, label
from recon.workshop.hardware.bolts import find_bolts
from recon.workshop.rigidity.bolt_conflicts import blocked_ends, meeting_ends
from recon.workshop.rigidity.bracing import MOST, additions
from recon.workshop.rigidity.frame_check import FEW, MANY, check_frame
from recon.workshop.rigidity.mechanism import mobility

X, Z = (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)


def run(args: Sequence[str]) -> int:
    """Print for each pair of frames the seconds of the large one, its shares, and the ratio to the small
    one."""
    print(
        f"{'frame':18}{'members':>9}{'laps':>7}{'ways':>6}{'seconds':>9}{'mobility':>10}{'proposals':>11}"
        f"{'ends':>7}{'rest':>7}{'members':>10}{'seconds':>9}"
    )
    check_frame(scaffold(1, 1, 2))  # what is loaded once is not counted
    for name, small, large in _pairs():
        few, many = _measure(small), _measure(large)
        whole = many[-1]
        shares = "".join(
            f"{100 * part / whole:{width}.0f}%"
            for part, width in zip((*many[1:4], whole - sum(many[1:4])), (9, 10, 6, 6))
        )
        print(
            f"{name:18}{len(large.members):9}{len(large.joints):7}{many[0]:6}{whole:9.2f}{shares}"
            f"{len(large.members) / len(small.members):8.1f} x{whole / few[-1]:7.1f} x",
            flush=True,
        )
    return 0


def _pairs() -> Iterator[tuple[str, Frame, Frame]]:
    """Name, small frame and large frame."""
    yield "scaffold", scaffold(2, 2, 3), scaffold(4, 4, 7)
    yield "some bolts out", _thinned(scaffold(2, 2, 4), 1), _thinned(scaffold(4, 4, 8), 1)
    yield "random", random_frame(1, 60), random_frame(1, 360)
    yield "trellis", _trellis(3, 47), _trellis(3, 297)
    yield "trellis, crowded", _trellis(5, 45), _trellis(30, 270)


def _thinned(frame: Frame, seed: int) -> Frame:
    """The frame without a fifth of its rails and without bolts in a tenth of its laps."""
    rng = np.random.default_rng(seed)
    members = tuple(m for m in frame.members if m.direction == Z or rng.random() > 0.2)
    joints = tuple(replace(j, bolt="none") if rng.random() < 0.1 else j for j in find_joints(members))
    return replace(frame, members=members, joints=joints)


def _trellis(posts: int, slats: int, step: int = 2) -> Frame:
    """Slats across posts, a bolt in each lap, `step` pitches apart both ways."""
    placed = [((i * step, 0, 0), Z, (slats - 1) * step + 1) for i in range(posts)]
    placed += [((0, -1, j * step), X, (posts - 1) * step + 1) for j in range(slats)]
    members = tuple(Member(label(k), as_tuple(at), way, holes) for k, (at, way, holes) in enumerate(placed))
    return Frame(members, find_joints(members), 38.1)


def _measure(frame: Frame) -> tuple[float, ...]:
    """The number of ways to move, and seconds.

    To find these, for proposals, for ends of bolts, and for all checks.
    """
    at = [time.perf_counter()]
    state = mobility(frame)
    at.append(time.perf_counter())
    additions(frame, most=MOST if len(frame.members) <= MANY else FEW, state=state)
    at.append(time.perf_counter())
    bolts = find_bolts(frame)
    blocked_ends(frame, bolts)
    meeting_ends(bolts)
    at.append(time.perf_counter())
    check_frame(frame)
    at.append(time.perf_counter())
    return len(state.motions), *np.diff(at).tolist()
