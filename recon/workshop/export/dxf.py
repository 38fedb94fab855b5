"""Three views of a frame as DXF, at full size in mm.

Each view is a block, inserted on a layer of its own ("VIEW FRONT").  Within it each member is a block ("FRONT
A") on the layer of its stock ("STOCK softwood-38"), and in that each open hole in sight is an insert of the
block of its size ("HOLE 9.5 mm"); bolts are on "BOLTS" and words on "TEXT".  So views and stocks can be
switched apart, members be picked whole and holes be counted.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping
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
from recon.workshop.frame_size import known_pitch_mm, stock_of

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
    for name in ("BOLTS", "TEXT", *dict.fromkeys(layers.values())):
        document.layers.add(name)
    board = ViewBoard(frame, drawn_hole(frame, stocks))
    known = {m.id: stock_of(m, stocks) for m in frame.members}
    holes = {id: (stock.hole if stock else board.hole) * pitch_mm for id, stock in known.items()}
    places = _lay_out(document, board, pitch_mm, angle)
    for name, place in places.items():
        _View(document, board, name, pitch_mm, layers, holes).insert(place)
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode(document.output_encoding, errors="dxfreplace")


def layer_names(frame: Frame) -> dict[str, str]:
    """The layer of each member by its id, that of its stock, and of each fitting, its own.

    Examples
    --------
    >>> from recon.frame.model import Frame, Member
    >>> post = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12, stock="softwood-38")
    >>> layer_names(Frame((post,)))
    {'A': 'STOCK softwood-38'}
    """
    stocks = dict.fromkeys(m.stock or "not known" for m in frame.members)
    names = _names("STOCK", stocks)
    fittings = _names("FITTING", [f.id for f in frame.fittings])
    return {m.id: names[m.stock or "not known"] for m in frame.members} | fittings


def _names(start: str, ids: Iterable[str]) -> dict[str, str]:
    """A name that DXF allows for each id; no two alike, also where capitals do not count."""
    taken: set[str] = set()
    names = {}
    for id in ids:
        plain = "".join(c if c.isprintable() and is_valid_layer_name(c) else "_" for c in id)
        name, again = f"{start} {plain}", 1
        while name.casefold() in taken:
            again += 1
            name = f"{start} {plain} ({again})"
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


class _View:
    """A view on its way into a document."""

    def __init__(
        self,
        document: Drawing,
        board: ViewBoard,
        name: str,
        pitch_mm: float,
        layers: Mapping[str, str],
        holes: Mapping[str, float],
    ) -> None:
        self._document, self._name = document, name
        self._items = draw_view(board, name, pitch_mm, PRINT)
        self._title = f"{name} view"
        self._corners = board.scene(name).edges[0].reshape(-1, 2) * pitch_mm
        self._unit = pitch_mm
        self._layers, self._holes = layers, holes
        self._blocks = _names(name.upper(), layers)

    def insert(self, place: Place) -> None:
        """A block of the view with its title, and its place in the model."""
        layer = f"VIEW {self._name.upper()}"
        left, low = self._corners.min(axis=0)
        base = float(left), float(low)
        block = self._document.blocks.new(self._name.upper(), base_point=base)
        for item in self._items:
            self._add(block, item)
        over = (float(left), float(self._corners[:, 1].max()) + 1.6 * self._unit)
        _add_text(block, Text(over, self._title, 3.4 * PRINT, "start", layer=""))
        self._document.layers.add(layer)
        self._document.modelspace().add_blockref(block.name, place, dxfattribs={"layer": layer})

    def _add(self, block: BlockLayout, item: Item) -> None:
        match item:
            case Lines():
                _add_lines(self._part(block, item.layer), item, self._layers[item.layer])
            case Disc() if item.fill == "none":
                name = self._hole(self._holes[item.layer])
                part, layer = self._part(block, item.layer), self._layers[item.layer]
                part.add_blockref(name, item.at, dxfattribs={"layer": layer})
            case Disc():
                _add_bolt(block, item)
            case Area():
                attributes = {"layer": self._layers.get(item.layer, "TEXT")}
                block.add_lwpolyline(item.points, close=True, dxfattribs=attributes)
            case Text():
                _add_text(block, item)

    def _part(self, block: BlockLayout, id: str) -> BlockLayout:
        """The block of a member, put into that of the view the first time."""
        name = self._blocks[id]
        if name not in self._document.blocks:
            self._document.blocks.new(name)
            block.add_blockref(name, (0, 0), dxfattribs={"layer": self._layers[id]})
        return self._document.blocks.get(name)

    def _hole(self, diameter_mm: float) -> str:
        """The name of the block of a hole of this size: a circle round its insertion point."""
        name = f"HOLE {diameter_mm:.4g} mm"
        if name not in self._document.blocks:
            block = self._document.blocks.new(name)
            # On layer 0, so that it takes the layer on which it is put in (DXF reference).
            block.add_circle((0, 0), diameter_mm / 2, dxfattribs={"layer": "0", "lineweight": 18})
        return name


def _add_lines(block: BlockLayout, item: Lines, layer: str) -> None:
    attributes: dict[str, str | int] = {
        "layer": layer,
        "lineweight": 18 if item.pen is HIDDEN or item.pen.width < 0.3 else 35,
    }
    if item.pen is HIDDEN:
        attributes["linetype"] = "HIDDEN"
    for path in item.paths:
        for start, end in pairwise(path):
            block.add_line(start, end, dxfattribs=attributes)


def _add_bolt(block: BlockLayout, item: Disc) -> None:
    block.add_circle(item.at, item.radius, dxfattribs={"layer": "BOLTS", "lineweight": 18})
    if item.fill == "black":
        hatch = block.add_hatch(color=7, dxfattribs={"layer": "BOLTS"})
        hatch.paths.add_edge_path().add_arc(item.at, item.radius)


def _add_text(block: BlockLayout, item: Text) -> None:
    text = "".join(c if c.isprintable() else "\ufffd" for c in item.text)
    text = text.replace("^", "^ ").replace("%%", "% %")  # else ^ and %% start control codes
    entity = block.add_text(text, height=item.size * CAP, dxfattribs={"layer": "TEXT"})
    entity.set_placement(item.at, align=_ANCHORS[item.anchor])
