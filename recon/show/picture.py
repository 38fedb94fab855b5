"""A picture of the whole frame in space: shaded members with their holes, labels and lengths."""

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any, TypeAlias

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from recon.errors import ReconError
from recon.files import write_bytes_atomic
from recon.frame.boxes import corners, face_normals
from recon.frame.confidence import SURE
from recon.frame.fitting_boxes import fitting_boxes, spans
from recon.frame.model import Frame, Member, axis_of, box_half_sizes
from recon.geometry.arrays import FloatArray, IntArray
from recon.geometry.boxes import OrientedBoxes
from recon.show import colours
from recon.show.colours import BLUE, INK, PURPLE, WHITE
from recon.show.marks import DOTTED, Plate, draw_line, draw_plates, font, place_plates, with_room
from recon.show.picture_camera import PictureCamera, Solid, best_camera, face_map, face_pixels, turned_faces

FINER = 2  # drawn at this many times the size and averaged down: smooth edges
HOLE = 0.28  # diameter in pitches where the stock is not known; sold are 0.21 to 0.44
LIGHT = np.array([-0.45, 0.40, 0.80])  # towards the light, as (right, towards the viewer, up)

FEW = 12  # members whose labels always have room: this project's choice
KNOWN = ("seen", "said")  # bolts that are not only assumed
# The head or nut of a bolt on a member: its hole, its outward direction, whether the bolt is known.
BoltHead: TypeAlias = tuple[int, FloatArray, bool]


def _bolt_heads(frame: Frame) -> dict[str, list[BoltHead]]:
    """Heads and nuts of bolts by member."""
    heads: dict[str, list[BoltHead]] = {}
    for joint in frame.joints:
        if joint.bolt != "none":
            axis = np.asarray(joint.axis, float)
            heads.setdefault(joint.a, []).append((joint.a_hole, -axis, joint.bolt in KNOWN))
            heads.setdefault(joint.b, []).append((joint.b_hole, axis, joint.bolt in KNOWN))
    return heads


def paint_faces(frame: Frame, faces: IntArray, camera: PictureCamera, hole: float) -> np.ndarray:
    """Paint the faces of a map with light, holes, bolts and edges.

    Parameters
    ----------
    frame : Frame
        Whose members, and then its fittings, `faces` was made of.
    faces : int array, shape (H, W)
        As `face_map` gives it.
    camera : PictureCamera
        The one that it was made with.
    hole : float
        Diameter of the holes, pitches.

    Returns
    -------
    uint8 array, shape (H, W, 3)
        RGB.
    """
    size = faces.shape[::-1]
    image = np.full((*faces.shape, 3), 255, np.uint8)
    heads = _bolt_heads(frame)
    light = np.column_stack([camera.right, camera.towards, camera.up]) @ (LIGHT / np.linalg.norm(LIGHT))
    for turned in turned_faces(frame.members, camera):
        k, face, member = turned.member, turned.face, frame.members[turned.member]
        window, a, b, _ = face_pixels(turned, size)
        mine = faces[window] == 6 * k + face
        if not mine.any():
            continue
        normal, half = face_normals(member)[face], box_half_sizes(member)
        shade = 0.62 + 0.38 * max(float(normal @ light), 0.0)
        a, b = a[mine], b[mine]
        painted = np.broadcast_to(np.array(colours.TINTS[axis_of(member)], float) * shade, (len(a), 3)).copy()
        if member.confidence < SURE:  # hatched, which survives a black and white printer
            rows, columns = np.nonzero(mine)
            pattern = (rows + window[0].start + columns + window[1].start) % (7 * FINER) < 1.6 * FINER
            painted[pattern] *= 0.62
        if face >= 2:
            on_face = [head for head in heads.get(member.id, ()) if head[1] @ normal > 0.99]
            _paint_holes(painted, a * half[0], b * half[1], member, hole, on_face)
        image[window][mine] = np.clip(painted, 0, 255).astype(np.uint8)
    _paint_fittings(image, frame, faces, camera, light)
    _paint_edges(image, faces)
    return image


