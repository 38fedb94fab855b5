"""The page before a build is chosen: the builds that were opened last, or a new one."""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from flask import Flask, Response, jsonify, render_template, request, send_from_directory

from recon.errors import ReconError
from webui.guard import Keys, guard
from webui.storage.recent import recent_builds

STATIC = Path(__file__).resolve().parent / "static"
LONGEST_NAME = 80
_NAME = re.compile(r"\w[\w .()-]*")


class Door(Protocol):
    """Where browsers come in, and what is done as they do."""

    host: str
    port: int
    keys: Keys | None

    def next_address(self) -> None:
        """A key was used."""

    def wrong_keys(self) -> None:
        """Many wrong keys were tried."""


def create_start(door: Door, place: Path, choose: Callable[[Path], object]) -> Flask:
    """The application that asks which build to open.

    Parameters
    ----------
    door : Door
        Where browsers come in.
    place : Path
        The folder in which new builds are made.
    choose : callable
        Called with the folder of the build to open; raises ReconError where it cannot be opened.
    """
    app = Flask("webui.start", static_folder=None, template_folder="templates", root_path=str(STATIC.parent))
    token = secrets.token_urlsafe(32)
    guard(app, door.host, door.port, door.keys, token, door.next_address, door.wrong_keys)

    @app.get("/")
    def page() -> str:
        return render_template("start.html", token=token, builds=recent_builds(), place=place)

    @app.get("/static/<path:name>")
    def static(name: str) -> Response:
        return send_from_directory(STATIC, name, max_age=0)

    @app.post("/open")
    def open_build() -> Response:
        data = request.get_json(silent=True)
        if not isinstance(data, dict):
            raise ReconError("The request is not a JSON object.")
        folder = _recent(data["folder"]) if "folder" in data else _new(place, data.get("name"))
        choose(folder)
        return jsonify(folder=str(folder))

    @app.errorhandler(ReconError)
    def in_words(error: ReconError) -> tuple[Response, int]:
        return jsonify(problem=str(error)), 422

    return app


def _recent(folder: object) -> Path:
    """One of the builds that are listed, and no other folder of this machine."""
    known = {str(b.folder): b.folder for b in recent_builds()}
    if folder not in known:
        raise ReconError(f"{folder}: this build is not there any more.")
    return known[str(folder)]


def _new(place: Path, name: object) -> Path:
    """The folder of a new build."""
    if (
        not isinstance(name, str)
        or not re.fullmatch(r"[\w][\w .()-]*", name.strip())
        or len(name) > LONGEST_NAME
    ):
        raise ReconError("Give the new build a name of letters, digits, spaces, dots or hyphens.")
    folder = place / name.strip()
    if folder.exists():
        raise ReconError(f"{folder} is there already: choose another name.")
    return folder
