"""The page on a port of this machine."""

from __future__ import annotations

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
# Seconds after which a thread that computes lets others go on: an edit comes while parts or doubts are being
# found.
TURN_S = 0.001


class _Handler(WSGIRequestHandler):
    protocol_version = "HTTP/1.1"  # a connection serves many tiles
    timeout = SLOWEST_S

    def log_request(self, *args: object, **kwargs: object) -> None:  # the terminal is for sentences
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
    keys = Keys() if key else None
    shown = reachable_host(host)
    taken = _listen(host, port)
    port = taken.getsockname()[1]
    root = f"http://{f'[{shown}]' if ':' in shown else shown}:{port}"

    def address() -> str:
        return f"{root}/enter?key={keys.new()}" if keys else f"{root}/"

    def next_address() -> None:
        say(f"A browser came in. For the next one: {address()}")

    def app_of(build: Path) -> Flask:
        made = create_app(
            build, host=host, root=root, keys=keys, stocks=stocks, solver=solver, on_enter=next_address
        )
        remember(build)
        return made

    def choose(build: Path) -> None:
        with choosing:
            if page.app is not start:
                raise ReconError("A build was chosen already: load this page again.")
            page.app = page.server.app = app_of(build)
        say(f"The build is in {build}.")

    choosing = threading.Lock()
    try:
        start = None if folder else create_start(host, keys, Path.cwd(), choose, next_address)
        app = start or app_of(Path(folder or "."))
    except BaseException:
        taken.close()
        raise
    page = Page(_server(host, port, app, taken), app, address(), root, keys)
    return page


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
