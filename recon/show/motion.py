"""A picture of one way in which a frame racks or folds: where it goes to, with dotted edges where the moving members were."""

from dataclasses import replace

import numpy as np

from recon.frame.boxes import EDGES, corners
from recon.frame.model import Frame
from recon.show.marks import DOTTED, VERMILLION, WHITE, draw_line
from recon.show.picture import HOLE, best_view, draw_frame
from recon.workshop.rigidity.displacement import displaced
from recon.workshop.rigidity.mechanism import Motion


def draw_motion(
    frame: Frame, motion: Motion, name: str, size: tuple[int, int] = (1600, 1200), hole: float = HOLE
) -> np.ndarray:
    """(height, width, 3) uint8 RGB.  name : what the picture is called.   hole : diameter of the holes, pitches."""
    moved = displaced(frame, motion)
    # The view is chosen for a little less height than there is, so that the legend below has room.
    view = best_view((*frame.members, *moved.members), (size[0], round(0.88 * size[1])), 0.045 * size[0])
    image = draw_frame(
        replace(moved, name=f"{name} (drawn moved; dotted: where it was)"), size, view, hole
    ).copy()
    for id in motion.moving:
        points = view.project(corners(frame.member(id)))
        for edge in EDGES:
            draw_line(image, points[edge], VERMILLION, max(2, size[0] / 700), DOTTED, WHITE)
    return image
