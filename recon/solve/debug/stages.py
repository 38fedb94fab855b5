"""Pictures of the reading, stage by stage, and the numbers behind them: for whoever works on the solver.

One picture for each photo and stage, in the pixels of the working copy brought to a size for looking at:

    PHOTO_0_numbers.txt     all numbers of the photo
    PHOTO_1_openings.jpg    every detection, coloured by its score
    PHOTO_2_rows.jpg        the rows believed, by axis, with their evidence in nats
    PHOTO_3_axes.jpg        the three directions of the camera, and the vanishing points that are in the picture
    PHOTO_4_lattice.jpg     the best lattice guess of each row projected back, with its probability
    PHOTO_5_members.jpg     the members: openings foreseen and hit, missed, at a lap, hidden; and their boxes

Stages 1 to 4 show the photo read by itself, stage 5 the frame read from all photos.  A photo that got no
further has the stages up to there.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from recon.errors import ReconError
from recon.files import why_not_written, write_bytes_atomic, write_text_atomic
from recon.frame.model import label
from recon.geometry.camera import camera2sensor, sensor2image
from recon.solve.debug.sheet import INK, sheet_of
from recon.solve.evidence.candidate import boxes
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.predictions import hidden_by_boxes, match_predictions, member_openings
from recon.solve.evidence.scene import Scene
from recon.solve.members.laps import lap_faces

STAGES = ("numbers", "openings", "rows", "axes", "lattice", "members")
AXIS_COLOUR = ((0, 94, 213), (115, 158, 0), (178, 114, 0))  # BGR of x, y, z: vermillion, green, blue
RED, GREEN, ORANGE, GREY = (40, 40, 220), (90, 200, 0), (0, 159, 230), (150, 150, 150)
AXES = "xyz"

# What one photo says of an opening that a member should have.
UNSEEN, HIT, MISSED, LAP, HIDDEN = range(5)
STATE_WORDS = ("out of sight", "hit", "missed", "at a lap", "hidden")


def write_stages(folder, readings: list, scene: Scene) -> list[Path]:
    """Write the pictures and the numbers of every photo; returns the files in order.

    Parameters
    ----------
    folder : made where it does not exist.
    readings : PhotoReading of each photo by itself, with its own lattice.
    scene : photos used, candidates in the order of the labels, and the pictures of all photos.

    Raises
    ------
    ReconError
        The folder holds such files already, or cannot be written.
    """
    folder = Path(folder)
    refuse_used_folder(folder)
    by_name, candidates, width = {v.name: v for v in scene.photos}, scene.candidates, scene.width
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise why_not_written(folder, error) from error
    for reading, base in zip(readings, _bases([r.name for r in readings])):
        photo = by_name.get(reading.name)
        written.append(folder / f"{base}_0_numbers.txt")
        write_text_atomic(written[-1], numbers_text(reading, photo, candidates, width))
        for k, picture in enumerate(
            stage_pictures(scene.pictures[reading.name], reading, photo, candidates, width), 1
        ):
            written.append(folder / f"{base}_{k}_{STAGES[k]}.jpg")
            write_bytes_atomic(
                written[-1], cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 88])[1].tobytes()
            )
    return written


def refuse_used_folder(folder) -> None:
    """Raises ReconError where a folder holds files of an earlier reading's stages."""
    folder = Path(folder)
    ours = re.compile(r".+_[0-5]_(" + "|".join(STAGES) + r")\.(jpg|txt)")
    there = sorted(p.name for p in folder.iterdir() if ours.fullmatch(p.name)) if folder.is_dir() else []
    if there:
        raise ReconError(
            f"{folder}: already holds stages of a reading ({there[0]} and so on); give --debug another folder, or empty this one."
        )


