"""Keeping others out: who may send requests, from where, and what a browser may do with the answers.

On loopback anyone at this machine may use the page.  On another interface a browser must first have come in
by an address with a key that works once.  Host and Origin are checked on every request, so that no other site
can reach the page through a name of its own (DNS rebinding) or through the user's browser, and every change
carries a token that only the page knows.
"""

from __future__ import annotations

import ipaddress
import secrets
import threading
import time
from collections.abc import Callable
from hmac import compare_digest
from urllib.parse import urlsplit

from flask import Flask, Response, abort, redirect, request
from werkzeug.wrappers import Response as BaseResponse

COOKIE, TOKEN_HEADER = (
    "build_pass",
    "X-Build-Token",
)  # the cookie's name goes on with the port: see `cookie_name`
SAFE = ("GET", "HEAD")
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
    "font-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; "
    "require-trusted-types-for 'script'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}
OPENED = ("/", "/enter", "/phone", "/assemble")  # addresses that a link from elsewhere may open
# After so many wrong keys each further one is answered late. A key has 192 bits: nobody guesses it, however
# fast, and the right one is taken at once all the time. This project's choices.
WRONG_KEYS = 20
LATE_S = 2.0


class Keys:
    """Keys that each let one browser in, and the passes of those that are in."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._keys: set[str] = set()
        self._passes: set[str] = set()
        self._wrong = 0

    def new(self) -> str:
        """Another key."""
        key = secrets.token_urlsafe(24)
        with self._lock:
            self._keys.add(key)
        return key

    def enter(self, key: str) -> str | None:
        """A pass for a key that was not used yet, else None."""
        with self._lock:
            known = next((k for k in self._keys if compare_digest(k.encode(), key.encode())), None)
            if known is None:
                self._wrong += 1
                return None
            self._keys.remove(known)
            self._passes.add(ticket := secrets.token_urlsafe(32))
            return ticket

    @property
    def entered(self) -> int:
        """How many browsers were let in."""
        return len(self._passes)

    @property
    def wrong(self) -> int:
        """How many wrong keys were tried."""
        return self._wrong

    def knows(self, ticket: str | None) -> bool:
        """Whether this pass lets in."""
        if not ticket:
            return False
        return any(compare_digest(p.encode(), ticket.encode()) for p in self._passes)


def cookie_name(port: int) -> str:
    """The name of the cookie with a browser's pass: browsers send cookies to all ports of a host.

    Examples
    --------
    >>> cookie_name(8174)
    'build_pass_8174'
    """
    return f"{COOKIE}_{port}"


def guard(
    app: Flask,
    host: str,
    port: int,
    keys: Keys | None,
    token: str,
    on_enter: Callable[[], object] | None = None,
    on_wrong_keys: Callable[[], object] | None = None,
) -> None:
    """Puts the checks before every request of `app`, and the headers on every answer.

    Parameters
    ----------
    app : Flask
    host, port : str, int
        That the page was started for.
    keys : Keys or None
        None on loopback.
    token : str
        What changes must carry.
    on_enter : callable, optional
        Called after a key was used, to hand out the next.
    on_wrong_keys : callable, optional
        Called once, when WRONG_KEYS wrong keys were tried.
    """
    cookie = cookie_name(port)

    @app.before_request
    def check() -> None:
        _check_origin(host)
        if keys is not None and request.path != "/enter" and not keys.knows(request.cookies.get(cookie)):
            abort(401, "Open the address with the key that was shown where the page was started.")
        if request.method not in SAFE:
            sent = request.headers.get(TOKEN_HEADER, "")
            if not compare_digest(sent.encode(), token.encode()):
                abort(403, "This page is from an earlier start of the program; load it again.")

    @app.after_request
    def headers(answer: Response) -> Response:
        for name, value in HEADERS.items():
            answer.headers[name] = value
        answer.headers.setdefault("Cache-Control", "no-store")
        return answer

    if keys is not None:
        _add_entrance(app, cookie, keys, on_enter, on_wrong_keys)


def _check_origin(host: str) -> None:
    """Refuses the present request where it came under another name than the page's, or from another site."""
    if not _host_is_ours(request.host, host):
        abort(403, "This page answers only under its own address.")
    origin = request.headers.get("Origin")
    if origin is not None:
        parts = urlsplit(origin)
        if (parts.scheme, parts.netloc) != (request.scheme, request.host):
            abort(403, "This request came from another site.")
    if request.headers.get("Sec-Fetch-Site", "none") not in ("same-origin", "none"):
        opening = request.method == "GET" and request.path in OPENED  # by a link from elsewhere
        if not (opening and request.headers.get("Sec-Fetch-Mode") == "navigate"):
            abort(403, "This request came from another site.")


def _add_entrance(
    app: Flask,
    cookie: str,
    keys: Keys,
    on_enter: Callable[[], object] | None,
    on_wrong_keys: Callable[[], object] | None,
) -> None:
    """The address by which a browser comes in with a key."""

    @app.get("/enter")
    def enter() -> BaseResponse:
        if request.method == "HEAD":  # a program that looks what is there, not a browser that comes in
            return Response()
        if keys.knows(request.cookies.get(cookie)):
            return redirect("/")
        ticket = keys.enter(request.args.get("key", "")[:200])
        if ticket is None:
            if keys.wrong == WRONG_KEYS and on_wrong_keys:
                on_wrong_keys()
            if keys.wrong > WRONG_KEYS:
                time.sleep(LATE_S)
            abort(
                401,
                "This key was used already or is not right; "
                "take the newest address from where the page was started.",
            )
        if on_enter:
            on_enter()
        answer = redirect("/phone" if request.args.get("to") == "phone" else "/")
        answer.set_cookie(cookie, ticket, httponly=True, samesite="Strict", path="/")
        return answer


def _host_is_ours(value: str, host: str) -> bool:
    """Whether a Host header names this server.

    That is loopback, the host it was started for, or, where it listens on more than loopback, any plain IP
    address: a plain address is no other site's name.
    """
    name = urlsplit(f"//{value}").hostname or ""
    if name in ("localhost", host):
        return True
    try:
        address = ipaddress.ip_address(name)
    except ValueError:
        return False
    return address.is_loopback or not is_loopback(host)


def is_loopback(host: str) -> bool:
    """Whether an interface is this machine's own.

    Examples
    --------
    >>> is_loopback("127.0.0.1"), is_loopback("0.0.0.0")
    (True, False)
    """
    try:
        return host == "localhost" or ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
