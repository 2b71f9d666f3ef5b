"""Files of a folder, each looked at when it has stopped growing, so that a check can run beside the recording.

Files of the folder and of its subfolders are looked at by their size and time alone, in a plain loop; none is locked or
changed. What is there at the start counts as known. One that changes afterwards is looked at again. Hidden files and
folders, and what lies behind links to folders, are passed over; a subfolder that cannot be listed is told, once. Where
the folder is a BIDS dataset, or a description (.toml) says what its files are, a file is looked at as the recording
that it belongs to; any other by itself.

watch       until Ctrl-C, each new file through a function
Newcomers   which files have appeared and stopped growing
one_line    a report as one line of JSON
"""

import argparse
import json
import stat
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import emgreview as er
from emgreview.cli.command import FINE, NOT_FINE, Status
from emgreview.cli.cues import demand_pulses
from emgreview.cli.saying import put, say, to_json
from emgreview.cli.source import read_source
from emgreview.cli.typed import named
from emgreview.errors import ReadError
from emgreview.plain_files import inside, is_folder
from emgreview.reading import known_extensions
from emgreview.reading.dataset import is_dataset
from emgreview.reading.study import SUFFIX
from emgreview.reading.study_description import load

EVERY_S = 1.0
"""Between two looks at the folder."""
SETTLED = 2
"""A file has stopped growing when so many looks in a row find it as it was (our own choice)."""

pause = time.sleep


class Newcomers:
    """Files of a folder and its subfolders that have appeared, or changed, since the start; ``closed``: subfolders that
    cannot be listed, and why."""

    def __init__(self, folder: Path):
        self.folder = folder
        self.closed: dict[Path, str] = {}
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
        left = [self.folder]
        while left:
            place = left.pop()
            try:
                seen = inside(place)
            except ReadError as why:
                if place == self.folder:
                    raise
                self.closed.setdefault(place, str(why))
                continue
            for path in seen:
                if path.name.startswith("."):
                    continue
                try:
                    found = path.stat()
                except OSError:  # gone again, as a file that is renamed when it is complete
                    continue
                if stat.S_ISDIR(found.st_mode) and not path.is_symlink():
                    left.append(path)
                elif stat.S_ISREG(found.st_mode) and path.suffix.lower() in known_extensions():
                    out[path] = (found.st_size, found.st_mtime_ns)
        return dict(sorted(out.items()))


def watch(given: argparse.Namespace, look: Callable[[argparse.Namespace], Status]) -> Status:
    """Each file that appears below ``given.path``, a folder or the description in it, through ``look``, until Ctrl-C;
    what cannot be read is told."""
    described = given.path.suffix.lower() == SUFFIX and not is_folder(given.path)
    folder = given.path.parent if described else given.path
    if not is_folder(folder) or (given.path.suffix.lower() != SUFFIX and not is_folder(given.path)):
        raise er.EmgreviewError(
            f"--watch came with {given.path}; allowed: a folder; give the one that files appear in, or the description "
            "(.toml) in it."
        )
    if given.picture is not None:
        raise er.EmgreviewError(
            "--watch and --picture came both; a picture is of recordings that are there; leave one."
        )
    if described:
        load(given.path)  # what is wrong with it is told before anybody waits
    demand_pulses(given)
    newcomers = Newcomers(folder)
    say(f"{folder}: {len(newcomers.known)} files are there already and are not checked. End with Ctrl-C.")
    status, told = FINE, set[Path]()
    given.told = set()
    try:
        while True:
            for path in newcomers.ready():
                status = max(status, _looked(given, folder, path, look))
            for place in newcomers.closed.keys() - told:
                say(f"emgreview: {newcomers.closed[place]}")
                told.add(place)
                status = NOT_FINE
            pause(EVERY_S)
    except KeyboardInterrupt:
        say("ended by the keyboard")
    return status


def _looked(
    given: argparse.Namespace, folder: Path, path: Path, look: Callable[[argparse.Namespace], Status]
) -> Status:
    one = argparse.Namespace(**vars(given))
    one.notes, one.problems, one.as_expected = [], {}, True
    one.file = path.relative_to(folder).as_posix()
    try:
        if is_folder(given.path) and not is_dataset(given.path):
            one.path = path
        else:
            one.only = _recordings_with(one, path)
            if not one.only:
                return _of_none(given, one.file, path)
        status = look(one)
        given.told |= set(one.notes)
        for name, words in one.problems.items():
            say(f"emgreview: {name}: {named(one, words)}")
        return status
    except (er.EmgreviewError, OSError) as error:
        words = named(one, str(error))
        say(f"emgreview: {one.file}: {words}")
        if given.json:
            put(one_line([{"recording": path.name, "channels": [], "problem": str(error)}], one.file))
        return NOT_FINE


def _recordings_with(one: argparse.Namespace, path: Path) -> list[str]:
    """Names of the recordings of a dataset that are made of a file, among others."""
    data = read_source(one)
    if isinstance(data, er.Recording):
        return [data.name]
    made = path.absolute()
    return [name for name in data.recordings.names if made in map(Path.absolute, data.recordings.files_of(name))]


def _of_none(given: argparse.Namespace, file: str, path: Path) -> Status:
    """A table beside recordings is none; a file that could be one, and is of no recording, is told."""
    if path.suffix.lower() != ".tsv":
        say(f"note: {file} belongs to no recording of {given.path}, as its files are called, and is not checked.")
        return NOT_FINE
    return FINE


def one_line(reports: list[dict[str, Any]], file: str) -> str:
    """Reports as lines of JSON, one each, with the file that they are about."""
    return "\n".join(json.dumps(json.loads(to_json({"file": file} | one))) for one in reports)
