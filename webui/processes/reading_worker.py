"""The reading of a build in a process of its own: `python -m webui.processes.reading_worker BUILD`.

A JSON object of options is on stdin.  Prints JSON lines: {"stage", "share"} as it goes on, {"found": photo,
"whole"} when openings of one are kept (`whole`: it was read by itself), and at the end {"done": {"delta",
"against", "left_out"}} or {"problem"}.  To cancel it is to end the process: nothing of the build has changed.
"""

from __future__ import annotations

import json
import sys
import traceback
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from recon.corrections.state import State
    from recon.frame.model import Frame
    from recon.image.photos import PhotoImage

MEMORY = 8 * 2**30  # bytes; a reading of three 3-MP photos takes 1.5 GB
LOADING = 0.1  # share of the work that loading photos counts as

_answers = sys.stdout


def _print(**line: Any) -> None:
    _answers.write(json.dumps(line) + "\n")  # at once: two photos are read side by side
    _answers.flush()


def run(folder: Path, options: dict[str, Any]) -> dict[str, Any]:
    """Reads the photos of a build.

    Parameters
    ----------
    folder : path
        The build's.
    options : dict
        As `webui.processes.reading` sends them.

    Returns
    -------
    dict
        `delta`, what makes the frame from an empty state; `against`, objections as
        `recon.corrections.solver.objection_to_json`; `left_out`, [[photo, reason]].

    Raises
    ------
    ReconError
        Where no frame can be read.
    """
    from recon.corrections.solver import objection_to_json, objections_of
    from recon.corrections.state import State, difference, patched
    from recon.frame.length import parse_known_length
    from recon.frame.stock import Stock
    from recon.solve.each_photo import workers_for
    from webui.storage import reading_cache

    state = patched(State(), options["state"])
    # They end with this process.
    workers = workers_for(len(options["photos"])) if options["solver"] == reading_cache.SOLVER else None
    loaded, photos, left_out, broken = _photos(folder, options)
    _print(stage="looking for openings and rows", share=LOADING)
    known = ((p.name, reading_cache.load_detections(folder, p.name)) for p in photos)
    detected = {name: table for name, table in known if table is not None}
    found = _keeper(folder, detected)
    stocks = {d["id"]: Stock(**{**d, "lengths_mm": tuple(d["lengths_mm"])}) for d in options["stocks"]}
    stock_id = _stock_id(state, options.get("stock"), stocks)
    length = options.get("length")
    reading = reading_cache.read(
        options["solver"],
        photos,
        stocks=stocks,
        stock_id=stock_id,
        length=parse_known_length(length) if length else None,
        progress=lambda stage, share: _print(stage=stage, share=LOADING + (1 - LOADING) * share),
        constraints=_constraints(state, photos, stocks[stock_id].width if stock_id else None),
        found=found,
        seen=lambda photo, openings, rows: _show(folder, photo, openings, rows),
        marks=_marks(state),
        detected=detected,
        workers=workers,
    )
    for photo, openings in reading.openings.items():
        found(photo, openings, reading.rows.get(photo, []))
    left_out += list(reading.set_aside)
    frame = _with_other_photos(reading.frame, loaded, dict(left_out))
    return {
        "delta": difference(State(), State(frame)),
        "against": list(map(objection_to_json, objections_of(reading))),
        "left_out": [list(x) for x in broken + left_out],
    }


def _photos(
    folder: Path, options: dict[str, Any]
) -> tuple[list[PhotoImage], list[PhotoImage], list[tuple[str, str]], list[tuple[str, str]]]:
    """Photos loaded, those of them to read from, copies with their reason, files that are none with
    theirs."""
    from recon.errors import ReconError
    from recon.image.duplicates import drop_duplicates
    from recon.image.photos import load_photos
    from webui.storage.build import PHOTOS

    paths = [folder / PHOTOS / name for name in options["photos"]]
    loaded, broken = load_photos(
        paths, progress=lambda stage, share: _print(stage=stage, share=LOADING * share)
    )
    photos, copies = drop_duplicates(loaded)
    photos = [p for p in photos if p.name not in options["aside"]]
    if not photos:
        raise ReconError(
            "There is no photo to read a frame from; add some, or take one back that was set aside."
        )
    return loaded, photos, [(p.name, reason) for p, reason in copies], broken


