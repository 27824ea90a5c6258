"""The last refinement of an angle: the phases of the lines that can be followed; src/speed/phases.cpp."""
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy import linalg, ndimage

from .votes import HIGHEST, stiff

LAGS = (2, 8, 32)
DOUBTS = (2e-3, 1e-3, 5e-4, 2.5e-4, 1e-4, 3e-5, 0, 0)


def demodulated(flat, order, block, width):
    """The line's amplitude at every hop of four blocks, and its power over what lies 8 to 15 Hz beside it."""
    hz = order * flat.mean_rate
    count = len(flat.x) // block
    sums = flat.x[:count * block].reshape(count, block) @ np.exp(-2j * np.pi * hz * np.arange(block) / flat.rate)
    sums = sums * np.exp(-2j * np.pi * hz * block / flat.rate * np.arange(count))
    shifts = np.array([0, -15, -11.5, -8, 8, 11.5, 15]) * block / flat.rate
    taps = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(width) + 0.5) / width)
    taps = taps[:, None] * np.exp(-2j * np.pi * np.outer(np.arange(width), shifts))
    z = sliding_window_view(sums, width)[::4] @ taps
    beside = ndimage.convolve1d(np.abs(z[:, 1:]) ** 2, np.tile([1, 0, 0, 0, 0], 5)[:21] / 5, axis=0, mode="nearest")
    return z[:, 0], np.abs(z[:, 0]) ** 2 / (np.sort(beside, axis=1)[:, 2] + 1e-20)


def phase_steps(flat, lines, block, width, lowest):
    """Of every line that can be followed the turns of its phase over each lag: columns of equal length."""
    steps, kept = [], []
    for line in lines:
        if not lowest <= line.order * flat.mean_rate <= HIGHEST:
            continue
        z, ratio = demodulated(flat, line.order, block, width)
        if np.median(ratio) < 2:
            continue
        for lag in LAGS:
            i = np.flatnonzero((ratio[:-lag] >= 2) & (ratio[lag:] >= 2))
            cycles = np.angle(z[i + lag] * z[i].conj()) / (2 * np.pi)
            noise = 0.5 / (ratio[i] - 1) + 0.5 / (ratio[i + lag] - 1)
            same = np.ones(len(i))
            steps.append((i, i + lag, cycles, noise, line.order * same, lag * same, len(steps) * same))
        kept.append(line)
    return [np.concatenate(column) for column in zip(*steps)], kept


def phase_error(flat, lines, window_s=0.4, lowest=55):
    """The error of angle that the phases of the lines agree on, its step, and those that could be followed."""
    block = round(0.05 * flat.rate / 4)
    step = 4 * block / flat.rate
    n = int(flat.duration / step) + 2
    turns = np.zeros(n)
    hops = round(window_s / 0.05)
    steps, kept = phase_steps(flat, lines, block, 4 * hops, lowest)
    if not kept:
        return turns, step, kept
    earlier, later, cycles, noise, orders, lags, group = steps
    earlier, later, group = (hops // 2 + earlier).astype(int), (hops // 2 + later).astype(int), group.astype(int)
    variances, gain = np.full(len(LAGS) * len(kept), 0.01), 2 * np.pi * orders
    for relative in DOUBTS:
        doubt = gain * relative * flat.mean_rate * step * lags
        now = turns[later] - turns[earlier]
        residual = 2 * np.pi * (cycles - orders * now - np.round(cycles - orders * now))
        variance = noise + variances[group] + 0.0025 + doubt ** 2
        weight = np.where(doubt > 1, 0, np.exp(-residual ** 2 / (4 * variance)) / (8 * variance) * gain ** 2)
        pull = weight * (now + residual / gain)
        banded = stiff(n, 1 / (2e-5 * flat.mean_rate ** 2 * step ** 3), max(LAGS) + 1)
        banded[0] += 1e-3 + np.bincount(later, weight, n) + np.bincount(earlier, weight, n)
        for lag in LAGS:
            banded[lag] -= np.bincount(earlier, np.where(lags == lag, weight, 0), n)
        turns = linalg.solveh_banded(banded, np.bincount(later, pull, n) - np.bincount(earlier, pull, n), lower=True)
        for k in range(len(variances)):
            sizes = np.abs(residual[(group == k) & (doubt <= 1)])
            if len(sizes):
                variances[k] = max(1e-4, (1.25 * np.median(sizes)) ** 2)
    return turns, step, kept
