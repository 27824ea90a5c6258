"""Spectra per turn of bands' envelopes; src/evidence/envelope_spectra.cpp, angle_grid.cpp."""
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy import fft, interpolate, signal

from .common import block_median, good_length, hann, moving_average
from .resampling import SAME_RATE, SOMEWHAT_SLOWER

RATE = 16000
TAPER = 0.1  # share of the turns over which a spectrum's envelope fades in and out


def angle_grid(track, duration):
    """Points in equal steps of angle, as close as samples at the slowest moment: step and times."""
    turns = float(track.at(duration) - track.at(0))
    slowest = max(track.rate_at(np.arange(0, duration, track.step)).min(), 0.2 * turns / duration)
    points = good_length(int(np.ceil(turns * 1.02 * RATE / slowest)))
    step = turns / points
    return turns, step, track.time_on_lines(float(track.at(0)) + step * np.arange(points))


def background_of(power, width):
    return block_median(power, width) / np.log(2)


def without_locked_lines(x, track):
    """Lines locked to the shaft cut down to three times their neighbours."""
    _, step, times = angle_grid(track, (len(x) - 1) / RATE)
    bins = fft.rfft(SAME_RATE.between(x, times * RATE))
    size = np.abs(bins)
    bins *= np.minimum(1, 3 * block_median(size, 400) / np.maximum(size, 1e-30))
    angles = (track.at(np.arange(len(x)) / RATE) - float(track.at(0))) / step
    return SOMEWHAT_SLOWER.between(fft.irfft(bins, len(times)), angles)


def band_spectra(x, track, highest):
    """Whitened spectra per turn of the envelopes of bands, for three lengths of window."""
    x = without_locked_lines(x, track)
    levels = []
    for window in (64, 32, 16):
        hop = window // 4
        envelopes = np.abs(fft.rfft(sliding_window_view(x, window)[::hop] * hann(window))[:, 1:window // 2]) ** 2
        count, heard = envelopes.shape[1], (np.arange(1, window // 2) + 1) * RATE / window <= highest
        envelopes, slow = envelopes[:, heard], round(0.25 * RATE / hop)
        envelopes = np.log(1 + envelopes / (moving_average(envelopes, slow) + 1e-20))
        envelopes -= moving_average(envelopes, slow)
        limit = 6 * 1.4826 * np.median(np.abs(envelopes - np.median(envelopes, axis=0)), axis=0)
        envelopes = np.clip(envelopes, -limit, limit)
        frames, hop_s = len(envelopes), hop / RATE
        first, last = track.at(np.array([2 * hop_s, 2 * hop_s + (frames - 1) * hop_s]))
        points, turns = good_length(int(1.05 * frames)), last - first
        at = (track.time_on_lines(first + turns / points * np.arange(points)) - 2 * hop_s) / hop_s
        by_angle = interpolate.interp1d(np.arange(frames), envelopes, axis=0)(np.clip(at, 0, frames - 1))
        power = np.abs(fft.rfft(by_angle * signal.windows.tukey(points, TAPER, sym=False)[:, None], axis=0)) ** 2
        for band in power.T:
            band /= background_of(band, max(21, int(1.5 * turns))) + 1e-30
        levels.append((power, count, turns))
    return levels


def nested_groups(bands):
    """Each band alone, then 2, 4, 8, 16 neighbours with half overlap, then all."""
    width = 1
    while width < bands:
        for first in range(0, bands - width + 1, max(1, width // 2)):
            yield first, first + width
        width *= 2
    yield 0, bands


def independent_bands(values):
    if len(values) < 16:
        return np.ones(values.shape[1])
    low, middle, high = np.quantile(values, (0.25, 0.5, 0.75), axis=0)
    return np.clip(0.75 * (1.349 * middle / np.maximum(high - low, 1e-9)) ** 2, 0.8, 40)


class Envelopes:
    """Means of neighbouring bands as running sums over the bins, known orders masked."""

    def __init__(self, levels, known, lowest):
        self.levels, self.groups = [], 0
        for power, bands, turns in levels:
            masked = np.zeros(len(power), bool)
            masked[:int(lowest * turns) + 1] = True
            for order, half_width in known:
                half = 2.5 + half_width * order * turns
                masked[int(np.ceil(max(0, order * turns - half))):int(max(0, order * turns + half)) + 1] = True
            groups = [(first, min(last, power.shape[1])) for first, last in nested_groups(bands)]
            heard = [g for g, (first, last) in enumerate(groups) if first < last]
            band = np.arange(power.shape[1])[:, None]
            first, last = np.array([groups[g] for g in heard]).T
            means = power @ (((band >= first) & (band < last)) / (last - first))
            octaves = 2 ** np.arange(int(np.log2(len(power))) + 1)
            free = np.array([independent_bands(means[o:2 * o][~masked[o:2 * o]]) for o in octaves])
            means[masked] = 1
            sums = np.concatenate((np.zeros((1, len(heard))), np.cumsum(np.minimum(means, 1e5), axis=0)))
            self.levels.append((sums, free, self.groups + np.array(heard)))
            self.groups += len(groups)
            self.turns, self.masked = turns, np.append(0, np.cumsum(masked))  # of the last level, the longest
