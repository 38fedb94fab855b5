"""The frame: members, joints, photos and stock, as plain values.

Positions are in pitches of the frame, right-handed, z up where the vertical is known.  A member's place
is that of its centre line; its openings lie half a width off it, on its faces.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from recon.frame.fitting import Fitting
from recon.frame.squareness import OffPlace, Racked
from recon.geometry.arrays import FloatArray, IntArray, Vector
from recon.geometry.camera import Camera

AXIS_TOL = 1e-6  # a direction this near to a lattice axis (largest other component) lies along it
DIRECTIONS_KEPT = 1024  # of members, with the axes across them: a frame has a few, braces among them


@dataclass(frozen=True)
class EndChoice:
    """A place where an end that is not sure may be.

    Attributes
    ----------
    holes : int
        The member's count of holes if the end were there, its other end as it is.
    chance : float
        Probability, 0..1.
    at : str or None
        Label of the member that the last hole would then lie on; None where it would lie on none.
    """

    holes: int
    chance: float
    at: str | None = None


@dataclass(frozen=True)
class End:
    """One end of a member.

    Attributes
    ----------
    state : str
        "seen", "hidden" or "cut" (by the photo's border).
    extra : int
        How many more holes could be hidden there without contradicting any photo.
    choices : tuple of EndChoice
        Where it may be, where that is not sure, the likeliest first; the member's own count is one of them.
    """

    state: str = "seen"
    extra: int = 0
    choices: tuple[EndChoice, ...] = ()


@dataclass(frozen=True)
class Member:
    """A straight member, drilled at every pitch.

    Attributes
    ----------
    id : str
        Its label.
    first : tuple of three float
        Centre of hole 0 on the centre line, pitches.
    direction : tuple of three float
        Unit vector from hole 0 to the last hole.
    holes : int
        Length in holes; the member ends half a pitch past its first and last hole.
    width : float
        Of the square section, pitches.
    stock : str or None
        Id in the stock list.
    confidence : float
        Calibrated probability that the member is exactly right, 0..1.
    ends : tuple of two End
        At hole 0 and at the last hole.
    on_lattice : bool
        False for a brace at an angle or a member off by part of a pitch.
    seen : int
        Openings seen in all photos together (0 where no photo was read).
    off_place : OffPlace or None
        How far the built member lies off this place; None where that is not known.

    Examples
    --------
    >>> post = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 5)
    >>> post.last.tolist(), post.length
    ([0.0, 0.0, 4.0], 5.0)
    """

    id: str
    first: Vector
    direction: Vector
    holes: int
    width: float = 1.0
    stock: str | None = None
    confidence: float = 1.0
    ends: tuple[End, End] = (End(), End())
    on_lattice: bool = True
    seen: int = 0
    off_place: OffPlace | None = None

    def hole_centre(self, k: ArrayLike) -> FloatArray:
        """Centre of hole `k` (0-based, may be an array): (3,) or (n, 3), pitches."""
        along: FloatArray = np.multiply.outer(k, np.asarray(self.direction, float))
        return np.asarray(self.first, float) + along

    def hole_centres(self) -> FloatArray:
        """Centres of all holes, (holes, 3), pitches."""
        return self.hole_centre(np.arange(self.holes))

    @property
    def last(self) -> FloatArray:
        """Centre of the last hole, (3,), pitches."""
        return self.hole_centre(self.holes - 1)

    @property
    def length(self) -> float:
        """End to end, pitches: as many as it has holes."""
        return float(self.holes)


@dataclass(frozen=True)
class Joint:
    """A lap: one bolt's axis through hole `a_hole` of member `a` and `b_hole` of `b`.

    Attributes
    ----------
    a, b : str
        Labels of the two members.
    a_hole, b_hole : int
        Which hole of each, 0-based here and in the file; papers and people count from 1.
    axis : tuple of three float
        Unit vector from a to b.
    bolt : str
        "seen" in a photo, "said" (in no photo; a person says that it is there), "assumed" or "none".
    three_way : bool
        Whether it is part of a three-way lap; see `recon.frame.joints.mark_three_way`.
    bolt_by : str
        "person" where a person says that the bolt is there ("said") or that there is none ("none"); else
        empty.
    """

    a: str
    a_hole: int
    b: str
    b_hole: int
    axis: Vector
    bolt: str = "assumed"
    three_way: bool = False
    bolt_by: str = ""

    def with_word(self, word: str) -> Joint:
        """The joint after a person's word on its bolt: "said" (there), "none", "assumed" or "" (no word).

        A bolt that was seen stays seen.

        Examples
        --------
        >>> lap = Joint("A", 0, "B", 0, (0.0, 0.0, 1.0))
        >>> lap.with_word("said").bolt, replace(lap, bolt="seen").with_word("said").bolt
        ('said', 'seen')
        """
        if not word or (word == "said" and self.bolt == "seen"):
            return self
        return replace(self, bolt=word, bolt_by="" if word == "assumed" else "person")


@dataclass(frozen=True)
class Photo:
    """A photo that the frame was read from.

    Attributes
    ----------
    file : str
        Its name.
    size : tuple of two int
        Width and height, px.
    used : bool
        Whether the frame was read from it.
    reason : str
        Why it was set aside, where it was not used.
    camera : Camera or None
        In the photo's own pixels, posed on the frame's lattice; None where the photo was not used.
    """

    file: str
    size: tuple[int, int]
    used: bool = True
    reason: str = ""
    camera: Camera | None = None


@dataclass(frozen=True)
class StockUse:
    """The stock that gives the frame its millimetres.

    Attributes
    ----------
    id : str
        In the stock list; empty where the stock is not known.
    how : str
        "recognised" from ratios in the photos, "given" by the user, "length" (one measured length fixed the
        pitch) or "assumed".
    confidence : float
        Probability that it is right, 0..1.
    """

    id: str
    how: str = "given"
    confidence: float = 1.0


@dataclass(frozen=True)
class Frame:
    """Members, the joints between them and where they were read from.

    Attributes
    ----------
    members : tuple of Member
    joints : tuple of Joint
    pitch_mm : float or None
        Mm from hole to hole, where it is known.
    stock : StockUse or None
        What gives the size in mm; members of its width that name no stock of their own are of it.
    photos : tuple of Photo
    doubts : tuple of str
        Sentences about what is not sure.
    name : str
        What the frame is called; may be empty.
    racked : Racked or None
        How far the built frame is out of square; None where that is not known.
    fittings : tuple of Fitting
        What is bolted into holes and is no member.
    """

    members: tuple[Member, ...]
    joints: tuple[Joint, ...] = ()
    pitch_mm: float | None = None
    stock: StockUse | None = None
    photos: tuple[Photo, ...] = ()
    doubts: tuple[str, ...] = ()
    name: str = ""
    racked: Racked | None = None
    fittings: tuple[Fitting, ...] = ()

    def __post_init__(self) -> None:
        if self.stock and self.stock.id and any(not m.stock for m in self.members):
            object.__setattr__(self, "members", _of_stock(self.members, self.stock.id))

    def member(self, id: str) -> Member:
        """The member labelled `id`; KeyError where there is none."""
        for m in self.members:
            if m.id == id:
                return m
        raise KeyError(id)


def _of_stock(members: tuple[Member, ...], stock: str) -> tuple[Member, ...]:
    """Members with this stock where they name none; those of another width than its members are not of it."""
    named = [m.width for m in members if m.stock == stock]
    widths = Counter(named or [m.width for m in members if not m.stock])
    width = widths.most_common(1)[0][0]
    return tuple(replace(m, stock=stock) if not m.stock and m.width == width else m for m in members)


def axis_of(member: Member) -> int | None:
    """0, 1 or 2 where the member runs along x, y or z, else None.

    Examples
    --------
    >>> axis_of(Member("A", (0.0, 0.0, 0.0), (0.0, -1.0, 0.0), 5))
    1
    """
    d = np.abs(member.direction)
    i = int(d.argmax())
    return i if d[i] > 0 and np.delete(d, i).max() <= AXIS_TOL * d[i] else None


def section_axes(member: Member) -> tuple[FloatArray, FloatArray]:
    """Unit normals (u, v) of two neighbouring faces; with the direction they are perpendicular.

    Notes
    -----
    Along a lattice axis they are the two other axes.  A brace lies in a plane of the lattice, pinned
    through the faces parallel to that plane: one normal is the lattice axis most nearly perpendicular
    to it, made exactly so.  The arrays are shared by all members of one direction and cannot be written.
    """
    x, y, z = member.direction
    return _axes_across((float(x), float(y), float(z)))


@lru_cache(maxsize=DIRECTIONS_KEPT)
def _axes_across(direction: Vector) -> tuple[FloatArray, FloatArray]:
    d = np.asarray(direction, float)
    d = d / np.linalg.norm(d)
    e = np.eye(3)[np.abs(d).argmin()]
    u: FloatArray = e - d * (e @ d)
    u /= np.linalg.norm(u)
    v = np.cross(d, u)
    for axis in (u, v):
        axis.setflags(write=False)
    return u, v


def box_half_sizes(member: Member) -> FloatArray:
    """Half the member's length and, twice, half its width, pitches: (3,), along direction, u, v."""
    return np.array([member.holes / 2, member.width / 2, member.width / 2])


