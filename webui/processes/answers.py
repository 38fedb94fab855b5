"""A process that answers lines: one JSON request a line on stdin, one JSON answer a line on stdout."""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
from collections.abc import Callable
from typing import Any

from recon.errors import ReconError

Payload = dict[str, Any]


def end_process(process: subprocess.Popen[bytes]) -> None:
    """Ends a process that answers lines, and waits until it has ended."""
    process.kill()
    process.wait()
    for pipe in (process.stdin, process.stdout):
        with contextlib.suppress(OSError):  # what was still to be sent
            if pipe:
                pipe.close()


def answer_lines(
    answer: Callable[[Payload], Payload], first: Callable[[Payload], None] | None = None
) -> None:
    """Answers the lines of stdin until there are no more.

    Parameters
    ----------
    answer : callable
        Request -> answer.  A ReconError becomes {problem: its sentence}, any other fault {fault: what it is};
        the next request may be without it.
    first : callable, optional
        Takes the first line, which has no answer.
    """
    out, sys.stdout = sys.stdout.buffer, sys.stderr  # so that nothing but answers gets there
    if first:
        first(json.loads(sys.stdin.buffer.readline()))
    for line in sys.stdin.buffer:
        request = json.loads(line)
        try:
            payload = answer(request)
        except ReconError as error:
            payload = {"problem": str(error)}
        except Exception as error:
            payload = {"fault": f"{type(error).__name__}: {error}"}
        out.write(json.dumps(payload).encode() + b"\n")
        out.flush()
