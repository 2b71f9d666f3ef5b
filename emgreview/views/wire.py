"""The wire between a widget and its browsers: numbered news down, numbered decisions up. Shared by the widgets.

Everything goes down by synced properties and comes up by messages, in every host alike:

    news    JSON: the last updates, each with a serial number; a browser that sees that one was lost asks for everything
    pulse   the answer to a beat: Python is there

A decision carries its screen's own running number. Decisions are taken in order and once: one that came before is
not taken again, and what comes after a gap is kept until those that are missing were sent again; they alone are asked
for, at every new gap and at every beat. A decision is told as settled only after it was applied, which is after it is
on disk, or was refused with the reason; a beat that does not know of it has it told again. A message with a number
``asks`` is sent again until that number is told as ``answered``. ``doubt`` with a refusal says that the decision may or
may not be on disk.

What a browser sends is checked before anything is done with it (messages.py): a message that is none is answered by
words to its screen, a decision that is none by its refusal.

    Wire            what a widget needs for both; its browser side is wire.js
"""

import json
import math
import threading
from collections import deque
from collections.abc import Mapping
from typing import Any

from emgreview.errors import DecisionError, EmgreviewError, LogWriteError
from emgreview.session import Session
from emgreview.views.messages import MESSAGES, check_decision, checked, client_of

_KEPT, _KEPT_LETTERS = 10, 1 << 15
_AHEAD = 1000
"""Decisions of one screen that are kept while an earlier one is missing, and missing ones that are named at once."""
_LONGEST_AHEAD = 1 << 16
"""Bytes of a decision that is kept so; a longer one is asked for again when it is its turn."""
_REFUSED = 100
"""Refusals of one screen that are told again until it knows of them."""


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
        self._early: dict[str, dict[int, Mapping[str, Any]]] = {}
        self._answering: dict[str, Any] | None = None
        self._answered: dict[str, int] = {}
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
        settled = {"client": client, "n": self._last(client)}
        self.tell(settled=settled, refused=self._refused.get(client), answered=self._answering, **update)

    def stop_taking(self, why: str) -> None:
        """Take no further decision: another screen has taken over."""
        self.retired = why
        self.tell(problem=why)

    # --- up ----------------------------------------------------------------------------------------------------

    def _handle_msg(self, data: Any) -> None:
        with self._lock:  # a notebook's host may bring messages on a thread of their own while a cell runs
            try:
                kind, data = checked(data, [kind for kind in MESSAGES if hasattr(self, f"_on_{kind}")])
                self._answer(kind, data)
            except EmgreviewError as reason:
                if client := client_of(data):  # nobody else could be told
                    self.tell(said={"client": client, "words": self._neutral(str(reason))})

    def _answer(self, kind: str, data: Mapping[str, Any]) -> None:
        if "asks" not in data:
            getattr(self, f"_on_{kind}")(data)
            return
        client, asks = data["client"], data["asks"]
        answered = {"client": client, "n": asks}
        if asks <= self._answered.get(client, 0):  # it came before; if its answer was lost, so much is seen by now
            self.tell(answered=answered)
            return
        self._answering = answered
        try:
            getattr(self, f"_on_{kind}")(data)
            self._answered[client] = asks
        finally:
            self._answering = None

    def _on_beat(self, data: Mapping[str, Any]) -> None:
        client = data["client"]
        self._take_early(client)
        last, known = self._last(client), data.get("settled", self._last(client))
        self._refused[client] = [told for told in self._refused.get(client, []) if told["n"] > known]
        if known < last:
            self.tell_settled(client, **self._status())
        self._ask_again(client, data["sent"])
        self.pulse = f"{client} {data['n']}"

    def _on_decide(self, data: Mapping[str, Any]) -> None:
        client, n = data["client"], data["n"]
        early, last = self._early.setdefault(client, {}), self._last(client)
        if n <= last or n in early:
            return
        if n > last + 1:
            news = n > max(early, default=last) + 1
            if n <= last + _AHEAD and _size(data) <= _LONGEST_AHEAD:
                early[n] = data
            if news:
                self._ask_again(client, n - 1)
            return
        self._take(data)
        self._take_early(client)

    def _take_early(self, client: str) -> None:
        """Carry out what came early and whose turn it is by now."""
        early = self._early.get(client, {})
        while (following := self._last(client) + 1) in early:
            self._take(early.pop(following))

    def _take(self, data: Mapping[str, Any]) -> None:
        """Carry out the decision whose turn it is."""
        client, n = data["client"], data["n"]
        self._taken[client] = n
        try:
            if self.retired:
                raise DecisionError(self.retired)
            check_decision(data)
            answer = self._apply(data)
        except EmgreviewError as refusal:
            self._refuse(client, n, str(refusal), in_doubt=isinstance(refusal, LogWriteError) and refusal.in_doubt)
            self.tell_settled(client, **self._status())
        except BaseException as fault:  # an interrupt of the kernel, too: what it broke off may be saved or not
            words = f"a fault in the program ({fault!r}); it may be saved: reload the page to see"
            self._refuse(client, n, words, in_doubt=True)
            self.tell_settled(client)
            raise
        else:
            self.tell_settled(client, **{**self._status(), **answer})

    def _last(self, client: str) -> int:
        """Number of the last decision that was taken from a browser."""
        return self._taken.get(client, 0)

    def _ask_again(self, client: str, sent: int) -> None:
        """Ask for the decisions up to number ``sent`` that did not come."""
        last, early = self._last(client), self._early.get(client, {})
        missing = [n for n in range(last + 1, min(sent, last + _AHEAD) + 1) if n not in early]
        if missing:
            self.tell(gap={"client": client, "awaited": last + 1, "missing": missing})

    def _refuse(self, client: str, n: int, words: str, *, in_doubt: bool = False) -> None:
        """``in_doubt``: it may be on disk all the same, so a screen must not call it unsaved."""
        told = self._refused.setdefault(client, [])
        told.append({"client": client, "n": n, "words": self._neutral(words), **({"doubt": True} if in_doubt else {})})
        del told[:-_REFUSED]


def _size(data: Mapping[str, Any]) -> float:
    """Bytes of a message as it came; infinite where it is none that a browser sends."""
    try:
        return len(json.dumps(data))
    except (TypeError, ValueError, RecursionError):
        return math.inf
