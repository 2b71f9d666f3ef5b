"""Browser engines behind one set of hands: Chromium by Playwright, Firefox by WebDriver BiDi, WebKit by W3C WebDriver.

An :class:`Engine` opens an address, runs JavaScript, presses keys and moves the mouse. Keys are named as in Playwright:
what they print ("f"), or their place or name ("KeyJ", "Semicolon", "ArrowUp"), with "Shift+" or "Control+" before it.
Only Chromium lists what a page asked of other machines; the others are given a proxy that leads nowhere.

    Chromium    around a Playwright page
    Firefox     the system's, headless, over the socket that it opens itself
    WebKit      WebKitGTK's small browser, by its driver, on a screen that nobody sees
    ENGINES     those that are started by name, for a reduced run
"""

import base64
import contextlib
import json
import os
import re
import shutil
import socket
import subprocess
import tempfile
import time
import urllib.request
from pathlib import Path
from typing import Any

WIDTH, HEIGHT = 1400, 950
NAMED = {
    **{"Control": "\ue009", "Shift": "\ue008", "Enter": "\ue006", "Escape": "\ue00c", "Space": " ", "Tab": "\ue004"},
    **{"ArrowLeft": "\ue012", "ArrowUp": "\ue013", "ArrowRight": "\ue014", "ArrowDown": "\ue015"},
    **{"PageUp": "\ue00e", "PageDown": "\ue00f", "End": "\ue010", "Home": "\ue011"},
    **{"Semicolon": ";", "Slash": "/", "Comma": ",", "Period": ".", "Backslash": "\\", "Quote": "'", "Backquote": "`"},
    **{"BracketLeft": "[", "BracketRight": "]", "Minus": "-", "Equal": "="},
}
"""What W3C actions call a key: what it prints, or a code of its own."""


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Engine:
    """Hands on a browser by W3C actions, which Firefox and WebKit share."""

    name: str

    def goto(self, address: str):
        raise NotImplementedError

    def evaluate(self, function: str, *arguments: Any) -> Any:
        """Call a JavaScript function; arguments and result are JSON values."""
        raise NotImplementedError

    def act(self, device: dict[str, Any]):
        """W3C actions of one device."""
        raise NotImplementedError

    def screenshot(self, path: Path):
        raise NotImplementedError

    def close(self):
        raise NotImplementedError

    def wait(self, seconds: float):
        time.sleep(seconds)

    def press(self, *keys: str):
        """One after the other, with no time between them: a hand is quick, and a nudge is sent when it rests."""
        strokes = []
        for key in keys:
            values = [NAMED.get(part, re.sub("^(Key|Digit)", "", part).lower()) for part in key.split("+")]
            strokes += [{"type": "keyDown", "value": value} for value in values]
            strokes += [{"type": "keyUp", "value": value} for value in reversed(values)]
        self.act({"type": "key", "id": "keys", "actions": strokes})

    def _pointer(self, *strokes: dict[str, Any]):
        parameters = {"pointerType": "mouse"}
        self.act({"type": "pointer", "id": "mouse", "parameters": parameters, "actions": list(strokes)})

    def move(self, x: float, y: float):
        self._pointer(_to(x, y))

    def click(self, x: float, y: float):
        self._pointer(_to(x, y), _DOWN, _UP)

    def double_click(self, x: float, y: float):
        self._pointer(_to(x, y), _DOWN, _UP, _DOWN, _UP)

    def drag(self, start: tuple[float, float], stop: tuple[float, float], steps: int = 4):
        (x0, y0), (x1, y1) = start, stop
        between = [_to(x0 + (x1 - x0) * k / steps, y0 + (y1 - y0) * k / steps) for k in range(1, steps + 1)]
        self._pointer(_to(x0, y0), _DOWN, *between, _UP)


_DOWN, _UP = {"type": "pointerDown", "button": 0}, {"type": "pointerUp", "button": 0}


def _to(x: float, y: float) -> dict[str, Any]:
    return {"type": "pointerMove", "x": round(x), "y": round(y), "duration": 20, "origin": "viewport"}


