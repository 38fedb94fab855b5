"""The bolts of a frame: which laps one bolt goes through, its grip, and where it sticks out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import networkx as nx
import numpy as np

from recon.errors import ReconError
from recon.frame.length import mm_text
from recon.frame.model import Frame, Joint, Member, as_tuple, section_axes
from recon.frame.stock import Stock
from recon.workshop.hardware.fasteners import Thread, bolt_length, bolt_name, bolt_system, thread_for


@dataclass(frozen=True)
class Bolt:
    """One bolt, through two members or, where laps lie behind one another on one axis, through more.

    through : (member id, hole counted from 0) in order along `axis`, a unit vector.
    start, end : where it enters the first face and leaves the last, pitches.
    grip : from face to face, pitches.   seen : in a photo, in one of its laps at least.
    """

    through: tuple[tuple[str, int], ...]
    joints: tuple[Joint, ...]
    axis: tuple[float, float, float]
    start: tuple[float, float, float]
    end: tuple[float, float, float]
    grip: float
    seen: bool
    three_way: bool


def find_bolts(frame: Frame) -> tuple[Bolt, ...]:
    """The bolts of all laps that are not without one, in the order of the joints.

    Laps that share a hole of one member on one axis share the bolt: a rail between two posts, all three on one hole
    axis, is held by one bolt with a grip of three widths.
    """
    members = {m.id: m for m in frame.members}
    used = {id for joint in frame.joints if joint.bolt != "none" for id in (joint.a, joint.b)}
    normals = {id: np.array(section_axes(members[id])) for id in used}
    bolted = [(k, joint) for k, joint in enumerate(frame.joints) if joint.bolt != "none"]
    axes = np.array([joint.axis for _, joint in bolted], float).reshape(-1, 3, 1)
    faces = [
        np.abs(np.array([normals[id] for id in ids]).reshape(-1, 2, 3) @ axes)[..., 0].argmax(axis=1).tolist()
        for ids in ([joint.a for _, joint in bolted], [joint.b for _, joint in bolted])
    ]
    laps = nx.Graph()
    for (k, joint), a_face, b_face in zip(bolted, *faces):
        laps.add_edge(("joint", k), (joint.a, joint.a_hole, a_face))
        laps.add_edge(("joint", k), (joint.b, joint.b_hole, b_face))
    bolts = []
    for piece in nx.connected_components(laps):
        numbers = sorted(node[1] for node in piece if node[0] == "joint" and len(node) == 2)
        holes = {(node[0], node[1]) for node in piece if len(node) == 3}
        bolts.append((numbers, _bolt([frame.joints[k] for k in numbers], holes, members)))
    return tuple(bolt for _, bolt in sorted(bolts, key=lambda b: b[0]))


def _bolt(joints: list[Joint], holes, members: dict[str, Member]) -> Bolt:
    axis = np.asarray(joints[0].axis, float)
    centre = {(id, hole): members[id].hole_centre(hole) for id, hole in holes}
    place = {spot: float(at @ axis) for spot, at in centre.items()}
    through = tuple(sorted(holes, key=lambda h: (round(place[h], 6), h)))
    first, last = through[0], through[-1]
    start = centre[first] - axis * members[first[0]].width / 2
    grip = place[last] - place[first] + (members[first[0]].width + members[last[0]].width) / 2
    return Bolt(
        through,
        tuple(joints),
        as_tuple(axis),
        as_tuple(start),
        as_tuple(start + axis * grip),
        float(grip),
        any(j.bolt == "seen" for j in joints),
        any(j.three_way for j in joints),
    )


def width_mm(member: Member, frame: Frame, stocks: Mapping[str, Stock]) -> float:
    """Width of the member's section, mm: its stock's where that is known, else as the frame has it."""
    return stocks[member.stock].width_mm if member.stock in stocks else member.width * frame.pitch_mm


def grip_mm(bolt: Bolt, frame: Frame, stocks: Mapping[str, Stock]) -> float:
    """What the bolt clamps, mm: the widths of all members that it goes through."""
    members = {m.id: m for m in frame.members}
    return round(sum(width_mm(members[id], frame, stocks) for id, _ in bolt.through), 3)


def hole_mm(bolt: Bolt, frame: Frame, stocks: Mapping[str, Stock]) -> float | None:
    """The smallest hole that the bolt goes through, mm; None where no member's stock is known."""
    members = {m.id: m for m in frame.members}
    return min(
        (stocks[members[id].stock].hole_mm for id, _ in bolt.through if members[id].stock in stocks),
        default=None,
    )


@dataclass(frozen=True)
class Fastening:
    """The bolt bought for a grip, with one nut and two washers.  length_mm : under the head."""

    thread: Thread
    length_mm: float
    grip_mm: float

    @property
    def name(self) -> str:
        return bolt_name(self.thread, self.length_mm)


def fasten(
    bolt: Bolt,
    frame: Frame,
    stocks: Mapping[str, Stock],
    system: str | None = None,
    thread: Thread | None = None,
) -> Fastening | None:
    """What to buy for a bolt; None where no stock tells the hole and no thread is given.

    system : "metric" or "inch", by the stock where None.   thread : in place of the largest that passes the hole.
    Raises ReconError where the thread is thicker than the hole, or none is thin enough.
    """
    hole = hole_mm(bolt, frame, stocks)
    if thread is None:
        if hole is None:
            return None
        members = {m.id: m for m in frame.members}
        own = next(stocks[members[id].stock] for id, _ in bolt.through if members[id].stock in stocks)
        thread = thread_for(hole, system or bolt_system(own))
    elif hole is not None and thread.d_mm > hole + 0.05:
        raise ReconError(f"{thread.name} does not pass a hole of {mm_text(hole)}; choose a thinner bolt.")
    grip = grip_mm(bolt, frame, stocks)
    return Fastening(thread, bolt_length(grip, thread), grip)


def bolt_words(bolt: Bolt) -> str:
    """'hole 3 of C on hole 1 of F'; holes are counted from 1."""
    return " on ".join(f"hole {hole + 1} of {id}" for id, hole in bolt.through)
