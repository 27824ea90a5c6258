#!/usr/bin/env python3
"""The core of the benchmark as one would usually write it with SciPy. Prints seconds per stage as JSON.

    usual.py RECORDING"""
import json
import subprocess
import sys
import time

import numpy as np
from scipy import interpolate, signal

BANDS = [(1000, 2000), (2000, 3000), (3000, 4500), (4500, 6000), (6000, 8000)]
TIMES = {}


def timed(name, work):
    start = time.perf_counter()
    result = work()
    TIMES[name] = time.perf_counter() - start
    return result


def decode(path):
    probe = subprocess.run(["ffprobe", "-v", "error", "-select_streams", "a:0", "-show_entries", "stream=sample_rate",
                            "-of", "csv=p=0", path], check=True, capture_output=True, text=True).stdout
    rate = int(probe.strip().strip(","))
    raw = subprocess.run(["ffmpeg", "-v", "error", "-i", path, "-ac", "1", "-f", "f32le", "-"],
                         check=True, capture_output=True).stdout
    return rate, np.frombuffer(raw, dtype=np.float32).astype(float)


def lines(density):
    usual = signal.medfilt(density, 101)
    peaks, _ = signal.find_peaks(density)
    return peaks[density[peaks] > 4 * usual[peaks]]


def band_search(x):
    most = -1.0
    for window in (16, 32, 64, 128, 256, 512, 1024):
        _, _, bins = signal.stft(x, window="hann", nperseg=window, noverlap=window // 2, boundary=None, padded=False)
        power = np.abs(bins) ** 2
        kurtosis = (power ** 2).mean(axis=1) / power.mean(axis=1) ** 2 - 2
        most = max(most, kurtosis[1:-1].max())
    return most


def envelopes(x, rate):
    out = []
    for low, high in BANDS:
        sections = signal.butter(4, (low, high), btype="bandpass", fs=rate, output="sos")
        envelope = np.abs(signal.hilbert(signal.sosfiltfilt(sections, x)))
        out.append(np.abs(np.fft.rfft(envelope - envelope.mean())) ** 2)
    return out


def order_tracking(x, rate):
    u = np.arange(len(x)) / len(x)
    times = len(x) / rate * u * (1 + 0.015 * (1 - u))
    even = interpolate.CubicSpline(np.arange(len(x)) / rate, x)(times)
    return np.abs(np.fft.rfft(even)) ** 2


def main():
    rate, x = timed("decode", lambda: decode(sys.argv[1]))
    _, density = timed("spectra", lambda: signal.welch(x, rate, nperseg=8192, noverlap=4096, detrend=False))
    timed("lines", lambda: lines(density))
    timed("band search", lambda: band_search(x))
    timed("envelopes", lambda: envelopes(x, rate))
    timed("order tracking", lambda: order_tracking(x, rate))
    print(json.dumps({"core": TIMES}))


if __name__ == "__main__":
    main()
