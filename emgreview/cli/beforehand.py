"""What a command demands before it begins, so that no work is lost.

demand_new          what it will write is new, and there is a folder for it
demand_package      a package that it needs is installed
"""

import importlib.util
from pathlib import Path

import emgreview as er
from emgreview.cli.saying import say

_SPREADSHEETS = (".xlsx", ".xls", ".xlsm", ".xlsb", ".ods", ".numbers")
"""Endings of files that are no text."""


def demand_new(out: Path | None, what: str = "file", *, as_json: bool = False) -> None:
    """What is written is new, and its folder is there: told before anything is done."""
    if out is None:
        return
    if what == "file" and out.suffix.lower() in _SPREADSHEETS:
        form, ending = ("JSON", ".json") if as_json else ("tab-separated", ".tsv")
        raise er.EmgreviewError(
            f"--out came as {out}; what is written is text, {form}, and no {out.suffix} file: the program that "
            f"opens those would refuse it; nothing was written; call it {out.with_suffix(ending).name}."
        )
    if what == "file" and out.suffix.lower() == ".csv" and not as_json:
        say(f"note: {out} is written tab-separated, as a file ending in .tsv is expected to be.")
    if out.exists():
        undone = "run" if what == "folder" else "written"
        raise er.EmgreviewError(f"{out} exists already; nothing was {undone}; give the name of a new {what}.")
    if not out.absolute().parent.is_dir():
        raise er.EmgreviewError(
            f"{out} lies in {out.absolute().parent}, which is no folder; nothing was written; make it first, or give "
            "another place."
        )


def demand_package(name: str) -> None:
    if importlib.util.find_spec(name) is None:
        raise er.EmgreviewError(
            f"{name} is not installed, and this command needs it; install the notebook extra: "
            "pip install 'emgreview[notebook]', or pip install '.[notebook]' in a checkout."
        )
