"""The whole reading: photos in, a frame in hole counts out."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import cv2
import numpy as np

from recon.errors import ReconError
from recon.frame.model import Frame
from recon.solve.debug.stages import refuse_used_folder, write_stages
from recon.solve.multiview.assemble import assemble
from recon.solve.photo.read_photo import KNOWN_WIDTHS, PhotoReading, read_openings, read_photo, read_posed
from recon.solve.priors.constraints import apply_marks, cameras_of, known_candidates, width_of
from recon.solve.priors.plan import with_plan
from recon.solve.priors.resolve import resolve
from recon.solve.result.frame import first_tables, make_frame, reading_tables

DETECTION = 0.65  # of the time for one photo goes into its openings (rendered 3-MP photos)
WORKING_PIXELS = 12.5e6  # larger photos are halved in area or more first: holes stay far over 4 px


@dataclass(frozen=True)
class Reading:
    """What was read.

    frame : the frame.   openings : photo -> (N, 6) x, y, semi-major, semi-minor (px), angle (rad), taken (0 / 1).
    rows : photo -> list of (M, 2) px.   cameras : photo -> recon.geometry.camera.Camera in the photo's own pixels.
    set_aside : [(photo, reason)].   against : [recon.solve.priors.constraints.Disagreement], where the photos say otherwise than a person.
    """

    frame: Frame
    openings: dict
    rows: dict
    cameras: dict
    set_aside: list = field(default_factory=list)
    against: list = field(default_factory=list)


def read(
    photos,
    *,
    stocks,
    stock_id=None,
    length=None,
    progress=None,
    debug_dir=None,
    cancelled=None,
    plan=None,
    found=None,
    constraints=None,
    detected=None,
) -> Reading:
    """Read a frame from its photos.

    Parameters
    ----------
    photos : list of recon.image.photos.PhotoImage, at least one.
    stocks : id -> recon.frame.stock.Stock.   stock_id : the stock that it is known to be.
    length : recon.frame.length.KnownLength, one measured length, or None.
    progress : called with (stage, fraction 0..1).   debug_dir : folder for a picture per stage.
    cancelled : called now and then; True stops the reading.
    found : called with (photo, openings (N, 6), rows) as soon as a photo is read by itself; columns as in Reading.
    given : recon.solve.priors.constraints.Constraints, a frame read before and what a person said of it: it keeps its place and labels, what he
        said stays, and the rest is solved around it.  At least one of these photos must have a camera in it.
    detected : dict, photo -> detections (N,) of dtype OPENING in it: taken where they are there, put there where not, so
        that a further reading of the same photos need not look for openings again.
    plan : recon.frame.model.Frame that was to be built: its members are looked for where they should be.

    Raises
    ------
    ReconError
        No frame could be read; says what was seen and what to do.
    """
    tell = progress or (lambda stage, fraction: None)

    def check():
        if cancelled and cancelled():
            raise ReconError("The reading was stopped.", exit_code=130)

    if debug_dir is not None:
        refuse_used_folder(debug_dir)
    prepared = [_working_copy(p) for p in photos]
    known_width = width_of(constraints) if constraints else stocks[stock_id].width if stock_id else None
    readings = _read_each(
        photos, prepared, known_width, tell, check, found, constraints, {} if detected is None else detected
    )
    width = known_width or common_width(readings, stocks)
    readings = [
        r
        if known_width or r.photo is None or r.lattice_width == width
        else read_photo(r.name, r.openings, r.size, f, width)
        for r, (_, f, _) in zip(readings, prepared)
    ]
    tell("putting the photos together", 0.6)
    check()
    pictures = {p.name: bgr for p, (bgr, _, _) in zip(photos, prepared)}
    scales = {p.name: s for p, (_, _, s) in zip(photos, prepared)}
    again = lambda f: (check(), tell("looking again", 0.65 + 0.3 * f))
    against = []
    if constraints is None:
        scene = assemble(readings, pictures, width, again)
    else:
        scene, against = resolve(readings, pictures, constraints, width, again)
    if not scene.candidates or not scene.photos:
        raise ReconError(_nothing_found(readings))
    if plan is not None:
        scene = with_plan(scene, plan)
    tell("joints and stock", 0.97)
    frame, scene = make_frame(photos, scene, scales, stocks, stock_id, length, constraints)
    openings, rows, cameras = reading_tables(readings, scene, frame, scales)
    if debug_dir is not None:
        write_stages(debug_dir, readings, scene)
    tell("done", 1.0)
    return Reading(frame, openings, rows, cameras, list(scene.set_aside), against)


def _working_copy(photo):
    """(BGR image, focal prior px, scale): at most WORKING_PIXELS, and its size over the photo's."""
    bgr = cv2.cvtColor(photo.colour, cv2.COLOR_RGB2BGR)
    n = bgr.shape[0] * bgr.shape[1]
    scale = 1.0
    if n > WORKING_PIXELS:
        scale = float(np.sqrt(WORKING_PIXELS / n))
        bgr = cv2.resize(bgr, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        scale = bgr.shape[1] / photo.size[0]
    f = photo.focal_prior_px * scale if photo.focal_prior_px else None
    return bgr, f, scale


def _read_each(photos, prepared, width, tell, check, found, constraints, detected) -> list[PhotoReading]:
    share = dict.fromkeys((p.name for p in photos), 0.0)

    def at(photo, part, doing):
        check()
        share[photo.name] = part
        tell(f"{doing} {photo.name}", 0.6 * sum(share.values()) / len(photos))

    def one(job):
        photo, (bgr, f, scale) = job
        at(photo, 0.0, "looking for openings in")
        openings = detected.get(photo.name)
        if openings is None:
            openings = detected[photo.name] = read_openings(bgr)
        at(photo, DETECTION, "looking for rows in")
        size, r = (bgr.shape[1], bgr.shape[0]), None
        if constraints is not None:
            openings = apply_marks(
                openings, constraints.missed.get(photo.name, ()), constraints.false.get(photo.name, ()), scale
            )
            camera = cameras_of(constraints.frame, {photo.name: scale}).get(photo.name)
            r = camera and read_posed(
                photo.name, openings, size, camera, known_candidates(constraints), width
            )
        r = r or read_photo(photo.name, openings, size, f, width)
        at(photo, 1.0, "read")
        if found:
            found(photo.name, *first_tables(r, scale))
        return r

    # Two at a time: the filters leave the interpreter's lock, and memory stays bounded.
    with ThreadPoolExecutor(2) as pool:
        return list(pool.map(one, zip(photos, prepared)))


def common_width(readings: list[PhotoReading], stocks) -> float:
    """Width in pitches that all photos' twin rows speak for, among those of the stock list.

    Measured widths come out up to 6 % small, since light and shade move the visible spots towards the
    edge between the faces; hence the expected 0.97 and the spread of 4 %.
    """
    choices = sorted({round(s.width, 4) for s in stocks.values()} or set(KNOWN_WIDTHS))
    weight = np.array([r.worth for r in readings])
    log = np.zeros(len(choices))
    for r, w in zip(readings, weight):
        mean, error = r.width
        if r.photo is None or not np.isfinite(error) or weight.max() <= 0:
            continue
        sigma = np.hypot(error, 0.04 * np.array(choices))
        log += (
            w / weight.max() * np.log(np.exp(-0.5 * ((mean - 0.97 * np.array(choices)) / sigma) ** 2) + 1e-3)
        )
    log += [
        np.log(sum(getattr(s, "prior", 1) for s in stocks.values() if round(s.width, 4) == c) or 1)
        for c in choices
    ]
    return float(choices[int(np.argmax(log))])


def _nothing_found(readings) -> str:
    seen = "; ".join(f"{r.name}: {r.reason or 'too few rows agree'}" for r in readings)
    return (
        f"No frame could be read from {'this photo' if len(readings) == 1 else 'these photos'} ({seen}). "
        "Photograph the whole frame from nearer by, so that each hole is at least 6 pixels wide, "
        "from a corner rather than straight on, in even light."
    )
