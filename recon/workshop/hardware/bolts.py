"""The bolts of a frame: what one bolt goes through, its grip, where it sticks out, and what to buy for it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import networkx as nx
import numpy as np

from recon.errors import ReconError
from recon.frame.fitting import BOARDS, Fitting
from recon.frame.joints import NORMAL_TOL
from recon.frame.length import mm_text
from recon.frame.model import Frame, Joint, Member, as_tuple, section_axes
from recon.frame.stock import Stock
from recon.geometry.arrays import FloatArray, Vector
from recon.workshop.hardware.fasteners import (
    HALF_UNIT_MM,
    PLAIN,
    Series,
    bolt_length,
    bolt_name,
    bolt_system,
    is_rod,
    nut_name,
    thread_for,
    washer_name,
)
from recon.workshop.hardware.threads import Thread
from recon.workshop.wording import holes_words

Hole = tuple[str, int]  # member id, hole counted from 0


@dataclass(frozen=True)
class Bolt:
    """One bolt, through two members or, where laps lie behind one another on one axis, through more.

    Attributes
    ----------
    through : tuple of (str, int)
        Member id and hole, counted from 0, in order along `axis`.
    joints : tuple of Joint
        The laps that it holds.
    axis : (3,)
        Unit vector from `start` to `end`.
    start, end : (3,)
        Where it enters the first face and leaves the last, pitches.
    grip : float
        From face to face, pitches.
    seen : bool
        Whether a photo shows it in one of its laps at least.
    three_way : bool
        Whether one of its laps is part of a three-way lap.
    said : bool
        Whether no photo shows it and a person says that it is there.
    fitting : Fitting or None
        What it holds on its member, starting at that; it then has no joints.
    """

    through: tuple[Hole, ...]
    joints: tuple[Joint, ...]
    axis: Vector
    start: Vector
    end: Vector
    grip: float
    seen: bool
    three_way: bool
    said: bool = False
    fitting: Fitting | None = None

    @property
    def assumed(self) -> bool:
        """Whether no photo shows it, no person speaks for it, and it holds no fitting."""
        return self.known == "assumed"

    @property
    def known(self) -> str:
        """'seen', 'said' or 'assumed'; 'fitting' where it holds one."""
        if self.fitting:
            return "fitting"
        return "seen" if self.seen else "said" if self.said else "assumed"


def find_bolts(frame: Frame) -> tuple[Bolt, ...]:
    """The bolts of all laps that are not without one, in the order of the joints.

    Laps that share a hole of one member on one axis share the bolt: a rail between two posts, all three on
    one hole axis, is held by one bolt with a grip of three widths.

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> post = Member("A", (0, 0, 0), (0, 0, 1), 8)
    >>> rail = Member("B", (-2, 1, 3), (1, 0, 0), 8)
    >>> behind = Member("C", (0, 2, 0), (0, 0, 1), 8)
    >>> (bolt,) = find_bolts(Frame((post, rail, behind), find_joints((post, rail, behind))))
    >>> bolt_words(bolt), bolt.grip
    ('hole 4 of A on hole 3 of B on hole 4 of C', 3.0)
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


def _bolt(joints: list[Joint], holes: set[Hole], members: Mapping[str, Member]) -> Bolt:
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
        not any(j.bolt == "seen" for j in joints) and any(j.bolt == "said" for j in joints),
    )


def bolt_words(bolt: Bolt) -> str:
    """'hole 3 of C on hole 1 of F', 'castor F1 on hole 4 of C'; holes are counted from 1."""
    on = f"{bolt.fitting.words} on " if bolt.fitting else ""
    return on + holes_words(bolt.through)


def bolt_axes_by_hole(bolts: Iterable[Bolt]) -> dict[Hole, Vector]:
    """The axis of the bolt in each hole that has one; of several the last one's."""
    return {hole: bolt.axis for bolt in bolts for hole in bolt.through}


def holes_crossed(joint: Joint, axes: Mapping[Hole, Vector]) -> list[Hole]:
    """Those of a lap's two holes in which a bolt lies that would cross the lap's own.

    Parameters
    ----------
    joint : Joint
        The lap.
    axes : mapping of hole to (3,)
        The axis of the bolt in each hole that has one.
    """
    return [
        hole
        for hole in ((joint.a, joint.a_hole), (joint.b, joint.b_hole))
        if hole in axes and abs(np.dot(axes[hole], joint.axis)) < NORMAL_TOL
    ]


def lap_centre(joint: Joint, members: Mapping[str, Member]) -> FloatArray:
    """Half-way between the centres of a lap's two holes, (3,), pitches."""
    a, b = members[joint.a], members[joint.b]
    return (a.hole_centre(joint.a_hole) + b.hole_centre(joint.b_hole)) / 2


def width_mm(member: Member, frame: Frame, stocks: Mapping[str, Stock]) -> float:
    """Width of the member's section, mm: its stock's where that is known, else as the frame has it.

    Raises
    ------
    ReconError
        Where neither the stock nor the frame's pitch is known.
    """
    stock = _stock_of(member, stocks)
    if stock is not None:
        return stock.width_mm
    if frame.pitch_mm is None:
        raise ReconError(f"The width of {member.id} in mm is not known: give the frame a stock or a pitch.")
    return member.width * frame.pitch_mm


