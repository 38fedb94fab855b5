"""Frames for tests of corrections and of the page: a small one, easy to follow, large ones, a sample's."""

import json
from dataclasses import replace
from pathlib import Path

from recon.corrections.edits import edit
from recon.corrections.state import State, joint_key, ordered
from recon.frame.joints import find_joints
from recon.frame.model import Frame, Member, StockUse
from tests.truth import frame_from_truth

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "sample_images" / "oddment"
X, Y, Z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)


def true_frame(sample: Path = SAMPLE) -> Frame:
    """The frame of a sample's truth file."""
    return frame_from_truth(json.loads((sample / "truth.json").read_text()))


def gate() -> State:
    """Two posts A and B, two rails C and D before them, each lapped on both posts."""
    members = (
        Member("A", (0.0, 0.0, 0.0), Z, 12, stock="softwood-38", confidence=0.95),
        Member("B", (10.0, 0.0, 0.0), Z, 12, stock="softwood-38", confidence=0.8),
        Member("C", (-1.0, -1.0, 2.0), X, 13, stock="softwood-38"),
        Member("D", (-1.0, -1.0, 9.0), X, 13, stock="softwood-38"),
    )
    joints = tuple(replace(j, bolt="seen") for j in find_joints(members))
    return State(Frame(members, ordered(members, joints), 38.1, StockUse("softwood-38"), name="Gate"))


def scaffold(count: int) -> State:
    """A frame of about `count` members: posts on a grid, joined by rails in x and y at several heights."""
    members, n = [], 0
    for i in range(4):
        for j in range(4):
            members.append(Member(f"P{n}", (6.0 * i, 6.0 * j, 0.0), Z, 120, stock="softwood-38"))
            n += 1
    level = 0
    while len(members) < count:
        z = 1.0 + 3 * level
        members += [
            Member(f"X{level}-{j}", (-1.0, 6.0 * j - 1, z), X, 21, stock="softwood-38") for j in range(4)
        ]
        members += [
            Member(f"Y{level}-{i}", (6.0 * i - 1, -1.0, z + 1), Y, 21, stock="softwood-38") for i in range(4)
        ]
        level += 1
    members = tuple(members[:count])
    return State(
        Frame(
            members,
            ordered(members, find_joints(members)),
            38.1,
            StockUse("softwood-38"),
            name=f"Scaffold of {count}",
        )
    )


def side_and_rest() -> State:
    """A side of two posts and three rails along y, and two long rails along x that a second could hold."""
    members = [Member("AB"[k], (0.0, 6.0 * k, 0.0), Z, 10) for k in (0, 1)]
    members += [Member("CDE"[k], (-1.0, -1.0, 1.0 + 3 * k), Y, 9) for k in range(3)]
    members += [Member("FG"[k], (-2.0, 1.0 + 4 * k, 8.0), X, 16) for k in (0, 1)]
    state = State(Frame(tuple(members), find_joints(members), 38.1))
    for pair, word in (("AC", "none"), ("AD", "said"), ("BC", "apart")):
        state, _ = edit(state, {"op": "lap", "lap": lap_of(state, *pair), "word": word})
    state, _ = edit(state, {"op": "may_turn", "lap": lap_of(state, "A", "E"), "wanted": True})
    seen = [replace(j, bolt="seen") if {j.a, j.b} == {"B", "D"} else j for j in state.frame.joints]
    return State(replace(state.frame, joints=tuple(seen)), state.corrections)


def lap_of(state, a, b):
    return list(next(joint_key(j) for j in state.frame.joints if {j.a, j.b} == {a, b}))