def stage_pictures(
    image: np.ndarray, reading, photo: PosedPhoto | None, candidates, width: float
) -> list[np.ndarray]:
    """The pictures of stages 1, 2, ... (H', W', 3) uint8 BGR, as far as the photo got."""
    out = [openings_picture(image, reading)]
    if reading.lattice is not None:
        out += [rows_picture(image, reading), axes_picture(image, reading), lattice_picture(image, reading)]
    if photo is not None:
        out.append(members_picture(image, photo, candidates, width))
    return out


def openings_picture(image, reading) -> np.ndarray:
    sheet = sheet_of(image)
    o = reading.openings
    for one, colour in zip(o[::-1], _score_colours(o["score"][::-1])):  # the best on top
        sheet.ellipse(one, colour)
    key = np.array([1.0, 2.0, 4.0, 8.0])
    return sheet.finished(
        f"1 detections: {len(o)}, coloured by score (even contrast all round the rim)",
        [(f"score {s:g}", c) for s, c in zip(key, _score_colours(key))],
    )


def rows_picture(image, reading) -> np.ndarray:
    sheet = sheet_of(image)
    o, rows = reading.openings, reading.lattice.placed.rows
    for row in rows[::-1]:  # the strongest on top
        px = np.c_[o["x"], o["y"]][row.index]
        sheet.line(px, AXIS_COLOUR[row.axis])
        for p in px:
            sheet.dot(p, AXIS_COLOUR[row.axis])
    for row in rows[::-1]:
        sheet.text(
            np.array([o["x"][row.index[0]], o["y"][row.index[0]]]),
            f"{row.evidence:.0f}",
            AXIS_COLOUR[row.axis],
        )
    counts = [sum(r.axis == j for r in rows) for j in range(3)]
    return sheet.finished(
        f"2 rows believed: {len(rows)}; the number is the row's evidence in nats",
        [(f"along {AXES[j]}: {counts[j]}", AXIS_COLOUR[j]) for j in range(3)],
    )


def axes_picture(image, reading, grid: int = 7) -> np.ndarray:
    """At each knot of a grid, the way in which lines along x, y and z run through the picture there."""
    sheet = sheet_of(image)
    camera = reading.lattice.camera
    H, W = image.shape[:2]
    depth = float(np.median(_row_depths(reading)))
    reach = 0.05 * W / camera.f * depth  # pitches that fill half a knot's room
    for x in np.linspace(0, W - 1, grid + 2)[1:-1]:
        for y in np.linspace(0, H - 1, grid + 1)[1:-1]:
            ray = np.array([(x - camera.cx) / camera.f, (y - camera.cy) / camera.f, 1.0]) * depth
            for j in range(3):
                ends = ray + np.outer([-1, 1], camera.R[:, j]) * min(reach, 0.4 * depth)
                px = sensor2image(camera, camera2sensor(ends))
                sheet.line(px, AXIS_COLOUR[j])
                sheet.dot(px[1], AXIS_COLOUR[j])
    points = vanishing_points(camera)
    for j, p in enumerate(points):
        if np.isfinite(p).all() and 0 < p[0] < W and 0 < p[1] < H:
            p = sensor2image(
                camera, (p - [camera.cx, camera.cy]) / camera.f
            )  # where it is seen through the lens
            sheet.cross(p, AXIS_COLOUR[j], 3)
            sheet.text(p, f"vanishing point of {AXES[j]}", AXIS_COLOUR[j])
    words = [(f"{AXES[j]}: {_place(p)}", AXIS_COLOUR[j]) for j, p in enumerate(points)]
    return sheet.finished(
        f"3 axes of the camera: f {camera.f:.0f} px, k1 {camera.k1:+.4f}; the dot is the positive end; vanishing points in px",
        words,
    )


