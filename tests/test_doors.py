"""The page that `emgreview review` serves: what a foreign page, a foreign name, an invented session or another user of
the machine gets is a refusal. All on the real server, by plain sockets."""

import base64
import json
import os
import re
import signal
import socket
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

import emgreview as er

psutil = pytest.importorskip("psutil")
pytest.importorskip("panel", reason="the widgets need the extra [notebook]")

SERVE = """
import sys
import panel as pn
from emgreview.views import host
host.prepare()
host.serve(pn.pane.Str("hello"), open_browser=sys.argv[1] == "open", ready=lambda address: print(address, flush=True))
"""


def is_refusal(answer: bytes) -> bool:
    """Whether this is the whole of an answer that opens no websocket: after it the line may stay open."""
    head, end, body = answer.partition(b"\r\n\r\n")
    length = re.search(rb"(?im)^content-length: (\d+)", head)
    return bool(end and length) and b" 101 " not in head.split(b"\r\n")[0] and len(body) >= int(length[1])


class Served:
    """The server in a process of its own; its address."""

    def __init__(self, *, browser: str = ""):
        environment = {**os.environ, "PYTHONPATH": str(Path(er.__file__).parents[1]), "BROWSER": browser}
        command = [sys.executable, "-c", SERVE, "open" if browser else "closed"]
        self.process = subprocess.Popen(
            command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        self.address = self.process.stdout.readline().strip()
        found = re.fullmatch(r"http://127\.0\.0\.1:(\d+)/([\w-]+)", self.address)
        assert found, self.process.stderr.read()
        self.port, self.word = int(found[1]), found[2]

    def ask(self, path: str, *headers: str, host: str | None = "") -> tuple[int, str]:
        """Status and body of one request; ``host`` None sends none."""
        named = [] if host is None else [f"Host: {host or f'127.0.0.1:{self.port}'}"]
        lines = [f"GET {path} HTTP/1.1", *named, "Connection: close", *headers, "", ""]
        with socket.create_connection(("127.0.0.1", self.port), timeout=20) as line:
            line.sendall("\r\n".join(lines).encode())
            answer = b""
            while part := line.recv(1 << 16):
                answer += part
                if b" 101 " in answer.split(b"\r\n")[0]:
                    break
        return int(answer.split()[1]), answer.decode("utf-8", "replace")

    def open_websocket(self, token: str, *headers: str, host: str = "") -> tuple[int, str]:
        """Status of the handshake, and what came after it."""
        made = [
            "Connection: Upgrade", "Upgrade: websocket", "Sec-WebSocket-Version: 13",
            "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==", f"Sec-WebSocket-Protocol: bokeh, {token}", *headers,
        ]  # fmt: skip
        lines = [f"GET /{self.word}/ws HTTP/1.1", f"Host: {host or f'127.0.0.1:{self.port}'}", *made, "", ""]
        with socket.create_connection(("127.0.0.1", self.port), timeout=5) as line:
            line.sendall("\r\n".join(lines).encode())
            answer = b""
            end = time.monotonic() + 5
            while time.monotonic() < end and b"ACK" not in answer and not is_refusal(answer):
                try:
                    part = line.recv(1 << 16)
                except TimeoutError:
                    break
                if not part:
                    break
                answer += part
        return int(answer.split()[1]), answer.decode("utf-8", "replace")

    def stop(self) -> None:
        self.process.send_signal(signal.SIGINT)
        self.process.communicate(timeout=30)


@pytest.fixture(scope="module")
def served():
    server = Served()
    yield server
    server.stop()


def token_of(page: str) -> str:
    return re.search(r'"token":"([^"]+)"', page)[1]


def test_the_page_and_its_websocket_open_for_this_machine(served):
    for host in ("127.0.0.1", "localhost"):
        own = f"{host}:{served.port}"
        status, page = served.ask(f"/{served.word}", host=own)
        assert (status, "Bokeh" in page) == (200, True)
        status, answer = served.open_websocket(token_of(page), f"Origin: http://{own}", host=own)
        assert status == 101
        assert "ACK" in answer


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.1:1", "[::1]:{port}", None]
)
@pytest.mark.parametrize("path", ["/{word}", "/", "/static/js/bokeh.min.js", "/{word}/ws", "/favicon.ico"])
def test_a_name_that_was_made_to_point_here_is_refused(served, host, path):
    host = host and host.format(port=served.port)
    status, page = served.ask(path.format(word=served.word), host=host)
    assert status in (400, 403)
    assert "token" not in page


