"""A build whose journal is damaged, opened up to the damage: as a copy, so that nothing of it is lost."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from recon.errors import ReconError
from recon.files import why_not_written, write_bytes_atomic
from webui.storage.build import LEVELS, WORK
from webui.storage.journal import NAME, read_lines

DAMAGED = ".damaged"  # ends the name of the whole of a damaged journal, in the copy


def rescue_build(folder: str | Path, copy: str | Path) -> str:
    """Copies a build, with each of its journals up to the first line that is damaged.

    A damaged journal lies beside it in the copy, whole; the build itself is left as it is.

    Parameters
    ----------
    folder : path
        The build's.
    copy : path
        A folder that does not exist.

    Returns
    -------
    str
        What was kept and what not, in words.

    Raises
    ------
    ReconError
        Where there is no journal, nothing of it is good, nothing is damaged, or `copy` exists or cannot be
        written.
    """
    folder, copy = Path(folder), Path(copy)
    if os.path.lexists(copy):
        raise ReconError(f"{copy}: exists already; name a new folder for the copy.")
    found = [_Found(folder / NAME), *(_Found(path) for path in [folder / WORK] if path.is_file())]
    damaged = [journal for journal in found if journal.damaged]
    if not damaged:
        raise ReconError(f"{folder / NAME}: nothing in it is damaged; open the build itself.")
    try:
        shutil.copytree(folder, copy, ignore=_not_copied, symlinks=True)
        for journal in found:
            if journal.damaged:
                write_bytes_atomic(copy / f"{journal.path.name}{DAMAGED}", journal.data)
            write_bytes_atomic(copy / journal.path.name, journal.data[: journal.good])
    except OSError as error:  # shutil.Error among them
        shutil.rmtree(copy, ignore_errors=True)
        raise why_not_written(copy, error) from error
    return f"{copy} holds {' '.join(journal.words() for journal in damaged)}"


class _Found:
    """A journal as it was found; raises ReconError where nothing of it can be used."""

    def __init__(self, path: Path) -> None:
        self.path = path
        try:
            self.data = path.read_bytes()
        except OSError as error:
            raise ReconError(f"{path}: cannot be read ({error.strerror}).") from error
        self.entries, self.good, line = read_lines(self.data)
        self.damaged = line is not None
        if not self.entries:
            raise ReconError(f"{path}: nothing in it is good; put the file back from a copy of the build.")

    def words(self) -> str:
        """How much of it is kept, where it is damaged."""
        lost = self.data[self.good :].count(b"\n")
        of = "" if self.path.name == NAME else f" of {self.path.name}"
        return (
            f"the first {len(self.entries) - 1} changes{of}. The {lost} from the damaged line on are not in "
            f"it; {self.path.name}{DAMAGED} keeps them."
        )


def _not_copied(folder: str, names: list[str]) -> set[str]:
    """Names that are no part of a copy: pictures that are made anew, and files of programs at work."""
    return {name for name in names if name in (LEVELS, NAME, WORK) or name.endswith(".part")}
