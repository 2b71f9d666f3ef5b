"""How far long work is, and where a person sees it.

Progress        what is done, failed and kept from before, and how long the rest may take
shown           what shows it: in a notebook, in a terminal, as lines of JSON, or nowhere
"""

import json
import math
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from html import escape
from typing import Any, TextIO

SILENT_S, EVERY_S = 1.0, 0.2
"""Where a person looks, work that ends sooner shows nothing, and other work no more often than this."""
SILENT_JSON_S, EVERY_JSON_S = 5.0, 1.0
SILENT_LINES_S, EVERY_LINES_S = 10.0, 10.0
"""The same of lines that stay."""


@dataclass(frozen=True, slots=True)
class Progress:
    """How far some work is.

    Attributes
    ----------
    done, total : int
        Recordings that have come to an end, and all.
    ready : int
        Those of them that were ready from before.
    failed : tuple of str
        Those of them that failed, by name.
    name : str
        The last one.
    seconds : float
        Since the start.
    left_s : float
        How long the rest may take, in seconds; NaN while that cannot be told.
    """

    done: int
    total: int
    ready: int
    failed: tuple[str, ...]
    name: str
    seconds: float
    left_s: float

    @property
    def words(self) -> str:
        """All of it in one line."""
        said = [f"{self.done} of {self.total}"]
        said += [f"{self.ready} ready from before"] if self.ready else []
        said += [f"{len(self.failed)} failed"] if self.failed else []
        said += [_span(self.left_s)] if self.done < self.total and math.isfinite(self.left_s) else []
        said += ["workers start"] if not self.done else []
        return f"{', '.join(said)}: {self.name}" if self.name else ", ".join(said)

    def as_dict(self) -> dict[str, Any]:
        """All of it as plain values, for JSON.

        Returns
        -------
        dict of str to object
            What cannot be told is None.
        """
        return {
            "done": self.done,
            "total": self.total,
            "ready": self.ready,
            "failed": list(self.failed),
            "name": self.name,
            "seconds": round(self.seconds, 3),
            "left_s": round(self.left_s, 1) if math.isfinite(self.left_s) else None,
        }


Show = Callable[[Progress], object]


def _span(seconds: float) -> str:
    if seconds < 90:
        return f"about {max(1, round(seconds))} s left"
    return f"about {round(seconds / 60)} min left" if seconds < 5400 else f"about {seconds / 3600:.1f} h left"


def shown(where: str, stream: TextIO | None = None) -> Show:
    """What shows progress: ``where`` is "here" (a notebook or a terminal, else nowhere), "lines" or "json"."""
    if where == "json":
        return _Paced(
            lambda now, _: _write(json.dumps({"progress": now.as_dict()}), stream), SILENT_JSON_S, EVERY_JSON_S
        )
    if where == "lines":
        return _Paced(lambda now, _: _write(now.words, stream), SILENT_LINES_S, EVERY_LINES_S)
    if (display := _notebook()) is not None:
        return _Paced(display)
    out = sys.stderr if stream is None else stream
    return _Paced(lambda now, last: _over(out, now, last)) if out.isatty() else _nowhere


class _Paced:
    """Passes on no more than is read: nothing of what is soon done, and the end of what was shown."""

    def __init__(self, show: Callable[[Progress, bool], object], silent_s: float = SILENT_S, every_s: float = EVERY_S):
        self._show, self._silent_s, self._every_s, self._last_s = show, silent_s, every_s, -math.inf

    def __call__(self, now: Progress) -> None:
        last, begun = now.done == now.total, math.isfinite(self._last_s)
        at = time.monotonic()
        starting = now.done == 0 and self._silent_s == SILENT_S  # workers take a while to start
        if starting or (last and begun) or (now.seconds >= self._silent_s and at - self._last_s >= self._every_s):
            self._last_s = at
            self._show(now, last)


def _nowhere(now: Progress) -> None:
    """For what runs unattended."""


def _write(line: str, stream: TextIO | None) -> None:
    out = sys.stderr if stream is None else stream
    out.write(line + "\n")
    out.flush()


def _over(out: TextIO, now: Progress, last: bool) -> None:
    out.write(f"\r{now.words[:100]:<100}{chr(10) if last else ''}")
    out.flush()


def _notebook() -> Callable[[Progress, bool], object] | None:
    """What shows progress below a cell that runs, or None where there is no notebook."""
    python = sys.modules.get("IPython")
    shell = python.get_ipython() if python is not None else None
    if shell is None or not hasattr(shell, "kernel"):
        return None
    from IPython.display import HTML, display  # there already, in a notebook alone

    handle: list[Any] = []

    def show(now: Progress, last: bool) -> None:
        stop = "" if last else " To stop, interrupt the kernel (■); what is done is kept where there is a cache."
        page = HTML(
            f'<div role="status"><progress max="{now.total}" value="{now.done}" style="width:16em" '
            f'aria-label="recordings done"></progress> {escape(now.words)}.{stop}</div>'
        )
        if handle:
            handle[0].update(page)
        else:
            handle.append(display(page, display_id=True))

    return show
