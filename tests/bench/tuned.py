#!/usr/bin/env python3
"""The same as usual.py by one who knows SciPy well: float32, batched transforms in blocks, bands as slices of one
spectrum, polyphase filters. Prints seconds per stage as JSON.

    tuned.py RECORDING"""
import json
import sys

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy import fft, ndimage, signal

import usual
from usual import BANDS, TIMES, timed

BLOCK = 4096  # frames transformed at once


def powers(x, window, hop):
    weights = signal.get_window("hann", window).astype(np.float32)
    frames = sliding_window_view(x, window)[::hop]
    for first in range(0, len(frames), BLOCK):
        bins = fft.rfft(frames[first:first + BLOCK] * weights, axis=1)
        yield bins.real ** 2 + bins.imag ** 2


def spectrum(x):
    total, count = 0.0, 0
    for power in powers(x, 8192, 4096):
        total, count = total + power.sum(axis=0), count + len(power)
    return total / count


def lines(density):
    usual_level = ndimage.median_filter(density, 101)
    peaks, _ = signal.find_peaks(density)
    return peaks[density[peaks] > 4 * usual_level[peaks]]


def band_search(x):
    most = -1.0
    for window in (16, 32, 64, 128, 256, 512, 1024):
        second = fourth = 0.0
        count = 0
        for power in powers(x, window, window // 2):
            second, fourth = second + power.sum(axis=0), fourth + np.einsum("ij,ij->j", power, power)
            count += len(power)
        most = max(most, (count * fourth / second ** 2 - 2)[1:-1].max())
    return most


def envelopes(x, rate):
    length = fft.next_fast_len(len(x), real=True)
    whole = fft.rfft(x, length)
    out = []
    for low, high in BANDS:
        a, b = int(low / rate * length), int(high / rate * length)
        points = fft.next_fast_len(b - a)
        envelope = np.abs(fft.ifft(whole[a:b], points))
        out.append(np.abs(fft.rfft(envelope - envelope.mean())) ** 2)
    return out


def order_tracking(x, rate):
    finer = signal.resample_poly(x, 4, 1).astype(np.float32)
    u = np.arange(len(x)) / len(x)
    even = np.interp(4 * len(x) * u * (1 + 0.015 * (1 - u)), np.arange(len(finer)), finer).astype(np.float32)
    bins = fft.rfft(even, fft.next_fast_len(len(even), real=True))
    return bins.real ** 2 + bins.imag ** 2


def main():
    rate, x = timed("decode", lambda: usual.decode(sys.argv[1]))
    x = x.astype(np.float32)
    density = timed("spectra", lambda: spectrum(x))
    timed("lines", lambda: lines(density))
    timed("band search", lambda: band_search(x))
    timed("envelopes", lambda: envelopes(x, rate))
    timed("order tracking", lambda: order_tracking(x, rate))
    print(json.dumps({"core": TIMES}))


if __name__ == "__main__":
    main()
