"""What a person says of a file that holds arrays (MATLAB, HDF5).

ArrayLayout       which array holds the samples, along which side, and what else of the file is needed
ALONG, CUES_IN    the words that it takes
"""

from collections.abc import Sequence
from dataclasses import dataclass

from emgreview.checks import demand, number, refusal
from emgreview.errors import ParameterError

ALONG = ("rows", "columns")
CUES_IN = ("s", "ms", "samples from 0", "samples from 1")


@dataclass(frozen=True, slots=True)
class ArrayLayout:
    """What a person says of a file that holds arrays.

    Parameters
    ----------
    data : str, sequence of str, or None
        The array that holds the samples; or several as long as each other, whose channels follow
        one another: a vector a channel, or pulses in an array of their own.
    samples_along : str or None
        "rows": each row is one sample; "columns": each column is one. Needless where there is one
        channel alone.
    rate : str or None
        A number in the file that is the sampling rate in Hz; or say ``rate_hz``.
    labels : str or None
        Texts in the file that name the channels, in order; or say ``columns``.
    gain : float, str, sequence of these, or None
        What a stored value is multiplied by, a number, or numbers in the file: one, or one a channel.
        In a list one for each array of ``data``, in that order.
    cues : str or None
        Numbers in the file that are moments.
    cues_in : str or None
        "s", "ms", "samples from 0" or "samples from 1", as MATLAB counts.
    cue_label : str or None
        What these moments are called here.
    """

    data: str | Sequence[str] | None = None
    samples_along: str | None = None
    rate: str | None = None
    labels: str | None = None
    gain: float | str | Sequence[float | str] | None = None
    cues: str | None = None
    cues_in: str | None = None
    cue_label: str | None = None

    def __post_init__(self) -> None:
        if not isinstance(self.data, str | None):
            good = isinstance(self.data, Sequence) and all(isinstance(one, str) and one.strip() for one in self.data)
            demand(good and len(self.data) == len(set(self.data)) > 0, "data", self.data, "a name, or names, each once")
        elif self.data is not None:
            demand(self.data.strip(), "data", self.data, "a name, or a list of names")
        for name in ("rate", "labels", "cues", "cue_label"):
            value = getattr(self, name)
            demand(value is None or (isinstance(value, str) and value.strip() != ""), name, value, "a name, or None")
        for name, words in (("samples_along", ALONG), ("cues_in", CUES_IN)):
            value = getattr(self, name)
            demand(value is None or value in words, name, value, " or ".join(map(repr, words)))
        several = isinstance(self.gain, Sequence) and not isinstance(self.gain, str)
        if several and (isinstance(self.data, str | None) or len(self.gain) != len(self.data)):  # type: ignore[arg-type]
            raise refusal("gain", self.gain, "one for all, or in a list one for each array of data=[…], in that order")
        for one in self.gain if several else [self.gain]:  # type: ignore[union-attr]
            if one is not None and not isinstance(one, str):
                number("gain", one)
                demand(one != 0, "gain", one, "a number other than 0")
        said = [name for name in ("cues", "cues_in", "cue_label") if getattr(self, name) is not None]
        if said and len(said) < 3:
            missing = [name for name in ("cues", "cues_in", "cue_label") if name not in said]
            raise ParameterError(
                f"{' and '.join(said)} came without {' and '.join(missing)}; the three belong together: where the "
                f"moments stand, in what they count ({', '.join(map(repr, CUES_IN))}), and what they are called; give "
                "all, or none."
            )
