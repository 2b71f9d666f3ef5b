"""What was taken back and done again, and by which operation the value that stands then was said.

An undo writes the value of before as it was: whoever asks how that came to be asks about the command that said it, not
about the undo.

    Step            one command as undo sees it; Plain, how it is kept
    Ways            by which operation the present value of a key was said
    carry           one command from those that were done to those that were taken back, or back again
"""

from typing import Any, NamedTuple

from emgreview.annotations.events import Event


class Step(NamedTuple):
    """One command as undo sees it: where its event stands."""

    counter: int
    time: str
    recording: str
    seq: int
    operation: str
    trial: str | None
    target: int | None
    showing: int = 1


Plain = tuple[Any, ...]
"""A Step as it is kept: of plain tuples that hold no others the garbage collector keeps no track."""

_RECORDING, _OPERATION, _TARGET, _SHOWING = map(Step._fields.index, ("recording", "operation", "target", "showing"))


class Ways:
    """The commands that stand behind each key, in order, whatever was taken back and done again."""

    __slots__ = ("_done", "_undone")

    def __init__(self) -> None:
        self._done: dict[Plain, list[Plain]] = {}
        self._undone: dict[Plain, list[Plain]] = {}

    def take(self, key: Plain, step: Plain) -> None:
        """Take a command that set a key."""
        of = key if step[_SHOWING] == 1 else (*key, step[_SHOWING])
        done = self._done.setdefault(of, [])
        if step[_TARGET] is None:
            done.append(step)
        elif step[_OPERATION] == "undo":
            carry(step, done, self._undone.setdefault(of, []))
        else:
            carry(step, self._undone.setdefault(of, []), done)

    def operation(self, key: Plain, event: Event) -> str:
        """By which operation the value was said that ``event`` was the last to set; "" where all was taken back."""
        done = self._done.get(key if event.showing == 1 else (*key, event.showing))
        if done is None:
            return event.operation
        return str(done[-1][_OPERATION]) if done else ""


def carry(step: Plain, source: list[Plain], target: list[Plain]) -> None:
    """Move the command that an undo or redo names from one list to the other: the last one, unless logs were merged."""
    named = step[_TARGET], step[_RECORDING]
    for index in range(len(source) - 1, -1, -1):
        counter, _, recording, *_ = source[index]
        if (counter, recording) == named:
            target.append(source.pop(index))
            return
