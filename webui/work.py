"""The reading of a build in a process of its own: `python -m webui.work BUILD` with a JSON object of options on stdin.

Prints JSON lines: {"stage", "share"} as it goes on, {"found": photo} when the openings of one are kept, and at the end
{"done": {"delta", "left_out"}} or {"problem"}.  To cancel it is to end the process: nothing of the build has changed.
"""
from __future__ import annotations

import json
import os
import resource
import sys
from dataclasses import replace
from pathlib import Path

MEMORY = 8 * 2**30       # bytes; a reading of three 3-MP photos takes 1.5 GB


def _tell(**line) -> None:
    print(json.dumps(line), flush=True)


def run(folder: Path, options: dict) -> dict:
    """Reads; returns {"delta": what makes the frame from an empty state, "left_out": [[photo, reason]]}.  Raises ReconError."""
    from recon.errors import ReconError
    from recon.frame.length import parse_known_length
    from recon.frame.model import Photo
    from recon.frame.stock import load_stocks
    from recon.image.photos import drop_duplicates, load_photos
    from webui import again, reader
    from webui.build import PHOTOS
    from webui.state import State, difference, ordered, patched

    state = patched(State(), options["state"])
    paths = [folder / PHOTOS / name for name in options["photos"]]
    loaded, broken = load_photos(paths, progress=lambda stage, share: _tell(stage=stage, share=0.1 * share))
    photos, copies = drop_duplicates(loaded)
    aside = [(p.name, reason) for p, reason in copies]
    photos = [p for p in photos if p.name not in options["aside"]]
    if not photos:
        raise ReconError("There is no photo to read a frame from; add some, or take one back that was set aside.")

    _tell(stage="looking for openings and rows", share=0.1)

    def found(photo, openings, rows):
        reader.save_photo_reading(folder, photo, openings, rows)
        _tell(found=photo)

    reading = reader.read(
        options["solver"], photos, stocks=load_stocks(), stock_id=options.get("stock"),
        length=parse_known_length(options["length"]) if options.get("length") else None,
        progress=lambda stage, share: _tell(stage=stage, share=0.1 + 0.9 * share),
        constraints=again.constraints(state) if state.frame.members else None, found=found)
    for photo, openings in reading.openings.items():
        found(photo, openings, reading.rows.get(photo, []))
    aside += list(reading.set_aside)
    known, reasons = {p.file for p in reading.frame.photos}, dict(aside)
    others = tuple(Photo(p.name, p.size, used=False, reason=reasons.get(p.name, "set aside by hand"))
                   for p in loaded if p.name not in known)
    frame = replace(reading.frame, photos=reading.frame.photos + others)
    frame = replace(frame, joints=ordered(frame.members, frame.joints))
    return {"delta": difference(State(), State(frame)), "left_out": [list(x) for x in broken + aside]}


def main(argv) -> int:
    from recon.errors import ReconError

    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    os.nice(5)
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
        _tell(problem=f"This is a fault in the reader, not in what you did: {type(error).__name__}: {error} "
                      f"({Path(at.tb_frame.f_code.co_filename).name}, line {at.tb_lineno}).")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
