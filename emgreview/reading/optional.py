"""Packages that single formats need: loaded where such a file is read, and named where they are missing.

load(reader, name)      one of them
"""

import importlib
from types import ModuleType

from emgreview.errors import ReadError


def load(name: str, what: str, extra: str) -> ModuleType:
    """A package, as it is imported. Raises ReadError where it is not installed, with the way to it."""
    try:
        return importlib.import_module(name)
    except ImportError as why:
        package = name.partition(".")[0]
        broken = "" if isinstance(why, ModuleNotFoundError) else f" ({why})"
        raise ReadError(
            f"{what} needs the package {package!r}, which is not installed here{broken}; install it with "
            f"pip install 'emgreview[{extra}]', or export the file as EDF, BDF or text."
        ) from why
