"""The one reading that may run for a build, in a process of its own."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from recon.corrections import merge
from recon.corrections.merge import ReadingRequest
from recon.corrections.solver import objection_from_json
from recon.corrections.state import State, difference, patched
from recon.errors import ReconError
from recon.frame.stock import Stock, load_stocks
from webui.storage.build import Build
from webui.storage.job_status import JobStatus
from webui.storage.pace import Work, expected_s, learn, work_of
from webui.storage.reading_cache import SOLVER

_ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class ReadingStatus(JobStatus):
    """How a reading stands.

    Attributes
    ----------
    left_out : list
        [photo, reason] of those that were not used.
    found : dict of str to int
        photo -> how often what was found in it was renewed.
    done : list of str
        Photos of this reading that were read by themselves.
    expected_s : float or None
        How long it takes on this machine, as far as is known, s.
    cancelled : bool
    """

    left_out: list[list[str]] = field(default_factory=list)
    found: Mapping[str, int] = field(default_factory=dict)
    cancelled: bool = False
    done: tuple[str, ...] = ()
    expected_s: float | None = None

    def after(self, line: Mapping[str, Any]) -> ReadingStatus:
        """The status after a line of the process that reads."""
        status = self
        if "stage" in line:
            status = replace(status, stage=line["stage"], share=max(self.share, min(1.0, line["share"])))
        if "found" in line:
            photo = line["found"]
            status = replace(status, found={**self.found, photo: self.found.get(photo, 0) + 1})
            if line.get("whole", True) and photo not in self.done:
                status = replace(status, done=(*self.done, photo))
        return status


class ReadingJob:
    """Reads the photos of a build in the background, in a process of its own."""

    def __init__(self, build: Build, solver: str = SOLVER, stocks: dict[str, Stock] | None = None) -> None:
        self.build, self.solver, self.stocks = build, solver, stocks or load_stocks()
        self._lock = threading.Lock()
        self._process: subprocess.Popen[str] | None = None
        self._status = ReadingStatus()
        self._closed = False

    def status(self) -> ReadingStatus:
        """How it stands."""
        with self._lock:
            return self._status

    def begin(self, photos: list[str], request: ReadingRequest) -> None:
        """Starts.

        Raises ReconError where a reading runs already, there are no photos, or this is closed.
        """
        if not photos:
            raise ReconError("Add photos first: three or more, from different corners of the frame.")
        options = self._options(photos, request)
        with self._lock:
            if self._closed:  # a request that came while the page was closed
                raise ReconError("The page was closed meanwhile.")
            if self._status.running:
                raise ReconError("A reading is under way; wait for it or cancel it.")
            process = subprocess.Popen(
                [sys.executable, "-m", "webui.processes.reading_worker", str(self.build.folder)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                text=True,
                cwd=_ROOT,
            )
            self._process = process
            work = work_of(self.build.folder, [p for p in photos if p not in options["aside"]])
            self._status = ReadingStatus(
                running=True, stage="starting", found=self._status.found, expected_s=expected_s(work)
            )
        threading.Thread(
            target=self._follow,
            args=(process, json.dumps(options), request, work),
            name="reading",
            daemon=True,
        ).start()

    def _options(self, photos: list[str], request: ReadingRequest) -> dict[str, Any]:
        state = self.build.state
        return {
            "photos": photos,
            "stock": request.stock,
            "length": request.length,
            "solver": self.solver,
            "aside": list(state.corrections.set_aside),
            "state": difference(State(), state),
            "stocks": [asdict(s) for s in self.stocks.values()],
        }

    def cancel(self) -> None:
        """Ends the reading; the build is as it was."""
        with self._lock:
            if self._status.running and self._process:
                self._status = replace(self._status, cancelled=True)
                self._process.kill()

    def close(self) -> None:
        """Ends the reading, and lets none begin."""
        with self._lock:
            self._closed = True
        self.cancel()

    def _follow(
        self, process: subprocess.Popen[str], options: str, request: ReadingRequest, work: Work | None
    ) -> None:
        began = time.monotonic()
        done, problem = self._listen(process, options)
        process.wait()
        if done and self.solver == SOLVER:
            learn(work, time.monotonic() - began)
        with self._lock:
            cancelled = self._status.cancelled
        if done and not cancelled:
            problem = self._journal(done, request)
        elif not problem and not cancelled:
            problem = _why_ended(process.returncode)
        with self._lock:
            self._status = replace(
                self._status,
                running=False,
                problem=None if cancelled else problem,
                share=1.0 if done else 0.0,
                left_out=done["left_out"] if done else [],
            )

    def _listen(
        self, process: subprocess.Popen[str], options: str
    ) -> tuple[dict[str, Any] | None, str | None]:
        """What the process came to, or why it did not, once it has said all."""
        done, problem = None, None
        assert process.stdin is not None and process.stdout is not None
        try:
            process.stdin.write(options)
            process.stdin.close()
            for text in process.stdout:
                line = json.loads(text)
                done, problem = line.get("done", done), line.get("problem", problem)
                with self._lock:
                    self._status = self._status.after(line)
        except (OSError, ValueError):
            pass  # it was ended; its exit status says so
        return done, problem

    def _journal(self, done: dict[str, Any], request: ReadingRequest) -> str | None:
        """Journals the frame that was read, with the stock and length of its request; a sentence where it
        could not be."""
        try:
            frame = patched(State(), done["delta"]).frame
            objections = list(map(objection_from_json, done["against"]))

            def make(state: State) -> tuple[State, str]:
                new = merge.without_reading_request(state, request)
                new = merge.with_reading_request(merge.merge_reading(new, frame, objections), request)
                return new, merge.reading_words(state, new)

            self.build.change(make, kind="reading")
            self.build.save_frame_file()
        except ReconError as error:
            return str(error)
        return None


def _why_ended(code: int) -> str:
    """Why a reader's process ended without a word, from its exit status, in a sentence."""
    if code < 0 and -code == getattr(signal, "SIGKILL", 9):
        return (
            "The reading was ended by the system, most likely for want of memory. "
            "Use fewer or smaller photos."
        )
    return (
        f"The reading ended before it was done: a fault in the reader (exit status {code}). "
        "Nothing was changed; try again."
    )
