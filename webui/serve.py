"""The page on a port of this machine."""

from __future__ import annotations

import contextlib
import logging
import socket
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from flask import Flask
from werkzeug.serving import BaseWSGIServer, ThreadedWSGIServer, WSGIRequestHandler, make_server

from recon.errors import ReconError
from recon.frame.stock import Stock
from webui.app import close_app, create_app
from webui.context import context_of, has_context
from webui.guard import Keys, is_loopback
from webui.network import reachable_host
from webui.start import create_start
from webui.storage.reading_cache import SOLVER
from webui.storage.recent import remember

SLOWEST_S = 60  # that a connection may stay silent
HEAD_S = 75.0  # in which a request's head must have come, however it drips.  Both this project's choices
# Seconds after which a thread that computes lets others go on: an edit comes while parts or doubts are being
# found.
TURN_S = 0.001


class _Handler(WSGIRequestHandler):
    protocol_version = "HTTP/1.1"
    timeout = SLOWEST_S

    def handle_one_request(self) -> None:
        """Answers one request; ends the connection where its head does not come."""
        self._head_timer = threading.Timer(HEAD_S, self._end)
        self._head_timer.daemon = True
        self._head_timer.start()
        try:
            super().handle_one_request()
        finally:
            self._head_timer.cancel()

    def parse_request(self) -> bool:
        """Reads the head of a request; from then on it may take its time."""
        good = super().parse_request()
        self._head_timer.cancel()
        return good

    def _end(self) -> None:
        with contextlib.suppress(OSError):  # it has ended by itself
            self.connection.shutdown(socket.SHUT_RDWR)

    def log_request(self, *args: object, **kwargs: object) -> None:  # the terminal is for sentences
        pass

    def log_error(self, *args: object, **kwargs: object) -> None:  # "Request timed out" is no news
        pass

    def version_string(self) -> str:
        return "page"


@dataclass
class Page:
    """A page that listens.

    Attributes
    ----------
    server : BaseWSGIServer
    app : Flask
    address : str
        What to open in a browser.
    root : str
        The same without a path and a key.
    keys : Keys or None
        None where only this machine can reach it.
    """

    server: BaseWSGIServer
    app: Flask
    address: str
    root: str
    keys: Keys | None

    @property
    def folder(self) -> Path | None:
        """The build's; None where none is chosen yet."""
        return context_of(self.app).build.folder if has_context(self.app) else None

    def phone_address(self) -> str:
        """Another address with a key, for a phone.  Raises ReconError where only this machine can reach the
        page."""
        if self.keys is None:
            raise ReconError("The page is open to this machine alone.")
        return f"{self.root}/enter?key={self.keys.new()}&to=phone"

    def serve(self) -> None:
        """Answers until `stop` or Ctrl-C."""
        self.server.serve_forever()

    def stop(self) -> None:
        """Answers no more."""
        self.server.shutdown()

    def close(self) -> None:
        """Ends what runs in the background, saves the frame file and unlocks the build."""
        self.server.server_close()
        if self.folder:
            close_app(self.app)


def open_page(
    folder: str | Path | None,
    *,
    host: str = "127.0.0.1",
    port: int = 0,
    key: bool = False,
    stocks: dict[str, Stock] | None = None,
    say: Callable[[str], object] = print,
    solver: str = SOLVER,
) -> Page:
    """Opens a build and listens.

    Parameters
    ----------
    folder : path, optional
        The build's.  Without it the page begins with those that were opened last.
    host, port : str, int
        0 for any free port.
    key : bool
        Whether browsers come in by an address with a key that works once.
    stocks : dict of str to Stock, optional
        By id; the list that comes with recon by default.
    say : callable
        Called with sentences for the terminal.
    solver : str
        The module that reads photos.

    Raises
    ------
    ReconError
        Where the build cannot be opened, the port is taken, or the page would be open to others without a
        key.
    """
    if not is_loopback(host) and not key:
        raise ReconError(
            f"--host {host}: that would open the page to others; "
            "add --key, and browsers come in by an address with a key."
        )
    shown = reachable_host(host)
    taken = _listen(host, port)
    port = taken.getsockname()[1]
    root = f"http://{f'[{shown}]' if ':' in shown else shown}:{port}"
    door = _Door(host, port, root, Keys() if key else None, say)

    def app_of(build: Path) -> Flask:
        made = create_app(
            build,
            host=host,
            port=port,
            root=root,
            keys=door.keys,
            stocks=stocks,
            solver=solver,
            on_enter=door.next_address,
            on_wrong_keys=door.wrong_keys,
        )
        remember(build)
        return made

    try:
        app = app_of(Path(folder)) if folder else _start(door, app_of, lambda: page)
    except BaseException:
        taken.close()
        raise
    page = Page(_server(host, port, app, taken), app, door.address(), root, door.keys)
    return page


@dataclass
class _Door:
    """Where browsers come in, and what is said of it in the terminal."""

    host: str
    port: int
    root: str
    keys: Keys | None
    say: Callable[[str], object]

    def address(self) -> str:
        """What to open, with a fresh key where one is needed."""
        return f"{self.root}/enter?key={self.keys.new()}" if self.keys else f"{self.root}/"

    def next_address(self) -> None:
        """A key was used."""
        self.say(f"A browser came in. For the next one: {self.address()}")

    def wrong_keys(self) -> None:
        """Many wrong keys were tried."""
        self.say(
            "Someone tries wrong keys; they are answered late from now on. The address that was printed last "
            "lets a browser in as before."
        )


def _start(door: _Door, app_of: Callable[[Path], Flask], page: Callable[[], Page]) -> Flask:
    """The application that asks which build to open, and then gives its place to that build's."""
    choosing = threading.Lock()

    def choose(build: Path) -> None:
        with choosing:
            if page().folder:
                raise ReconError("A build was chosen already: load this page again.")
            page().app = page().server.app = app_of(build)
        door.say(f"The build is in {build}.")

    return create_start(door, Path.cwd(), choose)


def _server(host: str, port: int, app: Flask, taken: socket.socket) -> BaseWSGIServer:
    """The server of an application on a socket that listens already."""
    sys.setswitchinterval(TURN_S)
    logging.getLogger("werkzeug").setLevel(logging.ERROR)
    server = make_server(host, port, app, threaded=True, request_handler=_Handler, fd=taken.detach())
    if isinstance(server, ThreadedWSGIServer):
        server.daemon_threads = True
    return server


def _listen(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    taken = socket.socket(family, socket.SOCK_STREAM)
    try:
        taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        taken.bind((host, port))
        taken.listen(64)
    except OSError as error:
        taken.close()
        raise ReconError(
            f"{host}:{port}: the page cannot answer there ({error.strerror}); choose another --port or "
            "--host."
        ) from error
    return taken