def _stock_of(member: Member, stocks: Mapping[str, Stock]) -> Stock | None:
    return stocks.get(member.stock) if member.stock is not None else None


def _known_stocks(bolt: Bolt, frame: Frame, stocks: Mapping[str, Stock]) -> list[Stock]:
    """The stocks of the members that a bolt goes through, in that order, as far as they are known."""
    members = {m.id: m for m in frame.members}
    found = (_stock_of(members[id], stocks) for id, _ in bolt.through)
    return [stock for stock in found if stock is not None]


def grip_mm(bolt: Bolt, frame: Frame, stocks: Mapping[str, Stock]) -> float:
    """What the bolt clamps, mm: the widths of all members that it goes through, and a fitting's plate."""
    members = {m.id: m for m in frame.members}
    plate = bolt.fitting.plate_mm if bolt.fitting else 0.0
    return round(plate + sum(width_mm(members[id], frame, stocks) for id, _ in bolt.through), 3)


def hole_mm(bolt: Bolt, frame: Frame, stocks: Mapping[str, Stock]) -> float | None:
    """The smallest hole that the bolt goes through, mm; None where no member's stock is known."""
    return min((stock.hole_mm for stock in _known_stocks(bolt, frame, stocks)), default=None)


@dataclass(frozen=True)
class Fastening:
    """The bolt to buy for a grip, with its nut and two washers; a rod has two nuts.

    Attributes
    ----------
    thread : Thread
        Size of bolt, nut and washers.
    length_mm : float
        Length under the head.
    grip_mm : float
        From face to face of what it clamps.
    series : (str, str)
        Of the washers at its start and its end: "wide" on wood, else "plain".
    lock : bool
        Whether its nut has a nylon insert.
    """

    thread: Thread
    length_mm: float
    grip_mm: float
    series: Series = PLAIN
    lock: bool = False

    @property
    def name(self) -> str:
        """'M8 x 90'."""
        return bolt_name(self.thread, self.length_mm)

    @property
    def nuts(self) -> Counter[str]:
        """How many nuts, by name: two on a threaded rod."""
        return Counter({nut_name(self.thread, self.lock): 2 if is_rod(self.thread, self.length_mm) else 1})

    @property
    def washers(self) -> Counter[str]:
        """How many washers, by name."""
        return Counter(washer_name(self.thread, series) for series in self.series)


def fasten(
    bolt: Bolt,
    frame: Frame,
    stocks: Mapping[str, Stock],
    system: str | None = None,
    thread: Thread | None = None,
    lock: bool = False,
    plates_mm: float = 0.0,
) -> Fastening | None:
    """What to buy for a bolt; None where no member's stock is known and no thread is given.

    Parameters
    ----------
    bolt : Bolt
        One of the frame's bolts.
    frame : Frame
        The frame.
    stocks : mapping of str to Stock
        By id.
    system : "metric", "inch" or None
        None: as the stock of the first member is made.
    thread : Thread or None
        In place of the largest that passes the hole.
    lock : bool
        Whether nuts have a nylon insert.
    plates_mm : float
        Thickness of fittings' plates that a bolt of a lap holds, too.

    Raises
    ------
    ReconError
        Where the thread has no clearance in the hole, or none is thin enough.

    Notes
    -----
    Washers on wood are of the wide series: not smaller than a standard cut washer (National Design
    Specification for Wood Construction, as quoted at civilengineeringx.com, "Bolts"; that the cut washer is
    the wide one is this project's reading).

    Examples
    --------
    >>> from recon.frame.joints import find_joints
    >>> from recon.frame.stock import load_stocks
    >>> pair = (
    ...     Member("A", (0, 0, 0), (0, 0, 1), 8, stock="softwood-38"),
    ...     Member("B", (-2, 1, 3), (1, 0, 0), 8, stock="softwood-38"),
    ... )
    >>> frame = Frame(pair, find_joints(pair), 38.1)
    >>> fastening = fasten(find_bolts(frame)[0], frame, load_stocks(), "metric")
    >>> fastening.name, dict(fastening.nuts), dict(fastening.washers)
    ('M8 x 90', {'M8': 1}, {'M8 wide': 2})
    """
    hole = hole_mm(bolt, frame, stocks)
    if thread is None:
        if hole is None:
            return None
        thread = thread_for(hole, system or bolt_system(_known_stocks(bolt, frame, stocks)[0]))
    elif hole is not None and thread.clearance_mm[0] > hole + HALF_UNIT_MM:
        raise ReconError(
            f"{thread.name} has no clearance in a hole of {mm_text(hole)}: it needs "
            f"{mm_text(thread.clearance_mm[0])} for a close fit and {mm_text(thread.clearance_mm[1])} for a "
            "normal one; choose a thinner bolt, or drill the holes larger."
        )
    grip = round(grip_mm(bolt, frame, stocks) + plates_mm, 3)
    members = {m.id: m for m in frame.members}
    ends = (_stock_of(members[bolt.through[k][0]], stocks) for k in (0, -1))
    first, last = ("wide" if stock is not None and stock.wood else "plain" for stock in ends)
    if bolt.fitting:  # the head lies on a plate of metal, or on a board
        first = "wide" if bolt.fitting.kind in BOARDS else "plain"
    length = bolt_length(grip, thread, (first, last), lock)
    return Fastening(thread, length, grip, (first, last), lock)
