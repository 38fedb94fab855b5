"""A picture of the whole frame in space: shaded members with their holes, labels and lengths."""

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import Image, ImageDraw

from recon.errors import ReconError
from recon.files import write_bytes_atomic
from recon.frame.boxes import box_axes, corners, face_centres, face_normals
from recon.frame.confidence import SURE
from recon.frame.model import Frame, Member, axis_of, bounds, box_half_sizes
from recon.show.marks import BLUE, DOTTED, INK, PURPLE, Plate, draw_line, draw_plates, font, place_plates

FINER = 2  # drawn at this many times the size and averaged down: smooth edges
HOLE = 0.28  # diameter in pitches where the stock is not known; sold are 0.21 to 0.44
# Members along x, y, z and at an angle: pale tints that differ in lightness too.
TINTS = {0: (255, 231, 180), 1: (190, 222, 245), 2: (214, 240, 214), None: (244, 205, 224)}
LIGHT = np.array([-0.45, 0.40, 0.80])  # towards the light, as (right, towards the viewer, up)
HOLE_COLOUR, RING_COLOUR, BOLT_COLOUR = (62, 58, 54), (30, 30, 30), (205, 210, 215)


@dataclass(frozen=True)
class View:
    """A parallel projection: parallel lines stay parallel and every pitch along an axis has one length, as on a drawing.

    right, up, towards : unit vectors, the last towards the viewer; scale : px per pitch; middle : px of the origin, (2,).
    """

    right: np.ndarray
    up: np.ndarray
    towards: np.ndarray
    scale: float
    middle: np.ndarray

    def project(self, points) -> np.ndarray:
        """(n, 3) pitches -> (n, 2) px."""
        points = np.atleast_2d(np.asarray(points, float))
        return self.middle + self.scale * np.column_stack([points @ self.right, -(points @ self.up)])

    def enlarged(self, factor: float) -> "View":
        return View(self.right, self.up, self.towards, self.scale * factor, self.middle * factor)


def view_from(
    members: Sequence[Member], azimuth_deg: float, elevation_deg: float, size, margin_px: float
) -> View:
    """The view from this azimuth (0: from +x, 90: from +y) and elevation, the members filling size (width, height) px."""
    azimuth, elevation = np.radians([azimuth_deg, elevation_deg])
    right = np.array([-np.sin(azimuth), np.cos(azimuth), 0.0])
    towards = np.array(
        [np.cos(azimuth) * np.cos(elevation), np.sin(azimuth) * np.cos(elevation), np.sin(elevation)]
    )
    flat = View(right, np.cross(towards, right), towards, 1.0, np.zeros(2))
    points = np.vstack([flat.project(corners(m)) for m in members])
    low, high = points.min(axis=0), points.max(axis=0)
    scale = float(((np.array(size) - 2 * margin_px) / np.maximum(high - low, 1e-6)).min())
    return View(flat.right, flat.up, towards, scale, np.array(size) / 2 - scale * (low + high) / 2)


