"""What operating systems do differently: files that are appended to, a folder forced to the disk."""

from __future__ import annotations

import os
from pathlib import Path

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