class Chromium(Engine):
    name = "chromium"

    def __init__(self, page: Any):
        self.page = page

    def goto(self, address: str):
        self.page.goto(address)

    def evaluate(self, function: str, *arguments: Any) -> Any:
        return self.page.evaluate(f"(given) => ({function})(...given)", list(arguments))

    def screenshot(self, path: Path):
        self.page.screenshot(path=path)

    def wait(self, seconds: float):
        self.page.wait_for_timeout(1000 * seconds)

    def press(self, *keys: str):
        for key in keys:
            self.page.keyboard.press(key)

    def move(self, x: float, y: float):
        self.page.mouse.move(x, y)

    def click(self, x: float, y: float):
        self.page.mouse.click(x, y)

    def double_click(self, x: float, y: float):
        self.page.mouse.dblclick(x, y)

    def drag(self, start: tuple[float, float], stop: tuple[float, float], steps: int = 4):
        self.page.mouse.move(*start)
        self.page.mouse.down()
        self.page.mouse.move(*stop, steps=steps)
        self.page.mouse.up()

    def close(self):
        """The page belongs to its fixture."""


CALL = "(code, given) => JSON.stringify(eval(code)(...JSON.parse(given)) ?? null)"
NOWHERE = {"proxyType": "manual", "httpProxy": "127.0.0.1:9", "sslProxy": "127.0.0.1:9"}
NOWHERE["noProxy"] = ["127.0.0.1", "localhost"]


class Firefox(Engine):
    name = "firefox"

    @staticmethod
    def missing() -> str:
        return "" if shutil.which("firefox-esr") else "no Firefox on this machine (Debian: firefox-esr)"

    def __init__(self):
        import websocket  # of jupyter-server

        self._folder = tempfile.TemporaryDirectory()
        command = ["firefox-esr", "--headless", "--no-remote", "--remote-debugging-port", "0"]
        command += ["--profile", self._folder.name, "about:blank"]
        log = Path(self._folder.name) / "said"
        environment = {**os.environ, "HOME": self._folder.name, "MOZ_DISABLE_AUTO_SAFE_MODE": "1"}
        with log.open("w") as said:
            self._process = subprocess.Popen(command, stdout=said, stderr=said, env=environment)
        self._n, self._socket = 0, None
        try:
            address = _until(lambda: re.search(r"BiDi listening on (ws://\S+)", log.read_text()), self._process, log)
            self._socket = websocket.create_connection(address.group(1) + "/session", timeout=120, suppress_origin=True)
            self._ask("session.new", capabilities={"alwaysMatch": {"proxy": NOWHERE}})
            self._page = self._ask("browsingContext.create", type="window")["context"]  # the first one has no focus
            viewport = {"width": WIDTH, "height": HEIGHT}
            self._ask("browsingContext.setViewport", context=self._page, viewport=viewport)
        except BaseException:
            self.close()
            raise

    def _ask(self, method: str, **parameters: Any) -> Any:
        self._n += 1
        self._socket.send(json.dumps({"id": self._n, "method": method, "params": parameters}))
        while True:
            answer = json.loads(self._socket.recv())
            if answer.get("id") == self._n:
                break
        if answer["type"] != "success":
            raise RuntimeError(f"Firefox refuses {method}: {answer.get('message')}")
        return answer["result"]

    def goto(self, address: str):
        self._ask("browsingContext.navigate", context=self._page, url=address, wait="complete")

    def evaluate(self, function: str, *arguments: Any) -> Any:
        given = [{"type": "string", "value": text} for text in (f"({function})", json.dumps(arguments))]
        target = {"context": self._page}
        answer = self._ask(
            "script.callFunction", functionDeclaration=CALL, arguments=given, target=target, awaitPromise=False
        )
        if answer["type"] != "success":
            raise RuntimeError(f"Firefox: {answer['exceptionDetails']['text']} in {function[:200]}")
        return json.loads(answer["result"]["value"])

    def act(self, device: dict[str, Any]):
        self._ask("input.performActions", context=self._page, actions=[device])

    def screenshot(self, path: Path):
        answer = self._ask("browsingContext.captureScreenshot", context=self._page)
        path.write_bytes(base64.b64decode(answer["data"]))

    def close(self):
        if self._socket is not None:
            self._socket.close()
        _end(self._process)
        self._folder.cleanup()


