"""What rows drawn by hand on a photo mean, in a process of its own: its solver is large, and takes seconds.

The page's process starts it with the first row.  `python -m webui.processes.by_hand FOLDER` reads JSON lines
on stdin, {"what", ...}, and answers each in one line, or with {"problem"}, a sentence, or {"fault"}.
"""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
import threading
from collections.abc import Callable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from recon.corrections.codec import member_from_json, member_to_json
from recon.errors import ReconError
from recon.geometry.camera import Camera
from webui.processes.answers import Payload, answer_lines, end_process

if TYPE_CHECKING:
    import numpy as np

    from recon.image.photos import PhotoImage
    from recon.solve.by_hand.row_strokes import CountedStroke

_ROOT = Path(__file__).resolve().parents[2]
MEMORY = 4 * 2**30  # bytes: a photo of 60 megapixels decoded, and the solver


class RowWorker:
    """The process that says what rows drawn by hand mean, for the build in `folder`."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._turn = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None

    def ask(self, what: str, **request: Any) -> Payload:
        """The answer to a request, a name in `ANSWERS` and what it takes.

        Raises
        ------
        ReconError
            Where there is none, in a sentence.
        """
        with self._turn:
            process = self._started()
            assert process.stdin is not None and process.stdout is not None
            line = b""
            with contextlib.suppress(OSError):  # it has ended, and so says its silence
                process.stdin.write(json.dumps({"what": what, **request}).encode() + b"\n")
                process.stdin.flush()
                line = process.stdout.readline()
            if not line.endswith(b"\n"):
                self._end()
                raise ReconError(
                    "This could not be computed: most likely there was not enough memory; use a smaller copy "
                    "of the photo."
                )
        answer: Payload = json.loads(line)
        if "fault" in answer:
            raise RuntimeError(answer["fault"])
        if "problem" in answer:
            raise ReconError(answer["problem"])
        return answer

    def _started(self) -> subprocess.Popen[bytes]:
        if self._process is None:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "webui.processes.by_hand", str(self.folder)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                cwd=_ROOT,
            )
        return self._process

    def _end(self) -> None:
        process, self._process = self._process, None
        if process:
            end_process(process)

    def close(self) -> None:
        """Ends the process; the next request starts another."""
        process = self._process
        if process:
            process.kill()  # a request under way then ends, too
        with self._turn:
            self._end()


# The other process


@lru_cache(maxsize=2)
def _photo(path: Path) -> PhotoImage:
    from recon.image.photos import load_photo

    return load_photo(path)


def _openings(folder: Path, name: str, request: Payload) -> np.ndarray:
    """Openings near a stroke: those kept of the photo, else of the strip along it; with the user's marks."""
    import numpy as np

    from recon.image.photo_rows import in_photo_px
    from recon.image.working_copy import working_scale
    from recon.solve.by_hand.strip import strip_openings
    from recon.solve.priors.constraints import apply_marks
    from webui.storage import reading_cache
    from webui.storage.build import PHOTOS

    kept = reading_cache.load_detections(folder, name)
    photo = _photo(folder / PHOTOS / name)
    if kept is not None:
        found = in_photo_px(kept, working_scale(photo.size))
    else:
        found = strip_openings(photo, tuple(request["start"]), tuple(request["end"]))
    missed, false = (np.array(request.get(k, []), float).reshape(-1, 2) for k in ("missed", "false"))
    return apply_marks(found, missed, false, 1.0)


def count(folder: Path, request: Payload) -> Payload:
    """The holes under a stroke: {photo, start, end, missed, false} -> {holes or null, sure, words, start,
    end}."""
    from recon.solve.by_hand.row_strokes import RowStroke, count_holes

    stroke = RowStroke(tuple(request["start"]), tuple(request["end"]))
    try:
        found = count_holes(stroke, _openings(folder, request["photo"], request))
    except ReconError as error:
        return {"holes": None, "sure": 0.0, "words": str(error), **_ends(stroke.start, stroke.end)}
    ends: list[Sequence[float]] = [stroke.start, stroke.end]
    for k, step in ((0, 0), (-1, found.holes - 1)):
        if (
            len(found.index) and found.step[k] == step
        ):  # an opening stands where the stroke's end was meant to be
            ends[k] = found.px[k].tolist()
    return {"holes": found.holes, "sure": round(found.sure, 3), "words": "", **_ends(*ends)}


def _ends(start: Sequence[float], end: Sequence[float]) -> Payload:
    return {"start": [round(v, 1) for v in start], "end": [round(v, 1) for v in end]}


def _strokes(folder: Path, request: Payload) -> list[CountedStroke]:
    """The rows of a request, with the openings under them where they are seen."""
    from recon.solve.by_hand.row_strokes import RowStroke, count_holes

    return [
        count_holes(
            RowStroke((x0, y0), (x1, y1), holes=holes),
            _openings(folder, request["photo"], {**request, "start": (x0, y0), "end": (x1, y1)}),
        )
        for x0, y0, x1, y1, holes in request["rows"]
    ]


def answers(folder: Path, request: Payload) -> Payload:
    """What the rows of a photo mean: {photo, rows, width, members} -> {size, answers: [{chance, focal_sigma,
    camera, members, fits, left_out}]}.

    `members` are those of the frame that is known, in whose world the answers then are.
    """
    from recon.solve.by_hand.on_frame import laid_on_frame
    from recon.solve.by_hand.stroke_camera import cameras_of_strokes
    from recon.solve.by_hand.stroke_members import members_of_strokes
    from webui.storage.build import PHOTOS

    photo = _photo(folder / PHOTOS / request["photo"])
    strokes = _strokes(folder, request)
    cameras = cameras_of_strokes(strokes, photo.size, photo.focal_prior_px)
    found = members_of_strokes(strokes, photo.size, photo.focal_prior_px, request["width"], cameras)
    known = list(map(member_from_json, request["members"]))
    if known:
        found = laid_on_frame(found, known)
        if not found:
            raise ReconError(
                "These rows fit no place of the frame as it is known; check their counts, or draw rows of "
                "members that are in the frame already."
            )
    return {
        "size": list(photo.size),
        "focal_sigma": round(cameras[0].focal_sigma, 4),
        "answers": [
            {
                "chance": round(a.chance, 4),
                "camera": a.camera.to_dict(),
                "members": list(map(member_to_json, a.members)),
                "left_out": [i for i, m in enumerate(a.member_of) if m < 0],
            }
            for a in found
        ],
    }


def camera(folder: Path, request: Payload) -> Payload:
    """The camera of a photo, made better by its rows: {photo, rows, camera, members} -> {camera}."""
    from recon.solve.by_hand.on_frame import refined_camera
    from webui.storage.build import PHOTOS

    known = Camera.from_dict(request["camera"])
    members = list(map(member_from_json, request["members"]))
    photo = _photo(folder / PHOTOS / request["photo"])
    found = refined_camera(known, members, _strokes(folder, request), photo.focal_prior_px)
    return {"camera": found.to_dict()}


ANSWERS: dict[str, Callable[[Path, Payload], Payload]] = {
    "count": count,
    "answers": answers,
    "camera": camera,
}


def main(argv: list[str]) -> int:
    """Answers lines of stdin until there are no more; `argv` is the build's folder."""
    from recon.limits import limit

    limit(memory=MEMORY)

    def answer(request: Payload) -> Payload:
        try:
            return ANSWERS[request["what"]](Path(argv[0]), request)
        except MemoryError:
            return {"problem": "There is not enough memory for this photo; use a smaller copy."}

    answer_lines(answer)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
