"""What the views work on: one object, made with the application."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any, cast

from flask import Flask, current_app, request

from recon.errors import ReconError
from recon.frame.files import frame_from_dict
from recon.frame.model import Frame
from recon.frame.stock import Stock
from recon.frame.user_files import MAX_BYTES, parse_json
from webui.guard import Keys
from webui.processes.by_hand import RowWorker
from webui.processes.derived import DerivedWorker
from webui.processes.reading import ReadingJob
from webui.storage.build import Build
from webui.storage.photo_store import PhotoStore
from webui.storage.step_photos import StepPhotos
from webui.storage.video_store import VideoStore
from webui.storage.work import WorkLog

MOST_REQUEST_BYTES = 2 * 2**20  # of any request that is not a photo.  This project's choice
_NAME = "app_context"  # under which Flask keeps it


@dataclass(frozen=True)
class AppContext:
    """What belongs to one application.

    Attributes
    ----------
    build : Build
    work : WorkLog
    photos : PhotoStore
    step_photos : StepPhotos
    videos : VideoStore
    reading : ReadingJob
    quick : DerivedWorker
        For doubts and parts.
    checks : DerivedWorker
        For what may take long: checks and the comparison with a plan.
    steps : DerivedWorker
        For the steps of putting it together.
    rows : RowWorker
        For what rows drawn by hand mean.
    stocks : dict of str to Stock
    token : str
        What every change must carry.
    keys : Keys or None
        None where only this machine can reach the page.
    address : str
        Of the page, without a key.
    answers : dict
        What the rows of one photo mean, as it was found last.
    """

    build: Build
    work: WorkLog
    photos: PhotoStore
    step_photos: StepPhotos
    videos: VideoStore
    reading: ReadingJob
    quick: DerivedWorker
    checks: DerivedWorker
    steps: DerivedWorker
    rows: RowWorker
    stocks: dict[str, Stock]
    token: str
    keys: Keys | None
    address: str
    answers: dict[str, Any] = field(default_factory=dict)

    def close(self) -> None:
        """Ends what runs in the background, saves the frame file and unlocks the build."""
        self.reading.close()
        self.quick.close()
        self.checks.close()
        self.steps.close()
        self.rows.close()
        self.videos.close()
        self.photos.close()
        self.work.close()
        self.build.close()


def attach(app: Flask, context: AppContext) -> None:
    """Gives an application its context."""
    app.extensions[_NAME] = context


def has_context(app: Flask) -> bool:
    """Whether an application has one."""
    return _NAME in app.extensions


def context_of(app: Flask) -> AppContext:
    """The context of an application."""
    return cast(AppContext, app.extensions[_NAME])


def app_context() -> AppContext:
    """The context of the application that answers the present request."""
    return context_of(current_app)


def request_json() -> dict[str, Any]:
    """The JSON object of the present request.  Raises ReconError where it is none or too large."""
    if (request.content_length or 0) > MOST_REQUEST_BYTES:
        raise ReconError("That is too much for one change.")
    try:
        data = request.get_json(silent=True)
        json.dumps(data, ensure_ascii=False).encode("utf-8")
    except (RecursionError, UnicodeEncodeError):  # brackets too deep, half of a surrogate pair
        data = None
    if not isinstance(data, dict):
        raise ReconError("The request is not a JSON object.")
    return data


def request_frame_file(name: str, subject: str) -> tuple[bytes, Frame]:
    """The frame file that is the body of the present request, and its frame.

    Raises ReconError, in which it is called by its name and a sentence's subject, where it is none.
    """
    data = request.stream.read(MAX_BYTES + 1)
    if len(data) > MAX_BYTES:
        raise ReconError("That is too large for a frame file.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise ReconError(f"{subject} is not text; choose a frame file (JSON).") from error
    return data, frame_from_dict(parse_json(text, name), name, app_context().stocks)
