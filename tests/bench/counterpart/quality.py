"""What a recording is good for; src/recording."""
import numpy as np
from scipy import fft, ndimage, signal

from .common import block_median, good_length, hann, moving_average

BANDS = [(20, 120), (250, 500), (500, 1000), (1000, 2000), (2000, 4000), (4000, 8000), (8000, 16000)]


def short_spectra(x, rate):
    length = good_length(int(rate * 0.04))
    frames = x[:len(x) // length * length].reshape(-1, length)
    power = np.abs(fft.rfft(frames * hann(length))) ** 2 * 2 / (np.sum(hann(length) ** 2) * rate)
    together = round(0.2 * rate / length)
    steps = power[:len(power) // together * together].reshape(-1, together, power.shape[1]).mean(axis=1)
    hz = np.arange(power.shape[1]) * rate / length
    levels = [10 * np.log10(steps[:, (hz >= low) & (hz < high)].sum(axis=1) * rate / length + 1e-20)
              for low, high in BANDS]
    return power.mean(axis=0), rate / length, np.array(levels), together * length / rate


def bandwidth_of(density, bin_hz, floor):
    db = 10 * np.log10(density + 1e-25)
    end = next((k for k in range(len(db) - 1, 3, -1) if np.median(db[k - 3:k + 4]) > floor + 3), 0) * bin_hz
    gap, span = 100 / bin_hz, 400 / bin_hz

    def over(at, gap, span):
        below = np.median(db[int(at - span):int(at - gap)])
        return below - np.median(db[int(at + gap):int(at + span)]), below

    def fall(at):
        deep, below = over(at, gap, span)
        if below - np.quantile(db[int(at + gap):], 0.9) < 10:
            return 0, below
        return min(deep, over(at, 2 * gap, 2 * span)[0]), below

    at, last = 2000 / bin_hz, len(db) - 3 * gap
    while at < last and fall(at)[0] < 15:
        at += 1
    if at >= last:
        return min(len(db) * bin_hz, end)
    deepest, edge = max((fall(j), j) for j in np.arange(at, min(last, at + span)))
    above = np.arange(int(edge - span), int(min(edge + span, len(db))))
    above = above[db[above] > deepest[1] - 10]
    return min((above[-1] + 1 if len(above) else edge) * bin_hz, end)


def events(flags, apart=15):
    at = np.flatnonzero(flags)
    return np.split(at, np.flatnonzero(np.diff(at) > apart) + 1) if len(at) else []


def spoilt_moments(x, rate):
    """Bumps, gaps and clipping by hundredths of a second."""
    length = round(0.01 * rate)
    moments = x[:len(x) // length * length].reshape(-1, length)

    def level(sound):
        return 10 * np.log10((sound[:moments.size].reshape(-1, length) ** 2).mean(axis=1) + 1e-20)

    everything = level(x)
    middle, high = (level(signal.sosfilt(signal.butter(2, hz, "highpass", fs=rate, output="sos"), x))
                    for hz in (300, 1500))
    rise = middle - block_median(middle, 200)
    loud = (rise > 10) & (high > block_median(high, 200) + 5)
    crowded = ndimage.convolve1d(loud.astype(int), np.ones(8, int), mode="constant", origin=-4) >= 3
    loud = (loud & (rise > 20)) | ndimage.binary_dilation(crowded, np.ones(8), origin=-4)
    bumps, count = np.zeros(len(loud), bool), 0
    for event in events(loud):
        if event[-1] - event[0] < 60:
            bumps[event], count = True, count + 1
    gaps = (np.ptp(moments, axis=1) <= 1 / 32768) | ((everything < block_median(everything, 200) - 20) &
                                                     (middle < block_median(middle, 200) - 20))
    clipped = (np.abs(moments) >= 0.985).any(axis=1)
    spoilt = ndimage.binary_dilation(gaps, np.ones(7)) if gaps.any() else gaps
    if count <= len(x) / rate:
        spoilt = spoilt | ndimage.binary_dilation(bumps, np.ones(19), origin=6)
    return spoilt | clipped if clipped.mean() < 0.3 else spoilt, length / rate


def quality_of(x, rate):
    density, bin_hz, levels, step = short_spectra(x, rate)
    rounded = np.all(x * 32768 == np.round(x * 32768))
    floor = 10 * np.log10((1 / 12 / 32768 ** 2 if rounded else 1e-13) / (rate / 2))
    bandwidth = bandwidth_of(density, bin_hz, floor)
    spoilt, moment = spoilt_moments(x, rate)
    stretches = ndimage.find_objects(ndimage.label(~spoilt)[0])
    usable = sum(s.stop - s.start for s, in stretches if (s.stop - s.start) * moment >= 1) * moment
    clean = [not spoilt[int(s * step / moment):int((s + 1) * step / moment) + 1].any() for s in range(levels.shape[1])]
    levels = levels[:, clean]
    slow = moving_average(levels.T, int(10 / step)).T
    fast = (levels - slow)[1:][[high <= bandwidth for _, high in BANDS[1:]]]
    shared = (fast @ fast.T / fast.shape[1])[np.triu_indices(len(fast), 1)].mean()
    gusts = levels[0] - levels[2]
    gusts = gusts - moving_average(gusts, int(10 / step))
    return {"usable_s": usable, "bandwidth_hz": bandwidth, "level_pumping_db": 2 * np.sqrt(2 * max(0, shared)),
            "wind_db": np.quantile(gusts, 0.95) - np.quantile(gusts, 0.2)}
