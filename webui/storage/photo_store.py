"""The photos of an open build: taken in, checked and cut into levels in processes of their own."""

from __future__ import annotations

import json
import os
import re
import secrets
import shutil
import subprocess
import sys
import threading
import time
import unicodedata
from collections.abc import Iterable
from pathlib import Path
from typing import IO, Any

from recon.errors import ReconError
from recon.files import why_not_written
from webui.processes.decode import UPRIGHT
from webui.storage.build import LEVELS, PHOTOS, REMOVED, Build

MOST_PHOTOS = 40
_TOO_MANY = f"A build holds at most {MOST_PHOTOS} photos; take one out first."
MOST_BYTES = 120 * 2**20  # a 50 MP photo: 30 MB as JPEG, 100 MB as 16-bit TIFF compressed
PATIENCE_S = 150  # for decoding one photo; the process itself is limited to less
_ROOT = Path(__file__).resolve().parents[2]
_ALLOWED = re.compile(r"[^\w .()+-]", re.ASCII)


class PhotoStore:
    """The photos of a build; one photo is decoded at a time."""

    def __init__(self, build: Build) -> None:
        self.build = build
        self._one = threading.Lock()
        self._changed = threading.Condition()
        self._problems: dict[str, str] = {}
        self._levels: dict[str, dict[str, Any]] = {}
        self._stop = threading.Event()
        self._running: subprocess.Popen[str] | None = None
        self._thread = threading.Thread(target=self._prepare_all, name="levels", daemon=True)

    def start(self) -> None:
        """Prepares, in the background, levels that are not there yet: a whole picture of each, then the
        tiles."""
        self._thread.start()

    def close(self) -> None:
        """Ends what is being decoded."""
        self._stop.set()
        running = self._running
        if running and running.poll() is None:
            running.kill()

    def folder(self, name: str) -> Path:
        """Where a photo's levels are; for names of photos in the build alone."""
        return self.build.folder / LEVELS / name

    def names(self) -> list[str]:
        """The photos of the build, in natural order."""
        return self.build.photo_files()

    def levels(self, name: str) -> dict[str, Any] | None:
        """{size, levels} once the tiles are there, else None."""
        if name not in self._levels:
            try:
                self._levels[name] = json.loads((self.folder(name) / "size.json").read_text())
            except (OSError, ValueError):
                return None
        return self._levels[name]

    def size(self, name: str) -> list[int] | None:
        """Width and height of a photo, px, once it was looked at, which is before there are tiles."""
        levels = self.levels(name)
        if levels:
            return list(levels["size"])
        try:
            return list(json.loads((self.folder(name) / UPRIGHT).read_text())["size"])
        except (OSError, ValueError):
            return None

    def problem(self, name: str) -> str | None:
        """Why the photo could not be decoded, in a sentence; None where it was, or is yet to be."""
        return self._problems.get(name)

    def wait_for(self, name: str, file: str, seconds: float) -> Path | None:
        """The path of a level's file once it is there; None where it does not come."""
        path, until = self.folder(name) / file, time.monotonic() + seconds
        with self._changed:
            while not path.is_file():
                left = until - time.monotonic()
                if left <= 0 or name in self._problems:
                    return None
                self._changed.wait(min(left, 0.05))
        return path

    # Taking photos in

    def add(self, name: str, stream: IO[bytes]) -> dict[str, Any]:
        """Stores an uploaded photo once it has been decoded.

        Returns
        -------
        dict
            {"name": that it has in the build, "size": [width, height], px}

        Raises
        ------
        ReconError
            Then nothing is kept.
        """
        if len(self.names()) >= MOST_PHOTOS:
            raise ReconError(_TOO_MANY)
        folder = self.build.folder / PHOTOS
        part = folder / f".{secrets.token_hex(8)}{Path(safe_name(name)).suffix}"
        levels = self.build.folder / LEVELS / part.name
        try:
            receive(stream, part)
            with self._one:
                line = self._decode("full", [(part, levels)])[0]
                if "problem" in line:
                    raise ReconError(line["problem"].replace(str(part), name).replace(part.name, name))
                same = next(
                    (n for n in self.names() if (self.levels(n) or {}).get("digest") == _digest(levels)), None
                )
                if same:
                    raise ReconError(f"{name}: this photo is here already, as {same}.")
                if len(self.names()) >= MOST_PHOTOS:  # others came in meanwhile
                    raise ReconError(_TOO_MANY)
                final = free_name(name, self.names())
                os.rename(part, folder / final)
                shutil.rmtree(self.folder(final), ignore_errors=True)
                os.rename(levels, self.folder(final))
        except OSError as error:
            raise why_not_written(folder / name, error) from error
        finally:
            part.unlink(missing_ok=True)
            shutil.rmtree(levels, ignore_errors=True)
        return {"name": final, "size": line["size"]}

    def remove(self, name: str) -> None:
        """Takes a photo out of the build: it goes to the folder `removed`, and is not deleted."""
        away = self.build.folder / REMOVED
        away.mkdir(exist_ok=True)
        os.replace(self.build.folder / PHOTOS / name, away / f"{int(time.time())}-{name}")
        shutil.rmtree(self.folder(name), ignore_errors=True)
        self._levels.pop(name, None)

    # Decoding

    def look(self, path: Path, folder: Path) -> None:
        """Makes `whole.jpg` of one photo in a folder of its own; raises ReconError where it is none."""
        with self._one:
            line = self._decode("quick", [(path, folder)])[0]
        if "problem" in line:
            raise ReconError(line["problem"])

    def _prepare_all(self) -> None:
        names = self.names()
        self._prepare("quick", [n for n in names if self.size(n) is None])
        for name in names:
            if not self._stop.is_set() and self.levels(name) is None and name not in self._problems:
                self._prepare("full", [name])

    def _prepare(self, mode: str, names: list[str]) -> None:
        """Decodes photos of the build; goes on with the rest where one ends the process."""
        while names and not self._stop.is_set():
            pairs = [(self.build.folder / PHOTOS / n, self.folder(n)) for n in names]
            with self._one:
                lines = self._decode(mode, pairs)
            for line in lines:
                if "problem" in line:
                    self._problems[line["photo"]] = line["problem"]
            with self._changed:
                self._changed.notify_all()
            names = names[len(lines) :]

    def _decode(self, mode: str, pairs: list[tuple[Path, Path]]) -> list[dict[str, Any]]:
        """One line for each photo up to the first that ended the process, which gets a line too."""
        arguments = [str(x) for pair in pairs for x in pair]
        process = subprocess.Popen(
            [sys.executable, "-m", "webui.processes.decode", mode, *arguments],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            cwd=_ROOT,
        )
        self._running = process
        if self._stop.is_set():  # closed while it was begun
            process.kill()
        killer = threading.Timer(PATIENCE_S * len(pairs), process.kill)
        killer.start()
        try:
            lines = []
            assert process.stdout is not None
            for line in process.stdout:
                lines.append(json.loads(line))
                with self._changed:
                    self._changed.notify_all()
            process.wait()
        finally:
            killer.cancel()
        if len(lines) < len(pairs):
            name = pairs[len(lines)][0].name
            problem = f"{name}: it could not be decoded within the limits; save a smaller copy as JPEG."
            lines.append({"photo": name, "problem": problem})
        return lines