def _paint_fittings(
    image: np.ndarray, frame: Frame, faces: IntArray, camera: PictureCamera, light: FloatArray
) -> None:
    """Paint the fittings' faces, which come after the members' in the map, plain."""
    boxes = list(fitting_boxes(frame).values())
    for turned in turned_faces(boxes, camera):
        face, axes = turned.face, boxes[turned.member].axes
        normal = axes[face // 2] * (1 if face % 2 else -1)
        shade = 0.62 + 0.38 * max(float(normal @ light), 0.0)
        image[faces == 6 * (len(frame.members) + turned.member) + face] = np.array(colours.FITTING) * shade


def _paint_holes(
    painted: FloatArray,
    along: FloatArray,
    across: FloatArray,
    member: Member,
    hole: float,
    heads: Sequence[BoltHead],
) -> None:
    """Paint holes and bolts of one long face over its colours (n, 3); along, across (n,).

    Pitches from its middle.
    """
    position = along + (member.holes - 1) / 2
    number = np.clip(np.rint(position), 0, member.holes - 1)
    distance = np.hypot(position - number, across)
    painted[distance < hole / 2] = colours.HOLE
    ring = (number == 0) & (distance > hole / 2 + 0.07) & (distance < hole / 2 + 0.16)
    painted[ring] = colours.RING
    for index, _, seen in heads:
        here = number == index
        head = hole / 2 + 0.14
        painted[here & (distance < head)] = colours.RING
        painted[here & (distance < head - 0.05)] = colours.BOLT if seen else WHITE
        if seen:  # crossed, which tells it from the face in grey too
            cross = np.minimum(np.abs(position - index), np.abs(across)) < 0.035
            painted[here & (distance < head) & cross] = colours.RING


def _paint_edges(image: np.ndarray, faces: IntArray) -> None:
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
    image[crease > 0] = colours.CREASE
    image[cv2.dilate(outline, np.ones((FINER, FINER), np.uint8)) > 0] = colours.OUTLINE


def draw_frame(
    frame: Frame,
    size: tuple[int, int] = (1600, 1200),
    camera: PictureCamera | None = None,
    hole: float = HOLE,
    least_px: int = 0,
) -> np.ndarray:
    """Draw a picture of a frame: every member with its label and its length in holes.

    Parameters
    ----------
    frame : Frame
        With at least one member.
    size : (int, int)
        Width and height of the picture, px.
    camera : PictureCamera, optional
        By default the one that shows most of the members.
    hole : float
        Diameter of a hole, pitches (hole_mm / pitch_mm of the stock).
    least_px : int
        Height of the smallest lettering, for pictures that are printed; labels that have no room at this
        size are left out.

    Returns
    -------
    uint8 array, shape (height, width, 3)
        RGB.

    Raises
    ------
    ReconError
        Where the frame has no members.

    Examples
    --------
    >>> from recon.frame.model import Frame, Member
    >>> from recon.show.picture import draw_frame
    >>> frame = Frame((Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 8),), pitch_mm=38.1)
    >>> draw_frame(frame, (320, 240)).shape
    (240, 320, 3)
    """
    if not frame.members:
        raise ReconError("The frame has no members, so there is nothing to draw.")
    width, height = size
    text_px = int(
        np.clip(round(width * 0.016 * np.sqrt(20 / max(len(frame.members), 12))), 11, width * 0.018)
    )
    text_px = max(text_px, least_px)
    footer = _footer(frame, width, least_px)
    room = (width, height - footer.shape[0])
    fittings = fitting_boxes(frame)
    solids: list[Solid] = [*frame.members, *fittings.values()]
    camera = camera or best_camera(solids, room, 0.045 * width)
    faces = face_map(solids, camera.enlarged(FINER), (room[0] * FINER, room[1] * FINER))
    image = paint_faces(frame, faces, camera.enlarged(FINER), hole)
    image = cv2.resize(image, room, interpolation=cv2.INTER_AREA)
    seen = faces[FINER // 2 :: FINER, FINER // 2 :: FINER] // 6
    plates = [_name_plate(k, m, camera, seen, text_px) for k, m in enumerate(frame.members)]
    smaller = [max(round(share * text_px), least_px) for share in (0.9, 0.8)]
    plates += [_fitting_plate(id, box, camera, smaller[0]) for id, box in fittings.items()]
    plates += [plate for m in frame.members for plate in _draw_open_ends(image, m, camera, smaller[1])]
    middles = place_plates(plates, room)
    if least_px:
        kept = with_room(plates, middles)
        plates, middles = [plates[k] for k in kept], [middles[k] for k in kept]
    image = draw_plates(image, plates, middles)
    return np.vstack([_draw_axes(image, camera, width, least_px), footer])


def _name_plate(k: int, member: Member, camera: PictureCamera, seen: IntArray, text_px: int) -> Plate:
    """Label and length, on the member where it is in sight."""
    share = np.array([0.5, 0.42, 0.58, 0.34, 0.66, 0.26, 0.74, 0.18, 0.82])
    places = camera.project(member.hole_centre(share * (member.holes - 1)))
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


def _fitting_plate(id: str, box: OrientedBoxes, camera: PictureCamera, text_px: int) -> Plate:
    """A fitting's label."""
    return Plate(id, "", camera.project(box.centre), INK, max(10, text_px))


def _draw_open_ends(image: np.ndarray, member: Member, camera: PictureCamera, text_px: int) -> list[Plate]:
    """Dotted outline of the holes that may be hidden beyond an end; returns the plates that say how many."""
    plates = []
    ends = corners(member).reshape(2, 4, 3)
    for k, (end, sign) in enumerate(zip(member.ends, (-1.0, 1.0))):
        if end.extra:
            far = ends[k] + sign * end.extra * np.asarray(member.direction, float)
            loop = [0, 1, 3, 2, 0]
            for line in (*np.stack([ends[k], far], axis=1), far[loop]):
                draw_line(image, camera.project(line), PURPLE, 2, DOTTED)
            tip, near = camera.project(far.mean(axis=0))[0], camera.project(ends[k].mean(axis=0))[0]
            way = (tip - near) / max(np.linalg.norm(tip - near), 1e-9)
            side = np.array([-way[1], way[0]])
            around = 2.75 * text_px * np.array([way, way + side, way - side, side, -side, 0 * way])
            plates.append(Plate("", f"+{end.extra}?", tip + around, PURPLE, max(10, text_px)))
    return plates


def _draw_axes(image: np.ndarray, camera: PictureCamera, width: int, least_px: int) -> np.ndarray:
    """The lattice's directions in the lower left corner."""
    image = image.copy()
    length, text_px = 0.035 * width, max(round(0.012 * width), least_px)
    start = np.array([0.05 * width, image.shape[0] - 0.05 * width])
    tips = start + length * np.column_stack([[camera.right[k], -camera.up[k]] for k in range(3)]).T
    for tip in tips:
        draw_line(image, np.array([start, tip]), INK, max(2, width / 700))
    canvas = Image.fromarray(image)
    pen = ImageDraw.Draw(canvas)
    for tip, name in zip(tips, "xyz"):
        spot = tip + (tip - start) / max(np.linalg.norm(tip - start), 1e-9) * 0.8 * text_px
        pen.text(tuple(spot), name, INK, font(text_px, True), anchor="mm")
    return np.asarray(canvas)


def _footer(frame: Frame, width: int, least_px: int) -> np.ndarray:
    """What the frame is, and what the marks mean."""
    size = spans(frame)
    facts = [f"{len(frame.members)} members", f"{sum(m.holes for m in frame.members)} holes"]
    facts += [f"{len(frame.fittings)} fittings"] if frame.fittings else []
    over_all = " x ".join(f"{span:.4g}" for span in size)
    if frame.pitch_mm:
        facts.append(
            "over all " + " x ".join(f"{span * frame.pitch_mm:.0f}" for span in size) + " mm (x, y, z)"
        )
        facts.append(f"pitch {frame.pitch_mm:.4g} mm")
    else:
        facts.append(f"over all {over_all} pitches (x, y, z)")
    marks = ["number after the label: length in holes", "ringed hole: hole 1"]
    if frame.joints:
        known = "seen, or said to be there" if any(j.bolt == "said" for j in frame.joints) else "seen"
        marks.append(f"crossed disc: bolt {known}; white disc: bolt assumed")
    if any(m.confidence < SURE for m in frame.members):
        marks.append("hatched, ?: not sure")
    if any(end.extra for m in frame.members for end in m.ends):
        marks.append("dotted, +2?: up to 2 more holes may be hidden")
    if least_px and len(frame.members) > FEW:
        marks.append("labels without room here are in the drawings")
    text_px = max(round(0.0125 * width), least_px)
    facts[0] = ((frame.name + ": ") if frame.name else "") + facts[0]
    room, bold = width - 4 * text_px, font(text_px, True)
    lines = [(bold, line) for line in (_wrapped(facts, bold, room, ", ") if least_px else [", ".join(facts)])]
    lines += [(font(text_px), line) for line in _wrapped(marks, font(text_px), room, "; ")]
    canvas = Image.new("RGB", (width, round(text_px * (1.6 * len(lines) + 1.2))), colours.FOOTER_BACKGROUND)
    pen = ImageDraw.Draw(canvas)
    for k, (face, line) in enumerate(lines):
        pen.text((2 * text_px, (1.6 * k + 1.4) * text_px), line, INK, face, anchor="lm")
    return np.asarray(canvas)


def _wrapped(parts: Sequence[str], face: ImageFont.FreeTypeFont, width: float, between: str) -> list[str]:
    """Lines of at most `width` px, the parts apart by what stands `between` them."""
    lines = [""]
    for part in parts:
        longer = lines[-1] + (between if lines[-1] else "") + part
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


def draw_frame_picture(frame: Frame, path: str | Path, **options: Any) -> None:
    """Write `draw_frame` (same options) to a PNG file, whole or not at all."""
    write_bytes_atomic(path, encode_png(draw_frame(frame, **options)))
