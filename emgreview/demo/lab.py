"""The notebooks of the package, and a JupyterLab that shows one of them on the demo study.

copy_notebooks      all notebooks beside a study, with that study's constants; never over one that is there
demo_of             the demo study in a notebook's first cell
notebook            where a notebook of the package lies
with_constants      its text with other constants
options             JupyterLab's options: this machine alone, nothing asked of any other
set_environment     its environment: the kernel of this Python, and no question about news
"""

import json
import os
import re
from collections.abc import Mapping
from pathlib import Path

from emgreview.errors import EmgreviewError

PACKAGE = Path(__file__).parents[1]
SETTINGS = PACKAGE / "jupyter"
NOTEBOOKS = (
    "review.ipynb",
    "first_look.ipynb",
    "measures.ipynb",
    "two_reviewers.ipynb",
    "onset_accuracy.ipynb",
    "planning.ipynb",
    "checking.ipynb",
    "participants.ipynb",
)


def copy_notebooks(folder: Path, constants: Mapping[str, str]) -> tuple[Path, ...]:
    """Every notebook of the package, in ``folder``; those that are there already are left as they are. The new ones."""
    new = []
    for name in NOTEBOOKS:
        path, text = folder / name, with_constants(notebook(name), constants)
        try:
            with path.open("x", encoding="utf-8") as stream:
                stream.write(text)
        except FileExistsError:
            continue
        new.append(path)
    return tuple(new)


def demo_of(folder: str, *, participants: int, trials: int, seed: int, contractions: bool = False) -> str:
    """What STUDY is in a notebook on the demo study."""
    more = f", {contractions=}" if contractions else ""
    return f"er.write_demo({folder!r}, {participants=}, {trials=}, {seed=}{more})"


def set_environment() -> None:
    """For a JupyterLab started in this process."""
    settings = os.pathsep.join(filter(None, [str(SETTINGS), os.environ.get("JUPYTER_CONFIG_PATH")]))
    os.environ |= {"JUPYTER_PREFER_ENV_PATH": "1", "JUPYTER_CONFIG_PATH": settings}


def options(path: Path, *, port: int, token: str, browser: bool) -> list[str]:
    """Options for a JupyterLab that shows one notebook, serves this machine alone and asks nothing of any other.

    No news, no search for newer releases, no list of extensions from a registry; Ctrl-C ends it without a question.
    """
    as_root = ["--allow-root"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    return [
        *as_root,
        *([] if browser else ["--no-browser"]),
        "--ServerApp.ip=127.0.0.1",
        f"--ServerApp.port={port}",
        "--ServerApp.port_retries=0",
        f"--IdentityProvider.token={token}",
        f"--ServerApp.root_dir={path.parent}",
        f"--LabApp.default_url=/lab/tree/{path.name}",
        "--ServerApp.answer_yes=True",
        "--ServerApp.log_level=WARN",
        "--LabApp.news_url=None",
        "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
        "--LabApp.extension_manager=readonly",
    ]


def notebook(name: str) -> Path:
    """A notebook of the package: in the installed package, or beside it in a checkout."""
    for folder in (PACKAGE / "notebooks", PACKAGE.parent / "notebooks"):
        if (folder / name).is_file():
            return folder / name
    raise EmgreviewError(f"this installation holds no notebook {name!r}; install the package again.")


def with_constants(path: Path, constants: Mapping[str, str]) -> str:
    """The text of a notebook whose lines ``NAME = value`` hold other values, written as in Python; each name must stand
    there once."""
    content = json.loads(path.read_text("utf-8"))
    for name, value in constants.items():
        found = 0
        for cell in content["cells"]:
            line = re.compile(rf"^{name} = [^#\n]*?(?=\s*(#|$))", re.MULTILINE)
            source, n = line.subn(f"{name} = {value}".replace("\\", "\\\\"), "".join(cell["source"]))
            if n and cell["cell_type"] == "code":
                cell["source"], found = source.splitlines(keepends=True), found + n
        if found != 1:
            raise EmgreviewError(f"{path.name} sets {name} {found} times; it must set it once; correct the notebook.")
    return json.dumps(content, indent=1, ensure_ascii=False) + "\n"
