"""The floor under a frame: it stands still, so photos in one world show it alike, whatever way they look.

A frame that fits itself after a half turn explains a photo in either turn; the floor does not.  Each photo is
laid back onto the plane under the frame as if seen from above, without what members hide, and the pictures
are compared there.

Source: normalized cross-correlation of masked pictures, D. Padfield, "Masked object registration in the
Fourier domain", IEEE Transactions on Image Processing 21 (2012) 2706.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from scipy.fft import irfft2, next_fast_len, rfft2
from scipy.ndimage import gaussian_filter

from recon.geometry.arrays import BoolArray, FloatArray
from recon.geometry.camera import Camera
from recon.solve.evidence.candidate import across, boxes
from recon.solve.evidence.posed_photo import PosedPhoto
from recon.solve.evidence.scene import Scene

AROUND = 0.6  # of the frame's larger side on the floor, by which its surroundings are looked at
CELLS = 160  # along the longer side of what is looked at; both are this project's choice
PIXELS_A_CELL = 4  # a larger photo is made smaller: what is finer than a cell would be noise
LEAST_GRAZING = 0.12  # sine of the angle at which the floor is seen: flatter, a cell blurs into the next ones
BEFORE = 1.0  # pitches before the camera from which a cell counts as seen
BLUR_CELLS = 4.0  # what is larger is light and shade, which differ from photo to photo
MOST_CONTRAST = 3.0  # standard deviations: one glaring spot is not to speak for the whole floor
GREY_NOISE = 3.0  # grey levels, of a camera's noise and JPEG: a floor without a mark shows nothing
LEAST_CONTRAST = 0.05  # of both floors, standard deviations: less is rounding
SLACK_CELLS = 3  # by which a camera that is not quite right may shift its floor
LEAST_CELLS = 200  # that two photos must share, and their least share of the smaller one's
LEAST_SHARE = 0.3
MOST_COMPARED = 3  # photos that each is compared with; bounds the time


@dataclass(frozen=True)
class Floor:
    """Cells of the plane under a frame.

    Attributes
    ----------
    cells : array, (H, W, 3)
        Their places in the frame's world, pitches.
    up : array, (3,)
        Unit, the frame's axis that points up.
    """

    cells: FloatArray
    up: FloatArray


@dataclass(frozen=True)
class FloorPicture:
    """The floor as one photo shows it.

    Attributes
    ----------
    value : array, (H, W)
        Contrast of each cell with those around it, standard deviations; 0 where it is not seen.
    seen : array, (H, W)
        Bool.
    """

    value: FloatArray
    seen: BoolArray

    @cached_property
    def spectra(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Of what is seen, of the value and of its square, for :func:`_correlation`."""
        return self._spectra(slice(None))

    @cached_property
    def turned_spectra(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """The same of the picture from its last cell to its first."""
        return self._spectra(slice(None, None, -1))

    def forget_spectra(self) -> None:
        """Lets go of the spectra, which take many times the memory of the picture."""
        vars(self).pop("spectra", None)
        vars(self).pop("turned_spectra", None)

    def _spectra(self, order: slice) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        size = _padded(self.seen.shape)
        each = self.seen.astype(float), self.value, self.value**2
        seen, value, square = (rfft2(a[order, order], size) for a in each)
        return seen, value, square


def up_axis(cameras: Iterable[Camera]) -> FloatArray:
    """(3,) unit: the frame's axis nearest to up, if the cameras are held level on the whole.

    Examples
    --------
    >>> up_axis([Camera(1000.0, 0, 0, R=np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]]))]).tolist()
    [0.0, 0.0, 1.0]
    """
    up = -np.sum([c.R[1] for c in cameras], axis=0)
    axis = int(np.abs(up).argmax())
    return np.sign(up[axis]) * np.eye(3)[axis]


def floor_under(scene: Scene) -> Floor:
    """The plane on which the lowest of a scene's candidates stand, and its surroundings.

    Parameters
    ----------
    scene : Scene
        With photos and candidates, one of each at least.
    """
    up = up_axis(p.camera for p in scene.photos)
    axis = int(np.abs(up).argmax())
    sides = list(across(axis))
    lo, hi = (f(b, 0) for f, b in zip((np.min, np.max), boxes(list(scene.candidates), scene.width)))
    margin = AROUND * (hi - lo)[sides].max()
    step = ((hi - lo)[sides] + 2 * margin).max() / CELLS
    a, b = (np.arange(lo[j] - margin, hi[j] + margin, step) for j in sides)
    cells = np.zeros((len(a), len(b), 3))
    cells[..., sides[0]], cells[..., sides[1]] = a[:, None], b[None]
    cells[..., axis] = lo[axis] if up[axis] > 0 else hi[axis]
    return Floor(cells, up)


def floor_grey(picture: np.ndarray) -> np.ndarray:
    """A (H, W, 3) uint8 BGR picture as floors are seen in it: grey, and not much finer than their cells."""
    grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
    scale = _grey_scale(picture.shape[:2])
    return cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)


