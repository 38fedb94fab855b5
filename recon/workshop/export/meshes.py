"""Members as triangles, in metres along their own axes: x along the member, from its middle."""

from __future__ import annotations

from dataclasses import dataclass

import manifold3d
import numpy as np
from numpy.typing import NDArray

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
    return _of(solid)


def box_mesh(size: tuple[float, float, float]) -> tuple[Corners, Triangles]:
    """A plain box round the origin, `size` in metres; as `mesh_of`.

    >>> box_mesh((1.0, 2.0, 3.0))[0].max(axis=0).tolist()
    [0.5, 1.0, 1.5]
    """
    return _of(manifold3d.Manifold.cube(size, True))


def _of(solid: manifold3d.Manifold) -> tuple[Corners, Triangles]:
    mesh = solid.to_mesh()
    return np.asarray(mesh.vert_properties[:, :3], np.float32), np.asarray(mesh.tri_verts, np.uint32)
