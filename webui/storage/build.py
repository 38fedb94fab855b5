"""A build: a folder with photos, the journal of all changes, and the frame file as it stands.

photos/         the photos, as they came
reading/        what the reader found in each photo (openings, rows)
step-photos/    photos taken at steps of putting it together
build.journal   every change (see `webui.storage.journal`)
work.journal    what is ticked and noted at steps, and named versions (see `webui.storage.work`)
frame.json      the frame as it stands, for the command line
.levels/        the photos in levels and tiles for looking; can be deleted
"""

from __future__ import annotations

import datetime
import hashlib
import os
import shutil
import threading
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import replace
from pathlib import Path

from recon.corrections.codec import Json
from recon.corrections.state import State, difference, ordered, patched
from recon.errors import ReconError
from recon.files import why_not_written, write_bytes_atomic, write_text_atomic
from recon.frame.files import frame_to_text, load_frame
from recon.frame.model import Frame
from recon.frame.stock import Stock
from webui.storage.journal import NAME as JOURNAL_NAME
from webui.storage.journal import Journal

PHOTOS, READING, LEVELS, REMOVED = "photos", "reading", ".levels", "removed"
STEP_PHOTOS, WORK = "step-photos", "work.journal"
FRAME, PLAN = "frame.json", "plan.json"
FRAME_CHANGED = (
    f"{FRAME} in this folder was changed by another program. It is left as it is; "
    "the page goes on from its own journal and saves no frame file there."
)
# Digests of the frame files that the page wrote last, and the version that they are of: whether frame.json is
# its own.
MARKS = ".levels/frame-marks"
FAR = 32  # changes between two states that were made; they are put together in a few ms
SAVE_AFTER_S = 2.0  # from a change to the frame file that has it; the journal has it at once


class Moment:
    """A state in the history.

    Parameters
    ----------
    n : int
        The number of the journal entry that made it.
    state : State or None
        None where it was read from the journal: it is made when it is needed.
    words : str
        What was done.
    parent : Moment or None
        The moment undone to, None for the first.
    delta : dict, optional
        What made it of that one; None where it was read from the journal.
    journalled : dict, optional
        The same as the journal has it, which older programs may have written.
    """

    def __init__(
        self,
        n: int,
        state: State | None,
        words: str,
        parent: Moment | None,
        delta: Json | None = None,
        journalled: Json | None = None,
    ) -> None:
        self.n, self.words, self.parent, self.delta = n, words, parent, delta
        self._state, self._journalled = state, journalled or {}

    @property
    def state(self) -> State:
        """The state.  Raises ReconError where the journal makes no sense."""
        if self._state is None:
            self._state = self._made()
        return self._state

    def _made(self) -> State:
        """The state, from the nearest one before it that was made."""
        way: list[Moment] = [self]
        while (before := way[-1].parent) is not None and before._state is None:
            way.append(before)
        state = before.state if before is not None else State()
        way.reverse()
        # Whoever undoes goes on to those before it: one on the way is made, too, so that the next is near.
        half = 3 * len(way) // 4 if len(way) > FAR else 0
        if half:
            state = way[half - 1]._state = patched(state, *(m._journalled for m in way[:half]))
        return patched(state, *(m._journalled for m in way[half:]))


class Conflict(Exception):
    """A change was meant for another version of the build than the one that is there."""


