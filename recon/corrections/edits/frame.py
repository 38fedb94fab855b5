"""The whole frame turned or moved, or given a name."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from recon.corrections import validation
from recon.corrections.codec import Json
from recon.corrections.edits.kind import Change, EditKind, Stocks
from recon.corrections.state import State
from recon.frame.lattice import transform
from recon.frame.model import Frame
from recon.geometry.arrays import FloatArray, IntArray
from recon.geometry.lattice import rotations

# Quarter turns of the frame by the axis that they are about; "x+" brings y to z.
QUARTERS = {
    "x+": [[1, 0, 0], [0, 0, -1], [0, 1, 0]],
    "x-": [[1, 0, 0], [0, 0, 1], [0, -1, 0]],
    "y+": [[0, 0, 1], [0, 1, 0], [-1, 0, 0]],
    "y-": [[0, 0, -1], [0, 1, 0], [1, 0, 0]],
    "z+": [[0, -1, 0], [1, 0, 0], [0, 0, 1]],
    "z-": [[0, 1, 0], [-1, 0, 0], [0, 0, 1]],
}


@dataclass(frozen=True)
class RigidMotion:
    """A motion of the frame, x -> turn x + shift (pitches), in words."""

    turn: IntArray
    shift: FloatArray
    words: str


def _motion(state: State, request: Json, stocks: Stocks) -> RigidMotion:
    turn, shift = np.eye(3, dtype=int), np.zeros(3)
    if "quarter" in request:
        quarter = validation.word(request, "quarter", QUARTERS)
        return RigidMotion(np.array(QUARTERS[quarter]), shift, "Frame turned by a quarter")
    if "up" in request:
        m = validation.member(state.frame, request, "up")
        way = np.array(m.direction) * (1 if validation.whole(request, "end", 0, 1) else -1)
        turn = max(rotations(), key=lambda r: (round(float((r @ way)[2]), 6), np.trace(r)))
        return RigidMotion(turn, shift, f"Frame turned so that {m.id} stands up")
    m = validation.member(state.frame, request, "origin")
    hole = validation.whole(request, "hole", 0, m.holes - 1)
    return RigidMotion(turn, -m.hole_centre(hole), f"Origin at hole {hole + 1} of {m.id}")


def turn(state: State, motion: RigidMotion) -> Change:
    """Turns the frame, or says which way is up by a member, or where the origin is:
    {quarter: 'x+' ...}, {up: member, end: which end is on top} or {origin: member, hole}."""
    corrections = state.corrections
    if corrections.deleted:
        moved = transform(Frame(corrections.deleted), motion.turn, motion.shift).members
        corrections = corrections.changed(deleted=moved)
    frame = transform(state.frame, motion.turn, motion.shift)
    return Change(State(frame, corrections), motion.words)


def _name(state: State, request: Json, stocks: Stocks) -> str:
    return validation.text(request, "name", 120)


def rename(state: State, name: str) -> Change:
    """What the frame is called: {name}."""
    frame = replace(state.frame, name=name)
    return Change(State(frame, state.corrections), f"Frame called {name or 'nothing'}")


TURN = EditKind("turn", _motion, turn, concerns_all=True)
NAME = EditKind("name", _name, rename)
