"""What an addition does to the ways in which a frame can move, from these ways alone.

A bolt or a new member adds a few equations to those that the ways to move fulfil already, so how many ways
are left is the null space of these few on the combinations of the ways, as when members are added in
`free_rates`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from recon.frame.model import Frame, Joint, Member
from recon.geometry.arrays import FloatArray, IntArray
from recon.workshop.rigidity.mechanism import Mobility, component_labels, hinge_twists, mobility
from recon.workshop.rigidity.null_space import null_space

ROWS = 1000  # additions worked out together, which keeps memory small
CLEAR = 1e-6  # of relative twists of motions whose fastest point goes 1 pitch, those below this are rounding


@dataclass(frozen=True)
class Attachments:
    """What each of n additions joins, by two bolts or by one counted twice.

    Attributes
    ----------
    host : (n, 2)
        Member indices.
    turn : (n, 2, 6)
        Twists of a turn about the bolts there.
    """

    host: IntArray
    turn: FloatArray


def motion_twists(frame: Frame, state: Mobility) -> FloatArray:
    """The members' twists in each of d motions, (d, members, 6)."""
    still = np.zeros(6)
    twists = [[m.twists.get(f.id, still) for f in frame.members] for m in state.motions]
    return np.array(twists).reshape(-1, len(frame.members), 6)


def motions_stopped(twists: FloatArray, attachments: Attachments) -> IntArray:
    """How many motions each of n additions takes away, as if there were no others.

    A new member turns on its two bolts, so its hosts may still move against one another as two turns about
    these do; every other part of their relative twists is stopped.

    Parameters
    ----------
    twists : (d, members, 6)
        Of the members in each motion.
    attachments : Attachments
        What the additions join.

    Returns
    -------
    (n,)
    """
    if not len(attachments.host):
        return np.zeros(0, int)
    ways = np.ascontiguousarray(np.moveaxis(twists, 0, 2))  # (members, 6, d)
    _, size, basis = np.linalg.svd(attachments.turn, full_matrices=False)
    basis = basis * (size > 1e-9)[..., None]
    counts = []
    for start in range(0, len(basis), ROWS):
        host, turns = attachments.host[start : start + ROWS], basis[start : start + ROWS]
        against = ways[host[:, 0]] - ways[host[:, 1]]  # (n, 6, d)
        rest = against - np.moveaxis(turns, 1, 2) @ (turns @ against)
        counts.append((np.linalg.eigvalsh(rest @ np.moveaxis(rest, 1, 2)) > CLEAR**2).sum(axis=1))
    return np.concatenate(counts)


@dataclass(frozen=True)
class MotionSpace:
    """All ways in which a frame moves, the wanted ones among them.

    Attributes
    ----------
    frame : Frame
        The frame.
    twists : (members, 6, d)
        In each of d ways, about `middle` and with lengths in `size`.
    wanted : (d, w)
        The combinations that are wanted.
    number : dict of str to int
        Member id -> index.
    piece : (members,)
        Equal for members that bolts join, directly or not.
    middle : (3,)
        Pitches.
    size : float
        Pitches.
    """

    frame: Frame
    twists: FloatArray
    wanted: FloatArray
    number: dict[str, int]
    piece: IntArray
    middle: FloatArray
    size: float


def motion_space(frame: Frame, state: Mobility, may_turn: Iterable[Joint]) -> MotionSpace:
    """The ways in which a frame moves.

    Parameters
    ----------
    frame : Frame
        The frame.
    state : Mobility
        Its `mobility` with `may_turn`.
    may_turn : iterable of Joint
        Joints whose bolts may turn.
    """
    may_turn = set(may_turn)
    whole = mobility(frame) if may_turn else state
    kept = dict.fromkeys(j for m in whole.motions for j in m.joints if j not in may_turn)
    row = {joint: k for k, joint in enumerate(kept)}
    rates = np.zeros((len(row), len(whole.motions)))
    for d, motion in enumerate(whole.motions):
        for joint, rate in zip(motion.joints, motion.rates):
            if joint in row:
                rates[row[joint], d] = rate
    number = {m.id: k for k, m in enumerate(frame.members)}
    places = np.array([m.first for m in frame.members], float)
    middle, size = places.mean(axis=0), max(float(np.ptp(places, axis=0).max()) / 2, 1.0)
    bolted = [(number[j.a], number[j.b]) for j in frame.joints if j.bolt != "none"]
    return MotionSpace(
        frame,
        _about(np.moveaxis(motion_twists(frame, whole), 0, 2), middle, size),
        null_space(rates),
        number,
        component_labels(len(number), np.array(bolted, int).reshape(-1, 2)),
        middle,
        size,
    )


def _about(twists: FloatArray, middle: FloatArray, size: float) -> FloatArray:
    """Twists (n, 6, d) about `middle`, with lengths in `size`."""
    turn, travel = twists[:, :3], twists[:, 3:]
    return np.concatenate([turn, (travel + np.cross(turn, middle[None, :, None], axis=1)) / size], axis=1)


def motions_left(space: MotionSpace, new: Member | None, laps: tuple[Joint, ...]) -> int:
    """How many ways that are not wanted are left with bolts in more laps.

    Unknowns are the ways to move, the twist of the new member, and those of all pieces that no bolt joined
    before against the first of them.

    Parameters
    ----------
    space : MotionSpace
        The ways to move before.
    new : Member or None
        The new member, where there is one.
    laps : tuple of Joint
        Those of the new member, `a` in each of them; or one lap of the frame's own members.
    """
    hosts = [space.number[j.b] for j in laps] + ([] if new else [space.number[laps[0].a]])
    pieces = np.unique(space.piece[hosts], return_inverse=True)[1].ravel()
    ids = {id for j in laps for id in (j.a, j.b)}
    members = (*(m for m in space.frame.members if m.id in ids), *((new,) if new else ()))
    turns = _about(hinge_twists(Frame(members, laps))[:, :, None], space.middle, space.size)  # (l, 6, 1)
    across = np.eye(6) - turns * np.moveaxis(turns, 1, 2) / (turns**2).sum(axis=1, keepdims=True)
    on = space.twists[hosts]  # (hosts, 6, d)
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
    alike = alike @ space.wanted
    lost = int((np.linalg.svd(alike, compute_uv=False) > CLEAR).sum()) if alike.size else 0
    return freedom - (space.wanted.shape[1] - lost)
