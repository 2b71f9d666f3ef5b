"""Cells of a notebook as a page, by a server that many tests share: the page names a folder, whose `cells.py` is run
there, and shows what its last line is. The folder stays the working one until the next page is opened.

    python pages.py PORT
"""

import ast
import os
import sys
from pathlib import Path

import panel as pn

import emgreview.views

__all__ = ["emgreview"]  # loaded before a page asks for it


def page():
    folder = Path(pn.state.session_args["folder"][0].decode())
    os.chdir(folder)
    path = folder / "cells.py"
    *cells, last = ast.parse(path.read_text()).body
    names: dict[str, object] = {"__name__": "cells"}
    exec(compile(ast.Module(cells, []), path, "exec"), names)
    return eval(compile(ast.Expression(last.value), path, "eval"), names)


def ready():
    """What the one who started the server asks, to see that it answers."""
    return "ready"


if __name__ == "__main__":
    port = int(sys.argv[1])
    origin = f"127.0.0.1:{port}"
    pn.serve({"page": page, "ready": ready}, address="127.0.0.1", port=port, websocket_origin=origin, show=False)
