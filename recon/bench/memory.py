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


def forget_peak() -> bool:
    """Let this process's peak memory count from now on; False where the system cannot.

    Notes
    -----
    5 written to clear_refs of Linux (proc_pid_clear_refs(5)).
    """
    try:
        Path("/proc/self/clear_refs").write_text("5")
    except OSError:
        return False
    return True
