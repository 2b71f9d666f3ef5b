"""What numbers rest on beside recordings and decisions, as logs and versions keep it.

installed       versions of packages
machine         the kind of machine
"""

import importlib.metadata
import platform
from functools import cache


def installed() -> dict[str, str]:
    """Versions of the packages that results rest on."""
    return dict(_installed())


@cache  # a log is begun for each of many recordings, and looking them up reads files
def _installed() -> dict[str, str]:
    found = {"python": platform.python_version()}
    for name in ("emgreview", "numpy", "scipy", "pandas"):
        try:
            found[name] = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            found[name] = "not installed"
    return found


def machine() -> dict[str, str]:
    """The kind of machine that numbers were reckoned on."""
    return {"system": platform.system(), "processor": platform.machine()}