def _grey_scale(size: tuple[int, int]) -> float:
    """Of the grey picture over one of this size, px."""
    return min(1.0, PIXELS_A_CELL * CELLS / max(size))


def floor_picture(scene: Scene, photo: PosedPhoto, camera: Camera, floor: Floor) -> FloorPicture:
    """What a photo shows of the floor, had it been taken with ``camera``.

    Parameters
    ----------
    scene : Scene
        Its candidates hide the floor behind them.  Its pictures may be greys (:func:`floor_grey`) already.
    photo : PosedPhoto
        Whose picture it is.
    camera : Camera
        In the scene's world.
    floor : Floor
        Under the scene's candidates.
    """
    picture, scale = scene.picture(photo), _grey_scale(photo.size)
    if picture.ndim == 3:
        picture = floor_grey(picture)
    height, width = picture.shape
    cells = floor.cells.reshape(-1, 3)
    way = cells - camera.centre
    depth = way @ camera.R[2]
    grazing = -(way @ floor.up) / np.linalg.norm(way, axis=1)
    seen = (depth > BEFORE) & (grazing > LEAST_GRAZING)
    px = np.full((len(cells), 2), -1.0)
    px[seen] = (camera.project(cells[seen]) + 0.5) * scale - 0.5
    seen &= ((px > 1) & (px < [width - 2, height - 2])).all(1)
    seen[seen] = ~scene.occluders.hide(camera.centre, cells[seen])
    across_, down = px.astype(np.float32).reshape(*floor.cells.shape[:2], 2).transpose(2, 0, 1)
    grey = cv2.remap(picture, across_, down, cv2.INTER_LINEAR).astype(float)
    mask = seen.reshape(grey.shape)
    return FloorPicture(_contrast(grey, mask), mask)


def _contrast(grey: FloatArray, seen: BoolArray) -> FloatArray:
    """Grey levels less those around, by the contrast around."""

    def around(values: FloatArray, cells: float) -> FloatArray:
        weight = gaussian_filter(seen.astype(float), cells)
        mean: FloatArray = gaussian_filter(values * seen, cells) / np.maximum(weight, 1e-3)
        return mean

    off = (grey - around(grey, BLUR_CELLS)) * seen
    usual = np.sqrt(around(off**2, 2 * BLUR_CELLS)) + GREY_NOISE
    return np.clip(off / usual, -MOST_CONTRAST, MOST_CONTRAST) * seen


