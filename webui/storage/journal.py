"""The journal: every change of a build, in one append-only file.

A text file, a line an entry, rather than a database: there is one writer (the folder is locked) and no query,
a copy or a zip of the folder is whole with this one file, and a person can read it.  Each line ends in a
checksum and is forced to the disk before it counts, so a kill at any moment leaves at most one torn last
line, which was never acknowledged and is cut off at the next opening.

Other programs get at the file, too: those that synchronise or restore folders put copies in its place, people
move and delete folders.  So its place, size and time are looked at before a change counts, and the page holds
all lines in memory: what it acknowledged can be written again.
"""

from __future__ import annotations

import json
import os
import stat
import zlib
from pathlib import Path
from typing import Any

from recon.errors import ReconError
from recon.files import why_not_written, write_bytes_atomic
from recon.locks import lock
from webui.storage import system

Entry = dict[str, Any]

FORMAT, VERSION = "frame-build", 1
NAME = "build.journal"  # of the frame's changes
TRIES = 3  # to write a line into a file that another program puts copies in the place of
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


def read_lines(data: bytes) -> tuple[list[Entry], int, int | None]:
    """The entries of a journal, with its header as the first, as far as they are good.

    Returns
    -------
    entries : list of dict
    good : int
        Bytes that they take.
    damaged : int or None
        The number of the first line, counted from 1, that is not good, if any.
    """
    entries: list[Entry] = []
    good = 0
    for number, line in enumerate(data.splitlines(keepends=True), 1):
        entry = entry_of(line)
        if entry is None or (number > 1 and entry.get("n") != number - 1):
            return entries, good, number
        entries.append(entry)
        good += len(line)
    return entries, good, None