class Build:
    """An open build, or one begun in its folder.  All methods may be called from several threads.

    Parameters
    ----------
    folder : path
    stocks : dict of str to Stock, optional
        By id: what a frame file that lies there may name; the list that comes with recon by default.

    Raises
    ------
    ReconError
        Where it cannot be opened.
    """

    def __init__(self, folder: str | Path, stocks: dict[str, Stock] | None = None) -> None:
        self.folder, self.stocks = Path(folder).resolve(), stocks
        self._lock = threading.RLock()
        try:
            _refuse_links(self.folder)
            for part in ("", PHOTOS, READING, LEVELS):
                (self.folder / part).mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise why_not_written(self.folder, error) from error
        self.journal = Journal(self.folder)
        self.notices = self.journal.notices
        self._first = self._now = Moment(0, State(), "empty build", None)
        self._redo: list[Moment] = []
        self._saving: threading.Timer | None = None
        self._save_lock = threading.Lock()  # not the one that changes wait for: writing takes a while
        self._words: dict[int, str] = {}  # what each journal entry did
        self.moments: dict[int, Moment] = {0: self._first}  # by the journal's number from which each stands
        try:
            for entry in self.journal.entries:
                self._replay(entry)
            self.journal.entries = []
            self.state  # noqa: B018 (whether the journal makes sense is said now)
            self._own = {"", *self._marks()[:2]}
            if self.n == 0:
                self._own.add(self._digest_of_frame_file())
                self._adopt()
            else:
                self._compare_frame_file()
        except BaseException:
            self.journal.close()
            raise

    def close(self) -> None:
        """Saves the frame file and unlocks the folder."""
        if self._saving:
            self._saving.cancel()
        self.save_frame_file()
        self.journal.close()

    # Reading the history

    @property
    def n(self) -> int:
        """The build's version: the number of its last journal entry."""
        return self.journal.last

    @property
    def now(self) -> Moment:
        """The present moment."""
        return self._now

    @property
    def state(self) -> State:
        """The present state."""
        return self._now.state

    def can(self) -> dict[str, str | None]:
        """What undo and redo would do, in words, or None each."""
        with self._lock:
            return {
                "undo": self._now.words if self._now.parent else None,
                "redo": self._redo[-1].words if self._redo else None,
            }

    def snapshot(self) -> tuple[int, State, dict[str, str | None]]:
        """Version, state and what undo and redo would do, all of one moment."""
        with self._lock:
            return self.n, self.state, self.can()

    def still(self) -> AbstractContextManager[bool]:
        """A context in which nothing changes the build."""
        return self._lock

    def since(self, n: int) -> list[str]:
        """Words of all that happened after version `n`."""
        with self._lock:
            return [self._words[k] for k in sorted(self._words) if k > n]

    def delta(self, old: State, new: State) -> Json:
        """The difference between two states; at once where it is that of the last change."""
        now = self._now
        if now.delta is not None and now.parent is not None and now.state is new and now.parent.state is old:
            return now.delta
        return difference(old, new)

    # Changing

    def change(
        self, make: Callable[[State], tuple[State, str]], *, base: int | None = None, kind: str = "edit"
    ) -> tuple[State, State, str]:
        """Journals a change.

        Parameters
        ----------
        make : callable
            State -> (State, words); may raise ReconError.
        base : int, optional
            The version that it was meant for.
        kind : str
            "edit", "reading" or "open", as the journal has it.

        Returns
        -------
        (old state, new state, words)

        Raises
        ------
        Conflict
            Where `base` is not the present version; then nothing is changed.
        """
        with self._lock:
            self._check(base)
            old = self._now
            state, words = make(old.state)
            delta = difference(old.state, state)
            n = self.journal.append({"kind": kind, "words": words, "at": now_text(), "delta": delta})
            self._enter(Moment(n, state, words, old, delta))
            self._redo.clear()
            self._save_soon()
            return old.state, state, words

    def undo(self, base: int | None = None) -> tuple[State, State, str]:
        """Back by one change; (old state, new state, words)."""
        with self._lock:
            self._check(base)
            if self._now.parent is None:
                raise ReconError("There is nothing to undo.")
            return self._step("undo", f"Undone: {self._now.words}")

    def redo(self, base: int | None = None) -> tuple[State, State, str]:
        """Forward again by one change; (old state, new state, words)."""
        with self._lock:
            self._check(base)
            if not self._redo:
                raise ReconError("There is nothing to redo.")
            return self._step("redo", f"Done again: {self._redo[-1].words}")

    def _check(self, base: int | None) -> None:
        if base is not None and base != self.n:
            raise Conflict

    def _step(self, kind: str, words: str) -> tuple[State, State, str]:
        old = self._now
        n = self.journal.append({"kind": kind, "words": words, "at": now_text()})
        self._move(kind, n, words)
        self._save_soon()
        return old.state, self._now.state, words

    def _move(self, kind: str, n: int, words: str) -> None:
        if kind == "undo" and self._now.parent:
            self._redo.append(self._now)
            self._enter(self._now.parent, n, words)
        else:
            self._enter(self._redo.pop(), n, words)

    def _enter(self, moment: Moment, n: int | None = None, words: str | None = None) -> None:
        self._now = moment
        n = moment.n if n is None else n
        self.moments[n] = moment
        self._words[n] = words or moment.words

    def _replay(self, entry: Json) -> None:
        kind, n, words = entry.get("kind"), entry["n"], str(entry.get("words", ""))
        if kind in ("undo", "redo"):
            if (self._now.parent is None) if kind == "undo" else not self._redo:
                raise ReconError(
                    f"{JOURNAL_NAME}: entry {n} has nothing to {kind}; put the file back from a copy."
                )
            self._move(kind, n, words)
        else:
            self._enter(Moment(n, None, words, self._now, None, entry.get("delta")))
            self._redo.clear()

    # The folder

    def _adopt(self) -> None:
        """Makes a build of a folder that was none: photos that lie in it are copied, its frame file is
        read."""
        from recon.image.photos import SUFFIXES

        loose = [
            p
            for p in sorted(self.folder.iterdir())
            if p.is_file() and p.suffix.lower() in SUFFIXES and p.name != "frame.png"
        ]
        for path in loose:
            target = self.folder / PHOTOS / path.name
            if not target.exists():
                shutil.copyfile(path, target)
        if (self.folder / FRAME).is_file():
            frame = load_frame(self.folder / FRAME, self.stocks)
            self.change(lambda _: (State(_tidy(frame)), f"Opened {FRAME}"), kind="open")

    def photo_files(self) -> list[str]:
        """Names of the photos in the folder, in natural order."""
        from recon.image.photos import SUFFIXES, natural_key

        files = [
            p
            for p in (self.folder / PHOTOS).iterdir()
            if p.suffix.lower() in SUFFIXES
            and not p.name.startswith(".")
            and p.is_file()
            and not p.is_symlink()
        ]
        return [p.name for p in sorted(files, key=natural_key)]

    def _digest_of_frame_file(self) -> str:
        try:
            return _digest((self.folder / FRAME).read_bytes())
        except OSError:
            return ""

    def _text(self) -> bytes:
        return frame_to_text(self.state.frame).encode("utf-8") if self.state.frame.members else b""

    def _marks(self) -> list[str]:
        """Digests of the frame file and of the one before it, and the version that it is of."""
        try:
            return (self.folder / MARKS).read_text(encoding="ascii").split()[:3]
        except (OSError, UnicodeDecodeError):
            return []

    def _compare_frame_file(self) -> None:
        """Notices where frame.json is not of this journal; then it is left as it is."""
        there, marks = self._digest_of_frame_file(), self._marks()
        if there in ("", _digest(self._text())):
            return
        of = int(marks[2]) if len(marks) > 2 and there == marks[0] and marks[2].isdecimal() else 0
        if of > self.n:
            self._own = {""}
            self._notice(
                f"{JOURNAL_NAME} has {self.n} changes, but {FRAME} in this folder was saved after {of}: the "
                f"journal was cut or put back from an older copy. {FRAME} is left as it is; the page goes on "
                "from its journal and saves no frame file there."
            )
        elif there not in self._own:
            self._notice(FRAME_CHANGED)

    def _notice(self, words: str) -> None:
        """Says something on the page, once."""
        if words not in self.notices:
            self.notices.append(words)

    def hold_place(self) -> None:
        """Sees to it that the folder and the journal are there, as far as that can be.

        Raises
        ------
        ReconError
            Where they are not, or the journal was changed by another program; says what to do.
        """
        with self._lock:
            try:
                self.journal.hold_place()
                for part in (PHOTOS, READING, LEVELS):
                    (self.folder / part).mkdir(exist_ok=True)
            except OSError as error:
                raise why_not_written(self.folder, error) from error

    def _save_soon(self) -> None:
        if self._saving is None or not self._saving.is_alive():
            self._saving = threading.Timer(SAVE_AFTER_S, self.save_frame_file)
            self._saving.daemon = True
            self._saving.start()

    def save_frame_file(self) -> None:
        """Writes frame.json as the frame stands.

        It does not where another program changed that file meanwhile, or the disk does not take it: the
        journal has all of it.
        """
        with self._save_lock:
            with self._lock:
                n, text = self.n, self._text()
            there, mark = self._digest_of_frame_file(), _digest(text)
            if text and there not in {mark, *self._own}:
                self._notice(FRAME_CHANGED)
            if not text or there == mark or there not in self._own:
                return
            try:
                # Before the file, so that this one is never taken for a stranger's.
                write_text_atomic(self.folder / MARKS, f"{mark} {there or '-'} {n}\n")
                write_bytes_atomic(self.folder / FRAME, text)
            except ReconError as error:
                self._notice(str(error))
                return
            self._own = {"", mark}


def _refuse_links(folder: Path) -> None:
    """Raises ReconError where a part of the build is a link: what it leads to lies outside, and would be
    read, sent or written over.  Photos that are links are only passed over (`photo_files`)."""
    names = (PHOTOS, READING, LEVELS, STEP_PHOTOS, REMOVED, JOURNAL_NAME, WORK, FRAME, PLAN)
    parts = [folder / name for name in names]
    inside = (
        Path(root, name)
        for part in parts[1:4]
        for root, folders, files in os.walk(part)
        for name in (*folders, *files)
    )
    for path in (*parts, *inside):
        if path.is_symlink():
            raise ReconError(
                f"{path}: this is a link to another place, and a build keeps to its own folder; "
                "put the file or folder itself there, or take the link away."
            )


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest() if data else ""


def _tidy(frame: Frame) -> Frame:
    return replace(frame, joints=ordered(frame.members, frame.joints))


def now_text() -> str:
    """The present time as journals have it: ISO 8601, UTC, to the second."""
    return datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds")
