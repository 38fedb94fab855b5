"""What follows from a frame (doubts, parts, checks, audit) in processes of their own, so that none of it holds up an edit.

The page's process starts a process once (`Reckoner.warm`) and tells it what changed since it was last asked; it keeps the state as
it stands then.  That process, `python -m webui.processes.derived FOLDER`, reads JSON lines on stdin: first {"stocks"}, then {"what", "n", "delta"}
each; it answers each with the JSON that the page gets, in one line, or with {"problem"}, a sentence, or {"fault"}.
"""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from dataclasses import asdict
from pathlib import Path

from recon.corrections.state import State, difference, patched
from recon.errors import ReconError
from webui.storage.build import Build

_ROOT = Path(__file__).resolve().parents[2]
MOST_DOUBTS = 150  # sent at once: more than anyone goes through before the next change


class Reckoner:
    """One process.  It always reckons the newest version of the build, and those who wait for an older one get that.

    give_up : whether a reckoning under way is ended where a newer version is asked for; else it is awaited.  For what takes long:
    a process that was ended must start anew.
    """

    def __init__(self, build: Build, stocks: dict, *, give_up: bool = False):
        self.build, self.stocks, self.give_up = build, stocks, give_up
        self._turn = threading.Lock()  # held while the process works
        self._guard = threading.Lock()  # held for moments, for what follows
        self._process: subprocess.Popen | None = None
        self._ended = False  # whether it was told to end
        self._at: int | None = None  # the version that is being reckoned
        self._sent = State()  # what the process knows
        self._known: dict[str, tuple[int, bytes]] = {}

    def warm(self):
        """Starts the process where there is none, so that it is there when it is asked."""
        with self._guard:
            if self._process is None:
                self._process = subprocess.Popen(
                    [sys.executable, "-m", "webui.processes.derived", str(self.build.folder)],
                    stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE,
                    stderr=subprocess.DEVNULL,
                    cwd=_ROOT,
                )
                self._sent = State()
                self._send(self._process, {"stocks": [asdict(s) for s in self.stocks.values()]})

    def of(self, what: str) -> bytes:
        """The JSON of `what` (a name in `ANSWERS`) for the build as it stands, with its version as `n`.

        Raises ReconError where there is none, a newer version was asked for meanwhile, or the process ended.
        """
        with self._guard:
            if self.give_up and self._at not in (None, self.build.n):
                self._process.kill()
                self._ended = True
        with self._turn:
            if self._ended:
                self._end()
            n, state, _ = self.build.snapshot()
            if self._known.get(what, (None,))[0] == n:
                return self._known[what][1]
            self.warm()
            with self._guard:
                self._at, process = n, self._process
            try:
                self._send(process, {"what": what, "n": n, "delta": difference(self._sent, state)})
                self._sent = state
                line = process.stdout.readline()
            finally:
                with self._guard:
                    self._at = None
            if not line.endswith(b"\n"):
                self._end()
                raise ReconError(
                    "The frame changed while it was being reckoned."
                    if self.build.n != n
                    else "This could not be reckoned: most likely there was not enough memory."
                )
            if line.startswith(b'{"fault"'):
                raise RuntimeError(json.loads(line)["fault"])
            if line.startswith(b'{"problem"'):
                raise ReconError(json.loads(line)["problem"])
            if what != "audit":  # that follows from the plan's file, too
                self._known[what] = n, line
            return line

    def _send(self, process, data):
        try:
            process.stdin.write(json.dumps(data).encode() + b"\n")
            process.stdin.flush()
        except OSError:  # it has ended, and so says its silence
            pass

    def _end(self):
        with self._guard:
            process, self._process, self._ended = self._process, None, False
        if process:
            process.kill()
            process.wait()
            for pipe in (process.stdin, process.stdout):
                try:
                    pipe.close()
                except OSError:  # what was still to be sent
                    pass

    close = _end


# The other process


def _doubts(state, stocks, folder) -> dict:
    from recon.corrections.edits import clashes
    from recon.corrections.review import doubts

    found = doubts(state, clashes(state.frame, {m.id for m in state.frame.members}))
    return {"doubts": found[:MOST_DOUBTS], "more": max(0, len(found) - MOST_DOUBTS)}


def _parts(state, stocks, folder) -> dict:
    from webui.derived import parts_and_checks

    return {"parts": parts_and_checks.parts(state, stocks)}


def _checks(state, stocks, folder) -> dict:
    from webui.derived import parts_and_checks

    return {"checks": parts_and_checks.checks(state, stocks)}


def _audit(state, stocks, folder) -> dict:
    from recon.corrections.plan_audit import held_against, load_plan

    return held_against(state.frame, load_plan(folder, stocks))


ANSWERS = {"doubts": _doubts, "parts": _parts, "checks": _checks, "audit": _audit}


def main(argv) -> int:
    import recon.corrections.review
    import recon.workshop.rigidity.frame_check  # noqa: F401 (while nobody waits)
    import webui.derived.parts_and_checks  # noqa: F401
    from recon.frame.stock import Stock
    from webui.storage.system import step_back

    step_back()
    out, sys.stdout = sys.stdout.buffer, sys.stderr  # so that nothing but answers gets there
    state = State()
    stocks = {
        d["id"]: Stock(**{**d, "lengths_mm": tuple(d["lengths_mm"])})
        for d in json.loads(sys.stdin.buffer.readline())["stocks"]
    }
    for line in sys.stdin.buffer:
        ask = json.loads(line)
        try:
            state = patched(state, ask["delta"])
            answer = {"n": ask["n"], **ANSWERS[ask["what"]](state, stocks, Path(argv[0]))}
        except ReconError as error:
            answer = {"problem": str(error)}
        except Exception as error:  # a fault; the next version may be without it
            answer = {"fault": f"{type(error).__name__}: {error}"}
        out.write(json.dumps(answer).encode() + b"\n")
        out.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
