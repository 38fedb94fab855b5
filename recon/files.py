"""Files and folders of results written whole or not at all, and what stopped them in words."""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import stat
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import ClassVar

from recon.errors import ReconError
from recon.locks import lock

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
    on one file system is atomic: POSIX.1-2017).  Where `path` is a link, the file it leads to is written.

    Raises
    ------
    ReconError
        Where it cannot be written, or `path` is no ordinary file (a folder, a device, a pipe); then nothing
        has changed.

    Examples
    --------
    >>> import tempfile
    >>> path = Path(tempfile.mkdtemp()) / "note.txt"
    >>> write_bytes_atomic(path, b"16 holes")
    >>> path.read_text()
    '16 holes'
    """
    part = None
    try:
        refuse_special(path)
        path = Path(os.path.realpath(path))
        part = path.with_name(f".{path.name[:40]}-{os.urandom(6).hex()}.part")
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
            if part:
                part.unlink()


def refuse_special(path: str | Path) -> None:
    """Refuse to write where there is something that is no ordinary file.

    Raises
    ------
    ReconError
        There is a folder, a device, a pipe or a socket, by itself or by a link.
    OSError
        There can be no such file, as of a name that is too long.
    """
    try:
        mode = os.stat(path).st_mode
    except FileNotFoundError:
        return
    if stat.S_ISDIR(mode):
        raise ReconError(f"{path}: this is a folder; name a file in it.")
    if not stat.S_ISREG(mode):
        raise ReconError(f"{path}: this is a device or a pipe and not an ordinary file; name another file.")


def write_text_atomic(path: str | Path, text: str) -> None:
    """`write_bytes_atomic` of text in UTF-8."""
    write_bytes_atomic(path, text.encode("utf-8"))


@contextlib.contextmanager
def output_folder(
    folder: str | Path,
    results: Sequence[str],
    overwrite: bool = False,
    is_ours: Callable[[Path], bool] = lambda _: False,
) -> Iterator[Path]:
    """Prepare a folder for the results of a command, which appear in it all together or not at all.

    The results are written into a staging folder on the same disk. When the block ends well they move to
    their names, in the order of `results`, each in one step; so the last should be the one that others read
    first. When it ends with an error, whatever was in `folder` before is untouched and nothing is added.

    Parameters
    ----------
    folder : str or Path
        Where the results go; created where it does not exist. Files in it that are no results are left alone.
    results : sequence of str
        Names of files in `folder`, and of folders, which end in a slash.
    overwrite : bool
        Replace results that are there already. An older one that is not written again is removed, so that
        results of two runs do not mix; in a folder only what `is_ours` knows.
    is_ours : callable
        Whether a file in a folder of results is one that this program wrote. What else lies there is the
        user's and stays.

    Yields
    ------
    Path
        The staging folder.

    Raises
    ------
    ReconError
        Where the folder cannot be made or written, is a file, holds results that must not be replaced or
        something else under their names, or where another process writes these results there now.

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
    try:
        made = _made_folders(folder)
        if folder.exists() and not folder.is_dir():
            raise ReconError(f"{folder}: this is a file, and the results need a folder; choose another name.")
        _refuse_what_is_there(folder, results, overwrite)
        folder.mkdir(parents=True, exist_ok=True)
        staging = _Staging(folder, results[-1].rstrip("/"), made)
    except OSError as error:
        raise why_not_written(folder, error) from error
    done = False
    try:
        yield staging.new
        _refuse_what_is_there(folder, results, overwrite)  # meanwhile another program may have put it there
        _move_results(staging, folder, results, is_ours)
        done = True
    except OSError as error:
        raise why_not_written(error.filename or folder, error) from error
    finally:
        staging.remove()
        if not done:
            _remove_empty(made)


def try_folder(folder: str | Path) -> None:
    """Find out, before long work, whether a folder is there or can be made; nothing is left of the trial.

    Raises
    ------
    ReconError
        It cannot.
    """
    folder = Path(folder)
    try:
        made = _made_folders(folder)
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise why_not_written(folder, error) from error
    _remove_empty(made)


def remove_unfinished() -> None:
    """Remove the staging folders that are open in this process, and those made for them.

    For a process that ends at once.
    """
    for staging in list(_Staging.open):
        staging.remove()
        _remove_empty(staging.made)


