"""The page on a port of this machine."""

from __future__ import annotations

import logging
import socket
import sys
from dataclasses import dataclass
from pathlib import Path

from werkzeug.serving import BaseWSGIServer, WSGIRequestHandler, make_server

from recon.errors import ReconError
from webui.app import close_app, create_app
from webui.guard import Keys, is_loopback
from webui.storage.reading_cache import SOLVER

SLOWEST_S = 60  # that a connection may stay silent
TURN_S = 0.001  # after which a thread that reckons lets others go on: an edit comes while parts or doubts are being found


class _Handler(WSGIRequestHandler):
    protocol_version = "HTTP/1.1"  # a connection serves many tiles
    timeout = SLOWEST_S

    def log_request(self, *args, **kwargs):  # the terminal is for sentences
        pass

    def version_string(self):
        return "page"


@dataclass
class Page:
    """A page that listens.  address : what to open in a browser."""

    server: BaseWSGIServer
    address: str

    def serve(self):
        """Answers until `stop` or Ctrl-C."""
        self.server.serve_forever()

    def stop(self):
        self.server.shutdown()

    def close(self):
        self.server.server_close()
        close_app(self.server.app)


def open_page(
    folder: str | Path,
    *,
    host: str = "127.0.0.1",
    port: int = 0,
    key: bool = False,
    stocks=None,
    say=print,
    solver: str = SOLVER,
) -> Page:
    """Opens a build and listens.

    Raises ReconError where the build cannot be opened, the port is taken, or the page would be open to others without a key.
    """
    if not is_loopback(host) and not key:
        raise ReconError(
            f"--host {host}: that would open the page to others; add --key, and browsers come in by an address "
            "with a key."
        )
    keys = Keys() if key else None
    taken = _listen(host, port)
    port = taken.getsockname()[1]
    root = f"http://{f'[{host}]' if ':' in host else host}:{port}"

    def address():
        return f"{root}/enter?key={keys.new()}" if keys else f"{root}/"

    try:
        app = create_app(
            folder,
            host=host,
            port=port,
            keys=keys,
            stocks=stocks,
            solver=solver,
            on_enter=(lambda: say(f"A browser came in. For the next one: {address()}")) if keys else None,
        )
    except BaseException:
        taken.close()
        raise
    sys.setswitchinterval(TURN_S)
    logging.getLogger("werkzeug").setLevel(logging.ERROR)
    server = make_server(host, port, app, threaded=True, request_handler=_Handler, fd=taken.detach())
    server.daemon_threads = True
    return Page(server, address())


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
