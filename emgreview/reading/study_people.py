"""The table of participants that a study's description names.

people_of       its rows, as participants.tsv has them
"""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from emgreview.errors import ParameterError, UnknownNameError
from emgreview.reading.patterns import label_of
from emgreview.reading.settled import listed
from emgreview.reading.study_trials import read_rows

if TYPE_CHECKING:
    from emgreview.reading.study_description import Study


def people_of(study: "Study") -> tuple[tuple[Mapping[str, str], ...], list[str]]:
    """Rows of people, as participants.tsv has them, and sentences on those that do not fit."""
    if not study.participants:
        return (), []
    if missing := [key for key in ("table", "code") if key not in study.participants]:
        raise ParameterError(f"{study.path.name} lacks {' and '.join(missing)} below [participants]; give both.")
    table = Path(study.participants["table"])
    if table.is_absolute() or ".." in table.parts:
        raise ParameterError(
            f"table below [participants] came as {str(table)!r}; allowed: a path below the folder of the description; "
            "put the table there."
        )
    rows = read_rows(study.folder / table, study.participants.get("encoding"))
    code = study.participants["code"]
    if rows and code not in rows[0]:
        raise UnknownNameError("column", code, rows[0], where=study.participants["table"])
    made = tuple(
        {"participant_id": f"sub-{label_of(row[code])}", **{k: v for k, v in row.items() if k != code}} for row in rows
    )
    known = {row["participant_id"] for row in made}
    people = {
        f"sub-{said['sub']}"
        for name in study.files
        for said in [study.entities(study.files[name][0][1])]
        if "sub" in said
    }
    loud = []
    if strange := sorted(people - known):
        loud.append(f"{study.participants['table']} has no row for {listed(strange)}.")
    if len(known) < len(made):
        loud.append(f"{study.participants['table']} has more than one row for a participant.")
    if bare := sorted(known - people):
        loud.append(f"There is no recording of {listed(bare)}.")
    return made, loud
