"""One photo with what was read in it: openings, rows, members, ends."""

from collections.abc import Sequence
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import ArrayLike
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
from recon.geometry.arrays import BoolArray, FloatArray
from recon.show import colours
from recon.show.colours import BLACK, BLUE, INK, ORANGE, SKY, VERMILLION, WHITE, YELLOW
from recon.show.marks import (
    DASHED,
    DOTTED,
    SOLID,
    Plate,
    draw_ellipse,
    draw_line,
    draw_plates,
    place_plates,
)
from recon.show.overlay_legend import draw_end_mark, draw_legend

# Photos are brought to a longest side in this range: an overlay is for looking at, and A4 at 200 dpi is 2340
# px long.
SIDE_RANGE_PX = (1600, 2400)
# Along an edge: follows lens distortion and finds where another member begins to hide it.
SAMPLES_PER_PITCH = 4


class PhotoPixels(Protocol):
    """What is needed of a photo (`recon.image.photos.PhotoImage`)."""

    @property
    def name(self) -> str: ...

    @property
    def size(self) -> tuple[int, int]: ...

    @property
    def colour(self) -> np.ndarray: ...


class PhotoCamera(Protocol):
    """What is needed of a photo's camera (`recon.geometry.camera.Camera`).

    Lengths in pitches, places in px.
    """

    @property
    def centre(self) -> FloatArray: ...

    def project(self, points: FloatArray, /) -> FloatArray: ...


def draw_overlay(
    photo: PhotoPixels,
    found: ArrayLike,
    rows: Sequence[ArrayLike],
    frame: Frame,
    camera: PhotoCamera | None,
) -> np.ndarray:
    """Draw a photo's openings, rows, members and ends over it; a strip below explains the marks.

    Parameters
    ----------
    photo : PhotoImage
        With its name, its size (width, height) in px and its colours (H, W, 3) uint8 RGB.
    found : array_like, shape (N, 6)
        Openings: x, y, larger and smaller radius (px), angle of the larger (radians from +x towards +y), and
        1 where a bolt or nut takes the opening, else 0. Those in no row are drawn faint.
    rows : sequence of array_like, shape (M, 2)
        The openings of each row in order, px.
    frame : Frame
        Its members are drawn as `camera` sees them.
    camera : Camera or None
        Has its centre (3,) in pitches and project((n, 3) pitches) -> (n, 2) px, not a number behind it. None
        where the photo was set aside: then no members are drawn.

    Returns
    -------
    uint8 array, shape (H, W, 3)
        RGB; without the strip its longer side lies in SIDE_RANGE_PX.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> import numpy as np
    >>> from recon.frame.model import Frame, Member
    >>> from recon.show.overlay import draw_overlay
    >>> photo = SimpleNamespace(name="left.jpg", size=(400, 300), colour=np.zeros((300, 400, 3), np.uint8))
    >>> frame = Frame((Member("A", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 8),))
    >>> draw_overlay(photo, np.empty((0, 6)), [], frame, None).shape[1]
    1600
    """
    longest = max(photo.size)
    scale = min(max(longest, SIDE_RANGE_PX[0]), SIDE_RANGE_PX[1]) / longest
    image = _muted(photo.colour, scale)
    unit = max(image.shape[:2]) / 1000  # line widths and text follow the picture's size
    scaled = np.asarray(found, float).reshape(-1, 6) * [scale, scale, scale, scale, 1, 1]
    scaled_rows = [np.asarray(row, float).reshape(-1, 2) * scale for row in rows]

    view = _ScaledCamera(camera, scale, image.shape[1::-1], unit) if camera is not None else None
    near_last = _near_last(frame, view.eye) if view else []
    if view:
        for member in near_last:
            _draw_member(image, member, frame, view)
    for row in scaled_rows:
        draw_line(image, row, YELLOW, 0.8 * unit, DOTTED, halo=BLACK)
    _draw_openings(image, scaled, scaled_rows, unit)
    if view:
        image = _draw_words(image, scaled, near_last, frame, view)
    title = f"{photo.name}: {len(scaled)} openings, {len(rows)} rows"
    return np.vstack([image, draw_legend(image.shape[1], unit, title, view is not None)])


