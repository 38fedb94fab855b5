"""Three views of a frame as DXF, at full size in mm.

Each view is a block, inserted on a layer of its own ("VIEW FRONT"); within it each member is on its layer ("MEMBER A"),
bolts on "BOLTS" and words on "TEXT".  So views and members can be switched apart.
"""

from __future__ import annotations

import io
from collections.abc import Mapping

import ezdxf
from ezdxf.document import Drawing
from ezdxf.enums import TextEntityAlignment
from ezdxf.lldxf.validator import is_valid_layer_name

from recon.errors import ReconError
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.drawing.projections import ViewBoard, drawn_hole
from recon.workshop.drawing.vector import CAP, HIDDEN, Area, Disc, Lines, Text
from recon.workshop.drawing.view_drawing import draw_view
from recon.workshop.drawing.view_sheet import side_of

VERSION = "R2010"  # with UTF-8 and read by all programs that read DXF at all, more or less: common practice, no source
MM, METRIC = 4, 1  # $INSUNITS and $MEASUREMENT, DXF reference
APART = 6.0  # pitches between views
PRINT = 5.0  # text is sized for a print at 1:5
_ANCHORS = {
    "start": TextEntityAlignment.MIDDLE_LEFT,
    "middle": TextEntityAlignment.MIDDLE_CENTER,
    "end": TextEntityAlignment.MIDDLE_RIGHT,
}


def frame_dxf(frame: Frame, stocks: Mapping[str, Stock], angle: str = "first") -> bytes:
    """The DXF file; the front's lower left corner is the origin.   angle : "first" or "third".

    Raises ReconError where the frame has no members, or its pitch is not known.
    """
    if not frame.members:
        raise ReconError("The frame has no members, so there is nothing to draw.")
    if not frame.pitch_mm:
        raise ReconError(
            "The frame's pitch is not known, so it cannot be drawn in mm; give its stock, or one measured length."
        )
    document = ezdxf.new(VERSION, units=MM)
    document.header["$MEASUREMENT"] = METRIC
    document.header["$LTSCALE"] = PRINT
    document.linetypes.add("HIDDEN", pattern=[2.0, 1.2, -0.8], description="Hidden __ __ __ __")
    layers = layer_names(frame)
    for name in ("BOLTS", "TEXT", *layers.values()):
        document.layers.add(name)
    _insert_views(document, frame, drawn_hole(frame, stocks), angle, layers)
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode(document.output_encoding, errors="dxfreplace")


def layer_names(frame: Frame) -> dict[str, str]:
    """Member id -> a layer name that DXF allows; no two alike, also where capitals do not count."""
    taken: set[str] = set()
    names = {}
    for m in frame.members:
        plain = "".join(c if c.isprintable() and is_valid_layer_name(c) else "_" for c in m.id)
        name, again = f"MEMBER {plain}", 1
        while name.casefold() in taken:
            again += 1
            name = f"MEMBER {plain} ({again})"
        taken.add(name.casefold())
        names[m.id] = name
    return names


def _insert_views(document: Drawing, frame: Frame, hole: float, angle: str, layers) -> None:
    pitch = frame.pitch_mm
    board, names = ViewBoard(frame, hole), ("Front", "Top", side_of(angle))
    corners = {name: board.scene(name).edges[0].reshape(-1, 2) * pitch for name in names}
    size = {name: board.span(name) * pitch for name in names}
    gap = APART * pitch
    places = {
        "Front": (0.0, 0.0),
        side_of(angle): (float(size["Front"][0]) + gap, 0.0),
        "Top": (0.0, -gap - float(size["Top"][1]) if angle == "first" else float(size["Front"][1]) + gap),
    }
    space = document.modelspace()
    across, up = size["Front"][0] + gap + size[side_of(angle)][0], size["Front"][1] + gap + size["Top"][1]
    middle = (float(across) / 2, min(0.0, places["Top"][1]) + float(up) / 2)
    document.set_modelspace_vport(1.2 * float(max(across, up)), middle)  # what a program shows first
    for name in names:
        low = corners[name].min(axis=0)
        block = document.blocks.new(name.upper(), base_point=(float(low[0]), float(low[1])))
        for item in draw_view(board, name, pitch, PRINT):
            _ADD[type(item)](block, item, layers)
        title = f"{name}, seen from {board.views[name].seen_from}"
        above = (float(low[0]), float(corners[name].max(axis=0)[1]) + 1.6 * pitch)
        _add_text(block, Text(above, title, 3.4 * PRINT, "start", layer=""), layers)
        document.layers.add(f"VIEW {name.upper()}")
        space.add_blockref(name.upper(), places[name], dxfattribs={"layer": f"VIEW {name.upper()}"})


def _add_lines(block, item: Lines, layers) -> None:
    attributes = {
        "layer": layers[item.layer],
        "lineweight": 18 if item.pen is HIDDEN or item.pen.width < 0.3 else 35,
    }
    if item.pen is HIDDEN:
        attributes["linetype"] = "HIDDEN"
    for path in item.paths:
        for start, end in zip(path, path[1:]):
            block.add_line(start, end, dxfattribs=attributes)


def _add_disc(block, item: Disc, layers) -> None:
    layer = layers[item.layer] if item.fill == "none" else "BOLTS"
    block.add_circle(item.at, item.radius, dxfattribs={"layer": layer, "lineweight": 18})
    if item.fill == "black":
        hatch = block.add_hatch(color=7, dxfattribs={"layer": "BOLTS"})
        hatch.paths.add_edge_path().add_arc(item.at, item.radius)


def _add_area(block, item: Area, layers) -> None:
    block.add_lwpolyline(item.points, close=True, dxfattribs={"layer": layers.get(item.layer, "TEXT")})


def _add_text(block, item: Text, layers) -> None:
    text = "".join(c if c.isprintable() else "\ufffd" for c in item.text).replace(
        "^", "^ "
    )  # ^ starts a control code
    block.add_text(
        text.replace("%%", "% %"), height=item.size * CAP, dxfattribs={"layer": "TEXT"}
    ).set_placement(item.at, align=_ANCHORS[item.anchor])


_ADD = {Lines: _add_lines, Disc: _add_disc, Area: _add_area, Text: _add_text}
