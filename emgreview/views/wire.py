"""The wire between a widget and its browser: numbered news down, numbered decisions up. Shared by the widgets.

``news`` is JSON: the last updates, each with a serial number, so that the browser sees at once if one was lost and asks
for everything. A decision carries its screen's own running number and is taken once; its update settles it only after
it was applied, which is after it is on disk, or was refused.

    Wire            what a widget needs for both
"""

import json
from collections import deque
from collections.abc import Callable, Mapping
from typing import Any

from emgreview.errors import EmgreviewError

_KEPT, _KEPT_LETTERS = 40, 1 << 15


class Wire:
    """Mixed into a component that has the synced text ``news``. Its browser side is store.js."""

    news: str

    def start_wire(self) -> None:
        self.serial = 0
        self._updates: deque[tuple[int, str]] = deque(maxlen=_KEPT)
        self._taken: dict[str, int] = {}

    def tell(self, **update: Any) -> None:
        """Send one update; values that are None are left out. Old updates go when many or large ones follow."""
        self.serial += 1
        fields = {"serial": self.serial, **{name: value for name, value in update.items() if value is not None}}
        self._updates.append((self.serial, json.dumps(fields, allow_nan=False)))
        while len(self._updates) > 1 and sum(len(text) for _, text in self._updates) > _KEPT_LETTERS:
            self._updates.popleft()
        self.news = f'{{"serial": {self.serial}, "updates": [{", ".join(text for _, text in self._updates)}]}}'

    def take(
        self, data: Mapping[str, Any], apply: Callable[[Mapping[str, Any]], dict[str, Any]], problem: Callable[[], Any]
    ) -> None:
        """Apply a decision once and settle it: saved, or refused in words; and whether any can still be taken."""
        client, n = data["client"], data["n"]
        if n <= self._taken.get(client, 0):
            return
        self._taken[client] = n
        settled = {"client": client, "n": n}
        try:
            answer = apply(data)
        except EmgreviewError as refusal:
            answer = {"refused": {"client": client, "words": str(refusal)}}
        except Exception as fault:
            self.tell(settled=settled, refused={"client": client, "words": f"a fault in the program: {fault!r}"})
            raise
        self.tell(settled=settled, problem=problem(), **answer)
