"""The peak memory of this process."""

from __future__ import annotations

import re
from pathlib import Path

STATUS = Path("/proc/self/status")


def peak_mb() -> float:
    """Peak memory of this process alone, MB; not a number where the system does not say.

    Notes
    -----
    VmHWM of Linux (proc_pid_status(5)); `getrusage` would count what the parent had before, too.
    """
    if not STATUS.exists():
        return float("nan")
    found = re.search(r"VmHWM:\s+(\d+) kB", STATUS.read_text())
    return int(found[1]) / 1024 if found else float("nan")
