"""The one reading that may run for a build, in a process of its own."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import threading
from dataclasses import asdict
from pathlib import Path

from recon.corrections import merge
from recon.corrections.state import State, difference, member_from_json, patched
from recon.errors import ReconError
from recon.frame.stock import load_stocks
from webui.storage.build import Build
from webui.storage.reading_cache import SOLVER

_ROOT = Path(__file__).resolve().parents[2]


class Reading:
    """Reads the photos of a build in the background, in a process of its own."""

    def __init__(self, build: Build, solver: str = SOLVER, stocks=None):
        self.build, self.solver, self.stocks = build, solver, stocks or load_stocks()
        self._lock = threading.Lock()
        self._process: subprocess.Popen | None = None
        self._told = {
            "running": False,
            "stage": "",
            "share": 0.0,
            "problem": None,
            "left_out": [],
            "found": {},
            "cancelled": False,
        }

    def told(self) -> dict:
        """How it stands: running, stage, share 0..1, problem, left_out, found (photo -> how often it was renewed), cancelled."""
        with self._lock:
            return {**self._told, "found": dict(self._told["found"])}

    def begin(self, photos: list[str], stock: str | None, length: str | None):
        """Starts.  Raises ReconError where a reading runs already or there are no photos."""
        if not photos:
            raise ReconError("Add photos first: three or more, from different corners of the frame.")
        state = self.build.state
        options = {
            "photos": photos,
            "stock": stock,
            "length": length,
            "solver": self.solver,
            "aside": state.said.get("aside", []),
            "state": difference(State(), state),
            "stocks": [asdict(s) for s in self.stocks.values()],
        }
        with self._lock:
            if self._told["running"]:
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
            self._told.update(
                running=True, stage="starting", share=0.0, problem=None, left_out=[], cancelled=False
            )
        told = {key: options[key] for key in ("stock", "length") if options[key]}
        threading.Thread(
            target=self._follow, args=(process, json.dumps(options), told), name="reading", daemon=True
        ).start()

    def cancel(self):
        """Ends the reading; the build is as it was."""
        with self._lock:
            if self._told["running"] and self._process:
                self._told["cancelled"] = True
                self._process.kill()

    close = cancel

    def _follow(self, process, options: str, told: dict):
        done, problem = None, None
        try:
            process.stdin.write(options)
            process.stdin.close()
            for text in process.stdout:
                line = json.loads(text)
                done, problem = line.get("done", done), line.get("problem", problem)
                with self._lock:
                    if "stage" in line:
                        self._told.update(
                            stage=line["stage"], share=max(self._told["share"], min(1.0, line["share"]))
                        )
                    if "found" in line:
                        self._told["found"][line["found"]] = self._told["found"].get(line["found"], 0) + 1
        except (OSError, ValueError):
            pass  # it was ended; what follows says so
        process.wait()
        with self._lock:
            cancelled = self._told["cancelled"]
        if done and not cancelled:
            problem = self._keep(done, told)
        elif not problem and not cancelled:
            problem = _why_ended(process.returncode)
        with self._lock:
            self._told.update(
                running=False,
                problem=None if cancelled else problem,
                share=1.0 if done else 0.0,
                left_out=done["left_out"] if done else [],
            )

    def _keep(self, done, told: dict) -> str | None:
        """Journals the frame that was read, and the stock and length that it was `told` as the user's word; a sentence where it could
        not be."""
        from recon.solve.priors.constraints import (
            Disagreement,  # with it comes the whole solver, which the page needs only now
        )

        try:
            frame = patched(State(), done["delta"]).frame
            against = [
                Disagreement(member_from_json(said), seen and member_from_json(seen), away)
                for said, seen, away in done["against"]
            ]

            def make(state):
                new = merge.told(merge.kept(merge.untold(state, told), frame, against), told)
                return new, merge.words(state, new)

            self.build.change(make, kind="reading")
            self.build.save_frame_file()
        except ReconError as error:
            return str(error)
        return None


def _why_ended(code: int) -> str:
    """Why a reader's process ended without a word, from its exit status, in a sentence."""
    if code < 0 and -code == getattr(signal, "SIGKILL", 9):
        return "The reading was ended by the system, most likely for want of memory. Use fewer or smaller photos."
    return f"The reading ended before it was done: a fault in the reader (exit status {code}). Nothing was changed; try again."
