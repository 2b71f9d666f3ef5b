"""The values everything else passes around: recordings, channels, markers, trials, bursts.

All are frozen. Conventions, unless a name says otherwise: time in seconds, voltages in microvolts,
arrays ordered (trials, channels, samples), sampling rate always explicit in hertz, missing is NaN
(never zero). Positions are integer sample numbers of the source recording; seconds are derived, and
go back to samples through :func:`to_sample` alone. Others import from here, and know no module of it:

units           units of samples; from seconds to samples
channels        Channel
markers         Marker
sources         where samples come from, how they become values (Scale), what identifies them (Fingerprint)
recording       Recording
processing      Processing: how it is conditioned, with a digest kept beside every mark
trials          Trials: conditioned stretches around a cue; Note
onsets          Onsets, Burst: what a detection method found
"""

from emgreview.model.channels import Channel as Channel
from emgreview.model.markers import Marker as Marker
from emgreview.model.onsets import Burst as Burst
from emgreview.model.onsets import Onsets as Onsets
from emgreview.model.processing import LOWEST_LOWER_HZ as LOWEST_LOWER_HZ
from emgreview.model.processing import LOWEST_UPPER_HZ as LOWEST_UPPER_HZ
from emgreview.model.processing import Processing as Processing
from emgreview.model.recording import Recording as Recording
from emgreview.model.sources import SAME_SAMPLES as SAME_SAMPLES
from emgreview.model.sources import ArraySource as ArraySource
from emgreview.model.sources import Fingerprint as Fingerprint
from emgreview.model.sources import SampleSource as SampleSource
from emgreview.model.sources import Scale as Scale
from emgreview.model.trials import Note as Note
from emgreview.model.trials import Trials as Trials
from emgreview.model.units import ARBITRARY as ARBITRARY
from emgreview.model.units import VOLTS as VOLTS
from emgreview.model.units import FloatArray as FloatArray
from emgreview.model.units import longest as longest
from emgreview.model.units import to_sample as to_sample
