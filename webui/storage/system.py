"""What operating systems do differently: files that are appended to, a folder forced to the disk, limits on
a process.

Linux and macOS have `resource`; Windows has no limits that a process can set on itself: there a process of
its own is all the shelter that a decoder gives.
"""

from __future__ import annotations

import os
from pathlib import Path
from types import ModuleType

resource: ModuleType | None
try:
    import resource
except ImportError:  # Windows
    resource = None

# To open a file that is appended to: bytes as they are, not given on to processes begun later, and no link
# followed.
APPEND = (
    os.O_RDWR
    | os.O_CREAT
    | os.O_APPEND
    | sum(getattr(os, name, 0) for name in ("O_CLOEXEC", "O_NOFOLLOW", "O_BINARY", "O_NOINHERIT"))
)


def sync_folder(folder: Path) -> None:
    """Forces the folder's list of names to the disk, so that a new file is found there after a power cut.

    Windows does that with the file.
    """
    if not hasattr(os, "O_DIRECTORY"):
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def limit(*, memory: int | None = None, cpu_s: int | None = None, file: int | None = None) -> None:
    """Limits this process and what it begins, as far as the system can; no core dumps.

    Parameters
    ----------
    memory : int, optional
        Bytes.
    cpu_s : int, optional
        Seconds of processor time.
    file : int, optional
        Bytes of a file written.
    """
    if resource is None:
        return
    for name, most in (
        ("RLIMIT_AS", memory),
        ("RLIMIT_CPU", cpu_s),
        ("RLIMIT_FSIZE", file),
        ("RLIMIT_CORE", 0),
    ):
        if most is not None and hasattr(resource, name):
            what = getattr(resource, name)
            hard = resource.getrlimit(what)[1]
            most = most if hard == resource.RLIM_INFINITY else min(most, hard)  # none may be raised
            resource.setrlimit(what, (most, most))


def step_back(by: int = 5) -> None:
    """Lets other processes go first."""
    if hasattr(os, "nice"):
        os.nice(by)
