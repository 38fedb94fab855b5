"""What follows from a frame (doubts, parts, checks, audit) in processes of their own: none of it holds up an
edit.

The page's process starts a process once (`DerivedWorker.warm`) and sends it what changed since the last
request; the process keeps the state as it stands then.  That process, `python -m webui.processes.derived
FOLDER`, reads JSON lines on stdin: first {"stocks"}, then {"what", "n", "delta", "about"} each; it answers
each with the JSON that the page gets, in one line, or with {"problem"}, a sentence, or {"fault"}.
"""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from recon.corrections.state import State, difference, patched
from recon.errors import ReconError
from recon.frame.stock import Stock
from webui.processes.answers import Payload, answer_lines, end_process
from webui.storage.build import Build

if TYPE_CHECKING:
    from webui.derived.steps import StepsOf

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

    def of(self, what: str, about: Payload | None = None) -> bytes:
        """The JSON of `what` (a name in `ANSWERS`) for the build as it stands, with its version as `n`.

        Parameters
        ----------
        what : str
        about : dict, optional
            What the answer is about, where that is more than the build; such answers are not kept.

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
            if known == n and about is None:
                return answer
            line = self._computed(what, n, state, about or {})
            if what != "audit" and about is None:  # that follows from the plan's file, too
                self._answers[what] = n, line
            return line

    def _computed(self, what: str, n: int, state: State, about: Payload) -> bytes:
        """The process's answer, a line."""
        process = self._started()
        assert process.stdout is not None
        with self._guard:
            self._at = n
        try:
            delta = difference(self._sent, state)
            self._send(process, {"what": what, "n": n, "delta": delta, "about": about})
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
            end_process(process)


# The other process


@dataclass(frozen=True)
class Question:
    """What is asked of the other process.

    Attributes
    ----------
    state : State
    stocks : dict of str to Stock
    folder : Path
        The build's.
    about : dict
        What else the request says.
    """

    state: State
    stocks: dict[str, Stock]
    folder: Path
    about: Payload


def _doubts(asked: Question) -> Payload:
    from recon.corrections.laps import clashes
    from recon.corrections.review import doubts

    frame = asked.state.frame
    found = doubts(asked.state, clashes(frame, {m.id for m in frame.members}))
    return {"doubts": found[:MOST_DOUBTS], "more": max(0, len(found) - MOST_DOUBTS)}


def _parts(asked: Question) -> Payload:
    from webui.derived import parts_and_checks

    return {"parts": parts_and_checks.parts(asked.state, asked.stocks)}


def _checks(asked: Question) -> Payload:
    from webui.derived import parts_and_checks

    return {"checks": parts_and_checks.checks(asked.state, asked.stocks)}


def _audit(asked: Question) -> Payload:
    from recon.corrections.plan_audit import compare_with_plan
    from webui.storage.plan import load_plan

    return compare_with_plan(asked.state.frame, load_plan(asked.folder, asked.stocks))


def _comparison(asked: Question) -> Payload:
    from recon.corrections.merge import laid_on
    from recon.corrections.plan_audit import compare_with_plan

    of, other = asked.about.get("of"), asked.about["with"]
    now = asked.state.frame
    frame = now if of is None else laid_on(patched(State(), of).frame, now)
    found = compare_with_plan(frame, patched(State(), other).frame)
    if of is not None:  # nothing of the build as it is now is mended by it
        for row in (*found["differences"], *found["not_checked"], *found["said"]):
            row["mend"] = []
    return {**found, "names": asked.about["names"]}


_steps_of: list[StepsOf] = []  # of the frame that was asked for last


def _steps(asked: Question) -> Payload:
    return _known_steps(asked).rows()


def _picture(asked: Question) -> Payload:
    return {"svg": _known_steps(asked).picture(int(asked.about["step"]), str(asked.about["shape"]))}


def _space(asked: Question) -> Payload:
    return {"html": _known_steps(asked).space(max(1, int(asked.about["step"])))}


def _known_steps(asked: Question) -> StepsOf:
    from webui.derived.steps import StepsOf

    if not _steps_of or _steps_of[0].frame != asked.state.frame:
        _steps_of[:] = [StepsOf(asked.state.frame, asked.stocks)]
    return _steps_of[0]


ANSWERS: dict[str, Callable[[Question], Payload]] = {
    "doubts": _doubts,
    "parts": _parts,
    "checks": _checks,
    "audit": _audit,
    "comparison": _comparison,
    "steps": _steps,
    "picture": _picture,
    "space": _space,
}
EFFECTS = ("doubts", "parts", "checks")  # those that the page asks for by name


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
        asked = Question(state, stocks, Path(argv[0]), request["about"])
        return {"n": request["n"], **ANSWERS[request["what"]](asked)}

    answer_lines(answer, begin)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
