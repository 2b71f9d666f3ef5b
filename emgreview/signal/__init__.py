"""Arrays in, arrays out: everything that is done to samples, with numpy and scipy alone.

Arrays are (..., samples), the sampling rate is always given, missing samples are NaN.

    filters     band-pass whose stated corners are true after both passes; runs between missing samples
    envelope    low-pass or RMS envelope of the rectified signal
    measures    RMS, ARV, baseline, levels in dB, the energy operator; everything measured of a burst; reaction times
    evoked      potentials after a stimulus: artefact taken off, size, latency, silent period
    spectrum    power spectral density, mean and median frequency, mains
    quality     is this channel fit for use: everything that is measured on it
    findings    what of that a person should look at, with limits and their sources
    stuck, heart, alike   codes and repeated samples; heart beats between bursts; channels that carry one signal
    coactivation, crosstalk   two channels: common area, order of onsets; shared signal as a caution
    averages    averages aligned to a moment of each trial
    floor       the smallest burst that a method still finds
    onset       when activity starts and ends
"""
