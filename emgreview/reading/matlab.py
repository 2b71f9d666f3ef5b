"""MATLAB's files of variables, .mat: version 5 to 7 by their bytes, version 7.3 as the HDF5 that it is.

After the published "MAT-File Format" (The MathWorks) for version 5 (:mod:`matlab_v5`); 7.3 is HDF5 with the attribute
MATLAB_class, in which every shape stands the other way round (:mod:`matlab_v73`). Shapes, rows and columns are
MATLAB's own in both. A variable inside a struct is called "trial.emg". Which version a file is, its bytes say.

    READER      the format
"""

from pathlib import Path

from emgreview.errors import FormatError
from emgreview.plain_files import open_plain
from emgreview.reading.array_layout import ArrayLayout
from emgreview.reading.arrays import Arrays, contents_of
from emgreview.reading.arrays_look import seen_in
from emgreview.reading.contents import Columns, Contents, Reader, Seen
from emgreview.reading.hdf5_files import SIGNATURE
from emgreview.reading.matlab_v5 import Variables5
from emgreview.reading.matlab_v73 import Variables73


def read(
    path: Path, *, rate_hz: float | None = None, columns: Columns = None, layout: ArrayLayout | None = None
) -> Contents:
    """Contents of a variable, as the layout says. Raises FormatError, TruncatedError, RateError, ParameterError,
    UnknownNameError."""
    return contents_of(_variables(path), layout or ArrayLayout(), rate_hz, columns)


def look(path: Path) -> Seen:
    """Variables with shape and class."""
    return seen_in(_variables(path))


def _variables(path: Path) -> Arrays:
    with open_plain(path) as stream:
        head = stream.read(128)
        stream.seek(512)
        later = stream.read(8)
    if SIGNATURE in (head[:8], later):
        return Variables73(path)
    endian, version = head[126:128], head[124:126]
    if len(head) == 128 and endian in (b"IM", b"MI") and version in (b"\0\1", b"\1\0"):
        return Variables5(path, "<" if endian == b"IM" else ">")
    old = len(head) >= 20 and not head[3] and head[0] in range(53) and not any(head[13:16])
    kind = "looks like a file of MATLAB 4" if old else "is no .mat file of MATLAB 5 or later"
    raise FormatError(
        f"{path.name} {kind}; allowed: what save('…', '-v7') or '-v7.3' writes; load it in MATLAB and save it so, or "
        "give the right file."
    )


READER = Reader(
    "MATLAB variables", (".mat",), read, describes_itself=False, layout=ArrayLayout, look=look, extra="matlab"
)
