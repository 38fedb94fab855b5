"""Frames from truth files.

`sticks` along axes at lattice cells, `bolts` between them, cameras of the photos.
"""

import numpy as np

from recon.frame.joints import find_joints
from recon.frame.model import Frame, Joint, Member, Photo, StockUse, label
from recon.geometry.camera import Camera

# Names of stock in truth files, as entries of the stock list with the same material and hole.
STOCKS = {"steel": "steel-38", "alu": "aluminium-38", "wood": "softwood-38-8", "wood8": "softwood-38"}


def frame_from_truth(truth: dict) -> Frame:
    """The frame that a truth file tells of: bolts "seen", laps without a bolt "none"."""
    width = truth["width_mm"] / truth["pitch_mm"]
    stock = STOCKS.get(truth["stock"])
    members = tuple(
        Member(
            id=label(i),
            first=tuple(map(float, s["at"])),
            direction=tuple(map(float, np.eye(3)[s["axis"]])),
            holes=s["holes"],
            width=width,
            stock=stock,
        )
        for i, s in enumerate(truth["sticks"])
    )
    bolted = {frozenset(((label(b["a"]), b["a_hole"]), (label(b["b"]), b["b_hole"]))) for b in truth["bolts"]}

    def with_bolt(joint: Joint) -> Joint:
        ends = frozenset(((joint.a, joint.a_hole), (joint.b, joint.b_hole)))
        return Joint(**{**vars(joint), "bolt": "seen" if ends in bolted else "none"})

    photos = tuple(
        Photo(
            file=p["file"],
            size=tuple(p["size"]),
            camera=Camera.from_dict(p),
        )
        for p in truth.get("photos", ())
    )
    return Frame(
        members=members,
        joints=tuple(with_bolt(j) for j in find_joints(members)),
        pitch_mm=truth["pitch_mm"],
        stock=stock and StockUse(stock, "given", 1.0),
        photos=photos,
        name=truth.get("name", ""),
    )
