"""What an addition does to the ways in which a frame can move, from these ways alone.

A bolt or a new member adds a few equations to those that the ways to move fulfil already, so how many ways are left is the
null space of these few on the combinations of the ways, as when members are added in `freedom`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recon.frame.model import Frame, Joint, Member
from recon.workshop.rigidity.mechanism import Mobility, hinge_twists, linked, mobility
from recon.workshop.rigidity.null_space import null_space

ROWS = 1000  # candidates reckoned together, which keeps memory small
CLEAR = 1e-6  # of relative twists of motions in which the fastest point goes 1 pitch, those below this are rounding


@dataclass(frozen=True)
class Ends:
    """What n candidates join: `host` (n, 2) member indices, `turn` (n, 2, 6) the twists of the bolts there."""

    host: np.ndarray
    turn: np.ndarray


def twists_of(frame: Frame, state: Mobility) -> np.ndarray:
    """The members' twists in each of d motions, (d, members, 6)."""
    still = np.zeros(6)
    return np.array([[m.twists.get(f.id, still) for f in frame.members] for m in state.motions]).reshape(
        -1, len(frame.members), 6
    )


def stopped(twists, ends: Ends) -> np.ndarray:
    """How many of the motions, twists (d, members, 6), each candidate takes away if there are no others, (n,).

    A new member turns on its two bolts, so its hosts may still move against one another as two turns about these do;
    every other part of their relative twists is stopped.
    """
    if not len(ends.host):
        return np.zeros(0, int)
    ways = np.ascontiguousarray(np.moveaxis(twists, 0, 2))  # (members, 6, d)
    _, size, basis = np.linalg.svd(ends.turn, full_matrices=False)
    basis = basis * (size > 1e-9)[..., None]
    counts = []
    for start in range(0, len(basis), ROWS):
        host, turns = ends.host[start : start + ROWS], basis[start : start + ROWS]
        against = ways[host[:, 0]] - ways[host[:, 1]]  # (n, 6, d)
        rest = against - np.moveaxis(turns, 1, 2) @ (turns @ against)
        counts.append((np.linalg.eigvalsh(rest @ np.moveaxis(rest, 1, 2)) > CLEAR**2).sum(axis=1))
    return np.concatenate(counts)


@dataclass(frozen=True)
class Ways:
    """All ways in which a frame moves, those that are wanted too.

    twists : (members, 6, d), about `middle` and with lengths in `size`, pitches.   wanted : (d, w), the combinations that
    are wanted.   number : id -> member index.   piece : (members,), equal for members that hang together by bolts.
    """

    frame: Frame
    twists: np.ndarray
    wanted: np.ndarray
    number: dict[str, int]
    piece: np.ndarray
    middle: np.ndarray
    size: float


def ways_of(frame: Frame, state: Mobility, may_turn) -> Ways:
    """The ways of a frame.  state : its `mobility`.   may_turn : as for that."""
    whole = mobility(frame) if may_turn else state
    may_turn = set(may_turn)
    others = {
        j: k
        for k, j in enumerate(dict.fromkeys(j for m in whole.motions for j in m.joints if j not in may_turn))
    }
    rates = np.zeros((len(others), len(whole.motions)))
    for d, motion in enumerate(whole.motions):
        for joint, rate in zip(motion.joints, motion.rates):
            if joint in others:
                rates[others[joint], d] = rate
    number = {m.id: k for k, m in enumerate(frame.members)}
    places = np.array([m.first for m in frame.members], float)
    middle, size = places.mean(axis=0), max(float(np.ptp(places, axis=0).max()) / 2, 1.0)
    ends = np.array([(number[j.a], number[j.b]) for j in frame.joints if j.bolt != "none"], int).reshape(
        -1, 2
    )
    return Ways(
        frame,
        _about(np.moveaxis(twists_of(frame, whole), 0, 2), middle, size),
        null_space(rates),
        number,
        linked(len(number), ends),
        middle,
        size,
    )


def _about(twists, middle, size: float) -> np.ndarray:
    """Twists (n, 6, d) about `middle`, with lengths in `size`."""
    turn, travel = twists[:, :3], twists[:, 3:]
    return np.concatenate([turn, (travel + np.cross(turn, middle[None, :, None], axis=1)) / size], axis=1)


def left_after(ways: Ways, new: Member | None, laps: tuple[Joint, ...]) -> int:
    """How many ways that are not wanted are left with bolts in more laps: those of a new member, `a` in each of them, or
    one lap of the frame's own members.

    Unknowns are the ways to move, the twist of the new member, and those of all pieces that hang together by nothing before
    against the first of them.
    """
    hosts = [ways.number[j.b] for j in laps] + ([] if new else [ways.number[laps[0].a]])
    pieces = np.unique(ways.piece[hosts], return_inverse=True)[1].ravel()
    ids = {id for j in laps for id in (j.a, j.b)}
    members = (*(m for m in ways.frame.members if m.id in ids), *((new,) if new else ()))
    turns = _about(hinge_twists(Frame(members, laps))[:, :, None], ways.middle, ways.size)  # (l, 6, 1)
    across = np.eye(6) - turns * np.moveaxis(turns, 1, 2) / (turns**2).sum(axis=1, keepdims=True)
    on = ways.twists[hosts]  # (hosts, 6, d)
    alike = np.concatenate(
        [(on[pieces == p] - on[pieces == p][:1]).reshape(-1, on.shape[2]) for p in range(pieces.max() + 1)]
    )
    moved = np.abs(on).max(axis=(0, 1)) > 0
    apart = [np.eye(6) * (pieces == p)[:, None, None] for p in range(1, pieces.max() + 1)]
    there = np.concatenate([on[:, :, moved], *apart], axis=2)
    if new is None:
        equations = across[0] @ (there[0] - there[1])
    else:
        equations = np.concatenate([-across @ there, across], axis=2).reshape(len(laps) * 6, -1)
    freedom = null_space(equations).shape[1] + int((~moved).sum())
    alike = alike @ ways.wanted
    wanted = ways.wanted.shape[1] - (
        int((np.linalg.svd(alike, compute_uv=False) > CLEAR).sum()) if alike.size else 0
    )
    return freedom - wanted
