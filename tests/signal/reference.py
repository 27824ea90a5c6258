#!/usr/bin/python3
"""What SciPy makes of the samples the tests use: reference.py SAMPLES(float32) RATE > named rows of numbers.

Run by against_scipy.cpp at test time, on the very samples that gearhark is given.
"""
import sys

import numpy as np
from scipy import signal, stats


def row(name, values):
    print(name, *(f"{v:.17g}" for v in np.atleast_1d(values)))


samples = np.fromfile(sys.argv[1], dtype=np.float32).astype(float)
rate = float(sys.argv[2])

for name, settings in {
    "welch_hann": dict(window="hann", nperseg=1024, noverlap=512),
    "welch_hamming_padded": dict(window="hamming", nperseg=500, noverlap=300, nfft=1024),
    "welch_blackman": dict(window="blackman", nperseg=480, noverlap=0),
}.items():
    row(name, signal.welch(samples, rate, detrend=False, **settings)[1])

for name in ["boxcar", "bartlett", "hann", "hamming", "blackman", "blackmanharris"]:
    row("window_" + name, signal.get_window(name, 60))
row("kaiser", signal.windows.kaiser(61, 9.5))

freedom = np.array([0.7, 1, 2, 3.3, 10, 57, 400, 5000])
for f in freedom:
    x = f * np.array([1e-6, 0.01, 0.3, 0.9, 1, 1.1, 2, 6, 30])
    row(f"chi2_x_{f:g}", x)
    row(f"chi2_log_tail_{f:g}", stats.chi2.logsf(x, f))
    row(f"chi2_lower_{f:g}", stats.chi2.cdf(x, f))
    row(f"chi2_exceeded_{f:g}", stats.chi2.isf([0.999, 0.5, 0.05, 1e-3, 1e-6, 1e-12], f))
    row(f"f_exceeded_{f:g}", stats.f.isf([0.9, 0.5, 0.05, 1e-3, 1e-6], f, 3 * f + 1))
    row(f"f_tail_{f:g}", stats.f.sf([0.01, 0.5, 1, 1.5, 3, 10], f, 3 * f + 1))

row("fisher", stats.combine_pvalues([0.3, 1e-9, 0.02, 0.8])[1])
row("quantiles", np.quantile(samples, [0, 0.013, 0.25, 0.5, 0.77, 1]))
row("median_absolute_deviation", stats.median_abs_deviation(samples))
row("running_median", signal.medfilt(samples[:500], 21))
spectrum = np.fft.rfft(samples[:8000])
row("prewhitened", np.fft.irfft(spectrum / abs(spectrum)) * np.sqrt(8000))