class Floors:
    """The floor as the photos of a scene show it; what was compared is kept.

    Parameters
    ----------
    scene : Scene
        With the members under which the floor is, and the pictures of its photos; of one photo, or without
        these, nothing is compared.

    Examples
    --------
    >>> Floors(Scene((), {}, 1.0)).shared().shape
    (0, 0)
    """

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        pictured = all(p.name in scene.pictures for p in scene.photos)
        self.there = len(scene.photos) > 1 and bool(scene.candidates) and pictured
        self._pictures: dict[tuple[int, int], FloorPicture] = {}
        self._known: dict[tuple[int, int, int, int], float] = {}
        self._with_spectra: list[tuple[int, int]] = []  # poses whose pictures were compared last

    @cached_property
    def floor(self) -> Floor:
        """The plane under the members."""
        return floor_under(self.scene)

    def shared(self) -> FloatArray:
        """(V, V) nats for each two photos showing one floor as they lie; 0 where they were not compared."""
        count = len(self.scene.photos)
        out = np.zeros((count, count))
        for i in range(count if self.there else 0):
            for j in compared(i):
                out[i, j] = out[j, i] = self.pair(i, 0, j, 0)
        return out

    def pair(self, i: int, k: int, j: int, m: int) -> float:
        """Nats for photos i and j showing one floor, as in pose k and in pose m."""
        key = i, k, j, m
        if key not in self._known:
            self._known[key] = floor_nats(self._picture(i, k), self._picture(j, m))
            self._with_spectra = [n for n in self._with_spectra if n not in ((i, k), (j, m))]
            self._with_spectra += [(j, m), (i, k)]
            while len(self._with_spectra) > MOST_COMPARED + 1:
                self._pictures[self._with_spectra.pop(0)].forget_spectra()
        return self._known[key]

    def camera(self, i: int, k: int) -> Camera:
        """The camera of photo i in its pose k; 0 is that in which it lies, here the only one."""
        return self.scene.photos[i].camera

    def _picture(self, i: int, k: int) -> FloorPicture:
        if (i, k) not in self._pictures:
            photo = self.scene.photos[i]
            self._pictures[i, k] = floor_picture(self.scene, photo, self.camera(i, k), self.floor)
        return self._pictures[i, k]


def shared_floor(scene: Scene) -> float:
    """Nats for the photos of a scene showing one floor, each two of them; parameters as of :class:`Floors`.

    Examples
    --------
    >>> shared_floor(Scene((), {}, 1.0))
    0.0
    """
    return float(Floors(scene).shared().sum() / 2)


def compared(i: int) -> range:
    """Numbers of the photos before photo i that its floor is compared with."""
    return range(max(0, i - MOST_COMPARED), i)


def floor_nats(a: FloorPicture, b: FloorPicture) -> float:
    """Nats for two photos showing one floor in one place, over its being unrelated in the two.

    Parameters
    ----------
    a, b : FloorPicture
        Of the same cells.

    Returns
    -------
    Half the square of the correlation in place, in standard deviations of the correlations out of place:
    these tell how many independent spots there are, fewer on boards and tiles that repeat.  0 where the
    photos share too little.

    Examples
    --------
    >>> marks = np.random.default_rng(1).normal(size=(40, 40))
    >>> floor, turned = (FloorPicture(m, np.ones(m.shape, bool)) for m in (marks, marks[::-1, ::-1]))
    >>> floor_nats(floor, floor) > 100, floor_nats(floor, turned) < 10
    (True, True)
    """
    (seen_a, value_a, square_a), (seen_b, value_b, square_b) = a.spectra, b.turned_spectra
    shared = _correlation(seen_a, seen_b, a.seen.shape)
    energy = _correlation(square_a, seen_b, a.seen.shape) * _correlation(seen_a, square_b, a.seen.shape)
    least = max(LEAST_CELLS, LEAST_SHARE * min(a.seen.sum(), b.seen.sum()))
    enough = (shared > least) & (energy > (LEAST_CONTRAST**2 * shared) ** 2)
    place = tuple(slice(n - 1 - SLACK_CELLS, n + SLACK_CELLS) for n in a.value.shape)  # n - 1: in place
    if not enough[place].any():
        return 0.0
    both = _correlation(value_a, value_b, a.seen.shape)
    both = np.where(enough, both / np.sqrt(np.where(enough, energy, 1.0)), 0.0)
    spread = both[enough].std()
    return float(0.5 * (max(both[place].max(), 0.0) / spread) ** 2) if spread > 0 else 0.0


def _padded(shape: tuple[int, ...]) -> tuple[int, int]:
    """Size at which two arrays (H, W) are transformed, for all shifts against each other."""
    height, width = (next_fast_len(2 * n - 1, real=True) for n in shape)
    return height, width


def _correlation(a: np.ndarray, b: np.ndarray, shape: tuple[int, ...]) -> FloatArray:
    """(2 H - 1, 2 W - 1): sums of products of two (H, W) arrays, shifted against each other.

    As `scipy.signal.correlate` gives them; to import that takes as long as a third of this package.

    a, b : spectra of the first array, and of the second from its last cell to its first
    shape : (H, W)
    """
    out: FloatArray = irfft2(a * b, _padded(shape))
    return out[: 2 * shape[0] - 1, : 2 * shape[1] - 1]