def _near_last(frame: Frame, eye: FloatArray) -> list[Member]:
    """The members, the nearest last."""
    return sorted(frame.members, key=lambda m: -float(np.linalg.norm(face_centres(m).mean(axis=0) - eye)))


def _draw_words(
    image: np.ndarray, found: FloatArray, members: Sequence[Member], frame: Frame, view: "_ScaledCamera"
) -> np.ndarray:
    """Draw end marks, labels and notes of the members."""
    plates: list[Plate] = []
    marked: list[FloatArray] = []
    for member in members:
        plates += _draw_ends(image, member, frame, view, marked)
    plates += [plate for member in members if (plate := _name_plate(member, frame, view))]
    # An end counts for ten openings.
    avoid = np.vstack([found[:, :2], *np.repeat(np.reshape(marked, (-1, 2)), 10, axis=0)])
    return draw_plates(image, plates, place_plates(plates, (image.shape[1], image.shape[0]), avoid))


def _muted(colour: np.ndarray, scale: float) -> np.ndarray:
    """The photo, scaled and with a third of its colour, so that marks stand out."""
    if scale != 1:
        size = tuple(round(side * scale) for side in colour.shape[1::-1])
        colour = cv2.resize(colour, size, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC)
    grey = cv2.cvtColor(colour, cv2.COLOR_RGB2GRAY)
    return cv2.addWeighted(colour, 0.35, cv2.cvtColor(grey, cv2.COLOR_GRAY2RGB), 0.65, 0)


class _ScaledCamera:
    """A photo's camera for the photo at another scale.

    Attributes
    ----------
    size : array, shape (2,)
        Width and height of the picture, px.
    unit : float
        A thousandth of its longer side, px.
    eye : array, shape (3,)
        Where the camera stands, pitches.
    """

    def __init__(self, camera: PhotoCamera, scale: float, size: Sequence[int], unit: float) -> None:
        self.camera, self.scale, self.size, self.unit = camera, scale, np.array(size), unit
        self.eye = np.asarray(camera.centre, float)

    def project(self, points: ArrayLike) -> FloatArray:
        """(n, 3) pitches -> (n, 2) px of the picture; not a number where far outside it."""
        pixels = np.asarray(self.camera.project(np.atleast_2d(np.asarray(points, float))), float) * self.scale
        # Far outside the picture the radial polynomial folds back: what it says there is no place.
        margin = 0.5 * self.size.max()
        outside = ((pixels < -margin) | (pixels > self.size + margin)).any(axis=1)
        return np.where(outside[:, None], np.nan, pixels)

    def inside(self, pixels: FloatArray) -> BoolArray:
        """(n,): which places (n, 2) px lie in the picture."""
        with np.errstate(invalid="ignore"):
            return np.asarray(((pixels >= 0) & (pixels < self.size)).all(axis=1))


def _unsure(member: Member) -> bool:
    return member.confidence < SURE


def _draw_member(image: np.ndarray, member: Member, frame: Frame, view: _ScaledCamera) -> None:
    """Draw the edges of the faces turned this way, faint behind other members, and a dot where a hole should
    be."""
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


def _draw_openings(image: np.ndarray, found: FloatArray, rows: Sequence[FloatArray], unit: float) -> None:
    """Draw a ring round each opening, faint in no row; a diamond where a bolt or nut takes it."""
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


def _draw_ends(
    image: np.ndarray, member: Member, frame: Frame, view: _ScaledCamera, marked: list[FloatArray]
) -> list[Plate]:
    """Draw a mark on each end; returns the plates that say what may be missing there and where hole 1 is.

    The places of the marks are added to `marked`.

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
                Plate("", " ".join(notes), places, colours.END[end.state], max(10, round(11 * view.unit)))
            )
    return plates


def _name_plate(member: Member, frame: Frame, view: _ScaledCamera) -> Plate | None:
    """Label and length in holes, on the part of the member in sight.

    None where none of it is in the photo.
    """
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
