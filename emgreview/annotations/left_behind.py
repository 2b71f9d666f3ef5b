"""What stays of people who were withdrawn, and is a person's to delete: versions, copies, what nobody reads.

left_behind     what may still speak of them, as sentences
"""

from collections.abc import Iterator, Mapping
from pathlib import Path, PurePosixPath
from typing import Any

from emgreview.annotations.places import log_beside, recording_in, strays
from emgreview.annotations.versions import descriptions, unfinished
from emgreview.plain_files import below, is_folder


def left_behind(folder: Path, going: Mapping[str, Any], code: str | None) -> Iterator[str]:
    """What stays and may speak of those whose logs are ``going``, a sentence each; ``code``: of which participant."""
    rest = [name for name, said, _ in descriptions(folder) if said is not None and set(said["logs"]) & set(going)]
    if rest:
        yield (
            f"Sealed versions that hold what was decided there stay as they are: {', '.join(rest)}. Where it must be "
            f"gone from them too, say it again with versions={rest!r}, and seal anew."
        )
    if dark := [name for name, said, _ in descriptions(folder) if said is None]:
        yield (
            f"Of versions that cannot be read nobody knows whose rows they hold: {', '.join(dark)}; they stay; see "
            "verify, and delete them where they may hold what must be gone."
        )
    if begun := unfinished(folder):
        yield (
            f"Versions that somebody is writing now, or that a crash cut short, stay: {', '.join(begun)}; delete them "
            "when nobody seals."
        )
    own = {f"sub-{code}"} if code is not None else set()
    names = {str(recording_in(PurePosixPath(where).name)) for where in going}
    files = sorted(
        path.relative_to(folder).as_posix()
        for path in below(folder / "logs")
        if not is_folder(path) and log_beside(path.name) != path.name
        if own & set(path.relative_to(folder).parts) or any(name in path.name for name in names)
    )
    files += sorted(
        path.relative_to(folder).as_posix()
        for path in strays(folder)
        if log_beside(path.name) == path.name
        if own & set(path.relative_to(folder).parts) or recording_in(path.name) in names
    )
    if files:
        yield (
            f"{len(files)} file{'s' * (len(files) != 1)} below 'logs' that nobody reads may hold what was decided, and "
            f"stay{'s' * (len(files) == 1)}: {', '.join(files[:5])}{' …' * (len(files) > 5)}; look, and delete."
        )
    yield (
        "Ids of trials stay where other logs say what was drawn, disputed or accepted in bulk; recordings, and copies "
        "of this folder elsewhere, are yours to delete."
    )
