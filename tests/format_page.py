"""The format page, and the programs on it."""

import re
from pathlib import Path

import emgreview as er

PAGE = (Path(er.__file__).parent / "pages" / "format.md").read_text(encoding="utf-8")


def fences(language):
    found = re.findall(rf"^```{language}\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)
    assert found
    return found


def run_page():
    """The page's Python, in order, as one program in the present folder."""
    spoken: dict = {}
    for code in fences("python"):
        exec(compile(code, "format.md", "exec"), spoken)
    return spoken
