"""What is kept beside the frame's changes: ticks, notes and photos at steps, and named versions.

It has a journal of its own, so that undoing an edit of the frame takes back no tick and a tick on one device
is never in conflict with an edit on another; programs that do not know it leave it as it is.  Its file is
begun with the first entry.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from recon.corrections.codec import Json
from recon.corrections.state import State, difference, patched
from recon.errors import ReconError
from recon.files import why_not_written
from recon.workshop.assembly.record import Act, AssemblyRecord, act_from_json, act_to_json
from webui.storage.build import WORK, now_text
from webui.storage.journal import Journal, read_lines

FORMAT = "frame-work"


@dataclass(frozen=True)
class NamedVersion:
    """A state of the build that was given a name.

    Attributes
    ----------
    id : int
    name, note : str
    at : str
        When it was kept, ISO 8601.
    n : int
        The build's version then.
    delta : dict
        From the empty state to that one.
    """

    id: int
    name: str
    note: str
    at: str
    n: int
    delta: Json

    @property
    def state(self) -> State:
        """The state.  Raises ReconError where the journal makes no sense."""
        return patched(State(), self.delta)


class WorkLog:
    """The work journal of a build, opened; methods may be called from several threads.

    Parameters
    ----------
    folder : path
        The build's.

    Raises
    ------
    ReconError
        Where it cannot be opened.
    """

    def __init__(self, folder: str | Path) -> None:
        self.folder = Path(folder)
        self._lock = threading.RLock()
        self._journal: Journal | None = None
        self._kept = _Kept()
        if os.path.lexists(self.folder / WORK):
            journal = self._open()
            try:
                for entry in journal.entries:
                    self._kept.take(entry)
            except BaseException:
                journal.close()
                raise
            journal.entries = []

    def _open(self) -> Journal:
        if self._journal is None:
            self._journal = Journal(self.folder, WORK, FORMAT)
        return self._journal

    def close(self) -> None:
        """Unlocks the journal."""
        with self._lock:
            if self._journal:
                self._journal.close()

    def hold_place(self) -> None:
        """Sees to it that the journal is there, where there is one; raises ReconError where it cannot be."""
        with self._lock:
            if self._journal:
                try:
                    self._journal.hold_place()
                except OSError as error:
                    raise why_not_written(self.folder / WORK, error) from error

    @property
    def notices(self) -> list[str]:
        """Sentences about what was found at the opening."""
        return self._journal.notices if self._journal else []

    @property
    def n(self) -> int:
        """The number of the last entry; 0 where there is none."""
        return self._journal.last if self._journal else 0

    @property
    def record(self) -> AssemblyRecord:
        """Ticks, notes and photos as they are now."""
        return self._kept.record

    @property
    def versions(self) -> list[NamedVersion]:
        """The named versions, the newest first."""
        with self._lock:
            return sorted(self._kept.versions.values(), key=lambda v: -v.id)

    def version(self, id: int) -> NamedVersion:
        """A named version.  Raises ReconError where there is none."""
        if id not in self._kept.versions:
            raise ReconError("There is no such version.")
        return self._kept.versions[id]

    @property
    def can_undo(self) -> str | None:
        """What `undo` would take back, in words; None where there is nothing."""
        return self._kept.back[-1].words if self._kept.back else None

    # Changing

    def act(self, make: Callable[[AssemblyRecord], Act]) -> Act:
        """Journals an act; `make` may raise ReconError.  An act that changes nothing is not journalled."""
        with self._lock:
            act = make(self.record)
            if act.put or act.gone:
                self._put({"kind": "act", "words": act.words, "at": now_text(), **act_to_json(act)})
            return act

    def undo(self) -> str:
        """Takes back the last act that was not taken back; says what that was."""
        with self._lock:
            if not self._kept.back:
                raise ReconError("There is nothing to take back.")
            back = self._kept.back[-1]
            words = f"Taken back: {back.words}"
            self._put({"kind": "undo", "words": words, "at": now_text(), **act_to_json(back)})
            return words

    def keep_version(self, name: str, note: str, n: int, state: State) -> NamedVersion:
        """Keeps a state under a name; `n` is the build's version."""
        with self._lock:
            id = max(self._kept.versions, default=0) + 1
            self._put(
                {"kind": "version", "id": id, "name": name, "note": note, "at": now_text(), "of": n}
                | {"delta": difference(State(), state)}
            )
            return self._kept.versions[id]

    def rename_version(self, id: int, name: str, note: str) -> NamedVersion:
        """Gives a version another name and note."""
        with self._lock:
            self.version(id)
            self._put({"kind": "rename", "id": id, "name": name, "note": note, "at": now_text()})
            return self._kept.versions[id]

    def _put(self, entry: dict[str, Any]) -> None:
        self._open().append(entry)
        self._kept.take(entry)


class _Kept:
    """What the entries of a journal come to."""

    def __init__(self) -> None:
        self.record = AssemblyRecord()
        self.back: list[Act] = []  # what takes back each act that can be
        self.versions: dict[int, NamedVersion] = {}

    def take(self, entry: dict[str, Any]) -> None:
        """Takes one entry; those of kinds that are not known here are passed over."""
        try:
            self._take(entry)
        except (LookupError, TypeError, ValueError, AttributeError, OverflowError) as error:
            raise ReconError(
                f"{WORK} holds an entry that makes no sense ({type(error).__name__}: {error}); put it back "
                "from a copy of the build."
            ) from error

    def _take(self, entry: dict[str, Any]) -> None:
        match entry["kind"]:
            case "act":
                act = act_from_json(entry, str(entry["words"]))
                self.back.append(replace(self.record.inverse(act), words=act.words))
                self.record = self.record.after(act)
            case "undo":
                self.back.pop()
                self.record = self.record.after(act_from_json(entry))
            case "version":
                id, name, note, at = int(entry["id"]), entry["name"], entry["note"], entry["at"]
                version = NamedVersion(id, str(name), str(note), str(at), int(entry["of"]), entry["delta"])
                self.versions[id] = version
            case "rename":
                id, name, note = int(entry["id"]), str(entry["name"]), str(entry["note"])
                self.versions[id] = replace(self.versions[id], name=name, note=note)


def record_in(folder: Path) -> AssemblyRecord:
    """Ticks, notes and photos of the build in a folder, read as it lies there; none where it has none.

    Raises
    ------
    ReconError
        Where its journal makes no sense.
    """
    try:
        data = (folder / WORK).read_bytes()
    except OSError:
        return AssemblyRecord()
    kept = _Kept()
    for entry in read_lines(data)[0][1:]:
        kept.take(entry)
    return kept.record
