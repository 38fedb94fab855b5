"""The application: one build, one page."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from pathlib import Path

from flask import Flask, Request, Response, jsonify, render_template, request
from flask.json.provider import DefaultJSONProvider
from werkzeug.exceptions import HTTPException

from recon.errors import ReconError
from recon.frame.stock import Stock
from recon.frame.usual_stock import load_stocks_of_user
from recon.image.video.files import MOST_BYTES as MOST_VIDEO_BYTES
from webui.context import MOST_REQUEST_BYTES, AppContext, attach, context_of
from webui.guard import OPENED, Keys, guard
from webui.processes.by_hand import RowWorker
from webui.processes.derived import DerivedWorker
from webui.processes.reading import ReadingJob
from webui.storage.build import Build, Conflict
from webui.storage.photo_store import MOST_BYTES, PhotoStore
from webui.storage.reading_cache import SOLVER
from webui.storage.step_photos import StepPhotos
from webui.storage.video_store import VideoStore
from webui.storage.work import WorkLog
from webui.views import (
    assembly,
    by_hand,
    change,
    devices,
    downloads,
    page,
    photos,
    plan,
    reading,
    versions,
    videos,
)
from webui.views.videos import ADDRESS as VIDEOS


class _JsonInOrder(DefaultJSONProvider):
    sort_keys = False


class _Request(Request):
    @property
    def max_content_length(self) -> int | None:
        """Bytes that this request may have: videos are larger than all else."""
        return MOST_VIDEO_BYTES if self.path == VIDEOS else super().max_content_length

    @max_content_length.setter
    def max_content_length(self, value: int | None) -> None:
        raise AttributeError("it follows from the address")


class _App(Flask):
    json_provider_class = _JsonInOrder
    request_class = _Request


def create_app(
    folder: str | Path,
    *,
    host: str = "127.0.0.1",
    port: int = 0,
    root: str | None = None,
    keys: Keys | None = None,
    stocks: dict[str, Stock] | None = None,
    solver: str = SOLVER,
    on_enter: Callable[[], object] | None = None,
    on_wrong_keys: Callable[[], object] | None = None,
) -> Flask:
    """The application for the build in `folder`, which it opens and locks until `close_app`.

    Parameters
    ----------
    folder : path
    host, port : str, int
        That it will be served on.
    root : str, optional
        Its address for other devices, without a path; by host and port where it is left out.
    keys : Keys, optional
        None where only this machine can reach it.
    stocks : dict of str to Stock, optional
        By id; the list that comes with recon by default.
    solver : str
        The module that reads photos.
    on_enter : callable, optional
        Called when a key was used.
    on_wrong_keys : callable, optional
        Called once, when many wrong keys were tried.

    Raises
    ------
    ReconError
        Where the build cannot be opened.
    """
    app = _App("webui", static_folder=None, template_folder="templates", root_path=str(Path(__file__).parent))
    app.config.update(
        MAX_CONTENT_LENGTH=MOST_BYTES + 2**20, MAX_FORM_MEMORY_SIZE=MOST_REQUEST_BYTES, MAX_FORM_PARTS=8
    )
    stocks = stocks or load_stocks_of_user()
    address = root or f"http://{f'[{host}]' if ':' in host else host}:{port}"
    context = _context(Build(folder, stocks), stocks, solver, keys, address)
    attach(app, context)
    guard(app, host, port, keys, context.token, on_enter, on_wrong_keys)
    views = (page, photos, videos, reading, change, by_hand, plan, downloads, devices, assembly, versions)
    for module in views:
        app.register_blueprint(module.bp)
    _answer_errors(app)
    context.photos.start()
    return app


def _context(
    build: Build, stocks: dict[str, Stock], solver: str, keys: Keys | None, address: str
) -> AppContext:
    try:
        work = WorkLog(build.folder)
    except BaseException:
        build.close()
        raise
    photo_store = PhotoStore(build)
    return AppContext(
        build=build,
        work=work,
        photos=photo_store,
        step_photos=StepPhotos(build, photo_store),
        videos=VideoStore(build, photo_store),
        reading=ReadingJob(build, solver, stocks),
        quick=DerivedWorker(build, stocks),
        checks=DerivedWorker(build, stocks, give_up=True),
        steps=DerivedWorker(build, stocks, give_up=True),
        rows=RowWorker(build.folder),
        stocks=stocks,
        token=secrets.token_urlsafe(32),
        keys=keys,
        address=address,
    )


def close_app(app: Flask) -> None:
    """Ends what runs in the background, saves the frame file and unlocks the build."""
    context_of(app).close()


def _is_opened_by_a_person() -> bool:
    """Whether the present request is a browser's for a page, not a script's for data."""
    return request.path in OPENED and "text/html" in request.headers.get("Accept", "")


def _answer_errors(app: Flask) -> None:
    """Every error is answered in a sentence."""

    @app.errorhandler(ReconError)
    def in_words(error: ReconError) -> tuple[Response, int]:
        return jsonify(problem=str(error)), 422

    @app.errorhandler(Conflict)
    def in_conflict(error: Conflict) -> tuple[Response, int]:
        problem = "This build was changed in another tab or on another device."
        return jsonify(problem=problem, conflict=True), 409

    @app.errorhandler(HTTPException)
    def refused(error: HTTPException) -> Response | tuple[Response, int]:
        words = {
            404: "There is nothing under this address.",
            413: f"That is too large; a photo may have {MOST_BYTES >> 20} MB, "
            f"a video {MOST_VIDEO_BYTES >> 30} GB.",
            405: "That cannot be done here.",
        }
        problem = words.get(error.code or 0, error.description or "")
        if _is_opened_by_a_person():
            return Response(render_template("refused.html", problem=problem), error.code or 500)
        return jsonify(problem=problem), error.code or 500

    @app.errorhandler(OSError)
    def of_the_disk(error: OSError) -> tuple[Response, int]:
        try:
            context_of(app).build.hold_place()
        except ReconError as gone:
            return in_words(gone)
        return fault(error)

    @app.errorhandler(Exception)
    def fault(error: Exception) -> tuple[Response, int]:
        app.logger.exception("fault")
        words = (
            f"This is a fault in the page, not in what you did ({type(error).__name__}). "
            "Nothing was lost; load the page again."
        )
        return jsonify(problem=words), 500
