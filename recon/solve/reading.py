"""The whole reading: photos in, a frame in hole counts out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, MutableMapping, Sequence
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
from recon.image.photos import PhotoImage
from recon.solve.debug.stages import refuse_used_folder, write_stages
from recon.solve.each_photo import PHOTOS_DONE, EachPhoto, Marks, Watch, WorkingCopy, copy_of, read_again
from recon.solve.evidence.scene import Scene, SetAside
from recon.solve.multiview.assemble import assemble
from recon.solve.multiview.mirrored import name_mirrored
from recon.solve.photo.photo_reading import PhotoReading
from recon.solve.photo.read_photo import KNOWN_WIDTHS
from recon.solve.photo.shared_focal import disagrees, shared_focal
from recon.solve.priors.constraints import Constraints, width_of
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
from recon.solve.result.tables import reading_tables
from recon.workers import Workers

SCENE_BEGUN, SCENE_DONE = 0.65, 0.95  # of the time for a reading (rendered 3-MP photos)
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
    workers: Workers | None = None,
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
        of the first photo after a quick look at a smaller copy, too.
    marks : Mapping[str, tuple[array, array]] or None
        photo -> openings that the user marked as missed and as none, px, for a first reading; those of a
        further one are in `constraints`.
    constraints : Constraints or None
        A frame read before and the user's corrections of it: it keeps its place and labels, the corrections
        stay, and the rest is solved around them.  At least one of these photos must have a camera in it.
    detected : MutableMapping[str, array] or None
        photo -> detections (N,) of dtype OPENING: taken where they are there, put there where not, so that a
        further reading of the same photos need not look for openings again.
    workers : Workers or None
        Processes that read with this one, as :func:`recon.solve.each_photo.workers_for` gives them; None: two
        photos are read at a time in this one.

    Raises
    ------
    ReconError
        No frame could be read; says what was seen and what to do.
    """
    watch, workers = Watch(progress, cancelled), workers or Workers()
    if debug_dir is not None:
        refuse_used_folder(debug_dir)
    copies = [copy_of(p) for p in photos]
    known_width = width_of(constraints) if constraints else stocks[stock_id].width if stock_id else None
    kept = {} if detected is None else detected
    each = EachPhoto(known_width, constraints, kept, found, watch, workers, seen, marks)
    readings = each.read(copies)
    if constraints is None:
        readings = _with_shared_focals(readings, copies, photos, known_width, workers)
    width = known_width or common_width(readings, stocks)
    if not known_width:
        readings = _with_width(readings, copies, width, workers)
    watch.tell("putting the photos together", PHOTOS_DONE)
    watch.check()
    scales = {c.name: c.scale for c in copies}
    scene, against, test = _solve_until_frame(readings, copies, constraints, width, watch, workers)
    if not scene.candidates or not scene.photos or (constraints is None and not test.is_frame):
        raise _no_frame(readings, scene, scales, debug_dir)
    scene = without_plane_evidence(scene, test)
    if scene.set_aside and constraints is None:
        scene = name_mirrored(scene, readings)
    if plan is not None:
        scene = with_plan(scene, plan)
    watch.tell("joints and stock", 0.97)
    frame, scene = make_frame(photos, scene, scales, stocks, stock_id, length, constraints)
    if constraints is None and none_likely(frame, test):
        raise _no_frame(readings, scene, scales, debug_dir)
    frame = frame if constraints else untied_not_sure(frame)
    openings, rows, cameras = reading_tables(readings, scene, frame, scales)
    not_written = _write_stages(debug_dir, readings, scene) if debug_dir is not None else ""
    watch.tell("done", 1.0)
    evidence = member_evidence(frame, scene)
    return Reading(frame, openings, rows, cameras, list(scene.set_aside), against, not_written, evidence)


def _no_frame(
    readings: Sequence[PhotoReading], scene: Scene, scales: Mapping[str, float], debug_dir: str | Path | None
) -> ReconError:
    """Why no frame is claimed; the pictures of the stages, where they are wanted, show how far it came."""
    why = why_no_frame(readings, scene.pictures, scales)
    not_written = _write_stages(debug_dir, readings, scene) if debug_dir is not None else ""
    return ReconError(f"{why} {not_written}".rstrip())


def _write_stages(folder: str | Path, readings: Sequence[PhotoReading], scene: Scene) -> str:
    """Writes the pictures of the stages; why it could not, in a sentence: the frame is there all the same."""
    try:
        write_stages(folder, readings, scene)
    except ReconError as error:
        return str(error)
    return ""


def _with_shared_focals(
    readings: Sequence[PhotoReading],
    copies: Sequence[WorkingCopy],
    photos: Sequence[PhotoImage],
    width: float | None,
    workers: Workers,
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
        others = [k for k in mine if shared and disagrees(focals[k], shared)]
        with_it = [(replace(copies[k], focal_px=shared), readings[k].detected, width) for k in others]
        for k, again in zip(others, read_again(with_it, workers)):
            out[k] = again if again.photo is not None else readings[k]
    return out


def _with_width(
    readings: Sequence[PhotoReading], copies: Sequence[WorkingCopy], width: float, workers: Workers
) -> list[PhotoReading]:
    """The photos, those read again whose lattice was solved with another width."""
    out = list(readings)
    others = [k for k, r in enumerate(out) if r.photo is not None and r.lattice_width != width]
    with_it = [(copies[k], out[k].detected, width) for k in others]
    for k, again in zip(others, read_again(with_it, workers)):
        out[k] = again
    return out


def _solve_until_frame(
    readings: Sequence[PhotoReading],
    copies: Sequence[WorkingCopy],
    constraints: Constraints | None,
    width: float,
    watch: Watch,
    workers: Workers,
) -> tuple[Scene, list[Objection], PlanesOrFrame]:
    """:func:`_solve`, and again without the photos that make no frame together, until the others do.

    A photo with a wrong camera may tell most by itself and keep those out that show the frame.
    """
    scene, against = _solve(readings, copies, constraints, width, watch, workers)
    test = planes_or_frame(scene)
    first, no_frame = (scene, against, test), [p.name for p in scene.photos]
    while constraints is None and not test.is_frame:
        rest = [r for r in readings if r.photo is not None and r.name not in no_frame]
        if not rest or not scene.photos:  # each round tries fewer photos
            return first
        scene, against = _solve(rest, copies, None, width, watch, workers)
        test = planes_or_frame(scene)
        used = {p.name for p in scene.photos}
        aside = [(name, NO_FRAME) for name in no_frame]
        scene = replace(scene, set_aside=(*scene.set_aside, *aside))
        no_frame += sorted(used)
    return scene, against, test


def _solve(
    readings: Sequence[PhotoReading],
    copies: Sequence[WorkingCopy],
    constraints: Constraints | None,
    width: float,
    watch: Watch,
    workers: Workers,
) -> tuple[Scene, list[Objection]]:
    """The scene that the photos show together, and where it is not as the user says."""
    pictures = {c.name: c.image for c in copies}

    def progress(fraction: float) -> None:
        watch.check()
        watch.tell("looking again", SCENE_BEGUN + (SCENE_DONE - SCENE_BEGUN) * fraction)

    if constraints is None:
        return assemble(readings, pictures, width, progress, workers), []
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
