"""What follows from a frame (doubts, parts, checks, audit) in processes of their own: none of it holds up an
edit.

The page's process starts a process once (`DerivedWorker.warm`) and sends it what changed since the last
request; the process keeps the state as it stands then.  That process, `python -m webui.processes.derived
FOLDER`, reads JSON lines on stdin: first {"stocks"}, then {"what", "n", "delta"} each; it answers each with
the JSON that the page gets, in one line, or with {"problem"}, a sentence, or {"fault"}.
"""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path

from recon.corrections.state import State, difference, patched
from recon.errors import ReconError
from recon.frame.stock import Stock
from webui.processes.answers import Payload, answer_lines
from webui.storage.build import Build

_ROOT = Path(__file__).resolve().parents[2]
MOST_DOUBTS = 150  # sent at once: more than anyone goes through before the next change


class DerivedWorker:
    """One process that always computes for the newest version of the build; who waits for an older one gets
    that.

    Parameters
    ----------
    build : Build
    stocks : dict of str to Stock
    give_up : bool
        Whether a computation under way is ended where a newer version is requested; else it is awaited.  For
        what takes long: a process that was ended must start anew.
    """

    def __init__(self, build: Build, stocks: dict[str, Stock], *, give_up: bool = False) -> None:
        self.build, self.stocks, self.give_up = build, stocks, give_up
        self._turn = threading.Lock()  # taken while the process works
        self._guard = threading.Lock()  # taken for moments, for what follows
        self._process: subprocess.Popen[bytes] | None = None
        self._killed = False  # whether the process was ended from here
        self._closed = False
        self._at: int | None = None  # the version that is being computed
        self._sent = State()  # what the process knows
        self._answers: dict[str, tuple[int, bytes]] = {}

    def warm(self) -> None:
        """Starts the process where there is none, so that it is there when it is needed.

        Raises ReconError once this is closed.
        """
        self._started()

    def _started(self) -> subprocess.Popen[bytes]:
        with self._guard:
            if self._closed:  # a request that came while the page was closed
                raise ReconError("The page was closed meanwhile.")
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
            return self._process

    def of(self, what: str) -> bytes:
        """The JSON of `what` (a name in `ANSWERS`) for the build as it stands, with its version as `n`.

        Raises
        ------
        ReconError
            Where there is none, a newer version was requested meanwhile, or the process ended.
        """
        with self._guard:
            if self.give_up and self._process and self._at not in (None, self.build.n):
                self._process.kill()
                self._killed = True
        with self._turn:
            if self._killed:
                self._end()
            n, state, _ = self.build.snapshot()
            known, answer = self._answers.get(what, (None, b""))
            if known == n:
                return answer
            line = self._computed(what, n, state)
            if what != "audit":  # that follows from the plan's file, too
                self._answers[what] = n, line
            return line

    def _computed(self, what: str, n: int, state: State) -> bytes:
        """The process's answer, a line."""
        process = self._started()
        assert process.stdout is not None
        with self._guard:
            self._at = n
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
                "The frame changed while this was being computed."
                if self.build.n != n
                else "This could not be computed: most likely there was not enough memory."
            )
        if line.startswith(b'{"fault"'):
            raise RuntimeError(json.loads(line)["fault"])
        if line.startswith(b'{"problem"'):
            raise ReconError(json.loads(line)["problem"])
        return line

    def _send(self, process: subprocess.Popen[bytes], data: Payload) -> None:
        assert process.stdin is not None
        with contextlib.suppress(OSError):  # it has ended, and so says its silence
            process.stdin.write(json.dumps(data).encode() + b"\n")
            process.stdin.flush()

    def close(self) -> None:
        """Ends the process for good."""
        with self._guard:
            self._closed = True
        self._end()

    def _end(self) -> None:
        """Ends the process; the next request starts another."""
        with self._guard:
            process, self._process, self._killed = self._process, None, False
        if process:
            process.kill()
            process.wait()
            for pipe in (process.stdin, process.stdout):
                with contextlib.suppress(OSError):  # what was still to be sent
                    if pipe:
                        pipe.close()


# The other process


def _doubts(state: State, stocks: dict[str, Stock], folder: Path) -> Payload:
    from recon.corrections.laps import clashes
    from recon.corrections.review import doubts

    found = doubts(state, clashes(state.frame, {m.id for m in state.frame.members}))
    return {"doubts": found[:MOST_DOUBTS], "more": max(0, len(found) - MOST_DOUBTS)}


def _parts(state: State, stocks: dict[str, Stock], folder: Path) -> Payload:
    from webui.derived import parts_and_checks

    return {"parts": parts_and_checks.parts(state, stocks)}


def _checks(state: State, stocks: dict[str, Stock], folder: Path) -> Payload:
    from webui.derived import parts_and_checks

    return {"checks": parts_and_checks.checks(state, stocks)}


def _audit(state: State, stocks: dict[str, Stock], folder: Path) -> Payload:
    from recon.corrections.plan_audit import compare_with_plan
    from webui.storage.plan import load_plan

    return compare_with_plan(state.frame, load_plan(folder, stocks))


ANSWERS: dict[str, Callable[[State, dict[str, Stock], Path], Payload]] = {
    "doubts": _doubts,
    "parts": _parts,
    "checks": _checks,
    "audit": _audit,
}


def main(argv: list[str]) -> int:
    """Answers lines of stdin until there are no more; `argv` is the build's folder."""
    import recon.corrections.review
    import recon.workshop.rigidity.frame_check  # noqa: F401 (while nobody waits)
    import webui.derived.parts_and_checks  # noqa: F401
    from recon.limits import step_back

    step_back()
    state, stocks = State(), dict[str, Stock]()

    def begin(settings: Payload) -> None:
        for d in settings["stocks"]:
            stocks[d["id"]] = Stock(**{**d, "lengths_mm": tuple(d["lengths_mm"])})

    def answer(request: Payload) -> Payload:
        nonlocal state
        state = patched(state, request["delta"])
        return {"n": request["n"], **ANSWERS[request["what"]](state, stocks, Path(argv[0]))}

    answer_lines(answer, begin)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