def bounds(member: Member) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest corner (3,), (3,) of the axis-parallel box round the member, pitches."""
    u, v = section_axes(member)
    centre = (np.asarray(member.first, float) + member.last) / 2
    reach = np.abs(np.array([member.direction, u, v], float)).T @ box_half_sizes(member)
    return centre - reach, centre + reach


def member_cells(member: Member) -> IntArray:
    """The lattice cell of every hole, (holes, 3) integers: the nearest whole pitches to its centre."""
    return np.floor(member.hole_centres() + 0.5 + 1e-9).astype(int)


def label(n: int) -> str:
    """The n-th label, from 0: A, B, ... Z, AA, AB, ...

    Examples
    --------
    >>> [label(n) for n in (0, 25, 26, 701, 702)]
    ['A', 'Z', 'AA', 'ZZ', 'AAA']
    """
    text = ""
    n += 1
    while n:
        n, r = divmod(n - 1, 26)
        text = chr(ord("A") + r) + text
    return text


def reversed_member(member: Member) -> Member:
    """The same member counted from its other end."""
    return replace(
        member,
        first=as_tuple(member.last),
        direction=as_tuple(-np.asarray(member.direction, float)),
        ends=member.ends[::-1],
    )


def as_tuple(vector: Iterable[float]) -> Vector:
    """Three plain floats, with -0.0 written as 0.0.

    Examples
    --------
    >>> as_tuple(np.array([1, -0.0, 2.5]))
    (1.0, 0.0, 2.5)
    """
    x, y, z = (float(v) + 0.0 for v in vector)
    return x, y, z


def renamed(member: Member, names: Mapping[str, str]) -> Member:
    """The member called `names[id]`, and the labels that its ends' choices name changed alike."""

    def end(e: End) -> End:
        choices = (replace(c, at=names.get(c.at) if c.at else None) for c in e.choices)
        return replace(e, choices=tuple(choices)) if e.choices else e

    first, last = member.ends
    return replace(member, id=names[member.id], ends=(end(first), end(last)))


