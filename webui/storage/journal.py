"""The journal: every change of a build, in one append-only file.

A text file, a line an entry, rather than a database: there is one writer (the folder is locked) and no query,
a copy or a zip of the folder is whole with this one file, and a person can read it.  Each line ends in a
checksum and is forced to the disk before it counts, so a kill at any moment leaves at most one torn last
line, which was never acknowledged and is cut off at the next opening.
"""

from __future__ import annotations

import json
import os
import zlib
from pathlib import Path
from typing import Any

from recon.errors import ReconError
from recon.files import why_not_written
from recon.locks import lock
from webui.storage import system

Entry = dict[str, Any]

FORMAT, VERSION = "frame-build", 1
NAME = "build.journal"
LONGEST_LINE = 64 * 2**20  # an entry that holds a whole frame of 2000 members is under 2 MB


def line_of(entry: Entry) -> bytes:
    """An entry as a line: JSON, a tab, the checksum (CRC-32) of the JSON in hex.

    Examples
    --------
    >>> line_of({"n": 1})
    b'{"n":1}\\td44b3b7e\\n'
    """
    text = json.dumps(entry, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode("utf-8")
    return text + b"\t%08x\n" % zlib.crc32(text)


def entry_of(line: bytes) -> Entry | None:
    """The entry in a whole line; None where the line is torn or altered."""
    text, tab, check = line.rpartition(b"\t")
    try:
        if not tab or not line.endswith(b"\n") or int(check, 16) != zlib.crc32(text):
            return None
        entry = json.loads(text)
    except (ValueError, RecursionError):
        return None
    return entry if isinstance(entry, dict) else None


class Journal:
    """The journal of one build folder, opened or begun, and locked for this process until `close`.

    Attributes
    ----------
    path : Path
    entries : list of dict
        All of them in order, each with `n` = 1, 2, ... (as opened; `append` adds to the file alone).
    last : int
        The number of the last one.

    Raises
    ------
    ReconError
        Where the folder is in use, was written by a newer program, is damaged, or cannot be written.
    """

    def __init__(self, folder: str | Path) -> None:
        self.path = Path(folder) / NAME
        try:
            self._file = os.open(self.path, system.APPEND, 0o644)
        except OSError as error:
            raise why_not_written(self.path, error) from error
        try:
            self._lock()
            self.entries = self._read()
        except BaseException:
            os.close(self._file)
            raise
        self.last = len(self.entries)

    def _lock(self) -> None:
        try:
            free = lock(self._file)
        except OSError as error:
            raise ReconError(
                f"{self.path.parent}: the disk does not let this program keep others out of the build "
                f"({error.strerror}); copy the build to a disk of this machine and open it there."
            ) from error
        if not free:
            raise ReconError(
                f"{self.path.parent}: this build is open in another program on this machine; "
                "close it there first, or open its page in another tab."
            )

    def _read(self) -> list[Entry]:
        size = os.fstat(self._file).st_size
        with open(self.path, "rb") as file:
            data = file.read(size)
        entries, good = self._good_entries(data.splitlines(keepends=True))
        header = line_of({"format": FORMAT, "version": VERSION})
        # A torn beginning may be written anew; what someone else wrote stays.
        if good == 0 and not header.startswith(data):
            raise ReconError(
                f"{self.path}: this is not the journal of a build; "
                "give that file another name, or open another folder."
            )
        if good < size:
            os.ftruncate(self._file, good)
        if good == 0:
            self._write(header)
            system.sync_folder(self.path.parent)
        self._size = os.fstat(self._file).st_size
        return entries

    def _good_entries(self, lines: list[bytes]) -> tuple[list[Entry], int]:
        """The entries up to a torn last line, and how many bytes they and the header take."""
        entries, good = [], 0
        for number, line in enumerate(lines, 1):
            entry = entry_of(line)
            if number == 1 and entry is not None:
                self._check_header(entry)
            if entry is None or (number > 1 and entry.get("n") != number - 1):
                if number < len(lines):
                    raise ReconError(
                        f"{self.path}: line {number} is damaged, and there are good ones after it; "
                        "put the file back from a copy of the build."
                    )
                break
            if number > 1:
                entries.append(entry)
            good += len(line)
        return entries, good

    def _check_header(self, entry: Entry) -> None:
        if entry.get("format") != FORMAT:
            raise ReconError(f"{self.path}: this is not the journal of a build; open another folder.")
        version = entry.get("version")
        if not isinstance(version, int) or version > VERSION:
            raise ReconError(
                f"{self.path}: this build was made by a newer program (version {version}; this one knows "
                f"{VERSION}); update this program. Nothing was changed."
            )

    def append(self, entry: Entry) -> int:
        """Adds an entry and returns its number once it is on the disk.

        Raises
        ------
        ReconError
            Where it cannot be written; then the journal is as it was before.
        """
        line = line_of({"n": self.last + 1, **entry})
        if len(line) > LONGEST_LINE:
            raise ReconError("This change is too large to keep; make a smaller one.")
        try:
            self._write(line)
        except OSError as error:
            os.ftruncate(self._file, self._size)
            raise ReconError(f"Your change was not made. {why_not_written(self.path, error)}") from error
        self._size += len(line)
        self.last += 1
        return self.last

    def _write(self, line: bytes) -> None:
        left = memoryview(line)
        while left:
            left = left[os.write(self._file, left) :]
        os.fsync(self._file)

    def close(self) -> None:
        """Unlocks the build folder."""
        os.close(self._file)