class WebKit(Engine):
    name = "webkit"

    @staticmethod
    def missing() -> str:
        lacking = [name for name in ("WebKitWebDriver", "Xvfb") if not shutil.which(name)]
        if not lacking and _small_browser() is None:
            lacking = ["MiniBrowser"]
        return f"no {', '.join(lacking)} on this machine (Debian: webkit2gtk-driver, xvfb)" if lacking else ""

    def __init__(self):
        self._folder = tempfile.TemporaryDirectory()
        self._processes: list[subprocess.Popen] = []
        self._session = ""
        log = Path(self._folder.name) / "said"
        own = {"HOME": self._folder.name, "WEBKIT_DISABLE_SANDBOX_THIS_IS_DANGEROUS": "1", "GDK_BACKEND": "x11"}
        own |= {
            "http_proxy": "http://127.0.0.1:9",
            "https_proxy": "http://127.0.0.1:9",
            "no_proxy": "127.0.0.1,localhost",
        }
        self.base = f"http://127.0.0.1:{free_port()}"
        try:
            shown = self._start(["Xvfb", "-displayfd", "1", "-screen", "0", f"{WIDTH}x{HEIGHT + 150}x24"], log, own)
            display = _until(lambda: re.search(r"^(\d+)\n", log.read_text()), shown, log).group(1)
            driver = ["WebKitWebDriver", f"--port={self.base.rsplit(':', 1)[1]}"]
            driving = self._start(driver, log, {**own, "DISPLAY": f":{display}"})
            _until(lambda: self._answers("/status"), driving, log)
            options = {"binary": str(_small_browser()), "args": ["--automation"]}
            wanted = {"capabilities": {"alwaysMatch": {"webkitgtk:browserOptions": options}}}
            self._session = "/session/" + self._ask("POST", "/session", wanted)["sessionId"]
            self._ask("POST", "/window/rect", {"x": 0, "y": 0, "width": WIDTH, "height": HEIGHT + 100})
        except BaseException:
            self.close()
            raise

    def _start(self, command: list[str], log: Path, own: dict[str, str]) -> subprocess.Popen:
        with log.open("a") as said:
            process = subprocess.Popen(command, stdout=said, stderr=said, env={**os.environ, **own})
        self._processes.append(process)
        return process

    def _answers(self, path: str) -> bool:
        with contextlib.suppress(OSError):
            return bool(urllib.request.urlopen(self.base + path, timeout=2).read())
        return False

    def _ask(self, how: str, path: str, given: Any = None) -> Any:
        data = None if given is None else json.dumps(given).encode()
        headers = {"Content-Type": "application/json"}
        request = urllib.request.Request(self.base + self._session + path, data=data, method=how, headers=headers)
        try:
            return json.load(urllib.request.urlopen(request, timeout=120))["value"]
        except urllib.error.HTTPError as refusal:
            raise RuntimeError(f"WebKit refuses {path}: {refusal.read().decode()[:400]}") from None

    def goto(self, address: str):
        self._ask("POST", "/url", {"url": address})

    def evaluate(self, function: str, *arguments: Any) -> Any:
        script = f"return ({CALL})(...arguments)"
        answer = self._ask(
            "POST", "/execute/sync", {"script": script, "args": [f"({function})", json.dumps(arguments)]}
        )
        return json.loads(answer)

    def act(self, device: dict[str, Any]):
        self._ask("POST", "/actions", {"actions": [device]})

    def screenshot(self, path: Path):
        path.write_bytes(base64.b64decode(self._ask("GET", "/screenshot")))

    def close(self):
        if self._session:
            with contextlib.suppress(RuntimeError, OSError):
                self._ask("DELETE", "")
        for process in reversed(self._processes):
            _end(process)
        self._folder.cleanup()


ENGINES = {engine.name: engine for engine in (Firefox, WebKit)}


def _small_browser() -> Path | None:
    """The browser that comes with WebKitGTK, wherever its package puts it."""
    return next(Path("/usr/lib").glob("*/webkit2gtk-4.*/MiniBrowser"), None)


def _until(found: Any, process: subprocess.Popen, log: Path, seconds: float = 60) -> Any:
    """Wait for what a starting program says or does."""
    end = time.monotonic() + seconds
    while not (value := found()):
        if process.poll() is not None or time.monotonic() > end:
            raise TimeoutError(f"{process.args[0]} does not start; it said:\n{log.read_text()[-2000:]}")
        time.sleep(0.1)
    return value


def _end(process: subprocess.Popen):
    process.terminate()
    try:
        process.wait(15)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
