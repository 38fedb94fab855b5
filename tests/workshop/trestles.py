"""A frame for papers and drawings: a trestle of 12 members with everything that papers must tell."""

from dataclasses import replace

from recon.bench.scaffold import scaffold
from recon.frame.joints import find_joints
from recon.frame.model import End, Frame, Member, Photo, StockUse, label, relabel

__all__ = ["scaffold", "trestle"]

X, Y, Z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)


def trestle(**changes) -> Frame:
    """Four posts and rails all round: seen, assumed and missing bolts, one doubtful member."""
    posts = [((x, y, 0), Z, 16) for x in (0, 20) for y in (0, 9)]
    along = [((-1, y, z), X, 23) for y in (-1, 10) for z in (3, 13)]
    across = [((x, -1, z), Y, 12) for x in (-1, 21) for z in (1, 14)]
    members = [
        Member(label(k), tuple(map(float, at)), way, n, stock="softwood-38")
        for k, (at, way, n) in enumerate(posts + along + across)
    ]
    frame = relabel(
        Frame(
            tuple(members),
            find_joints(members),
            38.1,
            StockUse("softwood-38", "recognised", 0.83),
            name="Slip trestle",
        )
    )
    kinds = ["seen", "seen", "assumed", "none"]
    joints = tuple(replace(j, bolt=kinds[k % 4]) for k, j in enumerate(frame.joints))
    doubtful = replace(frame.members[5], confidence=0.6, ends=(End("seen"), End("hidden", 2)))
    frame = replace(
        frame,
        joints=joints,
        members=tuple(doubtful if m.id == doubtful.id else m for m in frame.members),
        photos=(Photo("left.jpg", (800, 600)), Photo("right.jpg", (800, 600))),
        doubts=("The far corner is dark.",),
    )
    return replace(frame, **changes)
