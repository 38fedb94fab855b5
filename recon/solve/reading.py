"""The whole reading: photos in, a frame in hole counts out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, MutableMapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from recon.errors import ReconError
from recon.frame.length import KnownLength
from recon.frame.model import Frame
from recon.frame.objection import Objection
from recon.frame.stock import Stock
from recon.geometry.arrays import FloatArray
from recon.geometry.camera import Camera
from recon.image.borders import content_box
from recon.image.photos import PhotoImage
from recon.image.scales import glance
from recon.image.working_copy import working_copy
from recon.solve.debug.stages import refuse_used_folder, write_stages
from recon.solve.evidence.scene import Scene, SetAside
from recon.solve.multiview.assemble import assemble
from recon.solve.multiview.mirrored import name_mirrored
from recon.solve.photo.bordered import read_within
from recon.solve.photo.photo_reading import PhotoReading
from recon.solve.photo.read_photo import KNOWN_WIDTHS, read_openings, read_posed
from recon.solve.photo.shared_focal import disagrees, shared_focal
from recon.solve.priors.constraints import (
    Constraints,
    apply_marks,
    cameras_of,
    known_candidates,
    width_of,
)
from recon.solve.priors.plan import with_plan
from recon.solve.priors.resolve import resolve
from recon.solve.result.confidence import MemberEvidence, member_evidence
from recon.solve.result.frame import make_frame
from recon.solve.result.plane_or_frame import (
    PlanesOrFrame,
    none_likely,
    planes_or_frame,
    untied_not_sure,
    without_plane_evidence,
)
from recon.solve.result.refusal import why_no_frame
from recon.solve.result.tables import detected_tables, first_tables, reading_tables

Marks = Mapping[str, tuple[FloatArray, FloatArray]]

DETECTION = 0.65  # of the time for one photo goes into its openings (rendered 3-MP photos)
PHOTOS_DONE, SCENE_BEGUN, SCENE_DONE = 0.6, 0.65, 0.95  # of the time for a reading (rendered 3-MP photos)
WIDTH_SHRINK = (
    0.97  # of a width, as measured: light and shade move the visible spots towards the edge between
)
WIDTH_SPREAD = 0.04  # the faces, so that widths come out up to 6 % small

NO_FRAME = "its rows make no frame by themselves, while other photos show one"


@dataclass(frozen=True)
class Reading:
    """What was read.

    Attributes
    ----------
    frame : Frame
        In hole counts.
    openings : dict[str, array]
        photo -> (N, 6) x, y, semi-major, semi-minor (px), angle (rad), taken by a bolt (0 / 1).
    rows : dict[str, list[array]]
        photo -> list of (M, 2) px.
    cameras : dict[str, Camera]
        photo -> camera in the photo's own pixels.
    set_aside : list[SetAside]
        Photos that were not used, and why.
    against : list[Objection]
        Where the photos show something else than the user says.
    not_written : str
        Why the pictures of the stages could not be written, in a sentence; empty where they were.
    seen : dict[str, MemberEvidence]
        member along an axis -> what its confidence was made of.
    """

    frame: Frame
    openings: dict[str, FloatArray]
    rows: dict[str, list[FloatArray]]
    cameras: dict[str, Camera]
    set_aside: list[SetAside] = field(default_factory=list)
    against: list[Objection] = field(default_factory=list)
    not_written: str = ""
    seen: dict[str, MemberEvidence] = field(default_factory=dict)


@dataclass(frozen=True)
class _WorkingCopy:
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


class _Watch:
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


def read(
    photos: Sequence[PhotoImage],
    *,
    stocks: Mapping[str, Stock],
    stock_id: str | None = None,
    length: KnownLength | None = None,
    progress: Callable[[str, float], object] | None = None,
    debug_dir: str | Path | None = None,
    cancelled: Callable[[], object] | None = None,
    plan: Frame | None = None,
    found: Callable[[str, FloatArray, list[FloatArray]], object] | None = None,
    seen: Callable[[str, FloatArray, list[FloatArray]], object] | None = None,
    marks: Marks | None = None,
    constraints: Constraints | None = None,
    detected: MutableMapping[str, np.ndarray] | None = None,
) -> Reading:
    """Read a frame from its photos.

    Parameters
    ----------
    photos : Sequence[PhotoImage]
        At least one.
    stocks : Mapping[str, Stock]
        id -> stock, those that the frame may be of.
    stock_id : str or None
        The stock that it is known to be.
    length : KnownLength or None
        One measured length.
    progress : Callable[[str, float], object] or None
        Called with a stage and the fraction that is done, 0 to 1.
    debug_dir : str | Path or None
        Folder for a picture of each stage.
    cancelled : Callable[[], object] or None
        Called now and then; True stops the reading.
    plan : Frame or None
        Frame that was to be built: its members are looked for where they should be.
    found : Callable[[str, array, list[array]], object] or None
        Called with a photo, its openings (N, 6) and its rows as soon as it is read by itself; columns as in
        :class:`Reading`.
    seen : Callable[[str, array, list[array]], object] or None
        Called with a photo, its openings (N, 6) and likely rows as far as they are known, before it is read:
        first after a quick look at a smaller copy.
    marks : Mapping[str, tuple[array, array]] or None
        photo -> openings that the user marked as missed and as none, px, for a first reading; those of a
        further one are in `constraints`.
    constraints : Constraints or None
        A frame read before and the user's corrections of it: it keeps its place and labels, the corrections
        stay, and the rest is solved around them.  At least one of these photos must have a camera in it.
    detected : MutableMapping[str, array] or None
        photo -> detections (N,) of dtype OPENING: taken where they are there, put there where not, so that a
        further reading of the same photos need not look for openings again.

    Raises
    ------
    ReconError
        No frame could be read; says what was seen and what to do.
    """
    watch = _Watch(progress, cancelled)
    if debug_dir is not None:
        refuse_used_folder(debug_dir)
    copies = [_working_copy(p) for p in photos]
    known_width = width_of(constraints) if constraints else stocks[stock_id].width if stock_id else None
    each = _EachPhoto(
        known_width, constraints, {} if detected is None else detected, found, watch, seen, marks
    )
    readings = each.read(copies)
    if constraints is None:
        readings = _with_shared_focals(readings, copies, photos, known_width)
    width = known_width or common_width(readings, stocks)
    if not known_width:
        readings = [_with_width(r, c, width) for r, c in zip(readings, copies)]
    watch.tell("putting the photos together", PHOTOS_DONE)
    watch.check()
    scales = {c.name: c.scale for c in copies}
    scene, against, test = _solve_until_frame(readings, copies, constraints, width, watch)
    pictures = {c.name: c.image for c in copies}
    if not scene.candidates or not scene.photos or (constraints is None and not test.is_frame):
        raise ReconError(why_no_frame(readings, pictures, scales))
    scene = without_plane_evidence(scene, test)
    if scene.set_aside and constraints is None:
        scene = name_mirrored(scene, readings)
    if plan is not None:
        scene = with_plan(scene, plan)
    watch.tell("joints and stock", 0.97)
    frame, scene = make_frame(photos, scene, scales, stocks, stock_id, length, constraints)
    if constraints is None and none_likely(frame, test):
        raise ReconError(why_no_frame(readings, pictures, scales))
    frame = frame if constraints else untied_not_sure(frame)
    openings, rows, cameras = reading_tables(readings, scene, frame, scales)
    not_written = _write_stages(debug_dir, readings, scene) if debug_dir is not None else ""
    watch.tell("done", 1.0)
    evidence = member_evidence(frame, scene)
    return Reading(frame, openings, rows, cameras, list(scene.set_aside), against, not_written, evidence)


def _write_stages(folder: str | Path, readings: Sequence[PhotoReading], scene: Scene) -> str:
    """Writes the pictures of the stages; why it could not, in a sentence: the frame is there all the same."""
    try:
        write_stages(folder, readings, scene)
    except ReconError as error:
        return str(error)
    return ""


def _working_copy(photo: PhotoImage) -> _WorkingCopy:
    image, scale = working_copy(photo)
    return _WorkingCopy(
        photo.name, image, photo.focal_prior_px * scale if photo.focal_prior_px else None, scale
    )


@dataclass(frozen=True)
class _EachPhoto:
    """Reads each photo by itself, with what is known beforehand; parameters as of :func:`read`."""

    width: float | None
    constraints: Constraints | None
    detected: MutableMapping[str, np.ndarray]
    found: Callable[[str, FloatArray, list[FloatArray]], object] | None
    watch: _Watch
    seen: Callable[[str, FloatArray, list[FloatArray]], object] | None = None
    marks: Marks | None = None

    def read(self, copies: Sequence[_WorkingCopy]) -> list[PhotoReading]:
        """The readings, side by side with the photos."""
        share = dict.fromkeys((c.name for c in copies), 0.0)

        def at(copy: _WorkingCopy, part: float, doing: str) -> None:
            self.watch.check()
            share[copy.name] = part
            self.watch.tell(f"{doing} {copy.name}", PHOTOS_DONE * sum(share.values()) / len(copies))

        def one(copy: _WorkingCopy) -> PhotoReading:
            at(copy, 0.0, "looking for openings in")
            openings = self.detected.get(copy.name)
            if openings is None:
                if self.seen:
                    self._show(copy, glance(copy.image))
                openings = self.detected[copy.name] = read_openings(
                    copy.image, lambda early: self._show(copy, early)
                )
            self._show(copy, openings)
            at(copy, DETECTION, "looking for rows in")
            reading = self._read_one(copy, openings)
            at(copy, 1.0, "read")
            if self.found:
                self.found(copy.name, *first_tables(reading, copy.scale))
            return reading

        # Two at a time: the filters leave the interpreter's lock, and memory stays bounded.
        pool = ThreadPoolExecutor(2)
        try:
            return list(pool.map(one, copies))
        except KeyboardInterrupt:  # whoever stops the reading does not wait for what is under way
            self.watch.stop()
            raise
        finally:
            pool.shutdown(wait=not self.watch.stopped, cancel_futures=True)

    def _show(self, copy: _WorkingCopy, openings: np.ndarray) -> None:
        """Hands on what was detected in a photo, with the rows that it makes."""
        self.watch.check()
        if self.seen:
            self.seen(copy.name, *detected_tables(openings, copy.scale))

    def _read_one(self, copy: _WorkingCopy, openings: np.ndarray) -> PhotoReading:
        """One photo read from its openings; from the camera that it had, where the frame has one."""
        if self.constraints is not None:
            missed, false = (
                marks.get(copy.name, ()) for marks in (self.constraints.missed, self.constraints.false)
            )
            openings = apply_marks(openings, missed, false, copy.scale)
            camera = cameras_of(self.constraints.frame, {copy.name: copy.scale}).get(copy.name)
            known, width = known_candidates(self.constraints), width_of(self.constraints)
            reading = camera and read_posed(copy.name, openings, copy.size, camera, known, width)
            if reading:
                return reading
        elif self.marks and copy.name in self.marks:
            openings = apply_marks(openings, *self.marks[copy.name], copy.scale)
        return _read_alone(copy, openings, self.width)


def _read_alone(copy: _WorkingCopy, openings: np.ndarray, width: float | None) -> PhotoReading:
    """One photo read from its openings; uniform borders are none of its picture where EXIF does not vouch."""
    box = (0, 0, *copy.size) if copy.focal_px else content_box(copy.image)
    return read_within(box, copy.name, openings, copy.size, copy.focal_px, width)


def _with_shared_focals(
    readings: Sequence[PhotoReading],
    copies: Sequence[_WorkingCopy],
    photos: Sequence[PhotoImage],
    width: float | None,
) -> list[PhotoReading]:
    """Pictures of a video read again with the focal length of most of them, where they have another."""
    videos: dict[str, list[int]] = {}
    for k, photo in enumerate(photos):
        if photo.timecode and not photo.focal_prior_px:
            videos.setdefault(photo.timecode.video, []).append(k)
    out = list(readings)
    for mine in videos.values():
        focals = {k: r.photo.camera.f if (r := readings[k]).photo else None for k in mine}
        shared = shared_focal(list(focals.values()))
        for k in (k for k in mine if shared and disagrees(focals[k], shared)):
            again = _read_alone(replace(copies[k], focal_px=shared), readings[k].detected, width)
            out[k] = again if again.photo is not None else readings[k]
    return out


def _with_width(reading: PhotoReading, copy: _WorkingCopy, width: float) -> PhotoReading:
    """The photo read again where its lattice was solved with another width."""
    if reading.photo is None or reading.lattice_width == width:
        return reading
    return _read_alone(copy, reading.detected, width)


def _solve_until_frame(
    readings: Sequence[PhotoReading],
    copies: Sequence[_WorkingCopy],
    constraints: Constraints | None,
    width: float,
    watch: _Watch,
) -> tuple[Scene, list[Objection], PlanesOrFrame]:
    """:func:`_solve`, and again without the photos that make no frame together, until the others do.

    A photo with a wrong camera may tell most by itself and keep those out that show the frame.
    """
    scene, against = _solve(readings, copies, constraints, width, watch)
    test = planes_or_frame(scene)
    first, no_frame = (scene, against, test), [p.name for p in scene.photos]
    while constraints is None and not test.is_frame:
        rest = [r for r in readings if r.photo is not None and r.name not in no_frame]
        if not rest or not scene.photos:  # each round tries fewer photos
            return first
        scene, against = _solve(rest, copies, None, width, watch)
        test = planes_or_frame(scene)
        used = {p.name for p in scene.photos}
        aside = [(name, NO_FRAME) for name in no_frame]
        scene = replace(scene, set_aside=(*scene.set_aside, *aside))
        no_frame += sorted(used)
    return scene, against, test


def _solve(
    readings: Sequence[PhotoReading],
    copies: Sequence[_WorkingCopy],
    constraints: Constraints | None,
    width: float,
    watch: _Watch,
) -> tuple[Scene, list[Objection]]:
    """The scene that the photos show together, and where it is not as the user says."""
    pictures = {c.name: c.image for c in copies}

    def progress(fraction: float) -> None:
        watch.check()
        watch.tell("looking again", SCENE_BEGUN + (SCENE_DONE - SCENE_BEGUN) * fraction)

    if constraints is None:
        return assemble(readings, pictures, width, progress), []
    return resolve(readings, pictures, constraints, width, progress)


def common_width(readings: Sequence[PhotoReading], stocks: Mapping[str, Stock]) -> float:
    """Width in pitches that all photos' twin rows speak for, among those of the stock list.

    Parameters
    ----------
    readings : Sequence[PhotoReading]
        Photos read one by one; each counts by what its lattice explains.
    stocks : Mapping[str, Stock]
        id -> stock.  Where two widths fit alike, that of the commoner stocks is taken.

    Notes
    -----
    A measured width is expected at WIDTH_SHRINK of the true one, with a spread of WIDTH_SPREAD; one photo in
    a thousand may measure anything.
    """
    choices = np.array(sorted({round(s.width, 4) for s in stocks.values()} or set(KNOWN_WIDTHS)))
    weight = np.array([r.worth for r in readings])
    log = np.zeros(len(choices))
    for reading, w in zip(readings, weight):
        mean, error = reading.width
        if reading.photo is None or not np.isfinite(error) or weight.max() <= 0:
            continue
        sigma = np.hypot(error, WIDTH_SPREAD * choices)
        fit = np.exp(-0.5 * ((mean - WIDTH_SHRINK * choices) / sigma) ** 2)
        log += w / weight.max() * np.log(fit + 1e-3)
    log += [np.log(sum(s.prior for s in stocks.values() if round(s.width, 4) == c) or 1) for c in choices]
    return float(choices[int(np.argmax(log))])
