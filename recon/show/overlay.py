"""One photo with what was read in it: openings, rows, members, ends."""

import cv2
import numpy as np
from PIL import Image, ImageDraw
from scipy.spatial import cKDTree

from recon.frame.boxes import (
    EDGE_FACES,
    EDGES,
    corners,
    face_centres,
    face_normals,
    faces_seen,
    hidden,
    openings,
)
from recon.frame.confidence import SURE
from recon.frame.model import Frame, Member
from recon.show.marks import (
    BLACK,
    BLUE,
    DASHED,
    DOTTED,
    INK,
    ORANGE,
    PURPLE,
    SKY,
    SOLID,
    VERMILLION,
    WHITE,
    YELLOW,
    Plate,
    draw_ellipse,
    draw_line,
    draw_plates,
    draw_polygon,
    font,
    place_plates,
)

# Photos are brought to a longest side in this range: an overlay is for looking at, and A4 at 200 dpi is 2340 px long.
SIDE_RANGE_PX = (1600, 2400)
SAMPLES_PER_PITCH = (
    4  # along an edge: follows lens distortion and finds where another member begins to hide it
)
END_COLOUR = {"seen": BLACK, "hidden": PURPLE, "cut": VERMILLION}


def draw_overlay(photo, found, rows, frame: Frame, camera) -> np.ndarray:
    """Draw a photo's openings, rows, members and ends over it; a strip below explains the marks.

    photo : PhotoImage.
    found : (N, 6) openings: x, y, larger and smaller radius (px), angle of the larger (radians from +x towards +y), and
        1 where a bolt or nut takes the opening, else 0. Those in no row are drawn faint.
    rows : list of (M, 2) px, the openings of a row in order.
    frame : Frame; its members are drawn as `camera` sees them.
    camera : has centre (3,) in pitches and project((n, 3) pitches) -> (n, 2) px, not a number behind it; or None where the
        photo was set aside, and then no members are drawn.

    Returns (H, W, 3) uint8 RGB; without the strip its longer side lies in SIDE_RANGE_PX.
    """
    longest = max(photo.size)
    scale = min(max(longest, SIDE_RANGE_PX[0]), SIDE_RANGE_PX[1]) / longest
    image = _muted(photo.colour, scale)
    unit = max(image.shape[:2]) / 1000  # line widths and text follow the picture's size
    found = np.asarray(found, float).reshape(-1, 6) * [scale, scale, scale, scale, 1, 1]
    rows = [np.asarray(row, float).reshape(-1, 2) * scale for row in rows]

    plates = []
    if camera is not None:
        view = _View(camera, scale, image.shape[1::-1], unit)
        near_last = sorted(
            frame.members, key=lambda m: -np.linalg.norm(face_centres(m).mean(axis=0) - view.eye)
        )
        for member in near_last:
            _draw_member(image, member, frame, view)
    for row in rows:
        draw_line(image, row, YELLOW, 0.8 * unit, DOTTED, halo=BLACK)
    _draw_openings(image, found, rows, unit)
    if camera is not None:
        marked = []
        for member in near_last:
            plates += _draw_ends(image, member, frame, view, marked)
        plates += [plate for member in near_last if (plate := _name_plate(member, frame, view))]
        avoid = np.vstack(
            [found[:, :2], *np.repeat(np.reshape(marked, (-1, 2)), 10, axis=0)]
        )  # an end counts for ten
        image = draw_plates(image, plates, place_plates(plates, image.shape[1::-1], avoid))
    title = f"{photo.name}: {len(found)} openings, {len(rows)} rows"
    return np.vstack([image, _legend(image.shape[1], unit, title, camera is not None)])


def _muted(colour: np.ndarray, scale: float) -> np.ndarray:
    """The photo, scaled and with a third of its colour, so that marks stand out."""
    if scale != 1:
        size = tuple(round(side * scale) for side in colour.shape[1::-1])
        colour = cv2.resize(colour, size, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC)
    grey = cv2.cvtColor(colour, cv2.COLOR_RGB2GRAY)
    return cv2.addWeighted(colour, 0.35, cv2.cvtColor(grey, cv2.COLOR_GRAY2RGB), 0.65, 0)