def lattice_picture(image, reading) -> np.ndarray:
    """Where the best guess of each row puts its openings, and how far that is from the detections."""
    sheet = sheet_of(image)
    o, lattice = reading.openings, reading.lattice
    placed = lattice.placed
    for row, sign, guesses in list(zip(placed.rows, placed.sign, lattice.guesses))[::-1]:
        if not guesses:
            sheet.line(np.c_[o["x"], o["y"]][row.index], GREY)
            continue
        best = guesses[0]
        colour = _chance_colour(np.exp(best.log_p))
        px = lattice.camera.project(guess_openings(row, sign, best, reading.lattice_width))
        for k, i in enumerate(row.index):
            sheet.line(np.array([[o["x"][i], o["y"][i]], px[k]]), INK)
            sheet.cross(px[k], colour)
        at = ",".join(f"{v:g}" for v in np.round(best.first, 2))
        sheet.text(px[0], f"{AXES[row.axis]} {at} {100 * np.exp(best.log_p):.0f}%", colour)
    words = [
        ("sure (over 75 %)", GREEN),
        ("likely (40 to 75 %)", ORANGE),
        ("open (under 40 %)", RED),
        ("no guess", GREY),
    ]
    return sheet.finished(
        f"4 lattice: cell of the first hole of each row and its probability; agreement {lattice.agreement:.2f}, "
        f"width {reading.lattice_width:g}",
        words,
    )


def members_picture(image, photo: PosedPhoto, candidates, width: float) -> np.ndarray:
    sheet = sheet_of(image)
    found = sightings(photo, candidates, width)
    for candidate in candidates:
        low, high = candidate.box(width)
        for edge in _box_edges(low, high, photo.camera.centre):
            sheet.line(photo.camera.project(edge), AXIS_COLOUR[candidate.axis])
    for s in found:
        for p, state, hit in zip(s.px, s.state, s.hit):
            if state == HIT:
                sheet.ellipse(photo.openings[hit], GREEN)
                sheet.line(np.array([[photo.openings["x"][hit], photo.openings["y"][hit]], p]), INK)
            elif state == MISSED:
                sheet.cross(p, RED)
            elif state == LAP:
                sheet.square(p, ORANGE)
            elif state == HIDDEN:
                sheet.dot(p, GREY)
    for i, candidate in enumerate(candidates):
        middle = candidate.first + 0.5 * (candidate.holes - 1) * np.eye(3)[candidate.axis]
        sheet.text(photo.camera.project(middle[None])[0], f"{label(i)} {candidate.holes}", INK)
    total = np.bincount(np.concatenate([s.state for s in found]) if found else np.zeros(0, int), minlength=5)
    words = [
        (f"{STATE_WORDS[k]}: {total[k]}", c)
        for k, c in ((HIT, GREEN), (MISSED, RED), (LAP, ORANGE), (HIDDEN, GREY))
    ]
    return sheet.finished(
        "5 members: openings foreseen (ring hit, cross missed, square at a lap, dot hidden); label and length in holes",
        words,
    )


@dataclass(frozen=True)
class MemberSight:
    """What one photo says of a member's openings: px (4 holes, 2), state (4 holes,), hit (4 holes,) index or -1, nats (4 holes,)."""

    px: np.ndarray
    state: np.ndarray
    hit: np.ndarray
    nats: np.ndarray


def sightings(photo: PosedPhoto, candidates, width: float) -> list[MemberSight]:
    """Each member's openings in one photo; faces in the order of recon.solve.evidence.predictions.member_openings."""
    walls = boxes(candidates, width)
    out = []
    for i, s in enumerate(candidates):
        X, normals = member_openings(s.axis, s.first, s.holes, width)
        X, n = X.reshape(-1, 3), np.repeat(normals, s.holes, 0)
        behind = hidden_by_boxes(photo.camera.centre, X + 0.02 * n, *walls)
        seen = match_predictions(photo, X, n, behind)
        lap = lap_faces(
            s.axis, s.first, s.holes, [o for j, o in enumerate(candidates) if j != i], width
        ).ravel()
        state = np.full(len(X), UNSEEN)
        state[match_predictions(photo, X, n).visible & behind] = HIDDEN
        state[seen.visible] = np.where(seen.hit >= 0, HIT, np.where(lap, LAP, MISSED))[seen.visible]
        out.append(MemberSight(photo.camera.project(X), state, seen.hit, seen.llr))
    return out


