"""Descriptions of studies, written: a new one, and what a person confirms in one.

write_study         a new description
confirm_alignment   how cues and rows of a recording belong together
"""

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import tomli_w

from emgreview.checks import kind
from emgreview.errors import FormatError, MarkerError, ParameterError, ReadError, UnknownNameError
from emgreview.plain_files import is_folder, read_text, read_toml
from emgreview.reading.study_description import load, study_of, without_answered
from emgreview.reading.study_trials import proposal


def write_study(
    path: str | Path,
    *,
    files: Mapping[str, Any],
    name: str | None = None,
    channels: Mapping[str, Mapping[str, Any]] | None = None,
    cues: Mapping[str, Any] | None = None,
    participants: Mapping[str, str] | None = None,
    trials: Mapping[str, Any] | None = None,
) -> Path:
    """Write the description of a study, a small text file beside its recordings.

    Parameters
    ----------
    path : str or Path
        The new file, ``study.toml`` for example, in the folder that holds the recordings.
    files : mapping
        ``pattern``, and what :func:`read` is told of each file, as :func:`look` proposes it;
        ``also``, a list of such mappings for files of other patterns.
    name : str or None
        Name of the study; None: that of the folder.
    channels : mapping or None
        By label: ``muscle``, ``kind``, ``delay_ms``.
    cues : mapping or None
        ``label`` of the markers, and ``markers``, labels of several that are cues; or
        ``channel``, ``level``, ``edge``, ``hold_off_s``, ``codes``, ``mask`` as for
        :func:`with_cues`; ``expect``, their number.
    participants : mapping or None
        ``table`` and ``code``, its column of what names of files say.
    trials : mapping or None
        ``table``, ``columns``, ``time``, ``time_unit``; of a table of several recordings the
        columns that say ``participant``, ``session``, ``run`` and so on.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    ParameterError, UnknownNameError
        Something is not allowed, or not known.
    FormatError
        A value cannot be written.
    ReadError
        The file is there already, or its folder is not.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> import emgreview as er
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = er.write_study(
    ...         Path(folder) / "study.toml",
    ...         files={"pattern": "P{participant}.edf"},
    ...         cues={"label": "go", "expect": 40},
    ...     )
    ...     print(path.read_text())
    [files]
    pattern = "P{participant}.edf"
    <BLANKLINE>
    [cues]
    label = "go"
    expect = 40
    <BLANKLINE>
    """
    path = Path(path)
    kind("files", files, Mapping, "a mapping with 'pattern' and the arguments of read()")
    parts = {
        "name": name,
        "files": files,
        "channels": channels,
        "cues": cues,
        "participants": participants,
        "trials": trials,
    }
    said = {key: _plain(value) for key, value in parts.items() if value is not None}
    said["files"] = without_answered(said["files"])
    study_of(said, path)
    try:
        text = tomli_w.dumps(said)
    except (TypeError, ValueError) as why:
        raise FormatError(
            f"the description cannot be written ({why}); allowed: text, numbers, lists, mappings."
        ) from None
    if not is_folder(path.absolute().parent):
        raise ReadError(
            f"there is no folder {path.parent}; the description lies beside the recordings; correct the path."
        )
    try:
        with path.open("x", encoding="utf-8") as stream:
            stream.write(text)
    except FileExistsError:
        raise ReadError(f"{path} is there already; remove it, or give another name.") from None
    return path


def _plain(value: Any) -> Any:
    """Mappings, lists, and no None, which TOML does not have."""
    if isinstance(value, Mapping):
        return {str(key): _plain(one) for key, one in value.items() if one is not None}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return ["-" if one is None else _plain(one) for one in value]
    return value.item() if hasattr(value, "item") else value


def confirm_alignment(
    path: str | Path, recording: str, *, reason: str, rows: Sequence[int | None] | None = None
) -> list[int | None]:
    r"""Confirm how the cues of a recording and the rows of its table of trials belong together.

    What is confirmed is added to the description, with the day and the reason, and holds until
    cues or rows change.

    Parameters
    ----------
    path : str or Path
        The description.
    recording : str
        Name of the recording.
    reason : str
        Why this is right, in words that the description keeps.
    rows : sequence of int or None, or None
        For each cue the number of its row, from 1, None where it has none; None: what is
        proposed by the intervals.

    Returns
    -------
    list of int or None
        For each cue the number of its row.

    Raises
    ------
    MarkerError
        Nothing is proposed, and no rows came.
    ParameterError
        Rows are not as many as cues, not there, or not in order; or no reason came.
    UnknownNameError
        The study has no such recording.
    ReadError, FormatError, EmgreviewError
        As for :func:`read_study`, and what reading the recording raises.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> import emgreview as er
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     key = "".join(f"{n % 7},{5 * (n % 1000 < 20)}\n" for n in range(4000))
    ...     _ = Path(folder, "P01.csv").write_text(key)
    ...     _ = Path(folder, "T01.csv").write_text("side\nleft\nright\n")
    ...     study = er.write_study(
    ...         Path(folder) / "study.toml",
    ...         files={"pattern": "P{participant}.csv", "rate_hz": 1000,
    ...                "unit": {"FCR": "mV", "key": "V"}, "columns": ["FCR", "key"]},
    ...         cues={"label": "go", "channel": "key", "level": 2.5, "hold_off_s": 0.5},
    ...         trials={"table": "T{participant}.csv"},
    ...     )
    ...     er.confirm_alignment(study, "sub-01", rows=[None, 1, 2], reason="a test came first")
    [None, 1, 2]
    """
    path = Path(path)
    study = load(path)
    if recording not in study.files:
        raise UnknownNameError("recording", recording, study.files)
    if study.trials is None:
        raise ParameterError(f"{path.name} names no table of trials, so there is nothing to confirm; see [trials].")
    if not isinstance(reason, str) or not reason.strip():
        raise ParameterError("reason came without words; say why cues and rows belong together so.")
    rec = replace(study, trials=None).recording(recording)
    assert study.tables is not None
    found = proposal(rec, study.tables, study.folder, study.said(recording), study.cue_of)
    if rows is None:
        if found.alignment is None:
            raise MarkerError(
                f"{recording} has {found.words}; say rows=[…] yourself: for each cue the number of its row, from 1, "
                "None where it has none."
            )
        rows = [None if row is None else row + 1 for row in found.alignment.rows]
    chosen = [None if row is None or row == 0 else int(row) for row in rows]
    named = [row for row in chosen if row is not None]
    if (
        len(chosen) != len(found.cues)
        or named != sorted(set(named))
        or any(not 1 <= r <= len(found.rows) for r in named)
    ):
        raise ParameterError(
            f"rows came as {list(rows)!r}; allowed: one number for each of {len(found.cues)} cues, rising, from 1 to "
            f"{len(found.rows)}, None where a cue has no row; correct it."
        )
    said = {
        "recording": recording,
        "rows": [row or 0 for row in chosen],
        "reason": reason.strip(),
        "on": date.today().isoformat(),
        "digest": found.digest,
    }
    text = read_text(path)
    kept = [one for one in read_toml(path)["trials"].get("aligned", []) if one.get("recording") != recording]
    head = text.partition("\n[[trials.aligned]]")[0].rstrip() + "\n"
    blocks = "".join(f"\n[[trials.aligned]]\n{tomli_w.dumps(one)}" for one in [*kept, said])
    new = path.with_name(f".{path.name}.{secrets.token_hex(8)}.part")
    try:
        with new.open("x", encoding="utf-8") as stream:
            stream.write(head + blocks)
        load(new)
        new.replace(path)
    finally:
        new.unlink(missing_ok=True)
    return chosen
