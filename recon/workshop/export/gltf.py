"""A frame as binary glTF 2.0 (Khronos; ISO/IEC 12113): one node a member, in metres, y up.

Members of one stock and length share a mesh; fittings are plain boxes.  Meshes have no normals: glTF then
asks for flat shading, which is right here.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping

import numpy as np

from recon.errors import ReconError
from recon.frame.boxes import box_axes, centre
from recon.frame.fitting import BOARDS
from recon.frame.fitting_boxes import fitting_boxes
from recon.frame.model import Frame, Member
from recon.frame.stock import Stock
from recon.geometry.boxes import OrientedBoxes
from recon.workshop.export.meshes import Corners, Shape, Triangles, box_mesh, mesh_of
from recon.workshop.frame_size import known_pitch_mm, stock_of
from recon.workshop.solids import HOLE

_MAGIC, _JSON, _BIN = 0x46546C67, 0x4E4F534A, 0x004E4942
_FLOAT, _UINT, _ARRAY, _ELEMENTS = 5126, 5125, 34962, 34963
# Linear RGB, share of metal, roughness.
_LOOKS = {
    "softwood": ((0.60, 0.40, 0.20), 0.0, 0.8),
    "hardwood": ((0.36, 0.19, 0.09), 0.0, 0.7),
    "aluminium": ((0.80, 0.81, 0.83), 1.0, 0.4),
    "steel": ((0.45, 0.46, 0.48), 1.0, 0.5),
}
_OTHER = ((0.55, 0.55, 0.55), 0.0, 0.8)
_UPRIGHT = [-(0.5**0.5), 0.0, 0.0, 0.5**0.5]  # quaternion: z up becomes y up, a quarter turn about x


def frame_glb(frame: Frame, stocks: Mapping[str, Stock], drilled: bool = True) -> bytes:
    """A frame as a GLB file.

    Parameters
    ----------
    frame : Frame
    stocks : mapping of str to Stock
    drilled : bool
        Whether members have all their holes, and tubes are hollow, where the stock is known; else they are
        plain boxes.

    Returns
    -------
    bytes
        The whole file; lengths are in metres.

    Raises
    ------
    ReconError
        Where the frame has no members, or its pitch is not known.

    Examples
    --------
    >>> from recon.frame.model import Frame, Member
    >>> post = Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 12)
    >>> frame_glb(Frame((post,), pitch_mm=38.1), {}, drilled=False)[:4]
    b'glTF'
    """
    if not frame.members:
        raise ReconError("The frame has no members, so there is nothing to export.")
    pitch = known_pitch_mm(frame, "it has no size") / 1000
    parts = _Parts()
    children = []
    for m in frame.members:
        stock = stock_of(m, stocks)
        mesh = parts.mesh(_shape(m, pitch, stock, drilled), stock.material if stock else "")
        children.append(
            {
                "name": m.id,
                "mesh": mesh,
                "matrix": _matrix(m, pitch),
                "extras": {"holes": m.holes, "stock": m.stock},
            }
        )
    for id, box in fitting_boxes(frame).items():
        children.append(_fitting_node(frame, id, box, pitch, parts))
    root = {
        "name": frame.name or "frame",
        "rotation": _UPRIGHT,
        "children": list(range(1, len(children) + 1)),
    }
    return _glb(
        {
            "asset": {"version": "2.0", "generator": "frame-recon"},
            "scene": 0,
            "scenes": [{"nodes": [0]}],
            "nodes": [root, *children],
            "meshes": parts.meshes,
            "materials": parts.materials,
            "accessors": parts.accessors,
            "bufferViews": parts.buffer_views,
            "buffers": [{"byteLength": len(parts.data)}],
        },
        bytes(parts.data),
    )


def _fitting_node(frame: Frame, id: str, box: OrientedBoxes, pitch: float, parts: _Parts) -> dict:
    """A fitting as a plain box; pitch in metres."""
    fitting = next(f for f in frame.fittings if f.id == id)
    size = 2 * box.half * pitch
    material = "softwood" if fitting.kind in BOARDS else "steel"
    matrix = np.eye(4)
    matrix[:3, :3] = box.axes.T
    matrix[:3, 3] = box.centre * pitch
    return {
        "name": id,
        "mesh": parts.plain((float(size[0]), float(size[1]), float(size[2])), material),
        "matrix": [float(x) + 0.0 for x in matrix.T.ravel()],
        "extras": {"kind": fitting.kind, "name": fitting.name},
    }


def _shape(m: Member, pitch: float, stock: Stock | None, drilled: bool) -> Shape:
    """The member's shape; `pitch` in metres."""
    width = m.width * pitch
    if not drilled:
        return Shape(m.holes, pitch, width)
    if stock is None:
        return Shape(m.holes, pitch, width, HOLE * pitch)
    # A frame's own pitch and width decide; hole and wall keep the stock's proportions to the width.
    hole, wall = stock.hole_mm / stock.width_mm, stock.wall_mm / stock.width_mm
    return Shape(m.holes, pitch, width, width * hole, width * wall)


