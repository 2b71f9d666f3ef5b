"""Which columns of a table are signals, and what they are called here: by place, or by the names that the file has.

Shared by every format whose samples lie in columns. A column that is called "time" here holds no signal.

    chosen_columns      place and label of each column that is kept
    distinct            names that a file gives twice, told apart
    TIME, is_time       the label of a column of times
"""

from collections.abc import Mapping, Sequence
from pathlib import Path

from emgreview.checks import refusal
from emgreview.errors import FormatError, ParameterError, UnknownNameError
from emgreview.reading.contents import Columns

TIME = "time"
"""The column name that means time, in any case."""

LEFT_OUT_SIGNS = frozenset({"-", "–", "—", "_"})
"""What stands in a shell, or on paper, for a column to leave out, and is no name of a channel."""

ONE_A_COLUMN = (
    "a list with one label for each column in order, None for a column to leave out, 'time' for times, "
    "such as columns=['time', 'biceps', None]"
)
BY_NAME = (
    "a list of names of columns to keep, or a mapping of the file's names to labels here, 'time' for times, None for "
    "one to leave out, such as columns={'Time [s]': 'time', 'EMG 1': 'biceps'}"
)


def is_time(label: str) -> bool:
    return label.casefold() == TIME


def chosen_columns(
    path: Path, columns: Columns, names: Sequence[str] | None, n_columns: int | None = None
) -> list[tuple[int, str]]:
    """Place and label of each column that is kept, in the order of the labels here; times among them.

    ``names``: those that the file gives its columns, or None where it gives none; then ``columns`` has a label for
    each of ``n_columns`` columns (None: not known yet). A column that a mapping does not name is left out.
    Raises ParameterError, UnknownNameError, and FormatError where a name that is asked for stands twice in the file.
    """
    allowed = ONE_A_COLUMN if names is None else BY_NAME
    if names is None and isinstance(columns, Mapping):
        raise refusal("columns", columns, f"{allowed}, as {path.name} names no columns")
    if columns is None:
        if names is None:
            raise ParameterError(f"{path.name} names no channels, and columns is missing; give {allowed}.")
        columns = list(names)
    if isinstance(columns, str):
        raise refusal("columns", columns, allowed)
    pairs = list(columns.items()) if isinstance(columns, Mapping) else [(label, label) for label in columns]
    labels = [label for _, label in pairs if label is not None]
    if any(isinstance(label, str) and label.strip() in LEFT_OUT_SIGNS for label in labels):
        raise ParameterError(
            f"columns came as {columns!r}; a sign alone names no channel: a column to leave out is None; give "
            f"{allowed}."
        )
    signals = [label for label in labels if not is_time(str(label))]
    if not signals or not all(isinstance(label, str) and label.strip() for label in signals):
        raise ParameterError(f"columns came as {columns!r}; it must name at least one signal; give {allowed}.")
    if twice := next((label for label in labels if labels.count(label) > 1), None):
        raise ParameterError(f"columns names {twice!r} twice; labels must differ, as decisions are stored by them.")
    if names is None:
        if n_columns is not None and len(pairs) != n_columns:
            raise ParameterError(
                f"columns names {len(pairs)} columns, and {path.name} has {n_columns}; give {ONE_A_COLUMN}."
            )
        return [(place, label) for place, (_, label) in enumerate(pairs) if label is not None]
    return [(_place(path, str(name), names), label) for name, label in pairs if name is not None and label is not None]


def distinct(path: Path, names: Sequence[str], columns: Columns = None) -> tuple[list[str], list[str]]:
    """Names of columns, one that stands there again with its number behind it ("EMG", "EMG.2"), and sentences on them;
    "" stays. Raises FormatError where ``columns`` asks for such a name, and tells none of the others apart from it."""
    made: list[str] = []
    told = []
    for place, name in enumerate(names):
        new, number = name, 1
        while name and (new in made or (number > 1 and new in names)):
            number += 1
            new = f"{name}.{number}"
        if new != name:
            first = list(names).index(name) + 1
            told.append(
                f"Column {place + 1} of {path.name} is called {name!r}, as column {first} is: it is {new!r} here."
            )
        made.append(new)
    wanted = [] if columns is None or isinstance(columns, str) else list(columns)
    for name in dict.fromkeys(name for name in names if name and list(names).count(name) > 1):
        alike = [new for new, was in zip(made, names, strict=True) if was == name]
        if name in wanted and not set(alike[1:]) & set(wanted):
            raise FormatError(
                f"{path.name} calls {len(alike)} columns {name!r}, so which is meant cannot be told; they are "
                f"{', '.join(map(repr, alike))} here, in their order: name them so in columns, None for one to leave "
                f"out: columns={dict.fromkeys(alike[:1], 'biceps') | dict.fromkeys(alike[1:])}."
            )
    return made, told


def _place(path: Path, name: str, names: Sequence[str]) -> int:
    if (count := list(names).count(name)) > 1:
        raise FormatError(
            f"{path.name} calls {count} columns {name!r}, so which is meant cannot be told; name the columns by place "
            "instead, without the names of the file, or export it with distinct ones."
        )
    if name not in names:
        raise UnknownNameError("column", name, names, where=path.name)
    return list(names).index(name)
