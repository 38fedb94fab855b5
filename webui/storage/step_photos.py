"""Photos that are taken at steps: the files as they came, and small ones for looking."""

from __future__ import annotations

import os
import secrets
import shutil
from pathlib import Path
from typing import IO

from recon.errors import ReconError
from recon.files import why_not_written
from recon.image.photos import SUFFIXES
from webui.storage.build import LEVELS, STEP_PHOTOS, Build
from webui.storage.photo_store import PhotoStore, free_name, receive, safe_name
from webui.storage.system import sync_folder

MOST = 300  # photos at the steps of one build.  This project's choice
LOOKS = "steps"  # the folder of small ones, in `LEVELS`


class StepPhotos:
    """The step photos of a build.

    Parameters
    ----------
    build : Build
    photos : PhotoStore
        Decodes them, in a process of its own.
    """

    def __init__(self, build: Build, photos: PhotoStore) -> None:
        self.folder = build.folder / STEP_PHOTOS
        self._looks = build.folder / LEVELS / LOOKS
        self._photos = photos

    def names(self) -> list[str]:
        """Names of the files."""
        if not self.folder.is_dir():
            return []
        files = (p for p in self.folder.iterdir() if p.suffix.lower() in SUFFIXES and p.is_file())
        return sorted(p.name for p in files if not p.name.startswith(".") and not p.is_symlink())

    def add(self, name: str, stream: IO[bytes]) -> str:
        """Stores an uploaded photo once it has been decoded, and returns its name; on the disk by then.

        Raises
        ------
        ReconError
            Then nothing is kept.
        """
        if len(self.names()) >= MOST:
            raise ReconError(f"The steps of a build hold at most {MOST} photos.")
        part = self.folder / f".{secrets.token_hex(8)}{Path(safe_name(name)).suffix}"
        looks = self._looks / part.name
        try:
            self.folder.mkdir(exist_ok=True)
            receive(stream, part)
            try:
                self._photos.look(part, looks)
            except ReconError as error:
                raise ReconError(str(error).replace(part.name, name)) from error
            final = free_name(name, self.names())
            os.rename(part, self.folder / final)
            sync_folder(self.folder)
            shutil.rmtree(self._looks / final, ignore_errors=True)
            os.rename(looks, self._looks / final)
        except OSError as error:
            raise why_not_written(self.folder / name, error) from error
        finally:
            part.unlink(missing_ok=True)
            shutil.rmtree(looks, ignore_errors=True)
        return final

    def look(self, name: str) -> Path | None:
        """The small JPEG of a photo, made where it is not there; None where there is no such photo.

        Raises
        ------
        ReconError
            Where the photo cannot be decoded.
        """
        if name not in self.names():
            return None
        path = self._looks / name / "whole.jpg"
        if not path.is_file():
            self._photos.look(self.folder / name, self._looks / name)
        return path
