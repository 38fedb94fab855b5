"""The reading of a build in a process of its own: `python -m webui.processes.reading_worker BUILD` with a JSON object of options on stdin.

Prints JSON lines: {"stage", "share"} as it goes on, {"found": photo} when the openings of one are kept, and at the end
{"done": {"delta", "against", "left_out"}} or {"problem"}.  To cancel it is to end the process: nothing of the build has changed.
"""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path

MEMORY = 8 * 2**30  # bytes; a reading of three 3-MP photos takes 1.5 GB

_answers = sys.stdout


def _tell(**line) -> None:
    print(json.dumps(line), file=_answers, flush=True)


def run(folder: Path, options: dict) -> dict:
    """Reads; returns {"delta": what makes the frame from an empty state, "against": [[member said, seen or null, away]],
    "left_out": [[photo, reason]]}.  Raises ReconError."""
    from recon.corrections import merge
    from recon.corrections.state import State, difference, member_to_json, ordered, patched
    from recon.errors import ReconError
    from recon.frame.length import parse_known_length
    from recon.frame.model import Photo
    from recon.frame.stock import Stock
    from recon.image.duplicates import drop_duplicates
    from recon.image.photos import load_photos
    from recon.solve.priors.constraints import width_of
    from webui.storage import reading_cache
    from webui.storage.build import PHOTOS

    state = patched(State(), options["state"])
    paths = [folder / PHOTOS / name for name in options["photos"]]
    loaded, broken = load_photos(paths, progress=lambda stage, share: _tell(stage=stage, share=0.1 * share))
    photos, copies = drop_duplicates(loaded)
    aside = [(p.name, reason) for p, reason in copies]
    photos = [p for p in photos if p.name not in options["aside"]]
    if not photos:
        raise ReconError(
            "There is no photo to read a frame from; add some, or take one back that was set aside."
        )

    _tell(stage="looking for openings and rows", share=0.1)

    detected = {
        p.name: table
        for p in photos
        for table in [reading_cache.load_detections(folder, p.name)]
        if table is not None
    }
    kept = set(detected)

    def found(photo, openings, rows):
        reading_cache.save_photo_reading(folder, photo, openings, rows)
        if photo in detected and photo not in kept:
            reading_cache.save_detections(folder, photo, detected[photo])
            kept.add(photo)
        _tell(found=photo)

    stocks = {d["id"]: Stock(**{**d, "lengths_mm": tuple(d["lengths_mm"])}) for d in options["stocks"]}
    stock_id = options.get("stock")
    if stock_id is None and state.said.get("stock") and state.frame.stock and state.frame.stock.id in stocks:
        stock_id = state.frame.stock.id
    given = merge.given(state, {p.name for p in photos})
    if given and stock_id and abs(stocks[stock_id].width - width_of(given)) > 1e-6:
        given = None  # members of another width lie elsewhere: all is solved anew

    reading = reading_cache.read(
        options["solver"],
        photos,
        stocks=stocks,
        stock_id=stock_id,
        length=parse_known_length(options["length"]) if options.get("length") else None,
        progress=lambda stage, share: _tell(stage=stage, share=0.1 + 0.9 * share),
        constraints=given,
        found=found,
        detected=detected,
    )
    for photo, openings in reading.openings.items():
        found(photo, openings, reading.rows.get(photo, []))
    aside += list(reading.set_aside)
    known, reasons = {p.file for p in reading.frame.photos}, dict(aside)
    others = tuple(
        Photo(p.name, p.size, used=False, reason=reasons.get(p.name, "set aside by hand"))
        for p in loaded
        if p.name not in known
    )
    frame = replace(reading.frame, photos=reading.frame.photos + others)
    frame = replace(frame, joints=ordered(frame.members, frame.joints))
    against = [
        [member_to_json(a.member), a.seen and member_to_json(a.seen), a.deleted]
        for a in getattr(reading, "against", ())
    ]
    return {
        "delta": difference(State(), State(frame)),
        "against": against,
        "left_out": [list(x) for x in broken + aside],
    }


def main(argv) -> int:
    from recon.errors import ReconError
    from webui.storage.system import limit, step_back

    sys.stdout = sys.stderr  # what a library prints is no answer
    limit(memory=MEMORY)
    step_back()
    try:
        _tell(done=run(Path(argv[0]), json.load(sys.stdin)))
    except ReconError as error:
        _tell(problem=str(error))
    except MemoryError:
        _tell(problem="There is not enough memory to read these photos; use fewer or smaller ones.")
    except Exception as error:
        at = error.__traceback__
        while at.tb_next:
            at = at.tb_next
        _tell(
            problem=f"This is a fault in the reader, not in what you did: {type(error).__name__}: {error} "
            f"({Path(at.tb_frame.f_code.co_filename).name}, line {at.tb_lineno})."
        )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
