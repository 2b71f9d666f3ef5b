"""The wire between a widget and its browsers: numbered news down, numbered decisions up. Shared by the widgets.

Everything goes down by synced properties and comes up by messages, in every host alike:

    news    JSON: the last updates, each with a serial number; a browser that sees that one was lost asks for everything
    pulse   the answer to a beat: Python is there

A decision carries its screen's own running number. Decisions are taken in order and once: one that came before is
not taken again, and after a gap none is until those that are missing were sent again. A decision is told as settled
only after it was applied, which is after it is on disk, or was refused with the reason; ``doubt`` with a refusal says
that it may or may not be on disk.

    Wire            what a widget needs for both; its browser side is wire.js
"""

import json
import threading
from collections import deque
from collections.abc import Mapping
from typing import Any

from emgreview.errors import DecisionError, EmgreviewError, LogWriteError
from emgreview.session import Session

_KEPT, _KEPT_LETTERS = 10, 1 << 15


class Wire:
    """Mixed into a component with the synced texts ``news`` and ``pulse``. The browser's messages go to ``_on_…``."""

    news: str
    pulse: str

    def start_wire(self, session: Session | None) -> None:
        """``session``: whose lock is held while a message is answered."""
        self._lock = session.lock if session else threading.RLock()
        self.serial = 0
        self.retired = ""
        self._updates: deque[str] = deque(maxlen=_KEPT)
        self._taken: dict[str, int] = {}
        self._refused: dict[str, list[dict[str, Any]]] = {}

    # --- what a widget says for itself -------------------------------------------------------------------------

    def _apply(self, data: Mapping[str, Any]) -> dict[str, Any]:
        """Carry out a decision; what its browser should know beyond the change itself."""
        raise NotImplementedError

    def _status(self) -> dict[str, Any]:
        """Told with every decision; ``problem`` is why none can be taken any more, if so."""
        raise NotImplementedError

    def _neutral(self, words: str) -> str:
        """Words as a browser may show them."""
        return words

    # --- down --------------------------------------------------------------------------------------------------

    def tell(self, **update: Any) -> None:
        """Send one update; values that are None are left out. Old updates go when many or large ones follow."""
        self.serial += 1
        entry = {"serial": self.serial, **{name: value for name, value in update.items() if value is not None}}
        self._updates.append(json.dumps(entry, allow_nan=False))
        while len(self._updates) > 1 and sum(map(len, self._updates)) > _KEPT_LETTERS:
            self._updates.popleft()
        self.news = f'{{"serial": {self.serial}, "updates": [{", ".join(self._updates)}]}}'

    def tell_settled(self, client: str, **update: Any) -> None:
        """Send an update with all that is settled of a browser's decisions, and the last that were refused."""
        self.tell(settled={"client": client, "n": self._last(client)}, refused=self._refused.get(client), **update)

    def stop_taking(self, why: str) -> None:
        """Take no further decision: another screen has taken over."""
        self.retired = why
        self.tell(problem=why)

    # --- up ----------------------------------------------------------------------------------------------------

    def _handle_msg(self, data: Mapping[str, Any]) -> None:
        with self._lock:  # a notebook's host may bring messages on a thread of their own while a cell runs
            try:
                getattr(self, f"_on_{data['kind']}")(data)
            except EmgreviewError as reason:
                self.tell(said={"client": data["client"], "words": self._neutral(str(reason))})

    def _on_beat(self, data: Mapping[str, Any]) -> None:
        self._ask_again(data["client"], data["sent"])
        self.pulse = f"{data['client']} {data['n']}"

    def _on_decide(self, data: Mapping[str, Any]) -> None:
        client, n = data["client"], data["n"]
        if n <= self._last(client) or self._ask_again(client, n - 1):
            return
        self._taken[client] = n
        try:
            if self.retired:
                raise DecisionError(self.retired)
            answer = self._apply(data)
        except EmgreviewError as refusal:
            self._refuse(client, n, str(refusal), in_doubt=isinstance(refusal, LogWriteError) and refusal.in_doubt)
            self.tell_settled(client, **self._status())
        except Exception as fault:
            words = f"a fault in the program ({fault!r}); it may be saved: reload the page to see"
            self._refuse(client, n, words, in_doubt=True)
            self.tell_settled(client)
            raise
        else:
            self.tell_settled(client, **{**self._status(), **answer})

    def _last(self, client: str) -> int:
        """Number of the last decision that was taken from a browser."""
        return self._taken.get(client, 0)

    def _ask_again(self, client: str, sent: int) -> bool:
        """Ask for the decisions up to number ``sent`` that did not come; true if there are any."""
        missing = sent > self._last(client)
        if missing:
            self.tell(gap={"client": client, "awaited": self._last(client) + 1})
        return missing

    def _refuse(self, client: str, n: int, words: str, *, in_doubt: bool = False) -> None:
        """``in_doubt``: it may be on disk all the same, so a screen must not call it unsaved."""
        told = self._refused.setdefault(client, [])
        told.append({"client": client, "n": n, "words": self._neutral(words), **({"doubt": True} if in_doubt else {})})
        del told[:-_KEPT]