class _View:
    """A camera and the picture that it is drawn into."""

    def __init__(self, camera, scale: float, size, unit: float):
        self.camera, self.scale, self.size, self.unit = camera, scale, np.array(size), unit
        self.eye = np.asarray(camera.centre, float)

    def project(self, points) -> np.ndarray:
        """(n, 3) pitches -> (n, 2) px of the picture; not a number where far outside it."""
        pixels = np.asarray(self.camera.project(np.atleast_2d(np.asarray(points, float))), float) * self.scale
        # Far outside the picture the radial polynomial folds back: what it says there is no place.
        margin = 0.5 * self.size.max()
        outside = ((pixels < -margin) | (pixels > self.size + margin)).any(axis=1)
        return np.where(outside[:, None], np.nan, pixels)

    def inside(self, pixels) -> np.ndarray:
        with np.errstate(invalid="ignore"):
            return ((pixels >= 0) & (pixels < self.size)).all(axis=1)


def _unsure(member: Member) -> bool:
    return member.confidence < SURE


def _draw_member(image, member: Member, frame: Frame, view: _View) -> None:
    """Edges of the faces turned this way; unbroken in sight, faint behind other members; a dot where a hole should be."""
    others = [m for m in frame.members if m is not member]
    turned = faces_seen(member, view.eye)
    pattern = DASHED if _unsure(member) else SOLID
    width = 1.4 * view.unit
    points = corners(member)
    for (i, j), faces in zip(EDGES, EDGE_FACES):
        if not turned[faces].any():
            continue
        n = max(3, int(np.linalg.norm(points[j] - points[i]) * SAMPLES_PER_PITCH))
        edge = points[i] + np.linspace(0, 1, n)[:, None] * (points[j] - points[i])
        behind = hidden(edge, view.eye, others)
        pixels = view.project(edge)
        draw_line(image, np.where(behind[:, None], pixels, np.nan), SKY, 0.6 * view.unit, DOTTED)
        draw_line(image, np.where(behind[:, None], np.nan, pixels), SKY, width, pattern, halo=INK)
    for face, spots in enumerate(openings(member)):
        if turned[2 + face]:
            spots = spots[~hidden(spots, view.eye, others)]
            for pixel in view.project(spots):
                if np.isfinite(pixel).all():
                    draw_ellipse(image, pixel, (0.8 * view.unit,) * 2, 0, WHITE, -1)


def _draw_openings(image, found, rows, unit: float) -> None:
    in_row = np.zeros(len(found), bool)
    if rows and len(found):
        distance, _ = cKDTree(np.vstack(rows)).query(found[:, :2])
        in_row = distance < 1.5
    for (x, y, major, minor, angle, taken), kept in zip(found, in_row):
        if taken:
            reach = max(major, 3 * unit) + 2 * unit
            diamond = np.array(
                [(x, y - reach), (x + reach, y), (x, y + reach), (x - reach, y), (x, y - reach)]
            )
            draw_line(image, diamond, VERMILLION, 1.6 * unit, halo=WHITE)
        else:
            ring = np.array([major, minor]) + 1.5 * unit  # round the opening, not over it
            if kept:
                draw_ellipse(image, (x, y), ring + unit, np.degrees(angle), BLACK, 0.6 * unit)
            colour, width = (ORANGE, 1.0) if kept else (WHITE, 0.5)
            draw_ellipse(image, (x, y), ring, np.degrees(angle), colour, width * unit)


def _draw_ends(image, member: Member, frame: Frame, view: _View, marked: list) -> list[Plate]:
    """A mark on each end; returns the plates that say what may be missing there and which end hole 1 is at.

    The marks' places go into `marked`.

    An end that was seen, but in another photo and not in this one, gets no mark here.
    """
    plates = []
    tips = face_centres(member)[:2]
    pixels = view.project(tips)
    outward = view.project(tips + 0.8 * face_normals(member)[:2]) - pixels
    behind = hidden(tips, view.eye, [m for m in frame.members if m is not member])
    for k, (end, at, way) in enumerate(zip(member.ends, pixels, outward)):
        if not view.inside(at[None])[0] or not np.isfinite(way).all() or (behind[k] and end.state == "seen"):
            continue
        draw_end_mark(image, at, way, end.state, view.unit)
        marked.append(at)
        notes = [f"{member.id}1"] if k == 0 else [member.id] if end.extra else []
        notes += [f"+{end.extra}?"] if end.extra else []
        if notes:
            step = way / max(np.linalg.norm(way), 1e-9)
            side = np.array([-step[1], step[0]])
            reach = 15 * view.unit
            places = at + reach * np.array([step, step + side, step - side, side, -side, -step, 1.6 * step])
            plates.append(
                Plate("", " ".join(notes), places, END_COLOUR[end.state], max(10, round(11 * view.unit)))
            )
    return plates


