"""A picture of one way in which a frame racks or folds.

It is drawn moved, with dotted edges where the moving members were.
"""

from dataclasses import replace

import numpy as np

from recon.frame.boxes import EDGES, corners
from recon.frame.model import Frame
from recon.show.colours import VERMILLION, WHITE
from recon.show.marks import DOTTED, draw_line
from recon.show.picture import HOLE, draw_frame
from recon.show.picture_camera import best_camera
from recon.workshop.rigidity.displacement import displaced
from recon.workshop.rigidity.mechanism import Motion


def draw_motion(
    frame: Frame, motion: Motion, name: str, size: tuple[int, int] = (1600, 1200), hole: float = HOLE
) -> np.ndarray:
    """Draw a frame moved in one of the ways in which it moves.

    Parameters
    ----------
    frame : Frame
    motion : Motion
        One of `recon.workshop.rigidity.mechanism.mobility`.
    name : str
        What the picture is called.
    size : (int, int)
        Width and height, px.
    hole : float
        Diameter of the holes, pitches.

    Returns
    -------
    uint8 array, shape (height, width, 3)
        RGB.
    """
    moved = displaced(frame, motion)
    # The view is chosen for a little less height than there is, so that the legend below has room.
    camera = best_camera((*frame.members, *moved.members), (size[0], round(0.88 * size[1])), 0.045 * size[0])
    image = draw_frame(
        replace(moved, name=f"{name} (drawn moved; dotted: where it was)"), size, camera, hole
    ).copy()
    for id in motion.moving:
        points = camera.project(corners(frame.member(id)))
        for edge in EDGES:
            draw_line(image, points[edge], VERMILLION, max(2, size[0] / 700), DOTTED, WHITE)
    return image