def guess_openings(row, sign: float, guess, width: float) -> np.ndarray:
    """(M, 3) pitches: where a guess puts the openings of a row."""
    X = np.repeat((guess.first + 0.5 * width * guess.normal)[None], len(row.step), 0)
    X[:, row.axis] += sign * row.step
    return X


def vanishing_points(camera) -> np.ndarray:
    """(3, 2) px of the directions x, y, z, the lens undone; NaN where a direction lies across the line of sight."""
    ahead = np.where(np.abs(camera.R[2]) > 0.05, camera.R * np.sign(camera.R[2]), np.nan)
    return camera.f * camera2sensor(ahead.T) + [camera.cx, camera.cy]


def numbers_text(reading, photo: PosedPhoto | None, candidates, width: float) -> str:
    """The numbers of one photo, stage by stage."""
    o = reading.openings
    lines = [
        f"{reading.name}: {reading.size[0]} x {reading.size[1]} px (working copy)",
        "",
        f"1 detections: {len(o)}",
    ]
    if len(o):
        lines.append(
            "  score, major and minor axis in px, at 10 / 50 / 90 %: "
            + "; ".join(
                " / ".join(f"{v:.1f}" for v in np.percentile(o[f], [10, 50, 90]))
                for f in ("score", "major", "minor")
            )
        )
    if reading.lattice is None:
        return "\n".join([*lines, "", f"No lattice: {reading.reason or 'too few rows agree'}.", ""])
    lines += [*_row_lines(reading), *_camera_lines(reading), *_guess_lines(reading)]
    if photo is None:
        return "\n".join([*lines, "", "5 set aside: not put together with the other photos.", ""])
    return "\n".join([*lines, *_member_lines(photo, candidates, width), ""])


def _row_lines(reading):
    rows = reading.lattice.placed.rows
    return [
        "",
        f"2 rows believed: {len(rows)}",
        "  row axis openings steps  evidence (nats)   from px        to px",
        *(
            f"  {i:3d}   {AXES[r.axis]}   {len(r.index):5d}  {r.step.max() - r.step.min() + 1:5d}  {r.evidence:10.1f}       "
            f"{_place(_px(reading, r.index[0])):>13s}  {_place(_px(reading, r.index[-1])):>13s}"
            for i, r in enumerate(rows)
        ),
    ]


def _camera_lines(reading):
    c = reading.lattice.camera
    mean, error = reading.width
    return [
        "",
        "3 camera of this photo alone",
        *_camera_numbers(c),
        "  vanishing points, px: "
        + "; ".join(f"{AXES[j]} {_place(p)}" for j, p in enumerate(vanishing_points(c))),
        f"  hole seen: {reading.photo.hole:.3f} pitches; width seen: "
        + (f"{mean:.3f} +- {error:.3f} pitches" if np.isfinite(error) else "not measured")
        + f", taken: {reading.lattice_width:g}",
    ]


def _camera_numbers(c):
    rows = "; ".join(" ".join(f"{v:+.4f}" for v in r) for r in c.R)
    return [
        f"  f {c.f:.1f} px, middle {c.cx:.1f}, {c.cy:.1f} px, k1 {c.k1:+.5f}, k2 {c.k2:+.5f}",
        f"  R {rows}",
        "  centre, pitches: " + ", ".join(f"{v:.2f}" for v in c.centre),
    ]


