"""A recording filtered: band-passed signal and envelope of any stretch, as if the whole had been filtered at once.

Filtering reads only the stretch it needs, with enough signal on either side for the filters to forget what lies beyond
(:func:`margin_samples`, computed from their impulse responses), so that any stretch equals the same samples of the
whole recording filtered at once, within 1e-3 µV. Arrays are (channels, samples); missing samples are NaN.

    condition, condition_blocks     any stretch; the whole recording, block by block
    raw_and_conditioned             any stretch, with what was filtered
    margin_samples                  how far beyond a stretch is read
"""

from collections.abc import Iterator, Sequence

from emgreview.checks import demand_size
from emgreview.model import FloatArray, Processing, Recording, to_sample
from emgreview.signal import envelope, filters

BLOCK_S = 30.0
"""Length of a block, and of the longest stretch that is filtered in one go for several trials."""


def condition(
    rec: Recording, start: int, stop: int, *, channels: Sequence[str] | None = None, processing: Processing
) -> tuple[FloatArray, FloatArray]:
    """Band-passed signal and envelope of samples ``start`` to ``stop``, both (channels, samples), double precision.

    The EMG channels unless named. Equal to the same samples of the whole recording filtered at once, within 1e-3 µV for
    samples within ±1 V, offset and drift included; also at the recording's ends, where both continue it alike.
    """
    return raw_and_conditioned(rec, start, stop, rec.emg_labels if channels is None else channels, processing)[1:]


def condition_blocks(
    rec: Recording, *, channels: Sequence[str] | None = None, processing: Processing, block_s: float = BLOCK_S
) -> Iterator[tuple[int, FloatArray, FloatArray]]:
    """The whole recording, block by block in order: first sample, band-passed signal, envelope (channels, samples)."""
    step = max(1, to_sample(block_s, rec.rate_hz))
    for start in range(0, rec.n_samples, step):
        yield start, *condition(rec, start, min(start + step, rec.n_samples), channels=channels, processing=processing)


def raw_and_conditioned(
    rec: Recording, start: int, stop: int, labels: Sequence[str], processing: Processing
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Raw, band-passed and envelope of samples start to stop, from a stretch with a margin on either side."""
    margin = margin_samples(rec.rate_hz, processing)
    first, last = max(start - margin, 0), min(stop + margin, rec.n_samples)
    raw = rec.values(first, last, labels)
    demand_size(raw, rec.name)
    banded = filters.bandpass(
        raw,
        rec.rate_hz,
        low_hz=processing.low_hz,
        high_hz=processing.high_hz,
        order=processing.order,
        direction=processing.direction,
        remove_offset=processing.remove_offset,
    )
    if processing.envelope == "rms":
        smooth = envelope.rms_envelope(banded, rec.rate_hz, window_s=processing.envelope_window_s)
    else:
        smooth = envelope.low_pass_envelope(
            banded,
            rec.rate_hz,
            corner_hz=processing.envelope_hz,
            order=processing.envelope_order,
            direction=processing.direction,
        )
    keep = slice(start - first, stop - first)
    return raw[:, keep], banded[:, keep], smooth[:, keep]


def margin_samples(rate_hz: float, processing: Processing) -> int:
    """Samples to read on either side of a stretch, so that its filtered values do not depend on what lies beyond.

    The settling of the band-pass and of the envelope, and the shortest run that is filtered at all.
    """
    band = filters.settling_samples(_design(rate_hz, processing))
    if processing.envelope == "rms":
        outline = envelope.rms_half_window(rate_hz, processing.envelope_window_s)
    else:
        outline = filters.settling_samples(
            filters.design_lowpass(
                rate_hz,
                corner_hz=processing.envelope_hz,
                order=processing.envelope_order,
                direction=processing.direction,
            )
        )
    return band + outline + filters.shortest_run(rate_hz, processing.low_hz)


def _design(rate_hz: float, processing: Processing) -> FloatArray:
    return filters.design_bandpass(
        rate_hz,
        low_hz=processing.low_hz,
        high_hz=processing.high_hz,
        order=processing.order,
        direction=processing.direction,
    )
