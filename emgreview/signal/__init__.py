"""Arrays in, arrays out: everything that is done to samples, with numpy and scipy alone.

Arrays are (..., samples), the sampling rate is always given, missing samples are NaN.

    filters     band-pass whose stated corners are true after both passes; runs between missing samples
    envelope    low-pass or RMS envelope of the rectified signal
    measures    RMS, ARV, baseline, levels in dB, the energy operator
    spectrum    power spectral density, mean and median frequency, mains
    quality     is this channel fit for use: clipped, flat, hum, drift, heart beats
    onset       when activity starts and ends
"""