def best_view(members: Sequence[Member], size, margin_px: float) -> View:
    """Of sixteen views from the corners, the one in which most of the members can be seen well.

    A member counts by the share of its faces turned here that no other member covers; beyond a half, more is no better.
    """
    small = (200, 150)

    def seen_well(view: View) -> float:
        faces = _face_map(members, view, small)
        seen = np.bincount(faces[faces >= 0] // 6, minlength=len(members))
        own = np.array(
            [sum(abs(_cross(*edges)) * 4 for _, _, edges in _turned_faces(m, view)) for m in members]
        )
        return float(np.minimum(seen / np.maximum(own, 1.0), 0.5).sum())

    angles = [
        (azimuth + 90.0 * turn, elevation)
        for elevation in (24.0, 36.0)
        for turn in range(4)
        for azimuth in (-62, -28)
    ]
    scores = [round(seen_well(view_from(members, *a, small, 4)), 3) for a in angles]
    return view_from(members, *angles[int(np.argmax(scores))], size, margin_px)


def _cross(a, b) -> float:
    return float(a[0] * b[1] - a[1] * b[0])


def _turned_faces(
    member: Member, view: View
) -> Iterator[tuple[int, np.ndarray, tuple[np.ndarray, np.ndarray]]]:
    """(face, middle in px, its two half edges in px) of the faces towards the viewer; half edges in the order of
    `box_axes`, without the face's own axis."""
    towards = face_normals(member) @ view.towards
    middles = view.project(face_centres(member))
    half_edges = view.project(box_axes(member) * box_half_sizes(member)[:, None]) - view.middle
    for face in np.nonzero(towards > 1e-6)[0]:
        first, second = (half_edges[k] for k in range(3) if k != face // 2)
        if abs(_cross(first, second)) > 1e-9:
            yield int(face), middles[face], (first, second)


def _face_pixels(middle, edges, size):
    """Pixels of a face: slices of its window, and there coordinates a, b along the half edges (-1..1) and the mask."""
    first, second = edges
    reach = np.abs(first) + np.abs(second)
    low = np.maximum(np.floor(middle - reach).astype(int), 0)
    high = np.minimum(np.ceil(middle + reach).astype(int) + 1, size)
    x = np.arange(low[0], max(high[0], low[0]))[None, :] + 0.5 - middle[0]
    y = np.arange(low[1], max(high[1], low[1]))[:, None] + 0.5 - middle[1]
    area = _cross(first, second)
    a, b = (x * second[1] - y * second[0]) / area, (y * first[0] - x * first[1]) / area
    window = (slice(low[1], low[1] + y.shape[0]), slice(low[0], low[0] + x.shape[1]))
    return window, a, b, (np.abs(a) <= 1) & (np.abs(b) <= 1)


def _face_map(members: Sequence[Member], view: View, size) -> np.ndarray:
    """(height, width) int32: 6 * member + face of the nearest face at each pixel, -1 where there is none (z-buffer)."""
    depth = np.full(size[::-1], -np.inf, np.float32)
    faces = np.full(size[::-1], -1, np.int32)
    for k, member in enumerate(members):
        centres = face_centres(member) @ view.towards
        slopes = box_axes(member) * box_half_sizes(member)[:, None] @ view.towards
        for face, middle, edges in _turned_faces(member, view):
            window, a, b, inside = _face_pixels(middle, edges, size)
            first, second = (slopes[i] for i in range(3) if i != face // 2)
            near = (centres[face] + a * first + b * second).astype(np.float32)
            nearer = inside & (near > depth[window])
            depth[window][nearer] = near[nearer]
            faces[window][nearer] = 6 * k + face
    return faces


def _bolt_heads(frame: Frame) -> dict[tuple[str, int], list[tuple[int, np.ndarray, bool]]]:
    """(member, hole) -> [(hole, outward direction of the head or nut, whether the bolt was seen)]."""
    heads: dict = {}
    for joint in frame.joints:
        if joint.bolt != "none":
            axis = np.asarray(joint.axis, float)
            heads.setdefault(joint.a, []).append((joint.a_hole, -axis, joint.bolt == "seen"))
            heads.setdefault(joint.b, []).append((joint.b_hole, axis, joint.bolt == "seen"))
    return heads


def _paint(frame: Frame, faces: np.ndarray, view: View, hole: float) -> np.ndarray:
    """(H, W, 3) uint8: the faces of the map with light, holes, bolts and edges."""
    size = faces.shape[::-1]
    image = np.full((*faces.shape, 3), 255, np.uint8)
    heads = _bolt_heads(frame)
    light = np.column_stack([view.right, view.towards, view.up]) @ (LIGHT / np.linalg.norm(LIGHT))
    for k, member in enumerate(frame.members):
        normals, half = face_normals(member), box_half_sizes(member)
        tint = np.array(TINTS[axis_of(member)], float)
        for face, middle, edges in _turned_faces(member, view):
            window, a, b, _ = _face_pixels(middle, edges, size)
            mine = faces[window] == 6 * k + face
            if not mine.any():
                continue
            shade = 0.62 + 0.38 * max(float(normals[face] @ light), 0.0)
            a, b = a[mine], b[mine]
            colours = np.broadcast_to(tint * shade, (len(a), 3)).copy()
            if member.confidence < SURE:  # hatched, which survives a black and white printer
                rows, columns = np.nonzero(mine)
                pattern = (rows + window[0].start + columns + window[1].start) % (7 * FINER) < 1.6 * FINER
                colours[pattern] *= 0.62
            if face >= 2:
                _paint_holes(
                    colours, a * half[0], b * half[1], member, hole, normals[face], heads.get(member.id, ())
                )
            image[window][mine] = np.clip(colours, 0, 255).astype(np.uint8)
    _paint_edges(image, faces)
    return image


def _paint_holes(colours, along, across, member: Member, hole: float, normal, heads) -> None:
    """Colour the holes of one long face. along, across: pitches from the middle of the face, (n,) each."""
    position = along + (member.holes - 1) / 2
    number = np.clip(np.rint(position), 0, member.holes - 1)
    distance = np.hypot(position - number, across)
    colours[distance < hole / 2] = HOLE_COLOUR
    ring = (number == 0) & (distance > hole / 2 + 0.07) & (distance < hole / 2 + 0.16)
    colours[ring] = RING_COLOUR
    for index, outward, seen in heads:
        if outward @ normal > 0.99:
            here = number == index
            head = hole / 2 + 0.14
            colours[here & (distance < head)] = RING_COLOUR
            colours[here & (distance < head - 0.05)] = BOLT_COLOUR if seen else (255, 255, 255)
            if seen:  # crossed, which tells it from the face in grey too
                cross = np.minimum(np.abs(position - index), np.abs(across)) < 0.035
                colours[here & (distance < head) & cross] = RING_COLOUR


def _paint_edges(image: np.ndarray, faces: np.ndarray) -> None:
    """Dark lines between members, fine ones between faces of one member."""
    outline = np.zeros(faces.shape, np.uint8)
    crease = np.zeros(faces.shape, np.uint8)
    members = np.where(faces < 0, -1, faces // 6)
    for ahead, back in (
        ((slice(1, None), slice(None)), (slice(None, -1), slice(None))),
        ((slice(None), slice(1, None)), (slice(None), slice(None, -1))),
    ):
        outline[ahead] |= members[ahead] != members[back]
        crease[ahead] |= faces[ahead] != faces[back]
    image[crease > 0] = (96, 92, 88)
    image[cv2.dilate(outline, np.ones((FINER, FINER), np.uint8)) > 0] = (20, 20, 20)


def draw_frame(
    frame: Frame, size: tuple[int, int] = (1600, 1200), view: View | None = None, hole: float = HOLE
) -> np.ndarray:
    """Picture of a frame: every member with its label and its length in holes.

    frame : Frame with at least one member.
    size : width and height of the picture, px.   view : default, the one that shows most of the members.
    hole : diameter of a hole, pitches (hole_mm / pitch_mm of the stock).

    Returns (height, width, 3) uint8 RGB.

    Raises ReconError where the frame has no members.
    """
    if not frame.members:
        raise ReconError("The frame has no members, so there is nothing to draw.")
    width, height = size
    text_px = int(
        np.clip(round(width * 0.016 * np.sqrt(20 / max(len(frame.members), 12))), 11, width * 0.018)
    )
    footer = _footer(frame, width)
    room = (width, height - footer.shape[0])
    view = view or best_view(frame.members, room, 0.045 * width)
    faces = _face_map(frame.members, view.enlarged(FINER), (room[0] * FINER, room[1] * FINER))
    image = _paint(frame, faces, view.enlarged(FINER), hole)
    image = cv2.resize(image, room, interpolation=cv2.INTER_AREA)
    seen = faces[FINER // 2 :: FINER, FINER // 2 :: FINER] // 6
    plates = [_name_plate(k, m, view, seen, text_px) for k, m in enumerate(frame.members)]
    plates += [plate for m in frame.members for plate in _draw_open_ends(image, m, view, text_px)]
    image = draw_plates(image, plates, place_plates(plates, room))
    return np.vstack([_draw_axes(image, view, width), footer])


def _name_plate(k: int, member: Member, view: View, seen: np.ndarray, text_px: int) -> Plate:
    """Label and length, on the member where it is in sight."""
    share = np.array([0.5, 0.42, 0.58, 0.34, 0.66, 0.26, 0.74, 0.18, 0.82])
    places = view.project(member.hole_centre(share * (member.holes - 1)))
    column, row = np.clip(places.astype(int), 0, np.array(seen.shape[::-1]) - 1).T
    free = seen[row, column] == k
    query = "?" if member.confidence < SURE else ""
    return Plate(
        member.id,
        f"{member.holes}{query}",
        places[free] if free.any() else places,
        BLUE,
        text_px,
        bool(query),
    )


def _draw_open_ends(image, member: Member, view: View, text_px: int) -> list[Plate]:
    """Dotted outline of the holes that may be hidden beyond an end; returns the plates that say how many."""
    plates = []
    ends = corners(member).reshape(2, 4, 3)
    for k, (end, sign) in enumerate(zip(member.ends, (-1.0, 1.0))):
        if end.extra:
            far = ends[k] + sign * end.extra * np.asarray(member.direction, float)
            loop = [0, 1, 3, 2, 0]
            for line in (*np.stack([ends[k], far], axis=1), far[loop]):
                draw_line(image, view.project(line), PURPLE, 2, DOTTED)
            tip, near = view.project(far.mean(axis=0))[0], view.project(ends[k].mean(axis=0))[0]
            way = (tip - near) / max(np.linalg.norm(tip - near), 1e-9)
            side = np.array([-way[1], way[0]])
            around = 2.2 * text_px * np.array([way, way + side, way - side, side, -side, 0 * way])
            plates.append(Plate("", f"+{end.extra}?", tip + around, PURPLE, max(10, round(0.8 * text_px))))
    return plates


def _draw_axes(image, view: View, width: int) -> np.ndarray:
    """The lattice's directions in the lower left corner."""
    image = image.copy()
    length, text_px = 0.035 * width, round(0.012 * width)
    start = np.array([0.05 * width, image.shape[0] - 0.05 * width])
    tips = start + length * np.column_stack([[view.right[k], -view.up[k]] for k in range(3)]).T
    for tip in tips:
        draw_line(image, np.array([start, tip]), INK, max(2, width / 700))
    canvas = Image.fromarray(image)
    pen = ImageDraw.Draw(canvas)
    for tip, name in zip(tips, "xyz"):
        spot = tip + (tip - start) / max(np.linalg.norm(tip - start), 1e-9) * 0.8 * text_px
        pen.text(tuple(spot), name, INK, font(text_px, True), anchor="mm")
    return np.asarray(canvas)


def _footer(frame: Frame, width: int) -> np.ndarray:
    """What the frame is, and what the marks mean."""
    corners_of_all = np.array([bounds(m) for m in frame.members])
    spans = corners_of_all[:, 1].max(axis=0) - corners_of_all[:, 0].min(axis=0)
    facts = [f"{len(frame.members)} members", f"{sum(m.holes for m in frame.members)} holes"]
    over_all = " x ".join(f"{span:.4g}" for span in spans)
    if frame.pitch_mm:
        facts.append(
            "over all " + " x ".join(f"{span * frame.pitch_mm:.0f}" for span in spans) + " mm (x, y, z)"
        )
        facts.append(f"pitch {frame.pitch_mm:.4g} mm")
    else:
        facts.append(f"over all {over_all} pitches (x, y, z)")
    marks = ["number after the label: length in holes", "ringed hole: hole 1"]
    if frame.joints:
        marks.append("crossed disc: bolt seen, white disc: bolt assumed")
    if any(m.confidence < SURE for m in frame.members):
        marks.append("hatched, ?: not sure")
    if any(end.extra for m in frame.members for end in m.ends):
        marks.append("dotted, +2?: up to 2 more holes may be hidden")
    text_px = round(0.0125 * width)
    lines = [(font(text_px, True), ((frame.name + ": ") if frame.name else "") + ", ".join(facts))]
    lines += [(font(text_px), line) for line in _wrapped(marks, font(text_px), width - 4 * text_px)]
    canvas = Image.new("RGB", (width, round(text_px * (1.6 * len(lines) + 1.2))), (240, 240, 240))
    pen = ImageDraw.Draw(canvas)
    for k, (face, line) in enumerate(lines):
        pen.text((2 * text_px, (1.6 * k + 1.4) * text_px), line, INK, face, anchor="lm")
    return np.asarray(canvas)


def _wrapped(parts: Sequence[str], face, width: float) -> list[str]:
    lines = [""]
    for part in parts:
        longer = lines[-1] + ("; " if lines[-1] else "") + part
        if face.getlength(longer) > width and lines[-1]:
            lines.append(part)
        else:
            lines[-1] = longer
    return lines


def encode_png(image: np.ndarray) -> bytes:
    """(H, W, 3) uint8 RGB as a PNG file."""
    buffer = io.BytesIO()
    Image.fromarray(image).save(buffer, "PNG")
    return buffer.getvalue()


def draw_frame_picture(frame: Frame, path: str | Path, **options) -> None:
    """Write `draw_frame` (same options) to a PNG file, whole or not at all."""
    write_bytes_atomic(path, encode_png(draw_frame(frame, **options)))