class Journal:
    """A journal of one build folder, opened or begun, and locked for this process until `close`.

    Parameters
    ----------
    folder : path
    name : str
        Of its file.
    format : str
        What its first line says that it is.

    Attributes
    ----------
    path : Path
    entries : list of dict
        All of them in order, each with `n` = 1, 2, ... (as opened; `append` adds to the file alone).
    last : int
        The number of the last one.
    notices : list of str
        Sentences about what was found at the opening.

    Raises
    ------
    ReconError
        Where the folder is in use, was written by a newer program, is damaged, or cannot be written.
    """

    def __init__(self, folder: str | Path, name: str = NAME, format: str = FORMAT) -> None:
        self.path, self.format = Path(folder) / name, format
        self.notices: list[str] = []
        try:
            self._file = self._open()
        except OSError as error:
            raise why_not_written(self.path, error) from error
        try:
            self._lock(self._file)
            self.entries = self._read()
        except BaseException:
            os.close(self._file)
            raise
        self.last = len(self.entries)

    def _open(self) -> int:
        if os.path.lexists(self.path) and not stat.S_ISREG(os.lstat(self.path).st_mode):
            raise ReconError(f"{self.path}: this is no ordinary file; move it away, or open another folder.")
        return os.open(self.path, system.APPEND, 0o644)

    def _lock(self, file: int) -> None:
        try:
            free = lock(file)
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
        entries, good, damaged = read_lines(data)
        header = line_of({"format": self.format, "version": VERSION})
        # A torn beginning may be written anew; what someone else wrote stays.
        if good == 0 and not header.startswith(data):
            raise ReconError(
                f"{self.path}: this is not the journal of a build; "
                "give that file another name, or open another folder."
            )
        if entries:
            self._check_header(entries[0])
        if damaged is not None:
            self._cut_off(data, good, damaged)
        self._held = bytearray(data[:good])
        if good == 0:
            self._write(header)
            self._held += header
            system.sync_folder(self.path.parent)
        self._seen = os.fstat(self._file)
        return entries[1:]

    def _cut_off(self, data: bytes, good: int, damaged: int) -> None:
        """Takes away a torn last line, which was never acknowledged; refuses other damage."""
        rest = data[good:]
        if b"\n" in rest[:-1]:
            raise ReconError(
                f"{self.path}: line {damaged} is damaged, and there are others after it; put the file back "
                "from a copy of the build, or open a copy with what is good before that line: "
                "recon page BUILD --rescue NEW-FOLDER."
            )
        if rest.endswith(b"\n"):  # that is no torn line: it was written to its end and changed later
            kept = self._keep(rest)
            self.notices.append(
                f"The last change in {self.path.name} is damaged and was left out; the line is kept in "
                f"{kept.name}."
            )
        os.ftruncate(self._file, good)

    def _check_header(self, entry: Entry) -> None:
        if entry.get("format") != self.format:
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
            self._append(line)
        except (OSError, ReconError) as error:
            why = error if isinstance(error, ReconError) else why_not_written(self.path, error)
            raise ReconError(f"Your change was not made. {why}") from error
        self._held += line
        self.last += 1
        return self.last

    def _append(self, line: bytes) -> None:
        for _ in range(TRIES):
            self.hold_place()
            try:
                self._write(line)
            except OSError:
                os.ftruncate(self._file, len(self._held))
                raise
            finally:
                self._seen = os.fstat(self._file)
            if self._in_place():
                return
            os.ftruncate(self._file, len(self._held))  # it was taken away between the look and the writing
            self._seen = os.fstat(self._file)
        raise ReconError(f"{self.path}: another program keeps changing this file; end it first.")

    def _write(self, line: bytes) -> None:
        left = memoryview(line)
        while left:
            left = left[os.write(self._file, left) :]
        os.fsync(self._file)

    # What other programs do to the file

    def _in_place(self) -> bool:
        """Whether the file in the journal's place is the one that is written to, and as it was left."""
        try:
            there = os.lstat(self.path)
        except (FileNotFoundError, NotADirectoryError):
            return False
        same = os.path.samestat(there, self._seen)
        return same and (there.st_size, there.st_mtime_ns) == (self._seen.st_size, self._seen.st_mtime_ns)

    def hold_place(self) -> None:
        """Sees to it that the file in its place is the one that is written to, with all that it must hold.

        A copy takes its place; a file that was deleted or cut, or an older copy, gets what it lacks.

        Raises
        ------
        ReconError
            Where the folder is not there, or the file's contents are others now; the lines that the page
            holds are then kept beside it.
        OSError
            Where it cannot be written.
        """
        if self._in_place():
            return
        if not os.path.lexists(self.path):
            self._write_again()
            return
        contents = self.path.read_bytes() if self.path.is_file() and not self.path.is_symlink() else None
        if contents is None or not self._held.startswith(contents):
            raise self._others()
        if not os.path.samestat(os.lstat(self.path), self._seen):
            self._take_over()
        if len(contents) < len(self._held):
            self._write(bytes(self._held[len(contents) :]))
        self._seen = os.fstat(self._file)

    def _write_again(self) -> None:
        """The file was deleted, or its folder was moved or deleted."""
        if not self.path.parent.is_dir():
            raise ReconError(
                f"The folder {self.path.parent} is not there any more: it was moved, renamed or deleted. Put "
                "it back, or make an empty folder of that name and the changes are written there again; the "
                "page holds them until it is closed."
            )
        write_bytes_atomic(self.path, bytes(self._held))
        self._take_over()
        self._seen = os.fstat(self._file)

    def _take_over(self) -> None:
        """Writes from now on to the file that is in the place."""
        file = self._open()
        try:
            self._lock(file)
        except ReconError:
            os.close(file)
            raise
        os.close(self._file)
        self._file = file

    def _others(self) -> ReconError:
        """What is in the place now is not what the page wrote: says so, once that is kept."""
        kept = self._keep(bytes(self._held))
        return ReconError(
            f"{self.path}: another program has changed this file, and it is left as it is. All that was done "
            f"on this page is kept in {kept.name}: give that file the name {self.path.name} to go on from "
            "it, or close the page and open it again to go on from the other."
        )

    def _keep(self, data: bytes) -> Path:
        """Writes data beside the journal, under a name that is free or has the same data."""
        number = 1
        while True:
            path = self.path.with_name(f"{self.path.name}.kept-{number}")
            if not os.path.lexists(path):
                write_bytes_atomic(path, data)
                return path
            if path.is_file() and path.read_bytes() == data:
                return path
            number += 1

    def close(self) -> None:
        """Unlocks the build folder; once is enough."""
        file, self._file = self._file, -1
        if file >= 0:
            os.close(file)