def _keeper(folder: Path, detected: dict[str, Any]) -> Callable[[str, Any, Any], None]:
    """What is called with (photo, openings, rows) as photos are done: it keeps them, and detections that are
    new."""
    from webui.storage import reading_cache

    kept = set(detected)

    def found(photo: str, openings: Any, rows: Any) -> None:
        reading_cache.save_photo_reading(folder, photo, openings, rows)
        if photo in detected and photo not in kept:
            reading_cache.save_detections(folder, photo, detected[photo])
            kept.add(photo)
        _print(found=photo, whole=True)

    return found


def _show(folder: Path, photo: str, openings: Any, rows: Any) -> None:
    """Keeps openings and rows of a photo that is not read yet, so that they are seen on it."""
    from webui.storage import reading_cache

    reading_cache.save_photo_reading(folder, photo, openings, rows)
    _print(found=photo, whole=False)


def _marks(state: State) -> dict[str, Any]:
    """The user's marks of openings by photo, px, for a reading without a frame to begin from."""
    import numpy as np

    return {
        photo: tuple(np.array(kind, float).reshape(-1, 2) for kind in (marks.missed, marks.false))
        for photo, marks in state.corrections.marks.items()
    }


def _stock_id(state: State, wanted: str | None, stocks: dict[str, Any]) -> str | None:
    """The stock given with this reading, else the one that the user gave before."""
    use = state.frame.stock
    if wanted is None and state.corrections.stock_given and use and use.id in stocks:
        return use.id
    return wanted


def _constraints(state: State, photos: Sequence[PhotoImage], width: float | None) -> Any:
    """What the solver must keep; None where there is nothing."""
    from recon.corrections.solver import constrained_width, constraints_for_solver

    constraints = constraints_for_solver(state, {p.name for p in photos})
    if constraints and width and abs(width - constrained_width(constraints)) > 1e-6:
        return None  # members of another width lie elsewhere: all is solved anew
    return constraints


def _with_other_photos(frame: Frame, loaded: Sequence[PhotoImage], reasons: dict[str, str]) -> Frame:
    """The frame with the photos that it was not read from, its laps in order."""
    from recon.corrections.state import ordered
    from recon.corrections.users_word import SET_ASIDE
    from recon.frame.model import Photo

    known = {p.file for p in frame.photos}
    others = tuple(
        Photo(p.name, p.size, used=False, reason=reasons.get(p.name, SET_ASIDE))
        for p in loaded
        if p.name not in known
    )
    return replace(frame, photos=frame.photos + others, joints=ordered(frame.members, frame.joints))


def main(argv: list[str]) -> int:
    """Reads the build in the folder `argv`; whatever happens is said in a line of JSON."""
    from recon.errors import ReconError
    from recon.limits import limit, one_thread_of_algebra, step_back

    sys.stdout = sys.stderr  # what a library prints is no answer
    one_thread_of_algebra()
    limit(memory=MEMORY)
    step_back()
    try:
        _print(done=run(Path(argv[0]), json.load(sys.stdin)))
    except ReconError as error:
        _print(problem=str(error))
    except MemoryError:
        _print(problem="There is not enough memory to read these photos; use fewer or smaller ones.")
    except Exception as error:
        at = traceback.extract_tb(error.__traceback__)[-1]
        _print(
            problem=f"This is a fault in the reader, not in what you did: {type(error).__name__}: {error} "
            f"({Path(at.filename).name}, line {at.lineno})."
        )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