def draw_end_mark(image, at, way, state: str, unit: float) -> None:
    """Mark of an end at `at` px, `way` px pointing out of the member: a bar (seen), a ring (hidden), an arrow (cut)."""
    colour = END_COLOUR[state]
    along = np.asarray(way, float) / max(np.linalg.norm(way), 1e-9)
    across = np.array([-along[1], along[0]])
    r = 7 * unit
    if state == "seen":
        draw_line(image, np.array([at - r * across, at + r * across]), colour, 3.2 * unit, halo=WHITE)
    elif state == "hidden":
        draw_ellipse(image, at, (0.8 * r,) * 2, 0, colour, 2.0 * unit, halo=WHITE)
    else:
        tip = at + 1.4 * r * along
        draw_line(image, np.array([at - r * along, tip]), colour, 2.2 * unit, halo=WHITE)
        draw_polygon(
            image, np.array([tip + 0.6 * r * along, tip - 0.7 * r * across, tip + 0.7 * r * across]), colour
        )


def _name_plate(member: Member, frame: Frame, view: _View) -> Plate | None:
    """Label and length in holes, on the part of the member that is in sight; None where none of it is in the photo."""
    share = np.array([0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.1, 0.9])
    line = member.hole_centre(share * (member.holes - 1))
    others = [m for m in frame.members if m is not member]
    pixels = view.project(line)
    shown = view.inside(pixels)
    free = shown & ~hidden(line, view.eye, others)
    if not shown.any():
        return None
    places = pixels[free] if free.any() else pixels[shown]
    query = "?" if _unsure(member) else ""
    return Plate(
        member.id, f"{member.holes}{query}", places, BLUE, max(12, round(15 * view.unit)), bool(query)
    )


def _legend(width: int, unit: float, title: str, used: bool) -> np.ndarray:
    """The strip below the picture: what each mark means, in as many lines as it takes."""
    text_px = max(11, round(12.5 * unit))
    line_px, mark_px, gap = round(2.1 * text_px), round(2.4 * text_px), round(1.4 * text_px)
    u = text_px / 12.5
    entries = [
        (
            lambda im, c: draw_ellipse(im, c, (7 * u, 6 * u), 0, ORANGE, 1.3 * u),
            "opening in a row (thin white: in none)",
        ),
        (
            lambda im, c: draw_line(
                im, c + np.array([(0, -8), (8, 0), (0, 8), (-8, 0), (0, -8)]) * u, VERMILLION, 1.6 * u
            ),
            "taken by a bolt",
        ),
        (
            lambda im, c: draw_line(
                im, c + np.array([(-11, 0), (11, 0)]) * u, YELLOW, 1.4 * u, DOTTED, halo=BLACK
            ),
            "row",
        ),
    ]
    if used:
        entries += (
            [
                (
                    lambda im, c: draw_line(
                        im, c + np.array([(-11, 0), (11, 0)]) * u, SKY, 1.4 * u, halo=INK
                    ),
                    "member: label, holes",
                ),
                (
                    lambda im, c: draw_line(
                        im, c + np.array([(-11, 0), (11, 0)]) * u, SKY, 1.4 * u, DASHED, halo=INK
                    ),
                    "member, not sure",
                ),
                (
                    lambda im, c: (
                        draw_ellipse(im, c, (6 * u, 6 * u), 0, INK, -1),
                        draw_ellipse(im, c, (1.2 * u,) * 2, 0, WHITE, -1),
                    ),
                    "hole expected here",
                ),
            ]
            + [
                (lambda im, c, s=state: draw_end_mark(im, c, np.array([1.0, 0.0]), s, u), text)
                for state, text in (
                    ("seen", "end seen"),
                    ("hidden", "end hidden"),
                    ("cut", "end beyond the border"),
                )
            ]
            + [(None, "A1 = hole 1 of A is here; A +2? = A may go on for up to 2 holes, out of sight")]
        )
    else:
        title += "; set aside, so no members are drawn"
    pen_font = font(text_px)
    spots, x, y = [], gap, line_px
    for mark, text in entries:
        wide = (mark_px if mark else 0) + pen_font.getlength(text) + gap
        if x + wide > width and x > gap:
            x, y = gap, y + line_px
        spots.append((x, y))
        x += wide
    strip = np.full((y + line_px + text_px // 2, width, 3), 236, np.uint8)
    for (mark, _), (x, y) in zip(entries, spots):
        if mark:
            mark(strip, np.array([x + mark_px / 2 - 0.2 * text_px, y + line_px / 2]))
    canvas = Image.fromarray(strip)
    pen = ImageDraw.Draw(canvas)
    pen.text((gap, line_px / 2 + text_px / 5), title, INK, font(text_px, True), anchor="lm")
    for (mark, text), (x, y) in zip(entries, spots):
        pen.text((x + (mark_px if mark else 0), y + line_px / 2), text, INK, pen_font, anchor="lm")
    return np.asarray(canvas)
