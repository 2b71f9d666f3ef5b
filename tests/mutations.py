"""What is done to a file: every kind of mutation by which a stranger, a bad disk or a slip might spoil one.

A mutation is a function of the bytes and a random.Random, and gives bytes. A new one is a line in BYTES, or, for files
of one ending, in KINDS; what may stand in place of a file, one in PLACES.

    spoil       one of several files, in its folder
    signed      a line of a log whose digest fits, whatever it holds
"""

import hashlib
import io
import json
import os
import random
import re
import zipfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from emgreview.annotations.events import encode
from emgreview.errors import EmgreviewError


def spoil(files: Mapping[str, bytes], attacked: tuple[str, ...], folder: Path, chance: random.Random) -> str:
    """Spoil one file in the folder; what was done, in words."""
    name = chance.choice([one for one in sorted(files) if one.endswith(attacked)])
    path = folder / name
    if chance.random() < 0.1:
        what = chance.choice(sorted(PLACES))
        path.unlink()
        PLACES[what](path)
        return f"{what} in place of {name}"
    ways = {**BYTES, **next((more for ending, more in KINDS.items() if name.endswith(ending)), {})}
    how = chance.choice(sorted(ways))
    content = files[name]
    with suppress(ValueError, KeyError, IndexError, TypeError, EmgreviewError):  # nothing of that kind to change
        content = ways[how](content, chance)
    path.write_bytes(content)
    if name.endswith("/decisions.tsv") and chance.random() < 0.7:  # as a forger would
        beside = path.with_name("decisions.json")
        digests = [hashlib.sha256(one).hexdigest().encode() for one in (files[name], content)]
        beside.write_bytes(beside.read_bytes().replace(*digests))
        return f"{how} in {name}, and its digest in {beside.name}"
    return f"{how} in {name}"


def _link(target: str) -> Callable[[Path], None]:
    return lambda path: path.symlink_to(target)


PLACES: Mapping[str, Callable[[Path], object]] = {
    "nothing": lambda path: None,
    "a folder": Path.mkdir,
    "a pipe": lambda path: os.mkfifo(path),
    "a link to an endless device": _link("/dev/zero"),
    "a link to an empty device": _link("/dev/null"),
    "a link to itself": lambda path: path.symlink_to(path.name),
    "a link to nothing": _link("gone"),
    "a link to a folder": _link(".."),
    "a link to another kind of file": _link("/proc/self/status"),
}

HOSTILE: tuple[Any, ...] = (
    None, True, False, 0, 1, -1, 2**53 - 1, 1.5, -0.5, 1e308, "", "x", "nan", "=1+1", "x" * 1000, "\u202e", "../x",
    "rec", "0" * 64, [], {}, [None], [[]], [["a"]], [["a", "b"]], [[1, 2]], [["a", "b", "c"]], {"a": 1}, {"a": None},
    {"": {}}, [0, 1], [1.5, "a"], ["a", "a"],
)  # fmt: skip
"""Values of every kind in place of another one."""
BEYOND: tuple[Any, ...] = (float("nan"), float("inf"), -float("inf"), 2**53, -(2**63), 10**30, 10**400)
"""Values that canonical JSON does not hold."""
CELLS = (
    "", "n/a", "nan", "inf", "-inf", "-1", "0", "1e308", "1e999", "1" * 400, "9" * 5000, "0x10", "1,5", "١٢", "x",
    "'=1",     '"', "\x00", "\u2028", "true", "\t", "é", "1e-999", " ", "-", "99999999", "1_000", "-0",
)  # fmt: skip


def _at(content: bytes, chance: random.Random) -> int:
    return chance.randrange(len(content) + 1)


def _replaced(content: bytes, chance: random.Random, new: bytes, most: int = 40) -> bytes:
    start = _at(content, chance)
    return content[:start] + new + content[start + chance.randrange(most) :]


def _flipped(content: bytes, chance: random.Random) -> bytes:
    changed = bytearray(content)
    for _ in range(chance.choice((1, 1, 3, 30))):
        changed[chance.randrange(len(changed))] = chance.randrange(256)
    return bytes(changed)


def _number_changed(content: bytes, chance: random.Random) -> bytes:
    found = chance.choice(list(re.finditer(rb"-?\d+(\.\d+)?", content)))
    return content[: found.start()] + chance.choice(CELLS).encode() + content[found.end() :]