def test_two_hosts_are_none(served):
    status, _ = served.ask(f"/{served.word}", "Host: evil.example")
    assert status in (400, 403)


@pytest.mark.parametrize(
    "origin",
    [
        "http://evil.example",
        "null",
        "http://127.0.0.1",
        "https://127.0.0.1:{port}",
        "http://127.0.0.1.evil.example:{port}",
    ],
)
def test_pages_of_other_origins_get_neither_page_nor_websocket(served, origin):
    token = token_of(served.ask(f"/{served.word}")[1])
    origin = origin.format(port=served.port)
    assert served.ask(f"/{served.word}", f"Origin: {origin}")[0] == 403
    assert served.open_websocket(token, f"Origin: {origin}")[0] == 403


def test_a_websocket_that_says_nothing_of_its_origin_is_refused(served):
    token = token_of(served.ask(f"/{served.word}")[1])
    status, answer = served.open_websocket(token)
    assert status == 403
    assert "which page it is of" in answer


def invented(session: str = "mine") -> str:
    said = {"session_id": session, "session_expiry": int(time.time()) + 300}
    return base64.urlsafe_b64encode(json.dumps(said).encode()).decode().rstrip("=")


@pytest.mark.parametrize("signature", ["", ".", ".c2lnbmVk"])
def test_an_invented_session_is_refused(served, signature):
    status, answer = served.open_websocket(invented() + signature, f"Origin: http://127.0.0.1:{served.port}")
    assert status in (101, 403)
    assert "ACK" not in answer
    status, page = served.ask(f"/{served.word}?bokeh-session-id=mine")
    assert status == 403
    assert '"token"' not in page


def test_a_session_whose_name_was_changed_is_refused(served):
    token = token_of(served.ask(f"/{served.word}")[1])
    _, answer = served.open_websocket(
        invented() + "." + token.rpartition(".")[2], f"Origin: http://127.0.0.1:{served.port}"
    )
    assert "ACK" not in answer


@pytest.mark.skipif(os.name == "nt", reason="modes of files are those of POSIX")
def test_the_browser_is_told_the_address_by_a_file_of_its_owner_not_on_a_command_line(tmp_path):
    told = tmp_path / "told.txt"
    browser = tmp_path / "browser"
    browser.write_text(f'#!/bin/sh\nprintf "%s\\n" "$@" > {told}.part\nmv {told}.part {told}\n')
    browser.chmod(0o755)
    server = Served(browser=str(browser))
    try:
        for _ in range(200):
            if told.exists():
                break
            time.sleep(0.05)
        (given,) = told.read_text().split()
        assert server.word not in given
        assert given.startswith("file:///")
        path = Path(given.removeprefix("file://"))
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700
        assert server.address in path.read_text()
        running = [process.info["cmdline"] for process in psutil.process_iter(["cmdline"])]
        assert server.word not in str(running)
        assert server.ask(f"/{server.word}")[0] == 200
        assert not path.parent.exists(), "once it was used, it is gone"
    finally:
        server.stop()


@pytest.mark.skipif(os.name == "nt", reason="modes of files are those of POSIX")
def test_an_address_that_nobody_opened_is_taken_away_at_the_end(tmp_path):
    told = tmp_path / "told.txt"
    browser = tmp_path / "browser"
    browser.write_text(f'#!/bin/sh\nprintf "%s\\n" "$@" > {told}.part\nmv {told}.part {told}\n')
    browser.chmod(0o755)
    server = Served(browser=str(browser))
    for _ in range(200):
        if told.exists():
            break
        time.sleep(0.05)
    path = Path(told.read_text().strip().removeprefix("file://"))
    assert path.exists()
    server.stop()
    assert not path.parent.exists()