def rename(frame: Frame, names: dict[str, str]) -> Frame:
    """The frame with every member `id` called `names[id]`, in members, joints and fittings."""
    return replace(
        frame,
        members=tuple(renamed(m, names) for m in frame.members),
        joints=tuple(replace(j, a=names[j.a], b=names[j.b]) for j in frame.joints),
        fittings=tuple(f.renamed(names) for f in frame.fittings),
    )


def relabel(frame: Frame) -> Frame:
    """The frame with members put in order and labelled A, B, ... by it, and joints in label order.

    Notes
    -----
    Uprights come first, then members along x, along y, and those at an angle; within each from low to
    high z, then y, then x of the lower end, then the longer first.  So the labels depend on neither the
    members' former order nor on which end was hole 0; they do depend on how the frame stands.
    `lattice.canonical` takes that away too.
    """
    order = sorted(frame.members, key=_reading_order)
    moved = rename(replace(frame, members=tuple(order)), {m.id: label(i) for i, m in enumerate(order)})
    return replace(moved, joints=sort_joints(moved))


def sort_joints(frame: Frame) -> tuple[Joint, ...]:
    """The joints, each from the earlier to the later member, in the members' order."""
    place = {m.id: i for i, m in enumerate(frame.members)}
    turned = (j if place[j.a] <= place[j.b] else flipped(j) for j in frame.joints)
    return tuple(sorted(turned, key=lambda j: (place[j.a], place[j.b], j.a_hole, j.b_hole, j.axis, j.bolt)))


def flipped(joint: Joint) -> Joint:
    """The same joint seen from its other member."""
    return replace(
        joint,
        a=joint.b,
        a_hole=joint.b_hole,
        b=joint.a,
        b_hole=joint.a_hole,
        axis=as_tuple(-np.asarray(joint.axis, float)),
    )


def _reading_order(member: Member) -> tuple[int, tuple[float, ...], int, tuple[float, ...], str]:
    """Sort key of `relabel`."""
    axis = axis_of(member)
    ends = sorted(tuple(np.round(p[::-1], 6) + 0.0) for p in (np.asarray(member.first, float), member.last))
    return ({2: 0, 0: 1, 1: 2, None: 3}[axis], ends[0], -member.holes, ends[1], member.id)