BYTES: Mapping[str, Callable[[bytes, random.Random], bytes]] = {
    "bytes changed": _flipped,
    "a part taken out": lambda content, chance: _replaced(content, chance, b"", 400),
    "a part doubled": lambda content, chance: content[: _at(content, chance)] + content[_at(content, chance) :],
    "noise put in": lambda content, chance: _replaced(content, chance, chance.randbytes(chance.choice((1, 8, 500)))),
    "cut short": lambda content, chance: content[: _at(content, chance)],
    "emptied": lambda content, chance: b"",
    "zeros at the end": lambda content, chance: content[: (at := _at(content, chance))] + bytes(len(content) - at),
    "zeros in the middle": lambda content, chance: _replaced(content, chance, bytes(40)),
    "another kind of file": lambda content, chance: chance.choice((b"PK\x03\x04", b"\x89PNG", b"\xff\xfe{}")),
    "deep nesting": lambda content, chance: chance.choice((b"[", b'{"a":', b"[{")) * chance.choice((70, 900, 20_000)),
    "deep nesting put in": lambda content, chance: _replaced(content, chance, b"[" * chance.choice((70, 5000))),
    "a number changed": _number_changed,
    "CR LF": lambda content, chance: content.replace(b"\n", b"\r\n"),
    "a line doubled": lambda content, chance: _lines_changed(content, chance, lambda line: [line, line]),
    "a line taken out": lambda content, chance: _lines_changed(content, chance, lambda line: []),
    "a long line": lambda content, chance: _lines_changed(content, chance, lambda line: [line * 50]),
}  # fmt: skip


def _lines_changed(content: bytes, chance: random.Random, change: Callable[[bytes], list[bytes]]) -> bytes:
    lines = content.split(b"\n")
    place = chance.randrange(len(lines))
    return b"\n".join([*lines[:place], *change(lines[place]), *lines[place + 1 :]])