def _matrix(m: Member, pitch: float) -> list[float]:
    """The member's place as glTF wants it, column by column; pitch in metres."""
    matrix = np.eye(4)
    matrix[:3, :3] = box_axes(m).T
    matrix[:3, 3] = centre(m) * pitch
    return [float(x) + 0.0 for x in matrix.T.ravel()]


class _Parts:
    """Meshes, materials and their data as they come up, each once."""

    def __init__(self) -> None:
        self.meshes: list[dict] = []
        self.materials: list[dict] = []
        self.accessors: list[dict] = []
        self.buffer_views: list[dict] = []
        self.data = bytearray()
        self._known: dict[tuple[Shape | tuple[float, float, float], str] | str, int] = {}

    def mesh(self, shape: Shape, material: str) -> int:
        """Number of the mesh of that shape and material."""
        key = (shape, material)
        if key not in self._known:
            self._known[key] = self._mesh(f"{shape.holes} holes", mesh_of(shape), material)
        return self._known[key]

    def plain(self, size: tuple[float, float, float], material: str) -> int:
        """Number of the mesh of a plain box of that size, metres, and material."""
        key = (size, material)
        if key not in self._known:
            self._known[key] = self._mesh("fitting", box_mesh(size), material)
        return self._known[key]

    def _mesh(self, name: str, mesh: tuple[Corners, Triangles], material: str) -> int:
        corners, triangles = mesh
        primitive = {
            "attributes": {"POSITION": self._accessor(corners, "VEC3", _FLOAT, _ARRAY)},
            "indices": self._accessor(triangles.ravel(), "SCALAR", _UINT, _ELEMENTS),
            "material": self._material(material),
        }
        self.meshes.append({"name": name, "primitives": [primitive]})
        return len(self.meshes) - 1

    def _material(self, name: str) -> int:
        if name not in self._known:
            colour, metal, rough = _LOOKS.get(name, _OTHER)
            self.materials.append(
                {
                    "name": name or "not known",
                    "pbrMetallicRoughness": {
                        "baseColorFactor": [*colour, 1.0],
                        "metallicFactor": metal,
                        "roughnessFactor": rough,
                    },
                }
            )
            self._known[name] = len(self.materials) - 1
        return self._known[name]

    def _accessor(self, values: np.ndarray, kind: str, component: int, target: int) -> int:
        raw = np.ascontiguousarray(values).astype(values.dtype.newbyteorder("<")).tobytes()
        self.buffer_views.append(
            {"buffer": 0, "byteOffset": len(self.data), "byteLength": len(raw), "target": target}
        )
        self.data += raw  # all components have 4 bytes, so this stays aligned
        accessor = {
            "bufferView": len(self.buffer_views) - 1,
            "componentType": component,
            "count": len(values),
            "type": kind,
        }
        if kind == "VEC3":
            accessor |= {"min": values.min(axis=0).tolist(), "max": values.max(axis=0).tolist()}
        self.accessors.append(accessor)
        return len(self.accessors) - 1


def _glb(tree: dict, data: bytes) -> bytes:
    """Header and the two chunks, each filled up to a multiple of 4 bytes."""
    text = json.dumps(tree, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode("utf-8")
    text += b" " * (-len(text) % 4)
    data += b"\0" * (-len(data) % 4)
    chunks = struct.pack("<II", len(text), _JSON) + text + struct.pack("<II", len(data), _BIN) + data
    return struct.pack("<III", _MAGIC, 2, 12 + len(chunks)) + chunks
