"""A real JupyterLab, Notebook, Panel server and Voila, and a real Chromium that may talk to this machine alone."""

import json
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.parse
import urllib.request
from pathlib import Path

import pytest

import emgreview

FAILED = pytest.StashKey[bool]()
HERE = Path(__file__).parent
CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
NOWHERE = {"server": "http://127.0.0.1:9", "bypass": "127.0.0.1,localhost"}
"""A proxy that refuses whatever is asked of other machines; unlike a handler of requests, it leaves the cache on."""
LOCAL = ("http://127.0.0.1", "http://localhost", "ws://127.0.0.1", "ws://localhost", "data:", "blob:", "about:")


def pytest_itemcollected(item):
    if HERE in Path(item.fspath).parents:
        item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def chromium():
    if not Path(CHROMIUM).exists():
        pytest.skip("no Chromium on this machine; the README's test command installs Debian's")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS, proxy=NOWHERE)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def context(chromium):
    """What all pages share: the files of hosts that the browser has fetched already, and no more."""
    context = chromium.new_context(viewport={"width": 1400, "height": 950})
    yield context
    context.close()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item):
    report = yield
    if report.when == "call":
        item.stash[FAILED] = report.failed
    return report


@pytest.fixture
def page(context, request, tmp_path):
    """A page whose every request beyond this machine is refused and listed in ``page.left_the_machine``."""
    page = context.new_page()
    page.left_the_machine = []

    def listed(asked):
        if not asked.url.startswith(LOCAL):
            page.left_the_machine.append(asked.url)

    page.on("request", listed)
    page.on("websocket", listed)
    page.messages = []
    page.on("console", lambda message: page.messages.append(message.text[:300]))
    page.on("pageerror", lambda error: page.messages.append(f"page error: {error}"[:300]))
    yield page
    if request.node.stash.get(FAILED, False):
        page.screenshot(path=tmp_path / "screen.png")
        print(f"the screen as it was: {tmp_path / 'screen.png'}; the page said: {page.messages[-5:]}")
    page.close()
    context.clear_cookies()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Served:
    """A server process on this machine: its address, its working folder, and its end."""

    def __init__(self, arguments: list[str], folder: Path, ready: str):
        self.folder = folder
        self.port = free_port()
        self.base = f"http://127.0.0.1:{self.port}"
        self.log = folder / "server.log"
        environment = {
            **os.environ,
            "PYTHONPATH": os.pathsep.join(map(str, [HERE, HERE.parent, Path(emgreview.__file__).parents[1]])),
            "JUPYTER_PREFER_ENV_PATH": "1",
            "HOME": str(folder),
            "JUPYTER_CONFIG_PATH": str(Path(emgreview.__file__).parent / "jupyter"),  # no question about news
            "NO_PROXY": "127.0.0.1,localhost",
        }
        command = [sys.executable, "-m", *[a.replace("{port}", str(self.port)) for a in arguments]]
        with self.log.open("w") as log:
            self.process = subprocess.Popen(command, cwd=folder, env=environment, stdout=log, stderr=subprocess.STDOUT)
        for _ in range(240):
            try:
                urllib.request.urlopen(self.base + ready, timeout=2).read()
                return
            except OSError:
                if self.process.poll() is not None:
                    break
                time.sleep(0.25)
        self.stop()
        raise TimeoutError(f"{' '.join(arguments[:2])} does not answer; its log ends:\n{self.log.read_text()[-2000:]}")

    def stop(self):
        self.process.terminate()
        try:
            self.process.wait(15)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()

    def write_notebook(self, name: str, *cells: str) -> str:
        made = [
            {
                "cell_type": "code",
                "id": f"cell-{i}",
                "metadata": {},
                "outputs": [],
                "execution_count": None,
                "source": c,
            }
            for i, c in enumerate(cells)
        ]
        kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
        notebook = {"cells": made, "metadata": {"kernelspec": kernel}, "nbformat": 4, "nbformat_minor": 5}
        (self.folder / name).write_text(json.dumps(notebook))
        self.n_cells = len(cells)
        return name

    def kernels(self) -> list[dict]:
        return json.load(urllib.request.urlopen(self.base + "/api/kernels"))

    def end_kernels(self):
        for session in json.load(urllib.request.urlopen(self.base + "/api/sessions")):
            request = urllib.request.Request(f"{self.base}/api/sessions/{session['id']}", method="DELETE")
            urllib.request.urlopen(request)


JUPYTER = ["--no-browser", "--ip=127.0.0.1", "--port={port}", "--IdentityProvider.token=", "--allow-root"]
QUIET = ["--ServerApp.disable_check_xsrf=True", "--LabApp.news_url=None"]


@pytest.fixture(scope="session")
def lab(tmp_path_factory):
    server = Served(["jupyterlab", *JUPYTER, *QUIET], tmp_path_factory.mktemp("lab"), "/api")
    yield server
    server.stop()


@pytest.fixture(scope="session")
def notebook(tmp_path_factory):
    server = Served(["notebook", *JUPYTER, QUIET[0]], tmp_path_factory.mktemp("notebook"), "/api")
    yield server
    server.stop()


@pytest.fixture(scope="session")
def voila(tmp_path_factory):
    command = ["voila", "--no-browser", "--port={port}", "--Voila.ip=127.0.0.1"]
    server = Served(command, tmp_path_factory.mktemp("voila"), "/")
    yield server
    server.stop()


def panel_serve(folder: Path, *apps: str) -> Served:
    """Pages by ``panel serve``, one for each file in a folder."""
    command = ["panel", "serve", *apps, "--port={port}", "--address=127.0.0.1"]
    ready = "/" + apps[0].removesuffix(".py")
    return Served([*command, "--allow-websocket-origin=127.0.0.1:{port}"], folder, ready)


@pytest.fixture(scope="session")
def pages(tmp_path_factory):
    """A server of pages that many tests share; see pages.py."""
    server = Served(["pages", "{port}"], tmp_path_factory.mktemp("pages"), "/ready")
    yield server
    server.stop()


class Desk:
    """A folder of its own for one test, and its cells as a page."""

    def __init__(self, server: Served, folder: Path):
        self.server, self.folder = server, folder

    def show(self, page, *cells: str):
        (self.folder / "cells.py").write_text("\n".join(cells))
        page.goto(f"{self.server.base}/page?folder={urllib.parse.quote(str(self.folder))}")


@pytest.fixture
def desk(pages, tmp_path):
    """A fresh folder whose cells are shown without a server, or a kernel, of their own: the widget, not its host."""
    return Desk(pages, tmp_path)


def run_cells(page, server, path: str, timeout: float = 90_000):
    """Open a notebook in JupyterLab or Notebook and run its cells, one after the other."""
    page.goto(f"{server.base}{path}")
    page.wait_for_selector(".jp-Notebook .jp-Cell", timeout=60_000)
    page.wait_for_timeout(1000)  # cells are there before what runs them
    question = page.locator(".jp-Dialog .jp-mod-accept")  # a server that has just ended a kernel may ask for one
    cells = page.locator(".jp-Notebook .jp-CodeCell")
    for i in range(server.n_cells):
        prompt = cells.nth(i).locator(".jp-InputPrompt")
        for turn in range(400):
            if question.count():
                question.first.click()
            if prompt.inner_text().strip() != "[ ]:":
                break
            if turn % 20 == 0:  # a kernel that is still starting ignores the first request
                prompt.click()
                page.keyboard.press("Control+Enter")
            page.wait_for_timeout(50)
        page.wait_for_function("p => /\\[\\d+\\]/.test(p.textContent)", arg=prompt.element_handle(), timeout=timeout)
