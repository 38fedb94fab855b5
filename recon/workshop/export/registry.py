"""A frame in other programs' files: DXF, glTF, SVG, CSV, and the frame file itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from recon.errors import ReconError
from recon.frame.files import frame_to_text
from recon.frame.length import inch_text
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.drawing.projections import ViewBoard, drawn_hole
from recon.workshop.drawing.vector import sheet_svg
from recon.workshop.drawing.view_sheet import best_sheet
from recon.workshop.formats import csv_text
from recon.workshop.hardware.bolts import find_bolts
from recon.workshop.parts.parts_formats import parts_csv
from recon.workshop.parts.parts_list import parts_list
from recon.workshop.parts.prices import PriceList

MEMBER_COLUMNS = (
    "label",
    "stock",
    "holes",
    "length_mm",
    "length_in",
    "first_x",
    "first_y",
    "first_z",
    "direction_x",
    "direction_y",
    "direction_z",
    "width",
    "confidence",
)
JOINT_COLUMNS = (
    "a",
    "a_hole",
    "b",
    "b_hole",
    "bolt",
    "three_way",
    "bolt_number",
    "x",
    "y",
    "z",
    "axis_x",
    "axis_y",
    "axis_z",
)


def members_csv(frame: Frame) -> str:
    """A row for each member; `first` is the centre of its hole 1 and `width` its section's, both in pitches."""
    rows = []
    for m in frame.members:
        length = m.holes * frame.pitch_mm if frame.pitch_mm else None
        rows.append(
            (
                m.id,
                m.stock,
                m.holes,
                length,
                inch_text(length) if length else None,
                *m.first,
                *m.direction,
                m.width,
                m.confidence,
            )
        )
    return csv_text(MEMBER_COLUMNS, rows)


def joints_csv(frame: Frame) -> str:
    """A row for each lap, its holes counted from 1; (x, y, z) is the middle between the two holes, pitches.

    bolt_number : laps with the same number share one bolt; empty where there is none.
    """
    numbers = {joint: k for k, bolt in enumerate(find_bolts(frame), 1) for joint in bolt.joints}
    members = {m.id: m for m in frame.members}
    rows = []
    for j in frame.joints:
        middle = (members[j.a].hole_centre(j.a_hole) + members[j.b].hole_centre(j.b_hole)) / 2
        rows.append(
            (
                j.a,
                j.a_hole + 1,
                j.b,
                j.b_hole + 1,
                j.bolt,
                "yes" if j.three_way else "no",
                numbers.get(j),
                *(float(x) for x in np.round(middle, 6)),
                *j.axis,
            )
        )
    return csv_text(JOINT_COLUMNS, rows)


@dataclass(frozen=True)
class Export:
    """suffix : of its file.   what : for people.   make : the file, of frame, stocks and keywords of `export`."""

    suffix: str
    what: str
    make: Callable[..., bytes]


def _dxf(frame, stocks, angle, **_) -> bytes:
    from recon.workshop.export.dxf import (
        frame_dxf,  # what these import takes a while, and other exports do not need it
    )

    return frame_dxf(frame, stocks, angle)


def _glb(frame, stocks, drilled, **_) -> bytes:
    from recon.workshop.export.gltf import frame_glb

    return frame_glb(frame, stocks, drilled)


def _svg(frame, stocks, angle, **_) -> bytes:
    return sheet_svg(best_sheet(ViewBoard(frame, drawn_hole(frame, stocks)), angle)).encode("utf-8")


def _text(make) -> Callable[..., bytes]:
    return lambda frame, stocks, prices, **_: make(frame, stocks, prices).encode("utf-8")


EXPORTS: dict[str, Export] = {
    "dxf": Export(".dxf", "three views at full size, views and members on layers", _dxf),
    "glb": Export(".glb", "solid drilled members, binary glTF", _glb),
    "svg": Export(".svg", "three views on a sheet", _svg),
    "json": Export(".json", "the frame file, written anew", _text(lambda frame, *_: frame_to_text(frame))),
    "parts": Export(
        ".csv",
        "the parts list",
        _text(lambda frame, stocks, prices: parts_csv(parts_list(frame, stocks, prices))),
    ),
    "joints": Export(".csv", "the joint table", _text(lambda frame, *_: joints_csv(frame))),
    "members": Export(".csv", "the members and their places", _text(lambda frame, *_: members_csv(frame))),
}


def export(
    frame: Frame,
    stocks: Mapping[str, Stock],
    to: str,
    *,
    angle: str = "first",
    drilled: bool = True,
    prices: PriceList | None = None,
) -> bytes:
    """The file of kind `to`, one of `EXPORTS`.

    angle : of the views in DXF and SVG, "first" or "third".   drilled : whether members in glTF have their holes.
    prices : for the parts list.
    Raises ReconError where the frame has no members, or no pitch and the file needs one.
    """
    if to not in EXPORTS:
        raise ReconError(
            f"'{to}' is nothing that a frame can be exported to; choose one of {', '.join(EXPORTS)}."
        )
    if not frame.members:
        raise ReconError("The frame has no members, so there is nothing to export.")
    return EXPORTS[to].make(frame, stocks, angle=angle, drilled=drilled, prices=prices)
