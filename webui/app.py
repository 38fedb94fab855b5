"""The application: one build, one page."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from pathlib import Path

from flask import Flask, current_app, jsonify, request
from werkzeug.exceptions import HTTPException

from recon.errors import ReconError
from recon.frame.stock import load_stocks
from webui.guard import Keys, guard
from webui.processes.derived import Reckoner
from webui.processes.reading import Reading
from webui.storage.build import Build, Conflict
from webui.storage.photos import MOST_BYTES, Photos
from webui.storage.reading_cache import SOLVER

MOST_ASKED = 2 * 2**20  # bytes of any request that is not a photo


@dataclass(frozen=True)
class Bench:
    """What the views work on."""

    build: Build
    photos: Photos
    reading: Reading
    quick: Reckoner  # doubts and parts
    checks: Reckoner  # may take long
    stocks: dict
    token: str
    keys: Keys | None
    address: str


def bench() -> Bench:
    return current_app.extensions["bench"]


def create_app(
    folder: str | Path,
    *,
    host: str = "127.0.0.1",
    port: int = 0,
    keys: Keys | None = None,
    stocks=None,
    solver: str = SOLVER,
    on_enter=None,
) -> Flask:
    """The application for the build in `folder`, which it opens and locks until `close_app`.

    host, port : that it will be served on.   keys : None where only this machine can reach it.   stocks : id -> Stock.
    on_enter : called when a key was used.   Raises ReconError where the build cannot be opened.
    """
    from webui.views import change, papers, photos, plan, reading, see

    app = Flask(
        "webui", static_folder=None, template_folder="templates", root_path=str(Path(__file__).parent)
    )
    app.config.update(
        MAX_CONTENT_LENGTH=MOST_BYTES + 2**20, MAX_FORM_MEMORY_SIZE=MOST_ASKED, MAX_FORM_PARTS=8
    )
    app.json.sort_keys = False
    stocks = stocks or load_stocks()
    build = Build(folder, stocks)
    app.extensions["bench"] = Bench(
        build,
        Photos(build),
        Reading(build, solver, stocks),
        Reckoner(build, stocks),
        Reckoner(build, stocks, give_up=True),
        stocks,
        secrets.token_urlsafe(32),
        keys,
        f"http://{f'[{host}]' if ':' in host else host}:{port}",
    )
    guard(app, host, keys, app.extensions["bench"].token, on_enter)
    for module in (see, photos, reading, change, plan, papers):
        app.register_blueprint(module.bp)

    @app.errorhandler(ReconError)
    def in_words(error):
        return jsonify(problem=str(error)), 422

    @app.errorhandler(Conflict)
    def in_conflict(error):
        return jsonify(
            problem="This build was changed in another tab or on another device.", conflict=True
        ), 409

    @app.errorhandler(HTTPException)
    def refused(error):
        words = {
            404: "There is nothing under this address.",
            413: f"That is too large; a photo may have {MOST_BYTES >> 20} MB.",
            405: "That cannot be done here.",
        }.get(error.code, error.description)
        return jsonify(problem=words), error.code

    @app.errorhandler(Exception)
    def fault(error):
        app.logger.exception("fault")
        words = f"This is a fault in the page, not in what you did ({type(error).__name__}). Nothing was lost; load the page again."
        return jsonify(problem=words), 500

    app.extensions["bench"].photos.start()
    return app


def close_app(app: Flask) -> None:
    """Ends what runs in the background, saves the frame file and unlocks the build."""
    b = app.extensions["bench"]
    b.reading.close()
    b.quick.close()
    b.checks.close()
    b.photos.close()
    b.build.close()


def asked_json() -> dict:
    """The JSON object of a request.  Raises ReconError where it is none or too large."""
    if (request.content_length or 0) > MOST_ASKED:
        raise ReconError("That is too much for one change.")
    data = request.get_json(silent=True)
    if not isinstance(data, dict):
        raise ReconError("The request is not a JSON object.")
    return data
