"""The output folder: what a command writes appears in it all together, or not at all."""

import os
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from recon.errors import ReconError
from recon.files import why_not_written, write_bytes_atomic, write_text_atomic

__all__ = ["output_folder", "write_bytes_atomic", "write_text_atomic"]


@contextmanager
def output_folder(folder: str | Path, results: Sequence[str], overwrite: bool = False) -> Iterator[Path]:
    """Prepare `folder` for a command that will write `results` (names of files or folders in it).

    Gives a staging folder to write into, on the same disk. When the block ends well the results move to their names, in
    the order of `results`, each in one step; so the last should be the one that others read first. When it ends with an
    error, whatever was in `folder` before is untouched and nothing is added.

    Files in `folder` that are no results are left alone. A result that is there already is refused unless `overwrite`;
    then an older one that this run did not write goes too, so that results of two runs do not mix.

    Raises ReconError where the folder cannot be made or written, is a file, or holds results that must not be replaced.
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
    for path in folders:
        try:
            path.rmdir()
        except OSError:  # something was put there meanwhile: it stays
            return


def _move_results(staging: Path, folder: Path, results: Sequence[str]) -> None:
    """Everything is complete and on this disk by now: what is left is renaming, which needs no room."""
    for name in results:
        new, place = staging / name, folder / name
        # Only files can take each other's place in one step; a folder, or a result not written again, is moved out first.
        if place.is_dir() or (os.path.lexists(place) and not new.exists()):
            os.replace(place, staging / f".old-{name}")
        if new.exists():
            os.replace(new, place)
