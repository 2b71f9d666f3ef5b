"""Files to recordings: EDF, BDF, text, MATLAB, HDF5, C3D, XDF, NWB, Excel, Parquet, and BIDS datasets of EDF and BDF.

One module a format, behind one registry that plug-ins can extend; what a file says is put together with its BIDS
sidecars and the caller's words in one place (:mod:`emgreview.reading.assembly`; kinds and units in ``settled``, markers
in ``events``). Samples are sliced from disk where
the format allows it. Nothing is shortened, rescaled or left out silently: it is an error, or a sentence in
``Recording.notes`` and a SignalWarning. Cues are found in trigger channels by :mod:`emgreview.reading.cues`.

    look(path)                  what a file holds, and the call that reads it
    read(path)                  one recording
    join_channels, join_in_time several files of one recording
    read_dataset(folder)        a BIDS dataset, or a folder of recordings
    read_study, write_study     a lab's own files, as a description says
    open_data(path)             any of these three
    confirm_alignment           how cues and rows of a table of trials belong together
    find_cues, with_cues        markers from a trigger channel
    channel_range               lowest and highest value of a channel, to choose a level by
    check_samples               sentences on flat channels and missing samples
    known_extensions            what can be read
"""

from emgreview.reading.checks import check_samples
from emgreview.reading.contents import Contents, Reader, Seen, Signal
from emgreview.reading.cues import channel_range, find_cues, with_cues
from emgreview.reading.dataset import Dataset, read_dataset
from emgreview.reading.delays import Delay, measure_delay
from emgreview.reading.deriving import derive
from emgreview.reading.files import read
from emgreview.reading.joining import join_channels, join_in_time
from emgreview.reading.looking import Look, look
from emgreview.reading.registry import known_extensions
from emgreview.reading.study import open_data, read_study
from emgreview.reading.study_writing import confirm_alignment, write_study

__all__ = [
    "Contents",
    "Dataset",
    "Delay",
    "Look",
    "Reader",
    "Seen",
    "Signal",
    "channel_range",
    "check_samples",
    "confirm_alignment",
    "derive",
    "find_cues",
    "join_channels",
    "join_in_time",
    "known_extensions",
    "look",
    "measure_delay",
    "open_data",
    "read",
    "read_dataset",
    "read_study",
    "with_cues",
    "write_study",
]
