"""Ends of members at any angle: looked for in a world turned so that the member runs along an axis.

In the turned world everything that is known about members along an axis holds (``recon.solve.members.ends``,
``recon.solve.members.edges``); only what stands before an edge is asked in the world of the frame.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from recon.geometry.arrays import BoolArray, FloatArray
from recon.solve.evidence.candidate import Candidate
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.scene import Ends
from recon.solve.members.edges import FAR, LATERAL, NEAR, ColourSteps, colour_steps, edge_evidence
from recon.solve.members.ends import boundaries_of, end_guesses, in_some_photo
from recon.solve.off_lattice.lines import Line
from recon.solve.off_lattice.search import Search

OFF_FACE = 0.52  # widths off the centre line at which an edge's sight is tested: just clear of its own face


def line_ends(
    search: Search, line: Line, count: int, bolted: BoolArray, room: tuple[int, int], reach: int
) -> Ends:
    """Where a member on the line starts and stops, from openings and edges in all photos.

    Parameters
    ----------
    search : with the pictures of its photos
    line, count : holes 0 to count - 1 are known
    bolted : (4, count + 2 reach) faces that a bolt's head or nut may cover, ``reach`` holes more on each side
    room : holes that there is room for before hole 0 and past the last
    reach : holes looked at past the known ones

    Returns
    -------
    The low and the high end, holes counted from the line's hole 0.
    """
    scene = search.scene
    steps = np.arange(-reach, count + reach)
    found = search.evidence(line.shifted(-reach), len(steps), bolted)
    boundaries, between = boundaries_of(count, reach)
    edge, inner = edge_evidence(
        (_steps_in_sight(search, p, scene.picture(p), line, boundaries) for p in scene.photos), between
    )
    in_sight = in_some_photo(scene.photos, line.holes(steps))
    return end_guesses(found.llr.sum(1), bolted, edge, inner, in_sight, reach, room)


def _steps_in_sight(
    search: Search, photo: PosedPhoto, image: np.ndarray, line: Line, boundaries: FloatArray
) -> ColourSteps:
    """``colour_steps`` in the turned world, NaN where anything stands before the place."""
    c, width = photo.camera, search.scene.width
    turned = replace(photo, camera=c.posed(c.R @ line.turn.T, c.t))
    steps = colour_steps(turned, image, Candidate.bare(0, line.turn @ line.first, 1), boundaries, width)
    strength = steps.strength.copy()
    along = boundaries[:, None] + np.array([-FAR, -NEAR, NEAR, FAR])
    for f, normal in enumerate(steps.normal @ line.turn):
        side = np.cross(line.direction, normal)
        X = (
            line.first
            + OFF_FACE * width * normal
            + along[:, None, :, None] * line.direction
            + (LATERAL * width)[None, :, None, None] * side
        )
        hidden = search.occluders.hide(c.centre, X.reshape(-1, 3)).reshape(len(boundaries), -1)
        strength[f, hidden.any(1)] = np.nan
    return replace(steps, strength=strength)
