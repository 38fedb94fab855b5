"""A build whose journal is damaged, opened up to the damage: as a copy, so that nothing of it is lost."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from recon.errors import ReconError
from recon.files import why_not_written, write_bytes_atomic
from webui.storage.build import LEVELS
from webui.storage.journal import NAME, read_lines

DAMAGED = f"{NAME}.damaged"  # the whole of the damaged journal, in the copy


def rescue_build(folder: str | Path, copy: str | Path) -> str:
    """Copies a build, with its journal up to the first line that is damaged.

    The damaged journal lies beside it in the copy, whole; the build itself is left as it is.

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
    try:
        data = (folder / NAME).read_bytes()
    except OSError as error:
        raise ReconError(f"{folder / NAME}: cannot be read ({error.strerror}).") from error
    entries, good, damaged = read_lines(data)
    if not entries:
        raise ReconError(
            f"{folder / NAME}: nothing in it is good; put the file back from a copy of the build."
        )
    if damaged is None:
        raise ReconError(f"{folder / NAME}: nothing in it is damaged; open the build itself.")
    try:
        shutil.copytree(folder, copy, ignore=_not_copied, symlinks=True)
        write_bytes_atomic(copy / DAMAGED, data)
        write_bytes_atomic(copy / NAME, data[:good])
    except OSError as error:  # shutil.Error among them
        shutil.rmtree(copy, ignore_errors=True)
        raise why_not_written(copy, error) from error
    lost = data[good:].count(b"\n")
    return (
        f"{copy} holds the first {len(entries) - 1} changes. The {lost} from the damaged line on are not in "
        f"it; {DAMAGED} keeps them."
    )


def _not_copied(folder: str, names: list[str]) -> set[str]:
    """Names that are no part of a copy: pictures that are made anew, and files of programs at work."""
    return {name for name in names if name in (LEVELS, NAME) or name.endswith(".part")}
