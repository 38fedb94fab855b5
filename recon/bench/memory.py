"""The peak memory of a process."""

from __future__ import annotations

import re
from pathlib import Path

STATUS = "/proc/{}/status"


def peak_mb(process: int | str = "self") -> float:
    """Peak memory of one process, MB; not a number where the system does not say.

    Notes
    -----
    VmHWM of Linux (proc_pid_status(5)); `getrusage` would count what the parent had before, too.
    """
    status = Path(STATUS.format(process))
    if not status.exists():
        return float("nan")
    found = re.search(r"VmHWM:\s+(\d+) kB", status.read_text())
    return int(found[1]) / 1024 if found else float("nan")
