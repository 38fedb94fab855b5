"""Members and bolts as triangles, in metres along their own axes.

x is along a member, from its middle, and along a bolt, from the face on which it starts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import manifold3d
import numpy as np
from numpy.typing import NDArray

from recon.frame.model import Member
from recon.frame.stock import Stock
from recon.workshop.hardware.fastener_shapes import Piece
from recon.workshop.solids import HOLE

Corners = NDArray[np.float32]
Triangles = NDArray[np.uint32]
SEGMENTS = 24  # flats of a bore; its volume is then 1.1 % short of a round one


@dataclass(frozen=True)
class Shape:
    """A member's shape.

    Attributes
    ----------
    holes : int
    pitch, width : float
        Metres.
    hole : float
        Diameter of the holes, metres; 0 leaves them out.
    wall : float
        Thickness of a tube's wall, metres; 0 is solid.
    """

    holes: int
    pitch: float
    width: float
    hole: float = 0.0
    wall: float = 0.0

    @property
    def length(self) -> float:
        """From end to end, metres."""
        return self.holes * self.pitch


def member_shape(m: Member, pitch: float, stock: Stock | None, drilled: bool = True) -> Shape:
    """A member's shape.

    Parameters
    ----------
    m : Member
    pitch : float
        Of the frame, metres.
    stock : Stock or None
        Its stock where it is known.
    drilled : bool
        Whether it has its holes, and a tube is hollow.
    """
    width = m.width * pitch
    if not drilled:
        return Shape(m.holes, pitch, width)
    if stock is None:
        return Shape(m.holes, pitch, width, HOLE * pitch)
    # A frame's own pitch and width decide; hole and wall keep the stock's proportions to the width.
    hole, wall = stock.hole_mm / stock.width_mm, stock.wall_mm / stock.width_mm
    return Shape(m.holes, pitch, width, width * hole, width * wall)


def mesh_of(shape: Shape) -> tuple[Corners, Triangles]:
    """A watertight mesh of a member, with bores from two neighbouring faces at every pitch.

    Returns
    -------
    corners : array, (n, 3)
        Metres.
    triangles : array, (m, 3)
        Places of their corners, in the order that makes normals point outward.

    Examples
    --------
    >>> corners, triangles = mesh_of(Shape(holes=4, pitch=0.04, width=0.04))
    >>> corners.shape, triangles.shape
    ((8, 3), (12, 3))
    """
    box = manifold3d.Manifold.cube((shape.length, shape.width, shape.width), True)
    cutters = []
    if shape.wall:
        inside = shape.width - 2 * shape.wall
        cutters.append(manifold3d.Manifold.cube((2 * shape.length, inside, inside), True))
    if shape.hole:
        bore = manifold3d.Manifold.cylinder(
            2 * shape.width, shape.hole / 2, circular_segments=SEGMENTS, center=True
        )
        across = bore.rotate((90, 0, 0))
        for k in range(shape.holes):
            at = ((k - (shape.holes - 1) / 2) * shape.pitch, 0, 0)
            cutters += [bore.translate(at), across.translate(at)]
    solid = manifold3d.Manifold.batch_boolean([box, *cutters], manifold3d.OpType.Subtract) if cutters else box
    return _triangles(solid)


def mesh_of_pieces(pieces: Sequence[Piece]) -> tuple[Corners, Triangles]:
    """A watertight mesh of a bolt with its nut and washers, as `mesh_of` gives one.

    Examples
    --------
    >>> corners, _ = mesh_of_pieces([Piece("shank", 0, 8.0, 0.0, -2.0, 90.0)])
    >>> np.round(corners[:, 0].min(), 4), np.round(corners[:, 0].max(), 4)
    (np.float32(-0.002), np.float32(0.09))
    """
    return _triangles(manifold3d.Manifold.batch_boolean([_solid(p) for p in pieces], manifold3d.OpType.Add))


def _solid(piece: Piece) -> manifold3d.Manifold:
    length = piece.end_mm - piece.start_mm
    # A hexagon's corners are farther out than its flats.
    radius = piece.across_mm / 2 / (np.cos(np.pi / piece.sides) if piece.sides else 1.0)
    segments = piece.sides or SEGMENTS
    solid = manifold3d.Manifold.cylinder(length, radius, circular_segments=segments)
    if piece.bore_mm:
        bore = manifold3d.Manifold.cylinder(3 * length, piece.bore_mm / 2, circular_segments=SEGMENTS)
        solid = solid - bore.translate((0, 0, -length))
    return solid.rotate((0, 90, 0)).translate((piece.start_mm, 0, 0)).scale((1e-3, 1e-3, 1e-3))


def box_mesh(size: tuple[float, float, float]) -> tuple[Corners, Triangles]:
    """A plain box round the origin, `size` in metres; as `mesh_of`.

    >>> box_mesh((1.0, 2.0, 3.0))[0].max(axis=0).tolist()
    [0.5, 1.0, 1.5]
    """
    return _triangles(manifold3d.Manifold.cube(size, True))


def _triangles(solid: manifold3d.Manifold) -> tuple[Corners, Triangles]:
    mesh = solid.to_mesh()
    return np.asarray(mesh.vert_properties[:, :3], np.float32), np.asarray(mesh.tri_verts, np.uint32)
