"""Results as bytes: the same value always as the same bytes, and bytes from a stranger as a value or an error.

Numbers, texts, lists, tuples, mappings and arrays go as they are; so do the classes that a job names, by their fields,
and what has ``__getnewargs_ex__`` (sentences that know what they are about) by that. Nothing else goes, no code comes
back, and none is run: arrays travel in numpy's own format without objects, the rest is JSON.

    encode, decode      a value to bytes, and back
    seal, unseal        with a keyed digest before them; an error where they are not what was sealed with that key
"""

import dataclasses
import hmac
import io
import json
import math
from collections.abc import Collection, Mapping, Sequence
from typing import Any

import numpy as np

from emgreview.errors import FormatError
from emgreview.plain_files import read_json

HEAD = b"emgreview result 1\n"
_KEYS = ("number", "tuple", "pairs", "array", "of", "text")


def encode(value: Any) -> bytes:
    """A value as bytes. Raises TypeError for what cannot be one, an object array for instance."""
    arrays: list[np.ndarray] = []
    text = json.dumps(_out(value, arrays), ensure_ascii=True, allow_nan=False, separators=(",", ":")).encode()
    stream = io.BytesIO()
    stream.write(len(text).to_bytes(8, "little") + text)
    for array in arrays:
        np.lib.format.write_array(stream, np.ascontiguousarray(array), allow_pickle=False)
    return stream.getvalue()


def decode(content: bytes, classes: Collection[type] = ()) -> Any:
    """The value that :func:`encode` made into bytes; ``classes`` are those that it may hold. Raises FormatError."""
    try:
        stream = io.BytesIO(content)
        length = int.from_bytes(stream.read(8), "little")
        text = stream.read(min(length, len(content)))
        arrays = []
        while stream.tell() < len(content):
            arrays.append(np.lib.format.read_array(stream, allow_pickle=False, max_header_size=10_000))
        return _in(read_json(text, name="a result"), arrays, {one.__qualname__: one for one in classes})
    except FormatError:
        raise
    except Exception as why:  # numpy's reader of headers raises what Python's tokenizer does, too
        raise FormatError(
            f"a result cannot be read ({type(why).__name__}: {why}); delete it, it is made anew."
        ) from why


def seal(content: bytes, key: bytes) -> bytes:
    return HEAD + hmac.digest(key, content, "sha256").hex().encode() + b"\n" + content


def unseal(sealed: bytes, key: bytes) -> bytes:
    """What was sealed. Raises FormatError where a byte of it is another, or it was sealed with another key."""
    at = len(HEAD) + 65
    content = sealed[at:]
    wanted = hmac.digest(key, content, "sha256").hex().encode() + b"\n"
    if sealed[: len(HEAD)] != HEAD or not hmac.compare_digest(sealed[len(HEAD) : at], wanted):
        raise FormatError("a kept result is not what was written; it is made anew.")
    return content


def _out(value: Any, arrays: list[np.ndarray]) -> Any:
    if value is None or isinstance(value, bool) or type(value) is str:
        return value
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, int):
        return value if abs(value) < 1 << 53 else {"number": str(value)}
    if isinstance(value, float):
        return {"number": value.hex()} if math.isfinite(value) else {"number": str(value)}
    if isinstance(value, np.ndarray):
        if value.dtype.hasobject:
            raise TypeError("an array of objects is no result")
        arrays.append(value)
        return {"array": len(arrays) - 1}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        parts = {one.name: _out(getattr(value, one.name), arrays) for one in dataclasses.fields(value) if one.init}
        return {"of": type(value).__qualname__, "parts": parts}
    if hasattr(value, "__getnewargs_ex__"):
        given, named = value.__getnewargs_ex__()
        return {"text": type(value).__qualname__, "given": _out(list(given), arrays), "named": _out(named, arrays)}
    if isinstance(value, Mapping):
        return {"pairs": [[_out(key, arrays), _out(one, arrays)] for key, one in value.items()]}
    if isinstance(value, tuple):
        return {"tuple": [_out(one, arrays) for one in value]}
    if isinstance(value, Sequence) and not isinstance(value, str | bytes):
        return [_out(one, arrays) for one in value]
    raise TypeError(f"{type(value).__name__} is no result")


def _in(value: Any, arrays: Sequence[np.ndarray], classes: Mapping[str, type]) -> Any:
    if isinstance(value, list):
        return [_in(one, arrays, classes) for one in value]
    if not isinstance(value, dict):
        return value
    key = next(iter(value), "")
    if key == "number":
        return int(value[key]) if value[key].lstrip("-").isdigit() else float.fromhex(value[key])
    if key == "tuple":
        return tuple(_in(one, arrays, classes) for one in value[key])
    if key == "pairs":
        return {_in(name, arrays, classes): _in(one, arrays, classes) for name, one in value[key]}
    if key == "array":
        return arrays[value[key]]
    if key == "of":
        parts = {name: _in(one, arrays, classes) for name, one in value["parts"].items()}
        return classes[value[key]](**parts)
    if key == "text":
        made = classes[value[key]]
        return made.__new__(made, *_in(value["given"], arrays, classes), **_in(value["named"], arrays, classes))
    raise FormatError(f"a result holds {key!r}, which is none of {', '.join(_KEYS)}; delete it, it is made anew.")
