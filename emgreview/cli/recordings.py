"""Before any review: ``demo`` writes the simulated study, ``look`` tells what a file holds."""

import argparse
import secrets
import socket
from pathlib import Path

import emgreview as er
from emgreview.cli.beforehand import demand_package
from emgreview.cli.command import FINE, NOT_FINE, Command, Status
from emgreview.cli.options import add_browser, whole
from emgreview.cli.saying import progress, put, say, tell, to_json
from emgreview.demo import lab


def _demo_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", nargs="?", type=Path, default=Path("demo-study"), help="new or empty (demo-study)")
    parser.add_argument(
        "--participants", type=whole, default=16, metavar="N", help="1 to 20 (16); the four beyond 16 are all odd"
    )
    parser.add_argument("--trials", type=whole, default=40, metavar="N", help="trials of each (40)")
    parser.add_argument("--seed", type=whole, default=20, metavar="N", help="another number gives another study (20)")
    parser.add_argument(
        "--contractions", action="store_true", help="with a recording of test contractions of each person"
    )
    parser.add_argument("--open", action="store_true", help="then open the review notebook in JupyterLab")
    add_browser(parser)


def _demo(given: argparse.Namespace) -> Status:
    folder = er.write_demo(
        given.folder,
        participants=given.participants,
        trials=given.trials,
        seed=given.seed,
        contractions=given.contractions,
        progress=progress,
    )
    if given.open:
        return _open_notebook(folder, given)
    tell(given, {"folder": str(folder)}, f"The demo study is in {folder}.")
    return FINE


DEMO = Command("demo", "write the demo study: invented people turn a handle at a light", _demo_options, _demo)


def _open_notebook(folder: Path, given: argparse.Namespace) -> Status:
    """JupyterLab on copies of the notebooks beside the study; this process becomes its server."""
    demand_package("jupyterlab")
    from jupyterlab.labapp import LabApp  # optional and heavy: only this command needs it

    study = lab.demo_of(
        folder.name,
        participants=given.participants,
        trials=given.trials,
        seed=given.seed,
        contractions=given.contractions,
    )
    beside = folder.absolute().parent
    new = lab.copy_notebooks(beside, {"STUDY": study})
    copy, *others = (beside / name for name in lab.NOTEBOOKS)
    if kept := [path.name for path in (copy, *others) if path not in new]:
        say(f"note: {', '.join(kept)} in {beside}: there already, left as it is")
    port, token = given.port or _free_port(), secrets.token_hex(24)
    address = f"http://127.0.0.1:{port}/lab/tree/{copy.name}?token={token}"
    words = (
        f"JupyterLab starts at {address}\nOther notebooks, in its list of files: "
        f"{', '.join(path.name for path in others)}\nEnd it with Ctrl-C."
    )
    tell(given, {"address": address, "folder": str(folder)}, words)
    lab.set_environment()
    LabApp.launch_instance(lab.options(copy, port=port, token=token, browser=given.browser))
    return FINE


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def _look_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("path", type=Path, help="one file")


def _look(given: argparse.Namespace) -> Status:
    seen = er.look(given.path)
    report = {
        "path": str(seen.path),
        "format": seen.format,
        "facts": list(seen.facts),
        "how": dict(seen.how),
        "asks": dict(seen.asks),
        "call": seen.call,
        "refused": seen.refused,
    }
    put(to_json(report) if given.json else seen)  # the call is Python's, and is not put into words of a shell
    return NOT_FINE if seen.refused else FINE


LOOK = Command("look", "what a file holds, and the call that reads it", _look_options, _look)
