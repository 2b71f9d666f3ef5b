"""What a channel is called, what it holds, and in which unit."""

from dataclasses import dataclass
from typing import Literal

from emgreview.checks import kind
from emgreview.model.units import ARBITRARY


@dataclass(frozen=True, slots=True)
class Channel:
    """One recorded potential difference, or one auxiliary signal.

    Parameters
    ----------
    label : str
        Name of the channel; no two of a recording are the same.
    kind : str, default "EMG"
        A BIDS channel type: EMG, ECG, TRIG, MISC, REF …
    unit : str, default "uV"
        Unit of what :meth:`Recording.values` returns: "uV" for every voltage of kind EMG
        or ECG, the channel's own unit otherwise, or "arbitrary".
    over : str, default ""
        What the electrodes lie over, in words.
    low_cutoff_hz, high_cutoff_hz : float or None
        Corners of the filters of the recording device; None where not known.
    delay_s : float, default 0.0
        Constant delay of the device, in seconds; it is already taken out when the samples
        are read.
    native_rate_hz : float or None
        Rate at which the channel itself was sampled, where it differs; else None.
    status : {"good", "bad"}
        What the recording says of the channel.
    status_description : str, default ""
        Why it is bad.
    heard : str, default ""
        What its test contractions showed besides, in words: :meth:`ChannelCards.on` puts it
        there.

    Raises
    ------
    ParameterError
        ``label`` is no text.

    Examples
    --------
    >>> import emgreview as er
    >>> er.Channel("FCR", over="wrist flexor").unit_label
    'µV'
    """

    label: str
    kind: str = "EMG"
    unit: str = "uV"
    over: str = ""
    low_cutoff_hz: float | None = None
    high_cutoff_hz: float | None = None
    delay_s: float = 0.0
    native_rate_hz: float | None = None
    status: Literal["good", "bad"] = "good"
    status_description: str = ""
    heard: str = ""

    def __post_init__(self) -> None:
        kind("label", self.label, str, "the channel's label, a text")

    @property
    def unit_label(self) -> str:
        """The unit as it is shown to people."""
        return {"uV": "µV", ARBITRARY: "arbitrary units"}.get(self.unit, self.unit)
