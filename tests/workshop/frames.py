"""Small frames made by hand, for the parts and the rack."""

from dataclasses import replace

from recon.frame.joints import find_joints
from recon.frame.model import Frame, Member, StockUse

X, Y, Z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)


def framed(*members, pitch_mm=38.1, stock="softwood-38", bolts=None, name="") -> Frame:
    """A frame of these members with the laps that they make; `bolts` gives what was seen of each."""
    joints = find_joints(members)
    if bolts:
        joints = tuple(replace(j, bolt=bolt) for j, bolt in zip(joints, bolts, strict=True))
    return Frame(tuple(members), joints, pitch_mm, StockUse(stock) if stock else None, name=name)


def member(id, first, direction, holes, width=1.0, stock="softwood-38") -> Member:
    return Member(id, tuple(map(float, first)), direction, holes, width, stock)


def gate(stock="softwood-38", pitch_mm=38.1) -> Frame:
    """Two posts of 12 holes, two rails of 11 in front of them, and a sill of 6 behind the left post."""
    return framed(
        member("A", (0, 0, 0), Z, 12, stock=stock),
        member("B", (9, 0, 0), Z, 12, stock=stock),
        member("C", (-1, -1, 2), X, 11, stock=stock),
        member("D", (-1, -1, 9), X, 11, stock=stock),
        member("E", (-1, 1, 5), X, 6, stock=stock),
        pitch_mm=pitch_mm,
        stock=stock,
        name="Brackwater gate",
    )


def corner(stock="softwood-38") -> Frame:
    """A three-way lap: three members, perpendicular in pairs, round one corner."""
    return framed(
        member("A", (0, 0, 0), Z, 6, stock=stock),
        member("B", (0, 1, 2), X, 6, stock=stock),
        member("C", (1, 0, 3), Y, 6, stock=stock),
        stock=stock,
    )
