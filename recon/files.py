"""Files and folders of results written whole or not at all, and what stopped them in words."""

import contextlib
import errno
import os
import secrets
import shutil
import tempfile
from collections.abc import Iterator, Sequence
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


@contextlib.contextmanager
def output_folder(folder: str | Path, results: Sequence[str], overwrite: bool = False) -> Iterator[Path]:
    """Prepare a folder for the results of a command, which appear in it all together or not at all.

    The results are written into a staging folder on the same disk. When the block ends well they move to
    their names, in the order of `results`, each in one step; so the last should be the one that others read
    first. When it ends with an error, whatever was in `folder` before is untouched and nothing is added.

    Parameters
    ----------
    folder : str or Path
        Where the results go; created where it does not exist. Files in it that are no results are left alone.
    results : sequence of str
        Names of files or folders in `folder`.
    overwrite : bool
        Replace results that are there already. An older one that is not written again is removed, so that
        results of two runs do not mix.

    Yields
    ------
    Path
        The staging folder.

    Raises
    ------
    ReconError
        Where the folder cannot be made or written, is a file, or holds results that must not be replaced.

    Examples
    --------
    >>> import tempfile
    >>> from recon.files import output_folder, write_text_atomic
    >>> with tempfile.TemporaryDirectory() as place:
    ...     with output_folder(f"{place}/out", ["note.txt"]) as staging:
    ...         write_text_atomic(staging / "note.txt", "done")
    ...     Path(place, "out", "note.txt").read_text()
    'done'
    """
    folder = Path(folder)
    made = _made_folders(folder)
    try:
        if folder.exists() and not folder.is_dir():
            raise ReconError(f"{folder}: this is a file, and the results need a folder; choose another name.")
        there = [name for name in results if os.path.lexists(folder / name)]
        if there and not overwrite:
            raise ReconError(
                f"{folder}: already holds results ({', '.join(there)}); choose another folder with -o, "
                "or replace them with --overwrite."
            )
        folder.mkdir(parents=True, exist_ok=True)
        staging = Path(tempfile.mkdtemp(prefix=".unfinished-", dir=folder))
    except OSError as error:
        raise why_not_written(folder, error) from error
    done = False
    try:
        yield staging
        _move_results(staging, folder, results)
        done = True
    except OSError as error:
        raise why_not_written(error.filename or folder, error) from error
    finally:
        shutil.rmtree(staging, ignore_errors=True)
        if not done:
            _remove_empty(made)


def _made_folders(folder: Path) -> list[Path]:
    """Those of `folder` and the folders above it that do not exist yet, innermost first."""
    return [path for path in (folder, *folder.parents) if not os.path.lexists(path)]


def _remove_empty(folders: Sequence[Path]) -> None:
    """Remove folders, innermost first, up to the first that is not empty."""
    for path in folders:
        try:
            path.rmdir()
        except OSError:  # something was put there meanwhile: it stays
            return


def _move_results(staging: Path, folder: Path, results: Sequence[str]) -> None:
    """Move what was written to its place, and take results that were not written again out of it."""
    """Everything is complete and on this disk by now: what is left is renaming, which needs no room."""
    for name in results:
        new, place = staging / name, folder / name
        # Only files can take each other's place in one step; a folder, or a result not written again, is
        # moved out first.
        if place.is_dir() or (os.path.lexists(place) and not new.exists()):
            os.replace(place, staging / f".old-{name}")
        if new.exists():
            os.replace(new, place)
