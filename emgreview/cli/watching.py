"""Files of a folder, each looked at when it has stopped growing, so that a check can run beside the recording.

Files are looked at by their size and time alone, in a plain loop; none is locked or changed. What is there at the
start counts as known. One that changes afterwards is looked at again.

watch       until Ctrl-C, each new file through a function
Newcomers   which files have appeared and stopped growing
one_line    a report as one line of JSON
"""

import argparse
import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import emgreview as er
from emgreview.cli.command import FINE, NOT_FINE, Status
from emgreview.cli.saying import put, say, to_json
from emgreview.cli.typed import named
from emgreview.plain_files import inside, is_folder
from emgreview.reading import known_extensions

EVERY_S = 1.0
"""Between two looks at the folder."""
SETTLED = 2
"""A file has stopped growing when so many looks in a row find it as it was (our own choice)."""

pause = time.sleep


class Newcomers:
    """Files of a folder that have appeared, or changed, since the start."""

    def __init__(self, folder: Path):
        self.folder = folder
        self.known = self._there()
        self._growing: dict[Path, tuple[tuple[int, int], int]] = {}

    def ready(self) -> list[Path]:
        """Look once more; those that have stopped growing since they were looked at last."""
        out = []
        for path, state in self._there().items():
            if self.known.get(path) == state:
                self._growing.pop(path, None)
                continue
            before, times = self._growing.get(path, (state, 0))
            times = times + 1 if before == state else 0
            self._growing[path] = (state, times)
            if times >= SETTLED and state[0]:
                self.known[path] = state
                del self._growing[path]
                out.append(path)
        return out

    def _there(self) -> dict[Path, tuple[int, int]]:
        out = {}
        for path in sorted(inside(self.folder)):
            if path.suffix.lower() in known_extensions() and not path.name.startswith("."):
                try:
                    found = path.stat()
                except OSError:  # gone again, as a file that is renamed when it is complete
                    continue
                if path.is_file():
                    out[path] = (found.st_size, found.st_mtime_ns)
        return out


def watch(given: argparse.Namespace, look: Callable[[argparse.Namespace], Status]) -> Status:
    """Each file that appears in ``given.path`` through ``look``, until Ctrl-C; what cannot be read is told."""
    if not is_folder(given.path):
        raise er.EmgreviewError(
            f"--watch came with {given.path}; allowed: a folder; give the one that files appear in."
        )
    if given.picture is not None:
        raise er.EmgreviewError(
            "--watch and --picture came both; a picture is of recordings that are there; leave one."
        )
    newcomers = Newcomers(given.path)
    say(f"{given.path}: {len(newcomers.known)} files are there already and are not checked. End with Ctrl-C.")
    status = FINE
    try:
        while True:
            for path in newcomers.ready():
                status = max(status, _looked(given, path, look))
            pause(EVERY_S)
    except KeyboardInterrupt:
        say("ended by the keyboard")
    return status


def _looked(given: argparse.Namespace, path: Path, look: Callable[[argparse.Namespace], Status]) -> Status:
    one = argparse.Namespace(**vars(given))
    one.path, one.notes, one.problems, one.as_expected = path, [], {}, True
    try:
        return look(one)
    except (er.EmgreviewError, OSError) as error:
        words = named(one, str(error))
        say(f"emgreview: {path.name}: {words}")
        if given.json:
            put(one_line([{"recording": path.name, "channels": [], "problem": str(error)}]))
        return NOT_FINE


def one_line(reports: list[dict[str, Any]]) -> str:
    """Reports as lines of JSON, one each."""
    return "\n".join(json.dumps(json.loads(to_json(one))) for one in reports)
