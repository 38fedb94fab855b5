"""A file locked for this process, so that no other works in the same place."""

from __future__ import annotations

import errno
import importlib
import os
from types import ModuleType
from typing import Any

fcntl: ModuleType | None
try:
    import fcntl
except ImportError:  # Windows
    fcntl = None
    msvcrt: Any = importlib.import_module("msvcrt")

# The byte that is locked where locks keep others from reading, too: the last that msvcrt reaches (its offsets
# are 32-bit), far behind the end of any file that is locked.
LOCK_AT = 2**31 - 2
_LOCKED = (errno.EAGAIN, errno.EWOULDBLOCK, errno.EACCES, errno.EDEADLK)


def lock(file: int) -> bool:
    """Locks an open file for this process until it is closed or the process ends; False where another has it.

    Parameters
    ----------
    file : int
        The descriptor of a file that is open for writing.

    Raises
    ------
    OSError
        Where the disk knows no locks.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.NamedTemporaryFile() as one, open(one.name, "r+") as other:
    ...     lock(one.fileno()), lock(other.fileno())
    (True, False)
    """
    try:
        if fcntl is not None:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        else:
            os.lseek(file, LOCK_AT, os.SEEK_SET)  # what is appended goes to the end all the same
            msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
    except OSError as error:
        if error.errno in _LOCKED:
            return False
        raise
    return True
