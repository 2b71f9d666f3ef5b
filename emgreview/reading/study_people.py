"""The table of participants that a study's description names.

people_of       its rows, as participants.tsv has them
"""

from collections.abc import Mapping, Sequence, Set
from pathlib import Path
from typing import TYPE_CHECKING

from emgreview.errors import ParameterError, UnknownNameError
from emgreview.reading.patterns import label_of
from emgreview.reading.settled import listed
from emgreview.reading.study_trials import read_rows, written_alike

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
    people = {
        f"sub-{said['sub']}"
        for name in study.files
        for said in [study.entities(study.files[name][0][1])]
        if "sub" in said
    }
    codes, loud = _codes(study, [row[code] for row in rows], people)
    made = tuple(
        {"participant_id": one, **{k: v for k, v in row.items() if k != code}}
        for one, row in zip(codes, rows, strict=True)
    )
    known = {row["participant_id"] for row in made}
    if strange := sorted(people - known):
        loud.append(f"{study.participants['table']} has no row for {listed(strange)}.")
    if len(known) < len(made):
        loud.append(f"{study.participants['table']} has more than one row for a participant.")
    if bare := sorted(known - people):
        loud.append(f"There is no recording of {listed(bare)}.")
    return made, loud


def _codes(study: "Study", cells: Sequence[str], people: Set[str]) -> tuple[list[str], list[str]]:
    """Participants that cells of the table speak of, and a sentence on those that are written otherwise: as BIDS has
    them ("sub-01"), with what stands before {participant} in the pattern ("S4"), or with fewer zeros ("1")."""
    exact = [f"sub-{label_of(cell)}" for cell in cells]
    free = people - set(exact)
    found, told = list(exact), []
    for place, cell in enumerate(cells):
        if exact[place] in people:
            continue
        alike = {one for one in free if written_alike(cell, one.removeprefix("sub-"), study.before("participant"))}
        rivals = [
            c
            for c in cells
            if any(written_alike(c, one.removeprefix("sub-"), study.before("participant")) for one in alike)
        ]
        if len(alike) == 1 and len(rivals) == 1:
            (found[place],) = alike
            if cell != found[place]:
                told.append(f"{cell!r} was taken for {found[place].removeprefix('sub-')!r}")
    return found, [f"{study.participants['table']}: {listed(told)}."] if told else []
