"""Lists of trials as a screen asks for them: found at once, or in slices that leave room for what else Python has to
answer.

A list is news of the form {"list": {"words", "indices", "rows"}}: trials by their numbers, and where it is
about some channels alone, their rows by trial.

    Listing            of one session
"""

import time
from collections.abc import Mapping
from typing import Any

from emgreview.second_look import bulk_audit
from emgreview.session import Session
from emgreview.trial_lists import (
    AUDIT,
    LISTS,
    MethodComparison,
    OddTrials,
    left_of_audit,
    trial_list,
    where_reviewers_differ,
    with_behaviour,
)

_SLICE_S = 0.2

News = dict[str, Any]


class Listing:
    """Answers of one session to its screens. ``number``: by trial, what a browser calls it by."""

    def __init__(self, session: Session, number: Mapping[str, int]):
        self._session, self._number = session, number
        self._searching: dict[str, tuple[str, MethodComparison | OddTrials]] = {}

    def find(self, data: Mapping[str, Any]) -> News:
        """Answer the request for a list."""
        session, words = self._session, data["which"]
        if data.get("reviewer"):
            ids = where_reviewers_differ(session, data["reviewer"], float(data["by_s"]) * 1000)
        elif data.get("behaviour"):
            ids = with_behaviour(session, data["behaviour"])
        elif words == AUDIT:
            return self._audit(data)
        elif words in LISTS:
            client = data["client"]
            if self._searching.get(client, ("",))[0] != words:
                self._searching[client] = words, OddTrials(session, words)
            return self._search(data, words)
        else:
            ids = trial_list(session, words)
        return self._news(data, words, ids)

    def compare(self, data: Mapping[str, Any]) -> News:
        """Begin or go on comparing two methods for a moment: how far it is, and at the end the list."""
        client, (one, other), by_s = data["client"], data["methods"], float(data["by_s"])
        if data["begin"]:
            self._searching[client] = f'"{one}" beside "{other}"', MethodComparison(self._session, one, other, by_s)
        return self._search(data, f"{one} and {other} differ by more than {1000 * by_s:g} ms")

    def _search(self, data: Mapping[str, Any], found: str) -> News:
        """Go on searching for a moment: how far it is, and at the end the list, under the words ``found``."""
        client = data["client"]
        if client not in self._searching:
            return {}
        words, search = self._searching[client]
        end = time.monotonic() + _SLICE_S
        while more := search.step():
            if time.monotonic() > end:
                break
        if more:
            return {"searching": {"client": client, "share": search.share, "words": words}}
        del self._searching[client]
        return self._news(data, found, search.trials())

    def finish_audit(self, client: str) -> News:
        """Compare the marks of the audit with the hidden ones; how to go on."""
        bulk_audit(self._session).finish()
        return self._ended(client)

    def _audit(self, data: Mapping[str, Any]) -> News:
        left = left_of_audit(self._session)
        if not left:
            return self._ended(data["client"])
        labels = self._session.trials[0].labels
        rows = {
            self._number[trial]: [labels.index(label) for label in own]
            for trial, own in left.items()
            if trial in self._number
        }
        return self._news(data, AUDIT, tuple(left), rows)

    def _ended(self, client: str) -> News:
        audit = bulk_audit(self._session)
        words, finished = audit.sentence, audit.result is not None
        if not finished:
            words = (
                f"All {len(audit.sample)} channel-trials of the audit are decided. Compare them with the hidden marks "
                "now? The result is final, and the automatic marks are shown again."
            )
        elif audit.passed:
            left = sum(not self._session.state(trial).channels[label].reviewed for trial, label in audit.lot)
            words += f" To accept the {left} of the lot that are open, run in a cell: " if left else ""
            words += "emgreview.bulk_audit(session).accept()" if left else ""
        return {"audit": {"client": client, "words": words, "finished": finished}}

    def _news(self, data: Mapping[str, Any], words: str, ids: tuple[str, ...], rows: Any = None) -> News:
        indices = [self._number[trial] for trial in ids if trial in self._number]
        found = {"client": data["client"], "words": words, "indices": indices}
        return {"list": {**found, "rows": rows} if rows else found}