def _guess_lines(reading):
    lattice = reading.lattice
    out = [
        "",
        f"4 lattice: agreement {lattice.agreement:.3f}, evidence explained {reading.worth:.0f} nats",
        "  row axis first hole (pitches)    face  chance  rms px   next best",
    ]
    for i, (row, sign, guesses) in enumerate(zip(lattice.placed.rows, lattice.placed.sign, lattice.guesses)):
        if not guesses:
            out.append(f"  {i:3d}   {AXES[row.axis]}  no lattice line near it")
            continue
        g = guesses[0]
        off = lattice.camera.project(guess_openings(row, sign, g, reading.lattice_width)) - np.array(
            [_px(reading, k) for k in row.index]
        )
        other = f"{_cell(guesses[1].first)} {np.exp(guesses[1].log_p):.2f}" if len(guesses) > 1 else "none"
        out.append(
            f"  {i:3d}   {AXES[row.axis]}  {_cell(g.first):24s}  {_face(g.normal)}   {np.exp(g.log_p):5.2f}   {_rms(off):5.2f}   {other}"
        )
    return out


def _member_lines(photo, candidates, width):
    out = [
        "",
        "5 members, all photos together; openings as this photo shows them",
        *_camera_numbers(photo.camera),
        "  member axis first hole (pitches)      holes    hit missed at a lap hidden  nats here  nats in all  rms px",
    ]
    for i, (candidate, s) in enumerate(zip(candidates, sightings(photo, candidates, width))):
        n = np.bincount(s.state, minlength=5)
        hit = s.hit[s.state == HIT]
        off = s.px[s.state == HIT] - np.c_[photo.openings["x"][hit], photo.openings["y"][hit]]
        out.append(
            f"  {label(i):5s}   {AXES[candidate.axis]}   {_cell(candidate.first):24s} {candidate.holes:6d} {n[HIT]:6d} {n[MISSED]:6d} {n[LAP]:8d} {n[HIDDEN]:6d}"
            f"  {s.nats.sum():9.1f}  {candidate.evidence:11.1f}  {f'{_rms(off):6.2f}' if len(off) else '     -'}"
        )
    return out


def _px(reading, i):
    return np.array([reading.openings["x"][i], reading.openings["y"][i]])


def _rms(off):
    return float(np.sqrt((off**2).sum(1).mean()))


def _place(px):
    return f"{px[0]:.0f}, {px[1]:.0f}" if np.isfinite(px).all() else "far off"


def _cell(point):
    return ", ".join(f"{v:g}" for v in np.round(point, 2) + 0.0)


def _face(normal):
    j = int(np.abs(normal).argmax())
    return ("+" if normal[j] > 0 else "-") + AXES[j]


def _row_depths(reading):
    placed = reading.lattice.placed
    return (placed.place @ reading.lattice.camera.R.T + reading.lattice.camera.t)[:, 2]


def _box_edges(low, high, eye, pieces: int = 12):
    """(pieces, 3) points along each edge of a box that borders a face turned to the eye."""
    turned = np.array([eye < low, eye > high])  # (2, 3): low and high face of each axis
    for j in range(3):
        a, b = [k for k in range(3) if k != j]
        for s, t in np.ndindex(2, 2):
            if not (turned[s, a] or turned[t, b]):
                continue
            edge = np.empty((pieces, 3))
            edge[:, a], edge[:, b] = (low, high)[s][a], (low, high)[t][b]
            edge[:, j] = np.linspace(low[j], high[j], pieces)
            yield edge


def _score_colours(score):
    """BGR tuples from a score of 1 (dark) to 8 (bright), by its logarithm."""
    level = np.clip(np.log(np.maximum(score, 1)) / np.log(8), 0, 1) * 255
    return (
        [
            tuple(int(v) for v in c)
            for c in cv2.applyColorMap(level.astype(np.uint8)[:, None], cv2.COLORMAP_PLASMA)[:, 0]
        ]
        if len(score)
        else []
    )


def _chance_colour(p):
    return GREEN if p > 0.75 else ORANGE if p > 0.4 else RED


def _bases(names):
    """A base of its own for each photo's files: the photo's name, with a number where two would be one."""
    taken: list[str] = []
    for name in names:
        stem, again = Path(name.replace("/", "_")).stem[:80], 1
        while (base := stem if again == 1 else f"{stem}-{again}").casefold() in (t.casefold() for t in taken):
            again += 1
        taken.append(base)
    return taken