def _nodes(value: Any, above: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The places in a value, as the keys that lead there."""
    pairs = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in pairs:
        yield (*above, key)
        yield from _nodes(inner, (*above, key))


def _node_changed(value: Any, chance: random.Random, hostile: tuple[Any, ...]) -> Any:
    """One place of a value changed: another value, none, or another name. The value itself is changed."""
    place = chance.choice(list(_nodes(value)))
    holder = value
    for key in place[:-1]:
        holder = holder[key]
    how = chance.random()
    if how < 0.15:
        del holder[place[-1]]
    elif how < 0.2 and isinstance(holder, dict):
        holder[chance.choice(("x", "", "recording"))] = holder.pop(place[-1])
    else:
        new = chance.choice(hostile)
        holder[place[-1]] = json.loads(json.dumps(new)) if isinstance(new, list | dict) else new
    return value


def _json_changed(content: bytes, chance: random.Random) -> bytes:
    value = _node_changed(json.loads(content), chance, HOSTILE + BEYOND)
    return json.dumps(value, indent=chance.choice((None, 2))).encode()


def _json_of_another_kind(content: bytes, chance: random.Random) -> bytes:
    return json.dumps(chance.choice(HOSTILE + BEYOND)).encode()


def signed(found: Mapping[str, Any], strict: bool) -> bytes:
    """The line of these fields, its digest fitting. Not strict: as JSON that RFC 8785 does not allow."""
    fields = {name: value for name, value in found.items() if name != "self"}
    if strict:
        try:
            return encode(fields)[0]
        except EmgreviewError:  # a line without one of its parts
            pass
    blank = json.dumps({**fields, "self": "0" * 64}, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()
    digest = hashlib.sha256(blank).hexdigest().encode()
    return blank.replace(b'"self":"' + b"0" * 64, b'"self":"' + digest)


def _log_signed_anew(content: bytes, chance: random.Random, *, strict: bool = True, most: int = 1) -> bytes:
    """Values of lines changed, all digests fitting again."""
    lines = [json.loads(line) for line in content.splitlines()]
    for _ in range(most):
        place = 0 if chance.random() < 0.3 else chance.randrange(len(lines))
        line = lines[place]
        part = chance.choice((line, line, {"new": line["new"]}, {"old": line["old"]}))
        _node_changed(part, chance, HOSTILE if strict else HOSTILE + BEYOND)
        if part is not line:
            line.update(part)
    head, raws = None, []
    for line in lines:
        line["prev"] = line["prev"] if head is None else head
        raw = signed(line, strict)
        head = hashlib.sha256(raw).hexdigest()
        raws.append(raw)
    return b"\n".join(raws) + b"\n"


def _log_without_a_line(content: bytes, chance: random.Random) -> bytes:
    """A line taken out or moved, the numbers and digests of the rest fitting again."""
    lines = [json.loads(line) for line in content.splitlines()]
    line = lines.pop(chance.randrange(len(lines)))
    if chance.random() < 0.5:
        lines.insert(chance.randrange(len(lines)), line)
    head, raws = "0" * 64, []
    for number, one in enumerate(lines):
        one.update(prev=head, seq=number)
        raw = signed(one, True)
        head = hashlib.sha256(raw).hexdigest()
        raws.append(raw)
    return b"\n".join(raws) + b"\n"


def _cell_changed(content: bytes, chance: random.Random) -> bytes:
    lines = content.decode().split("\n")
    place = chance.randrange(len(lines))
    sign = "\t" if "\t" in lines[0] else ","
    cells = lines[place].split(sign)
    cells[chance.randrange(len(cells))] = chance.choice(CELLS)
    lines[place] = sign.join(cells)
    return "\n".join(lines).encode()


def _column_lost(content: bytes, chance: random.Random) -> bytes:
    rows = [line.split("\t") for line in content.decode().split("\n")]
    place = chance.randrange(len(rows[0]))
    return "\n".join("\t".join(row[:place] + row[place + 1 :]) for row in rows).encode()


_EDF_WIDTHS = (8, 80, 80, 8, 8, 8, 44, 8, 8, 4)
_EDF_SIGNAL_WIDTHS = (16, 80, 8, 8, 8, 8, 8, 80, 8, 32)


def _edf_field_changed(content: bytes, chance: random.Random) -> bytes:
    n = int(content[252:256])
    widths = [*_EDF_WIDTHS, *(width for width in _EDF_SIGNAL_WIDTHS for _ in range(n))]
    short = [place for place, width in enumerate(widths) if width <= 16]
    place = chance.choice(short)
    start = sum(widths[:place])
    new = chance.choice((*CELLS, "EDF Annotations", "Status", "+1e5", "1e-300", "0.0000001")).encode()[: widths[place]]
    return content[:start] + new.ljust(widths[place]) + content[start + widths[place] :]


def _edf_annotation_changed(content: bytes, chance: random.Random) -> bytes:
    place = chance.choice([at for at in range(len(content)) if content[at : at + 1] == b"\x14"])
    new = chance.choice((b"\x14", b"\x15", b"\x00", b"+1e5", b"+" + b"9" * 30, b"\xff", b"-5\x14", b"\x14\x14"))
    return content[:place] + new + content[place + len(new) :]


def _word_changed(content: bytes, chance: random.Random) -> bytes:
    """A whole number of four or eight bytes, where one may stand."""
    width = chance.choice((4, 4, 8))
    place = chance.randrange(max(1, len(content) // 4)) * 4
    new = chance.choice((0, 1, 2, 3, 255, 65535, 2**31 - 1, 2**32 - 1, 2**24, 2**31, 2**40, 2**63 - 1, 2**64 - 1))
    return content[:place] + (new % 256**width).to_bytes(width, "little") + content[place + width :]


def _member_changed(content: bytes, chance: random.Random) -> bytes:
    """A file within a zipped one changed by any of BYTES, and zipped anew."""
    made = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new:
        spoilt = chance.choice(old.namelist())
        for name in old.namelist():
            inner = old.read(name)
            new.writestr(name, BYTES[chance.choice(sorted(BYTES))](inner, chance) if name == spoilt else inner)
    return made.getvalue()


_BINARY = {
    **{f"a word changed {n}": _word_changed for n in range(12)},
    **{f"bytes changed {n}": _flipped for n in range(8)},
}
_JSON = {"a value of JSON changed": _json_changed, "JSON of another kind": _json_of_another_kind}
_EDF = {"a field changed": _edf_field_changed, "an annotation changed": _edf_annotation_changed}
_TABLE = {"a cell changed": _cell_changed, "a column lost": _column_lost}
KINDS: Mapping[str, Mapping[str, Callable[[bytes, random.Random], bytes]]] = {
    ".jsonl": {
        **{f"signed anew {n}": _log_signed_anew for n in range(16)},  # the most that gets past the digests
        "signed anew, three changes": lambda content, chance: _log_signed_anew(content, chance, most=3),
        "signed anew, not canonical": lambda content, chance: _log_signed_anew(content, chance, strict=False),
        "signed anew without a line": _log_without_a_line,
    },
    ".json": {**_JSON, **{f"a value of JSON changed {n}": _json_changed for n in range(8)}},
    ".tsv": {**_TABLE, **{f"a cell changed {n}": _cell_changed for n in range(6)}},
    ".csv": _TABLE,
    **dict.fromkeys((".mat", ".h5", ".nwb", ".xdf", ".c3d", ".parquet"), _BINARY),
    ".xlsx": {f"a member changed {n}": _member_changed for n in range(20)},
    ".toml": {"a cell changed": _cell_changed},
    ".edf": {**_EDF, **{f"a field changed {n}": _edf_field_changed for n in range(12)}},
    ".bdf": {**_EDF, **{f"a field changed {n}": _edf_field_changed for n in range(12)}},
}
