"""A frame as STEP (ISO 10303-21, AP214) for CAD programs: true solids in mm, an assembly with names.

build123d makes and writes the solids; it is large, so it comes only with the extra `step`.  Each member and
bolt is an assembly of its own name around a part that those of one kind share, for programs show the names of
products and not those of their places.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

from recon.errors import ReconError
from recon.frame.boxes import box_axes, centre
from recon.frame.fitting_boxes import fitting_boxes
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.workshop.export.meshes import Shape, member_shape
from recon.workshop.export.placed_bolts import PlacedBolt, placed_bolts
from recon.workshop.frame_size import known_pitch_mm, stock_of
from recon.workshop.hardware.fastener_shapes import Piece

if TYPE_CHECKING:
    from recon.geometry.arrays import FloatArray

MISSING = (
    "STEP needs build123d, which is not installed: it takes about 700 MB, so it comes only when asked for. "
    "Install it with: pip install '.[step]' (in the checkout of recon)."
)
_NAME = re.compile(rb"'name-(\d+)-'")


def frame_step(frame: Frame, stocks: Mapping[str, Stock], drilled: bool = True) -> bytes:
    """A frame as a STEP file.

    Parameters
    ----------
    frame : Frame
    stocks : mapping of str to Stock
    drilled : bool
        Whether members have all their holes, and tubes are hollow, with the bolts in them; else they are
        plain boxes, without bolts.

    Returns
    -------
    bytes
        The whole file, in mm, z up.

    Raises
    ------
    ReconError
        Where build123d is not installed, the frame has no members, or its pitch is not known.
    """
    try:
        import build123d
    except ModuleNotFoundError as error:
        raise ReconError(MISSING) from error
    except ImportError as error:  # a library of the system that it needs
        raise ReconError(f"STEP needs build123d, which cannot be loaded here: {error}.") from error
    if not frame.members:
        raise ReconError("The frame has no members, so there is nothing to export.")
    pitch_mm = known_pitch_mm(frame, "it has no size")
    parts = _Parts(build123d)
    children = []
    for m in frame.members:
        stock = stock_of(m, stocks)
        shape = member_shape(m, pitch_mm, stock, drilled)
        name = f"{stock.id if stock else 'member'}, {m.holes} holes"
        part = parts.part(shape, name, partial(parts.member, shape))
        children.append(parts.placed(m.id, [part], centre(m) * pitch_mm, box_axes(m)))
    for id, box in fitting_boxes(frame).items():
        size = tuple((2 * pitch_mm * box.half).tolist())
        part = parts.part(size, "fitting", partial(build123d.Solid.make_box, *size, parts.middle(size)))
        children.append(parts.placed(id, [part], box.centre * pitch_mm, box.axes))
    if drilled:
        bolts = [parts.bolt(bolt) for bolt in placed_bolts(frame, stocks)]
        children += [parts.group("bolts", bolts)] if bolts else []
    return parts.written(parts.group(frame.name or "frame", children))


class _Parts:
    """Solids as they come up, each once, and the names in the file."""

    def __init__(self, cad: Any) -> None:
        self._cad = cad
        self._known: dict[tuple[object, str], Any] = {}
        self._names: list[str] = []

    def _label(self, name: str) -> str:
        """A stand-in for a name, which the library would not write as the format has it (`_encoded`)."""
        self._names.append(name)
        return f"name-{len(self._names) - 1}-"

    def part(self, key: object, name: str, make: Callable[[], Any]) -> Any:
        """A solid of that name, made the first time that it is asked for."""
        if (key, name) not in self._known:
            solid = make()
            solid.label = self._label(name)
            self._known[key, name] = solid
        return self._known[key, name]

    def middle(self, size: Sequence[float]) -> Any:
        """The plane on which a box of this size, mm, is begun that has its middle at the origin."""
        return self._cad.Plane(origin=tuple(-x / 2 for x in size))

    def group(self, name: str, children: Sequence[Any]) -> Any:
        """An assembly."""
        return self._cad.Compound(label=self._label(name), children=list(children))

    def placed(self, name: str, parts: Sequence[Any], at: FloatArray, axes: FloatArray) -> Any:
        """An assembly of parts with its origin `at`, mm, and its axes along the rows of `axes`."""
        plane = self._cad.Plane(origin=tuple(at), x_dir=tuple(axes[0]), z_dir=tuple(axes[2]))
        return self.group(name, [part.moved(self._cad.Location(plane)) for part in parts])

    def bolt(self, bolt: PlacedBolt) -> Any:
        """A bolt with its nut and washers, in its place."""
        washer, top, shank, last, nut = bolt.pieces
        whole = (top, shank) if top.name == "head" else (shank,)
        loose = (washer, last, nut) if top.name == "head" else (washer, top, last, nut)
        parts = [self.part(whole, bolt.size, partial(self._fused, whole))]
        parts += [self.part((p,), f"{p.name} of {bolt.size}", partial(self._fused, (p,))) for p in loose]
        return self.placed(f"bolt {bolt.name}", parts, bolt.start, bolt.axes)

    def _fused(self, pieces: Sequence[Piece]) -> Any:
        first, *others = (self._piece(piece) for piece in pieces)
        return first.fuse(*others).solid() if others else first

    def _piece(self, piece: Piece) -> Any:
        """A piece along x."""
        cad, length = self._cad, piece.end_mm - piece.start_mm
        plane = cad.Plane(origin=(piece.start_mm, 0, 0), x_dir=(0, 1, 0), z_dir=(1, 0, 0))
        if piece.sides:
            radius = piece.across_mm / 2 / math.cos(math.pi / piece.sides)
            face = cad.Face(cad.Wire.make_polygon(_corners(plane, radius, piece.sides)))
            solid = cad.Solid.extrude(face, cad.Vector(length, 0, 0))
        else:
            solid = cad.Solid.make_cylinder(piece.across_mm / 2, length, plane)
        if piece.bore_mm:
            solid = solid.cut(cad.Solid.make_cylinder(piece.bore_mm / 2, length, plane)).solid()
        return solid

    def member(self, shape: Shape) -> Any:
        """A member along x, round the origin; the shape's lengths are taken for mm."""
        cad, half = self._cad, shape.width / 2
        solid = self._bar(shape.length, 2 * half)
        tools = [self._bar(shape.length, 2 * (half - shape.wall))] if shape.wall else []
        for k in range(shape.holes if shape.hole else 0):
            x = (k - (shape.holes - 1) / 2) * shape.pitch
            for at, way in (((x, -half, 0), (0, 1, 0)), ((x, 0, -half), (0, 0, 1))):
                plane = cad.Plane(origin=at, x_dir=(1, 0, 0), z_dir=way)
                tools.append(cad.Solid.make_cylinder(shape.hole / 2, shape.width, plane))
        return solid.cut(*tools).solid() if tools else solid

    def _bar(self, length: float, width: float) -> Any:
        return self._cad.Solid.make_box(length, width, width, self.middle((length, width, width)))

    def written(self, whole: Any) -> bytes:
        """The file of an assembly, with the names in it."""
        out = io.BytesIO()
        self._cad.export_step(whole, out)
        text = out.getvalue().replace(b"('Author'),('Open CASCADE')", b"(''),('')")
        title = _encoded(self._names[-1])  # the assembly's own, in the header, too
        text = _NAME.sub(lambda found: b"'" + _encoded(self._names[int(found[1])]) + b"'", text)
        return text.replace(f"name-{len(self._names) - 1}-".encode(), title)


def _corners(plane: Any, radius: float, sides: int) -> list[Any]:
    """Corners of a regular polygon on a plane."""
    angles = [2 * math.pi * k / sides for k in range(sides + 1)]
    return [plane.from_local_coords((radius * math.cos(a), radius * math.sin(a), 0)) for a in angles]


def _encoded(name: str) -> bytes:
    """A name as a string of ISO 10303-21 (6.4.3, from memory): ASCII, all else by its code point.

    >>> _encoded("B'1 \\u00e9 \\u6881")
    b"B''1 \\\\X2\\\\00E9\\\\X0\\\\ \\\\X2\\\\6881\\\\X0\\\\"
    """
    parts = []
    for c in name:
        if c in "'\\":
            parts.append(c * 2)
        elif " " <= c <= "~":
            parts.append(c)
        elif ord(c) > 0xFFFF:
            parts.append(f"\\X4\\{ord(c):08X}\\X0\\")
        else:
            parts.append(f"\\X2\\{ord(c):04X}\\X0\\")
    return "".join(parts).encode("ascii")
