"""Three views of a frame as DXF, at full size in mm.

Each view is a block, inserted on a layer of its own ("VIEW FRONT"); within it each member is on its layer
("MEMBER A"), bolts on "BOLTS" and words on "TEXT".  So views and members can be switched apart.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from itertools import pairwise

import ezdxf
from ezdxf.document import Drawing
from ezdxf.enums import TextEntityAlignment
from ezdxf.layouts import BlockLayout
from ezdxf.lldxf.validator import is_valid_layer_name

from recon.errors import ReconError
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.drawing.projections import ViewBoard, drawn_hole
from recon.workshop.drawing.vector import CAP, HIDDEN, Area, Disc, Item, Lines, Text
from recon.workshop.drawing.view_drawing import draw_view
from recon.workshop.drawing.view_sheet import side_of
from recon.workshop.frame_size import known_pitch_mm

# With UTF-8, and read by nearly all programs that read DXF at all: common practice, no source.
VERSION = "R2010"
MM, METRIC = 4, 1  # $INSUNITS and $MEASUREMENT, DXF reference
APART = 6.0  # pitches between views
PRINT = 5.0  # text is sized for a print at 1:5
Place = tuple[float, float]
_ANCHORS = {
    "start": TextEntityAlignment.MIDDLE_LEFT,
    "middle": TextEntityAlignment.MIDDLE_CENTER,
    "end": TextEntityAlignment.MIDDLE_RIGHT,
}


def frame_dxf(frame: Frame, stocks: Mapping[str, Stock], angle: str = "first") -> bytes:
    """Three views of a frame as a DXF file; the front's lower left corner is the origin.

    Parameters
    ----------
    frame : Frame
    stocks : mapping of str to Stock
    angle : str
        "first" or "third": which way the views lie.

    Returns
    -------
    bytes
        The whole file, in mm.

    Raises
    ------
    ReconError
        Where the frame has no members, or its pitch is not known.

    Examples
    --------
    >>> from recon.frame.model import Frame, Member
    >>> post = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12)
    >>> frame_dxf(Frame((post,), pitch_mm=38.1), {}).split()[:2]
    [b'0', b'SECTION']
    """
    if not frame.members:
        raise ReconError("The frame has no members, so there is nothing to draw.")
    pitch_mm = known_pitch_mm(frame, "it cannot be drawn in mm")
    document = ezdxf.new(VERSION, units=MM)
    document.header["$MEASUREMENT"] = METRIC
    document.header["$LTSCALE"] = PRINT
    document.linetypes.add("HIDDEN", pattern=[2.0, 1.2, -0.8], description="Hidden __ __ __ __")
    layers = layer_names(frame)
    for name in ("BOLTS", "TEXT", *layers.values()):
        document.layers.add(name)
    board = ViewBoard(frame, drawn_hole(frame, stocks))
    places = _lay_out(document, board, pitch_mm, angle)
    for name, place in places.items():
        _insert_view(document, board, name, pitch_mm, place, layers)
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode(document.output_encoding, errors="dxfreplace")


def layer_names(frame: Frame) -> dict[str, str]:
    """A layer name that DXF allows for the label of each member and fitting.

    No two are alike, also where capitals do not count.
    """
    taken: set[str] = set()
    names = {}
    parts = [(m.id, "MEMBER") for m in frame.members] + [(f.id, "FITTING") for f in frame.fittings]
    for id, what in parts:
        plain = "".join(c if c.isprintable() and is_valid_layer_name(c) else "_" for c in id)
        name, again = f"{what} {plain}", 1
        while name.casefold() in taken:
            again += 1
            name = f"{what} {plain} ({again})"
        taken.add(name.casefold())
        names[id] = name
    return names


def _lay_out(document: Drawing, board: ViewBoard, pitch_mm: float, angle: str) -> dict[str, Place]:
    """Where each view's lower left corner goes, mm; the document opens with all of them in sight."""
    side = side_of(angle)
    front, top, aside = (board.span(name) * pitch_mm for name in ("Front", "Top", side))
    gap = APART * pitch_mm
    above = -gap - float(top[1]) if angle == "first" else float(front[1]) + gap
    places = {"Front": (0.0, 0.0), "Top": (0.0, above), side: (float(front[0]) + gap, 0.0)}
    across, up = front[0] + gap + aside[0], front[1] + gap + top[1]
    middle = (float(across) / 2, min(0.0, above) + float(up) / 2)
    document.set_modelspace_vport(1.2 * float(max(across, up)), middle)
    return places


def _insert_view(
    document: Drawing, board: ViewBoard, name: str, pitch_mm: float, place: Place, layers: Mapping[str, str]
) -> None:
    """A block of the view with its title, and its place in the model."""
    corners = board.scene(name).edges[0].reshape(-1, 2) * pitch_mm
    left, low = corners.min(axis=0)
    block = document.blocks.new(name.upper(), base_point=(float(left), float(low)))
    for item in draw_view(board, name, pitch_mm, PRINT):
        _add(block, item, layers)
    title = f"{name}, seen from {board.views[name].seen_from}"
    over = (float(left), float(corners[:, 1].max()) + 1.6 * pitch_mm)
    _add_text(block, Text(over, title, 3.4 * PRINT, "start", layer=""))
    document.layers.add(f"VIEW {name.upper()}")
    document.modelspace().add_blockref(name.upper(), place, dxfattribs={"layer": f"VIEW {name.upper()}"})


def _add(block: BlockLayout, item: Item, layers: Mapping[str, str]) -> None:
    match item:
        case Lines():
            _add_lines(block, item, layers)
        case Disc():
            _add_disc(block, item, layers)
        case Area():
            attributes = {"layer": layers.get(item.layer, "TEXT")}
            block.add_lwpolyline(item.points, close=True, dxfattribs=attributes)
        case Text():
            _add_text(block, item)


def _add_lines(block: BlockLayout, item: Lines, layers: Mapping[str, str]) -> None:
    attributes: dict[str, str | int] = {
        "layer": layers[item.layer],
        "lineweight": 18 if item.pen is HIDDEN or item.pen.width < 0.3 else 35,
    }
    if item.pen is HIDDEN:
        attributes["linetype"] = "HIDDEN"
    for path in item.paths:
        for start, end in pairwise(path):
            block.add_line(start, end, dxfattribs=attributes)


def _add_disc(block: BlockLayout, item: Disc, layers: Mapping[str, str]) -> None:
    layer = layers[item.layer] if item.fill == "none" else "BOLTS"
    block.add_circle(item.at, item.radius, dxfattribs={"layer": layer, "lineweight": 18})
    if item.fill == "black":
        hatch = block.add_hatch(color=7, dxfattribs={"layer": "BOLTS"})
        hatch.paths.add_edge_path().add_arc(item.at, item.radius)


def _add_text(block: BlockLayout, item: Text) -> None:
    text = "".join(c if c.isprintable() else "\ufffd" for c in item.text)
    text = text.replace("^", "^ ").replace("%%", "% %")  # else ^ and %% start control codes
    entity = block.add_text(text, height=item.size * CAP, dxfattribs={"layer": "TEXT"})
    entity.set_placement(item.at, align=_ANCHORS[item.anchor])
