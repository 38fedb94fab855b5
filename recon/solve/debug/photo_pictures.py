"""Pictures of stages 1 to 4: what one photo shows by itself."""

from __future__ import annotations

import numpy as np

from recon.geometry.arrays import FloatArray
from recon.geometry.camera import camera2sensor, sensor2image
from recon.solve.debug.camera_axes import px_text, vanishing_points_px
from recon.solve.debug.palette import (
    AXES,
    AXIS_COLOUR,
    GREEN,
    GREY,
    INK,
    ORANGE,
    RED,
    chance_colour,
    score_colours,
)
from recon.solve.debug.sheet import sheet_of
from recon.solve.photo.photo_lattice import PhotoLattice, guess_openings
from recon.solve.photo.photo_reading import PhotoReading

GRID = 7  # knots across and down at which the axes are drawn


def openings_picture(image: np.ndarray, reading: PhotoReading) -> np.ndarray:
    """Every detection, coloured by its score."""
    sheet = sheet_of(image)
    o = reading.openings
    for one, colour in zip(o[::-1], score_colours(o["score"][::-1])):  # the best on top
        sheet.ellipse(one, colour)
    key = np.array([1.0, 2.0, 4.0, 8.0])
    return sheet.finished(
        f"1 detections: {len(o)}, coloured by score (even contrast all round the rim)",
        [(f"score {s:g}", c) for s, c in zip(key, score_colours(key))],
    )


def rows_picture(image: np.ndarray, reading: PhotoReading, lattice: PhotoLattice) -> np.ndarray:
    """The rows believed, by axis, with their evidence."""
    sheet = sheet_of(image)
    px, rows = np.c_[reading.openings["x"], reading.openings["y"]], lattice.placed.rows
    for row in rows[::-1]:  # the strongest on top
        sheet.line(px[row.index], AXIS_COLOUR[row.axis])
        for p in px[row.index]:
            sheet.dot(p, AXIS_COLOUR[row.axis])
    for row in rows[::-1]:
        sheet.text(px[row.index[0]], f"{row.evidence:.0f}", AXIS_COLOUR[row.axis])
    counts = [sum(r.axis == j for r in rows) for j in range(3)]
    return sheet.finished(
        f"2 rows believed: {len(rows)}; the number is the row's evidence in nats",
        [(f"along {AXES[j]}: {counts[j]}", AXIS_COLOUR[j]) for j in range(3)],
    )


def axes_picture(image: np.ndarray, lattice: PhotoLattice, grid: int = GRID) -> np.ndarray:
    """At each knot of a grid, the way in which lines along x, y and z run through the picture there."""
    sheet = sheet_of(image)
    camera = lattice.camera
    H, W = image.shape[:2]
    depth = float(np.median((lattice.placed.place @ camera.R.T + camera.t)[:, 2]))
    reach = 0.05 * W / camera.f * depth  # pitches that fill half a knot's room
    for x in np.linspace(0, W - 1, grid + 2)[1:-1]:
        for y in np.linspace(0, H - 1, grid + 1)[1:-1]:
            ray = np.array([(x - camera.cx) / camera.f, (y - camera.cy) / camera.f, 1.0]) * depth
            for j in range(3):
                ends = ray + np.outer([-1, 1], camera.R[:, j]) * min(reach, 0.4 * depth)
                px = sensor2image(camera, camera2sensor(ends))
                sheet.line(px, AXIS_COLOUR[j])
                sheet.dot(px[1], AXIS_COLOUR[j])
    points = vanishing_points_px(camera)
    for j, p in enumerate(points):
        if np.isfinite(p).all() and 0 < p[0] < W and 0 < p[1] < H:
            # Where it is seen through the lens.
            p = sensor2image(camera, (p - [camera.cx, camera.cy]) / camera.f)
            sheet.cross(p, AXIS_COLOUR[j], 3)
            sheet.text(p, f"vanishing point of {AXES[j]}", AXIS_COLOUR[j])
    return sheet.finished(
        f"3 axes of the camera: f {camera.f:.0f} px, k1 {camera.k1:+.4f}; the dot is the positive end; "
        "vanishing points in px",
        [(f"{AXES[j]}: {px_text(p)}", AXIS_COLOUR[j]) for j, p in enumerate(points)],
    )


def lattice_picture(image: np.ndarray, reading: PhotoReading, lattice: PhotoLattice) -> np.ndarray:
    """Where the best guess of each row puts its openings, and how far that is from the detections."""
    sheet = sheet_of(image)
    seen, placed = np.c_[reading.openings["x"], reading.openings["y"]], lattice.placed
    for row, sign, guesses in list(zip(placed.rows, placed.sign, lattice.guesses))[::-1]:
        if not guesses:
            sheet.line(seen[row.index], GREY)
            continue
        best = guesses[0]
        chance = float(np.exp(best.log_p))
        px = lattice.camera.project(guess_openings(row, sign, best, reading.lattice_width))
        for detected, p in zip(seen[row.index], px):
            sheet.line(np.array([detected, p]), INK)
            sheet.cross(p, chance_colour(chance))
        sheet.text(px[0], f"{AXES[row.axis]} {_cell(best.first)} {100 * chance:.0f}%", chance_colour(chance))
    return sheet.finished(
        f"4 lattice: cell of the first hole of each row and its probability; "
        f"agreement {lattice.agreement:.2f}, width {reading.lattice_width:g}",
        [
            ("sure (over 75 %)", GREEN),
            ("likely (40 to 75 %)", ORANGE),
            ("open (under 40 %)", RED),
            ("no guess", GREY),
        ],
    )


def _cell(point: FloatArray) -> str:
    return ",".join(f"{v:g}" for v in np.round(point, 2))
