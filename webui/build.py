"""A build: a folder with photos, the journal of all changes, and the frame file as it stands.

    photos/         the photos, as they came
    reading/        what the reader found in each photo (openings, rows)
    build.journal   every change (see `webui.journal`)
    frame.json      the frame as it stands, for the command line
    .levels/        the photos in levels and tiles for looking; can be deleted
"""
from __future__ import annotations

import datetime
import hashlib
import os
import shutil
import threading
from dataclasses import dataclass, replace
from pathlib import Path

from recon.errors import ReconError
from recon.files import why_not_written, write_text_atomic
from recon.frame.files import frame_to_text, load_frame
from recon.frame.model import Frame
from webui.journal import NAME as JOURNAL_NAME
from webui.journal import Journal
from webui.state import State, difference, ordered, patched

PHOTOS, READING, LEVELS, FRAME = "photos", "reading", ".levels", "frame.json"


@dataclass(frozen=True)
class Moment:
    """A state in the history.  n : the journal entry that made it; parent : the moment undone to, None for the first."""

    n: int
    state: State
    words: str
    parent: "Moment | None"


class Conflict(Exception):
    """A change was meant for another version of the build than the one that is there."""


class Build:
    """An open build.  All methods may be called from several threads."""

    def __init__(self, folder: str | Path):
        """Opens the build in `folder`, or begins one there.  Raises ReconError."""
        self.folder = Path(folder).resolve()
        self._lock = threading.RLock()
        try:
            for part in ("", PHOTOS, READING, LEVELS):
                (self.folder / part).mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise why_not_written(self.folder, error) from error
        self.journal = Journal(self.folder)
        self.notices: list[str] = []
        self._first = self._now = Moment(0, State(), "empty build", None)
        self._redo: list[Moment] = []
        self._words: dict[int, str] = {}                        # what each journal entry did
        self.moments: dict[int, Moment] = {0: self._first}      # by the journal's number after which each held
        try:
            for entry in self.journal.entries:
                self._replay(entry)
            self.journal.entries = []
            self._frame_digest = self._digest_of_frame_file()
            if self.n == 0:
                self._adopt()
            elif self._frame_digest and not self._is_ours(self.folder / FRAME):
                self.notices.append(f"{FRAME} in this folder was changed by another program. It is left as it is; "
                                    "the page goes on from its own journal and saves no frame file there.")
                self._frame_digest = "foreign"
        except BaseException:
            self.journal.close()
            raise

    def close(self):
        self.save_frame_file()
        self.journal.close()

    # Reading the history

    @property
    def n(self) -> int:
        """The build's version: the number of its last journal entry."""
        return self.journal.last

    @property
    def now(self) -> Moment:
        return self._now

    @property
    def state(self) -> State:
        return self._now.state

    def can(self) -> dict:
        """What undo and redo would do, in words, or None each."""
        with self._lock:
            return {"undo": self._now.words if self._now.parent else None,
                    "redo": self._redo[-1].words if self._redo else None}

    def since(self, n: int) -> list[str]:
        """Words of all that happened after version `n`."""
        with self._lock:
            return [self._words[k] for k in sorted(self._words) if k > n]

    # Changing

    def change(self, make, *, base: int | None = None, kind: str = "edit"):
        """Journals a change and returns (old state, new state, words).

        make : State -> (State, words); may raise ReconError.   base : the version it was meant for; where that is not
        the present one, raises Conflict and changes nothing.
        """
        with self._lock:
            self._check(base)
            old = self._now
            state, words = make(old.state)
            delta = difference(old.state, state)
            n = self.journal.append({"kind": kind, "words": words, "at": _now_text(), "delta": delta})
            self._enter(Moment(n, state, words, old))
            self._redo.clear()
            return old.state, state, words

    def undo(self, base: int | None = None):
        """Back by one change; (old state, new state, words)."""
        with self._lock:
            self._check(base)
            if self._now.parent is None:
                raise ReconError("There is nothing to undo.")
            return self._step("undo", f"Undone: {self._now.words}")

    def redo(self, base: int | None = None):
        """Forward again by one change; (old state, new state, words)."""
        with self._lock:
            self._check(base)
            if not self._redo:
                raise ReconError("There is nothing to redo.")
            return self._step("redo", f"Done again: {self._redo[-1].words}")

    def _check(self, base):
        if base is not None and base != self.n:
            raise Conflict

    def _step(self, kind, words):
        old = self._now
        n = self.journal.append({"kind": kind, "words": words, "at": _now_text()})
        self._move(kind, n, words)
        return old.state, self._now.state, words

    def _move(self, kind, n, words):
        if kind == "undo":
            self._redo.append(self._now)
            self._enter(self._now.parent, n, words)
        else:
            self._enter(self._redo.pop(), n, words)

    def _enter(self, moment: Moment, n: int | None = None, words: str | None = None):
        self._now = moment
        n = moment.n if n is None else n
        self.moments[n] = moment
        self._words[n] = words or moment.words

    def _replay(self, entry: dict):
        kind, n, words = entry.get("kind"), entry["n"], str(entry.get("words", ""))
        if kind in ("undo", "redo"):
            if (self._now.parent is None) if kind == "undo" else not self._redo:
                raise ReconError(f"{JOURNAL_NAME}: entry {n} has nothing to {kind}; put the file back from a copy.")
            self._move(kind, n, words)
        else:
            self._enter(Moment(n, patched(self._now.state, entry.get("delta", {})), words, self._now))
            self._redo.clear()

    # The folder

    def _adopt(self):
        """Takes over a folder that was no build yet: photos that lie in it are copied, its frame file is read."""
        from recon.image.photos import SUFFIXES

        loose = [p for p in sorted(self.folder.iterdir()) if p.is_file() and p.suffix.lower() in SUFFIXES and p.name != "frame.png"]
        for path in loose:
            target = self.folder / PHOTOS / path.name
            if not target.exists():
                shutil.copyfile(path, target)
        if (self.folder / FRAME).is_file():
            frame = load_frame(self.folder / FRAME)
            self.change(lambda _: (State(_tidy(frame)), f"Opened {FRAME}"), kind="open")

    def photo_files(self) -> list[str]:
        """Names of the photos in the folder, in natural order."""
        from recon.image.photos import SUFFIXES, _natural_key

        files = [p for p in (self.folder / PHOTOS).iterdir() if p.suffix.lower() in SUFFIXES and not p.name.startswith(".") and p.is_file() and not p.is_symlink()]
        return [p.name for p in sorted(files, key=_natural_key)]

    def _digest_of_frame_file(self) -> str:
        try:
            return hashlib.sha256((self.folder / FRAME).read_bytes()).hexdigest()
        except OSError:
            return ""

    def _is_ours(self, path: Path) -> bool:
        """Whether a frame file says what the build said at some moment."""
        text = path.read_text(encoding="utf-8", errors="replace")
        if any(moment.state.frame.members and frame_to_text(moment.state.frame) == text
               for moment in reversed(list(self.moments.values()))):
            return True
        try:
            return _tidy(load_frame(path)) in [m.state.frame for m in self.moments.values()]
        except ReconError:
            return False

    def save_frame_file(self):
        """Writes frame.json as the frame stands, unless another program changed that file meanwhile."""
        with self._lock:
            frame = self.state.frame
            if not frame.members or self._digest_of_frame_file() not in ("", self._frame_digest):
                return
            text = frame_to_text(frame)
            write_text_atomic(self.folder / FRAME, text)
            self._frame_digest = hashlib.sha256(text.encode()).hexdigest()


def _tidy(frame: Frame) -> Frame:
    return replace(frame, joints=ordered(frame.members, frame.joints))


def _now_text() -> str:
    return datetime.datetime.now(datetime.timezone.utc).isoformat(timespec="seconds")