class _Staging:
    """A hidden folder for results that are not complete, which one process at a time has for itself.

    What an earlier process left there, killed before it was done, is cleared away.

    Attributes
    ----------
    new, old : Path
        Folders in it: for results to come, and for older ones on their way out.
    made : sequence of Path
        The folders above it that were made for it, innermost first.
    """

    open: ClassVar[set[_Staging]] = set()

    def __init__(self, folder: Path, name: str, made: Sequence[Path]) -> None:
        self.made = made
        self.path = folder / f".unfinished-{name}"
        self.new, self.old = self.path / "new", self.path / "old"
        self._file = self._claim(folder)
        _Staging.open.add(self)
        for part in (self.new, self.old):
            shutil.rmtree(part, ignore_errors=True)
            part.mkdir()

    def _claim(self, folder: Path) -> int:
        """The open, locked file that shows whose the folder is."""
        mine = self.path / "lock"
        while True:
            self.path.mkdir(exist_ok=True)
            try:
                file = os.open(mine, os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0), 0o600)
            except FileNotFoundError:  # whoever had it has just removed it
                continue
            try:
                free = lock(file)
            except OSError:  # this disk knows no locks: the look at what is there must do
                return file
            if not free:
                os.close(file)
                raise ReconError(
                    f"{folder}: another run is writing its results there now; wait until it is done, or "
                    "choose another folder with -o."
                )
            with contextlib.suppress(FileNotFoundError):
                if os.path.samestat(os.fstat(file), os.stat(mine)):
                    return file
            os.close(file)  # it was removed between opening and locking

    def remove(self) -> None:
        """Remove the folder with all that is in it, and let others have the place."""
        if self not in _Staging.open:
            return
        _Staging.open.remove(self)
        for part in (self.new, self.old):
            shutil.rmtree(part, ignore_errors=True)
        with contextlib.suppress(OSError):  # Windows removes no open file
            (self.path / "lock").unlink()
        os.close(self._file)
        shutil.rmtree(self.path, ignore_errors=True)


def _refuse_what_is_there(folder: Path, results: Sequence[str], overwrite: bool) -> None:
    """Refuse results that are there already, and anything that has a result's name and is none."""
    there = [name for name in results if os.path.lexists(folder / name.rstrip("/"))]
    if there and not overwrite:
        raise ReconError(
            f"{folder}: already holds results ({', '.join(there)}); choose another folder with -o, "
            "or replace them with --overwrite."
        )
    for name in there:
        mode = os.lstat(folder / name.rstrip("/")).st_mode
        if not (stat.S_ISDIR(mode) if name.endswith("/") else stat.S_ISREG(mode)):
            kind = "folder" if name.endswith("/") else "file"
            raise ReconError(
                f"{folder / name}: the result of this name is an ordinary {kind}, and what is there is not; "
                "give it another name, or choose another folder with -o."
            )


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


def _move_results(
    staging: _Staging, folder: Path, results: Sequence[str], is_ours: Callable[[Path], bool]
) -> None:
    """Move what was written to its place, and take results that were not written again out of it.

    Everything is complete and on this disk by now: what is left is renaming, which needs no room.
    """
    for name in results:
        new, place = staging.new / name.rstrip("/"), folder / name.rstrip("/")
        if name.endswith("/"):
            _move_into(new, place, staging.old, is_ours)
        elif new.exists():
            os.replace(new, place)
        elif os.path.lexists(place):
            os.replace(place, staging.old / place.name)


def _move_into(new: Path, place: Path, old: Path, is_ours: Callable[[Path], bool]) -> None:
    """Move the files of a folder of results into the one that is there; what is not ours there stays."""
    names = {p.name for p in new.iterdir()} if new.is_dir() else set()
    there = list(place.iterdir()) if place.is_dir() else []
    ordinary = {p for p in there if p.is_file() and not p.is_symlink()}
    in_the_way = [p for p in there if p.name in names and p not in ordinary]
    if in_the_way:
        raise ReconError(
            f"{in_the_way[0]}: a result has this name, and what is there is no ordinary file; move it."
        )
    for path in ordinary:
        if path.name not in names and is_ours(path):
            os.replace(path, old / path.name)
    if names:
        place.mkdir(exist_ok=True)
    for name in names:
        os.replace(new / name, place / name)
    if place.is_dir():
        with contextlib.suppress(OSError):  # something of the user's is in it
            place.rmdir()
