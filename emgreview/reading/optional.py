"""Packages that single formats need: loaded where such a file is read, and named where they are missing.

load        one of them
door        what it raises on a file, as an error of this package
"""

import importlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType

from emgreview.errors import EmgreviewError, FormatError, ReadError


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


@contextmanager
def door(path: Path, what: str, todo: str) -> Iterator[None]:
    """FormatError for whatever a package raises on a file that it cannot read as ``what``; ``todo`` says what to do."""
    try:
        yield
    except EmgreviewError:
        raise
    except Exception as why:  # packages raise what XML, zip and number libraries do, too
        words = " ".join(str(why).split())[:120]
        raise FormatError(f"{path.name} cannot be read as {what} ({type(why).__name__}: {words}); {todo}.") from why
