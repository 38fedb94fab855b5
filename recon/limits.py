"""Limits that a process sets on itself, so that what a decoder does with a bad file ends that process alone.

Linux and macOS have `resource`; Windows has no limits that a process can set on itself: there a process of
its own is all the shelter that a decoder gives.
"""

from __future__ import annotations

import os
from types import ModuleType

resource: ModuleType | None
try:
    import resource
except ImportError:  # Windows
    resource = None


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


def one_thread_of_algebra() -> None:
    """Keeps OpenBLAS, on which NumPy and SciPy stand, to one thread where they are loaded after this.

    A reading solves small systems in threads of its own; those of the library wait for work in loops and take
    processor time from these.  What the user has set stays.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def step_back(by: int = 5) -> None:
    """Lets other processes go first."""
    if hasattr(os, "nice"):
        os.nice(by)
