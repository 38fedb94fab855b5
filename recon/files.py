"""Files written whole or not at all, and what stopped them in words. For every floor that writes."""

import contextlib
import errno
import os
import secrets
import shutil
from pathlib import Path

from recon.errors import ReconError

_WHY = {
    errno.ENOSPC: "the disk is full; make room or write to another place",
    errno.EDQUOT: "your share of the disk is used up; make room or write to another place",
    errno.EROFS: "that place is read-only; write to another folder",
    errno.EACCES: "you are not allowed to write there; change its permissions or write to another folder",
    errno.EPERM: "you are not allowed to write there; change its permissions or write to another folder",
    errno.ENOENT: "its folder does not exist; create it first",
    errno.ENOTDIR: "a part of its path is a file and not a folder; choose another name",
    errno.EISDIR: "a folder of that name is in the way; choose another name",
    errno.ENAMETOOLONG: "its name is too long; choose a shorter one",
    errno.EFBIG: "it is too large for that disk; write to another place",
}


def why_not_written(path: str | Path, error: OSError) -> ReconError:
    """The error to raise where writing `path` failed: what stopped it and what to do."""
    reason = _WHY.get(error.errno or 0, f"{error.strerror or error}; write to another place")
    return ReconError(f"{path}: cannot be written: {reason}.")


def write_bytes_atomic(path: str | Path, data: bytes) -> None:
    """Write a file so that at any moment it has its old contents or its new ones, never part of them.

    The data go to a hidden file beside it, are forced to the disk, and take the name in one step (rename(2)
    on one file system is atomic: POSIX.1-2017).

    Raises
    ------
    ReconError
        Where it cannot be written; then nothing has changed.

    Examples
    --------
    >>> import tempfile
    >>> path = Path(tempfile.mkdtemp()) / "note.txt"
    >>> write_bytes_atomic(path, b"16 holes")
    >>> path.read_text()
    '16 holes'
    """
    path = Path(path)
    part = path.with_name(f".{path.name[:40]}-{secrets.token_hex(6)}.part")
    try:
        with open(part, "xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if path.exists():
            shutil.copymode(path, part)
        os.replace(part, path)
    except OSError as error:
        raise why_not_written(path, error) from error
    finally:
        with contextlib.suppress(OSError):  # gone already, or on a disk that takes nothing at all
            part.unlink()


def write_text_atomic(path: str | Path, text: str) -> None:
    """`write_bytes_atomic` of text in UTF-8."""
    write_bytes_atomic(path, text.encode("utf-8"))
