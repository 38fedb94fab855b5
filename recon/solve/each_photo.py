"""Each photo read by itself: openings, rows, camera and lattice, several photos at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, MutableMapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from recon.errors import ReconError
from recon.geometry.arrays import FloatArray
from recon.image.borders import content_box
from recon.image.photos import PhotoImage
from recon.image.scales import glance
from recon.image.working_copy import working_copy
from recon.solve.photo.bordered import read_within
from recon.solve.photo.photo_reading import PhotoReading
from recon.solve.photo.read_photo import read_openings, read_posed
from recon.solve.priors.constraints import (
    Constraints,
    apply_marks,
    cameras_of,
    known_candidates,
    width_of,
)
from recon.solve.result.tables import detected_tables, first_tables
from recon.workers import Workers, processors

Marks = Mapping[str, tuple[FloatArray, FloatArray]]

DETECTION = 0.65  # of the time for one photo goes into its openings (rendered 3-MP photos)
PHOTOS_DONE = 0.6  # of the time for a reading (rendered 3-MP photos)
MOST_PROCESSES = 4  # that read together: each takes 0.2 to 0.4 GB.  This project's choice


def workers_for(photos: int, most: int | None = None) -> Workers:
    """Worker processes for a reading of so many photos, one less than there are processors: this works, too.

    They load what they need meanwhile, so they are best begun before the photos are loaded.

    most : processes that work together, this among them; None: one for each processor, MOST_PROCESSES at most
    """
    processes = min(most or min(processors(), MOST_PROCESSES), photos)
    return Workers(processes - 1, ["recon.solve.each_photo"])


@dataclass(frozen=True)
class WorkingCopy:
    """A photo as the solver works on it.

    Attributes
    ----------
    image : array, (H, W, 3)
        uint8 BGR, as :func:`recon.image.working_copy.working_copy` gives it.
    focal_px : float or None
        From EXIF, or None.
    scale : float
        Of this copy over the photo.
    """

    name: str
    image: np.ndarray
    focal_px: float | None
    scale: float

    @property
    def size(self) -> tuple[int, int]:
        """Width and height, px."""
        return self.image.shape[1], self.image.shape[0]


def copy_of(photo: PhotoImage) -> WorkingCopy:
    """A photo as the solver works on it."""
    image, scale = working_copy(photo)
    return WorkingCopy(
        photo.name, image, photo.focal_prior_px * scale if photo.focal_prior_px else None, scale
    )


class Watch:
    """Whoever waits for the reading: gets its progress, and may stop it."""

    def __init__(
        self, progress: Callable[[str, float], object] | None, cancelled: Callable[[], object] | None
    ) -> None:
        self.progress, self.cancelled, self.stopped = progress, cancelled, False

    def stop(self) -> None:
        """Lets threads that are still at work say nothing more, and end at their next look."""
        self.stopped = True

    def tell(self, stage: str, fraction: float) -> None:
        """Reports the stage and the fraction that is done."""
        if self.progress and not self.stopped:
            self.progress(stage, fraction)

    def check(self) -> None:
        """Raises ReconError where the reading is to stop."""
        if self.stopped or (self.cancelled and self.cancelled()):
            raise ReconError("The reading was stopped.", exit_code=130)


@dataclass(frozen=True)
class EachPhoto:
    """Reads each photo by itself, with what is known beforehand; parameters as of `recon.solve.read`."""

    width: float | None
    constraints: Constraints | None
    detected: MutableMapping[str, np.ndarray]
    found: Callable[[str, FloatArray, list[FloatArray]], object] | None
    watch: Watch
    workers: Workers
    seen: Callable[[str, FloatArray, list[FloatArray]], object] | None = None
    marks: Marks | None = None

    def read(self, copies: Sequence[WorkingCopy]) -> list[PhotoReading]:
        """The readings, side by side with the photos."""
        share = dict.fromkeys((c.name for c in copies), 0.0)

        def at(copy: WorkingCopy, part: float, doing: str) -> None:
            self.watch.check()
            share[copy.name] = part
            self.watch.tell(f"{doing} {copy.name}", PHOTOS_DONE * sum(share.values()) / len(copies))

        def one(copy: WorkingCopy) -> PhotoReading:
            at(copy, 0.0, "looking for openings in")
            openings = self.detected.get(copy.name)
            if openings is None:
                openings = self.detected[copy.name] = self._openings_of(copy, copy is copies[0])
            else:
                self._show(copy, openings)
            at(copy, DETECTION, "looking for rows in")
            reading = self._read_one(copy, openings)
            at(copy, 1.0, "read")
            if self.found:
                self.found(copy.name, *first_tables(reading, copy.scale))
            return reading

        # One photo more than there are places for: while the last one is looked through for openings, the
        # rows of another are sought.  Its picture is there anyhow.
        pool = ThreadPoolExecutor(self.workers.places + (self.workers.places < len(copies)))
        try:
            return list(pool.map(one, copies))
        except KeyboardInterrupt:  # whoever stops the reading does not wait for what is under way
            self.watch.stop()
            raise
        finally:
            pool.shutdown(wait=not self.watch.stopped, cancel_futures=True)

    def _openings_of(self, copy: WorkingCopy, first: bool) -> np.ndarray:
        """The openings of a photo; whoever watches sees them half-way, those of the first at a glance, too.

        A glance takes a third as long as the whole look: of the others it would only put off their rows.
        """
        find = _openings_after_a_glance if self.seen and first else read_openings
        return self.workers.call(find, copy.image, hear=lambda early: self._show(copy, early))

    def _show(self, copy: WorkingCopy, openings: np.ndarray) -> None:
        """Hands on what was detected in a photo, with the rows that it makes."""
        self.watch.check()
        if self.seen:
            self.seen(copy.name, *detected_tables(openings, copy.scale))

    def _read_one(self, copy: WorkingCopy, openings: np.ndarray) -> PhotoReading:
        """One photo read from its openings; from the camera that it had, where the frame has one."""
        if self.constraints is not None:
            missed, false = (
                marks.get(copy.name, ()) for marks in (self.constraints.missed, self.constraints.false)
            )
            openings = apply_marks(openings, missed, false, copy.scale)
            camera = cameras_of(self.constraints.frame, {copy.name: copy.scale}).get(copy.name)
            known, width = known_candidates(self.constraints), width_of(self.constraints)
            reading = camera and self.workers.call(
                read_posed, copy.name, openings, copy.size, camera, known, width
            )
            if reading:
                return reading
        elif self.marks and copy.name in self.marks:
            openings = apply_marks(openings, *self.marks[copy.name], copy.scale)
        return self.workers.call(read_within, *_alone(copy, openings, self.width))


def _openings_after_a_glance(image: np.ndarray, seen: Callable[[np.ndarray], object]) -> np.ndarray:
    """The openings of a picture; a first quick look at a smaller copy is shown at once."""
    seen(glance(image))
    return read_openings(image, seen)


def read_again(
    photos: Iterable[tuple[WorkingCopy, np.ndarray, float | None]], workers: Workers
) -> list[PhotoReading]:
    """Photos read from their openings, each with the width of members that is known, pitches, or None."""
    return workers.map(_read_within, [_alone(*photo) for photo in photos])


_Alone = tuple[tuple[int, int, int, int], str, np.ndarray, tuple[int, int], float | None, float | None]


def _alone(copy: WorkingCopy, openings: np.ndarray, width: float | None) -> _Alone:
    """What :func:`read_within` needs; uniform borders are none of a picture where EXIF does not vouch."""
    box = (0, 0, *copy.size) if copy.focal_px else content_box(copy.image)
    return box, copy.name, openings, copy.size, copy.focal_px, width


def _read_within(photo: _Alone) -> PhotoReading:
    return read_within(*photo)
