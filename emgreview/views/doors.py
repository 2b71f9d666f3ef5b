"""The doors of a page that is served to one person on this machine: who may come in, and how the way is told.

Other people, and pages of other sites in the same browser, can send requests to a port of this machine. So every
request must name this machine as its host (a foreign name that was made to point here does not), none may come from a
page of another origin, and a websocket must say which page it comes from. The address holds a secret word; a browser is
told it by a file that only its owner can read, never on a command line, which everybody on the machine can list.

    Doors       in front of a server's application
    Invitation  the file: written, handed to the browser, taken away once it was used
"""

import html
import os
import shutil
import tempfile
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tornado.httputil import HTTPHeaders, HTTPMessageDelegate, HTTPServerRequest, ResponseStartLine
from tornado.routing import Router

_HOSTS = ("127.0.0.1", "localhost")


class Doors(Router):
    """In front of ``inside``, the application of a server on ``port``. ``entered`` is called with every path that was
    let in."""

    def __init__(self, inside: Router, port: int, entered: Callable[[str], object] = lambda _: None):
        self._inside, self._entered = inside, entered
        self._hosts = {f"{host}:{port}" for host in _HOSTS}

    def refusal(self, request: HTTPServerRequest) -> str:
        """Why a request is not let in; "" where it is."""
        hosts, origins = (
            [value.strip().lower() for value in request.headers.get_list(name)] for name in ("Host", "Origin")
        )
        if len(hosts) != 1 or hosts[0] not in self._hosts:
            return f"host {hosts} was asked for; this page answers as {' or '.join(sorted(self._hosts))} alone.\n"
        if not all(map(self._is_own, origins)):
            return f"a request came from {origins}; pages of other origins are not answered.\n"
        if "websocket" in request.headers.get("Upgrade", "").lower() and len(origins) != 1:
            return "a websocket came that does not say which page it is of; open the address in a browser.\n"
        return ""

    def _is_own(self, origin: str) -> bool:
        scheme, _, host = origin.partition("://")
        return scheme == "http" and host in self._hosts

    def find_handler(self, request: HTTPServerRequest, **options: Any) -> HTTPMessageDelegate | None:
        why = self.refusal(request)
        if why:
            return _Refusal(request, why)
        self._entered(request.path)
        return self._inside.find_handler(request, **options)


class _Refusal(HTTPMessageDelegate):
    """403 and the reason, whatever was asked."""

    def __init__(self, request: HTTPServerRequest, why: str):
        self._request, self._why = request, why.encode()

    def finish(self) -> None:
        connection = self._request.connection
        assert connection is not None, "a request that came has one"
        headers = HTTPHeaders({"Content-Type": "text/plain; charset=utf-8", "Content-Length": str(len(self._why))})
        connection.write_headers(ResponseStartLine("HTTP/1.1", 403, "Forbidden"), headers, self._why)
        connection.finish()


class Invitation:
    """A page that leads to an address, in a folder of its own (mode 0700) and readable by its owner alone (0600)."""

    def __init__(self, address: str):
        self._folder: Path | None = Path(tempfile.mkdtemp(prefix="emgreview-"))
        self.path = self._folder / "open.html"
        to = html.escape(address)
        page = (
            '<!doctype html><meta charset="utf-8"><meta name="referrer" content="no-referrer"><title>Review</title>'
            f'<meta http-equiv="refresh" content="0; url={to}"><a href="{to}">Open the review</a>'
        )
        with os.fdopen(os.open(self.path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
            file.write(page)

    def hand_over(self) -> None:
        """Show it in the browser, which goes on to the address."""
        webbrowser.open(self.path.as_uri())

    def take_away(self) -> None:
        """Remove it; nothing is left to read."""
        if self._folder is not None:
            shutil.rmtree(self._folder, ignore_errors=True)
        self._folder = None
