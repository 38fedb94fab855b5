"""Videos sent to a build: their pictures are chosen in the background and taken in as photos."""

from __future__ import annotations

import secrets
import shutil
import subprocess
import threading
from dataclasses import dataclass, replace
from pathlib import Path
from typing import IO, Any

from recon.errors import ReconError
from recon.files import why_not_written
from recon.image.video.choice import MOST
from recon.image.video.chosen import ChosenPictures, choose_pictures
from recon.image.video.files import MOST_BYTES, SUFFIXES
from webui.storage.build import LEVELS, Build
from webui.storage.job_status import JobStatus
from webui.storage.photo_store import MOST_PHOTOS, PhotoStore, plain_name

CHOSEN = 0.7  # of the time goes into the choice, the rest into levels of the pictures
_PLACE = ".video-"  # begins the names of folders that videos wait in; they lie among what may be deleted


@dataclass(frozen=True)
class VideoStatus(JobStatus):
    """How the choice of a video's pictures stands.

    Attributes
    ----------
    photos : tuple of str
        Names of the pictures that were taken in.
    note : str
        What could not be used, in a sentence.
    """

    photos: tuple[str, ...] = ()
    note: str = ""


class VideoStore:
    """Takes videos in, one after another; they are deleted once their pictures are there."""

    def __init__(self, build: Build, photos: PhotoStore) -> None:
        self.build, self.photos = build, photos
        self._one, self._lock = threading.Lock(), threading.Lock()
        self._status: dict[str, VideoStatus] = {}
        self._running: subprocess.Popen[str] | None = None
        self._closed = False
        for left in (build.folder / LEVELS).glob(f"{_PLACE}*"):  # by a program that was killed
            shutil.rmtree(left, ignore_errors=True)

    def close(self) -> None:
        """Ends what is being done."""
        with self._lock:
            self._closed = True
            if self._running and self._running.poll() is None:
                self._running.kill()

    def status(self, key: str) -> VideoStatus | None:
        """How the choice of a video stands; None where there is none of this key."""
        with self._lock:
            return self._status.get(key)

    def begin(self, name: str, stream: IO[bytes]) -> str:
        """Stores a video and begins the choice of its pictures.

        Returns
        -------
        str
            The key by which it is asked after.

        Raises
        ------
        ReconError
            Where it is too large, or there is no room for it or its pictures.
        """
        if len(self.photos.names()) >= MOST_PHOTOS:
            raise ReconError(f"A build holds at most {MOST_PHOTOS} photos; take some out first.")
        key = secrets.token_hex(8)
        place = self.build.folder / LEVELS / f"{_PLACE}{key}"
        video = place / _video_name(name)
        try:
            place.mkdir(parents=True)
            _receive(stream, video)
        except OSError as error:
            shutil.rmtree(place, ignore_errors=True)
            raise why_not_written(video, error) from error
        except ReconError:
            shutil.rmtree(place, ignore_errors=True)
            raise
        with self._lock:
            self._status[key] = VideoStatus(running=True, stage="waiting")
        threading.Thread(target=self._work, args=(key, video), name="video", daemon=True).start()
        return key

    def _work(self, key: str, video: Path) -> None:
        try:
            with self._one:
                taken, note = self._take_in(key, video)
            self._set(key, running=False, share=1.0, photos=taken, note=note)
        except ReconError as error:
            self._set(key, running=False, problem=str(error))
        except Exception as error:  # whoever waits is to hear of it
            words = f"This is a fault in the page, not in what you did ({type(error).__name__}: {error})."
            self._set(key, running=False, problem=words)
        finally:
            shutil.rmtree(video.parent, ignore_errors=True)

    def _set(self, key: str, **what: Any) -> None:
        with self._lock:
            self._status[key] = replace(self._status[key], **what)

    def _take_in(self, key: str, video: Path) -> tuple[tuple[str, ...], str]:
        """Chooses a video's pictures and takes them in; their names, and what could not be used."""
        chosen = choose_pictures(
            video,
            video.parent / "pictures",
            most=min(MOST, MOST_PHOTOS - len(self.photos.names())),
            progress=lambda stage, share: self._set(key, stage=stage, share=CHOSEN * share),
            started=self._keep_running,
        )
        return self._added(key, chosen)

    def _keep_running(self, process: subprocess.Popen[str]) -> None:
        with self._lock:
            self._running = process
            if self._closed:
                process.kill()

    def _added(self, key: str, chosen: ChosenPictures) -> tuple[tuple[str, ...], str]:
        names: list[str] = []
        problems: list[str] = []
        for k, path in enumerate(chosen.paths, 1):
            try:
                with open(path, "rb") as file:
                    names.append(self.photos.add(path.name, file)["name"])
            except ReconError as error:
                problems.append(str(error))
            share = CHOSEN + (1 - CHOSEN) * k / len(chosen.paths)
            self._set(key, stage=f"picture {k} of {len(chosen.paths)}", share=share, photos=tuple(names))
        if not names:
            raise ReconError(problems[0])
        return tuple(names), " ".join(filter(None, [chosen.note, *problems]))


def _video_name(name: str) -> str:
    """A file name that is only a name, with the suffix of a video."""
    base = plain_name(name) or "video"
    path = Path(base)
    suffix = path.suffix.lower() if path.suffix.lower() in SUFFIXES else ".mp4"
    return (path.stem.lstrip(".")[:60].strip() or "video") + suffix


def _receive(stream: IO[bytes], path: Path) -> None:
    left = MOST_BYTES
    with open(path, "xb") as file:
        while chunk := stream.read(1 << 20):
            left -= len(chunk)
            if left < 0:
                raise ReconError(
                    f"The video is larger than {MOST_BYTES >> 30} GB; cut it, or save it smaller."
                )
            file.write(chunk)