def receive(stream: IO[bytes], part: Path) -> None:
    """Writes an uploaded file to the disk.  Raises ReconError where it is too large for a photo."""
    left = MOST_BYTES
    with open(part, "xb") as file:
        while chunk := stream.read(1 << 20):
            left -= len(chunk)
            if left < 0:
                raise ReconError(f"The photo is larger than {MOST_BYTES >> 20} MB; save it as JPEG.")
            file.write(chunk)
        file.flush()
        os.fsync(file.fileno())


def free_name(name: str, names: Iterable[str]) -> str:
    """A name for a photo that none of `names` is: "front (2).jpg" where "front.jpg" is taken."""
    base = safe_name(name)
    stem, suffix = Path(base).stem, Path(base).suffix
    taken, again, free = {n.casefold() for n in names}, 2, base
    while free.casefold() in taken:
        free, again = f"{stem} ({again}){suffix}", again + 1
    return free


def safe_name(name: str) -> str:
    """A file name that is only a name: its last part, without what a shell or a page might read.

    Examples
    --------
    >>> safe_name("../holiday/front view.JPG")
    'front view.jpg'
    """
    from recon.image.photos import SUFFIXES

    path = Path(plain_name(name) or "photo")
    suffix = path.suffix.lower() if path.suffix.lower() in SUFFIXES else ".jpg"
    return (path.stem.lstrip(".")[:60].strip() or "photo") + suffix


def plain_name(name: str) -> str:
    """The last part of a file name, without what a shell or a page might read; may be empty."""
    last = unicodedata.normalize("NFKC", name).replace("\\", "/").rpartition("/")[2]
    return _ALLOWED.sub("_", last).strip(" .")


def _digest(levels: Path) -> str:
    return str(json.loads((levels / "size.json").read_text())["digest"])
