#!/usr/bin/env python3
"""The full diagnosis of one run in gear at steady speed as one would usually write it with SciPy: the mathematics of
`gearhark diagnose`, step by step, each step as NumPy and SciPy have it. Prints seconds of processor time per stage and
what was found as JSON.

    diagnosis.py CATALOGUE.json RECORDING      CATALOGUE.json: what bench_catalogue printed

The lines of the car, the families of its faults, their visibility and the ranking's weights come from the catalogue,
whose time is not counted. Left out, so that the script does less than the program: the choice between two channels (a
second pass of decoding), sentences on quality, the search for an idling engine, an open clutch or a changing speed,
whether a dry joint's odd turns stand by themselves, the lines shown for the first suspects, the next run, all words.
Simpler: sounds are read between samples by cubic splines and brought to other rates by resample_poly, where gearhark
has longer filters; moving averages and the phases' background do not shrink at the ends."""
import json
import sys
from contextlib import contextmanager
from types import SimpleNamespace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy import fft, interpolate, linalg, ndimage, signal, special

from usual import decode, spent

TIMES = {}


@contextmanager
def stage(name):
    start = spent()
    yield
    TIMES[name] = spent() - start


def hann(length):
    return signal.get_window("hann", length)


def moving_average(x, width):
    return ndimage.uniform_filter1d(x, 2 * (width // 2) + 1, axis=0, mode="nearest")


def block_median(x, width):
    """Medians of blocks half a block apart, joined by straight lines."""
    width = min(width, len(x))
    starts = np.append(np.arange(0, len(x) - width, max(1, width // 2)), len(x) - width)
    return np.interp(np.arange(len(x)), starts + 0.5 * (width - 1),
                     np.median(sliding_window_view(x, width)[starts], axis=1))


def between(x, positions):
    """x between its samples: first twice as many of them, then cubics."""
    return ndimage.map_coordinates(signal.resample_poly(x, 2, 1), [2 * positions], order=3, mode="constant")


# --- Quality -----------------------------------------------------------------------------------------------------

BANDS = [(20, 120), (250, 500), (500, 1000), (1000, 2000), (2000, 4000), (4000, 8000), (8000, 16000)]


def short_spectra(x, rate):
    length = fft.next_fast_len(int(rate * 0.04), real=True)
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


# --- Speed -------------------------------------------------------------------------------------------------------

HIGHEST = 3600
LOW, HIGH = -1.95, 2.5  # log Bayes factors of one bin
LEVELS = np.linspace(LOW, HIGH, 256)


class Track:
    """Turns of a shaft at equal steps of time, cubics in between."""

    def __init__(self, turns, step):
        self.turns, self.step = turns, step
        times, rate = step * np.arange(len(turns)), np.gradient(turns, step)
        self.at = interpolate.CubicHermiteSpline(times, turns, rate)
        self.rate_at = self.at.derivative()
        self.time_of = interpolate.CubicHermiteSpline(turns, times, 1 / rate)
        self.mean_rate = (turns[-1] - turns[0]) / times[-1]


def integrated(rates, step):
    return np.append(0, np.cumsum(0.5 * step * (rates[1:] + rates[:-1])))


class Sound:
    """For tracking, at 8 kHz or somewhat more."""

    def __init__(self, x, rate):
        factor = max(1, int(rate / 7990))
        self.x, self.rate = signal.resample_poly(x, 1, factor), rate / factor
        self.times = np.arange(len(self.x)) / self.rate
        self.duration = len(self.x) / self.rate
        self.spline = interpolate.CubicSpline(self.times, self.x)

    def flat(self, track):
        """As it would be if the shaft turned evenly."""
        mean_rate = float(track.at(self.duration)) / self.duration
        return SimpleNamespace(x=self.spline(track.time_of(mean_rate * self.times)), rate=self.rate,
                               mean_rate=mean_rate, track=track, duration=self.duration)


def corrected(flat, error, step):
    """The track after an error of angle was found in its flat sound."""
    end = step * (len(error) - 1)
    more = interpolate.CubicHermiteSpline(step * np.arange(len(error)), error, np.gradient(error, step))
    turns = flat.track.turns + more(np.clip(flat.track.turns / flat.mean_rate, 0, end))
    return Track(turns - turns[0], flat.track.step)


def code_table():
    ratio = (np.arange(1024)[:, None] + 0.5) * 0.01
    xi = np.array([1, 3, 10, 30, 100, 300])
    factor = np.log(np.mean(np.exp(ratio * xi / (1 + xi)) / (1 + xi), axis=1))
    return np.round((np.minimum(factor, HIGH) - LOW) / (HIGH - LOW) * 255).astype(np.uint8)


CODES = code_table()


def line_ratios(flat, window_s=0.5, lowest=55):
    """How far each bin of each frame stands above its background, as a code for a log Bayes factor."""
    window, hop = int(window_s * flat.rate), round(window_s / 4 * flat.rate)
    points = fft.next_fast_len(2 * window, real=True)
    bin_hz = flat.rate / points
    bins = min(points // 2, int(HIGHEST / bin_hz) + 8)
    weights = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(window) + 0.5) / window)
    power = np.abs(fft.rfft(sliding_window_view(flat.x, window)[::hop] * weights, points)[:, :bins]) ** 2
    step = int(50 / bin_hz)
    width, centres = 3 * step, np.arange(0, bins + step, step)
    blocks = sliding_window_view(power, width, axis=1)[:, np.clip(centres - width // 2, 0, bins - width)]
    background = interpolate.interp1d(centres, np.median(blocks, axis=2) / np.log(2))(np.arange(bins))
    codes = CODES[np.minimum(power / background * 100, 1023).astype(int)]
    times = (np.arange(len(power)) * hop + 0.5 * window) / flat.rate
    top = 0.46 * flat.rate * flat.mean_rate / flat.track.rate_at(flat.track.time_of(times * flat.mean_rate))
    codes[np.arange(bins) * bin_hz >= top[:, None]] = round(-LOW / (HIGH - LOW) * 255)
    return SimpleNamespace(codes=codes, bin_hz=bin_hz, lowest=lowest, times=times, step=hop / flat.rate)


def grid_between(low, high, step):
    return step * np.arange(np.floor(low / step), np.ceil(high / step) + 1)


def vote_table(line):
    return 0.35 * np.log(1 - line.visible + line.visible * np.exp(LEVELS))


def places(line, ratios, mean_rate, grid):
    hz = line.order * mean_rate * (1 + grid)
    return (hz >= ratios.lowest) & (hz <= HIGHEST), (hz / ratios.bin_hz + 0.5).astype(int)


def votes_of(ratios, mean_rate, lines, grid):
    """For a deviation of the rate, frames x grid."""
    nats = np.zeros((len(ratios.times), len(grid)))
    for line in lines:
        heard, bins = places(line, ratios, mean_rate, grid)
        nats[:, heard] += vote_table(line)[ratios.codes[:, bins[heard]]]
    return nats


def summed_votes(ratios, mean_rate, lines, grid):
    sums = np.zeros(len(grid))
    for line in lines:
        heard, bins = places(line, ratios, mean_rate, grid)
        if heard.any():
            bins = bins[heard]
            by_bin = vote_table(line)[ratios.codes[:, bins[0]:bins[-1] + 1]].sum(axis=0)
            sums[heard] += by_bin[bins - bins[0]]
    return sums


def seen_visibility(ratios, mean_rate, lines):
    seen = []
    for line in lines:
        hz = line.order * mean_rate
        if not ratios.lowest <= hz <= HIGHEST:
            seen.append(line.visible)
            continue
        odds = line.visible * np.exp(LEVELS[ratios.codes[:, round(hz / ratios.bin_hz)]])
        seen.append(np.mean(odds / (odds + 1 - line.visible)))
    return np.array(seen)


class Walk:
    """A random walk of the deviation through the votes."""

    def __init__(self, nats, grid, frame_step, sd_per_root_s, mean=0.0, sd=1e9):
        self.grid = grid
        self.best = nats.max(axis=1)
        z = (grid - mean) / sd
        self.likelihood = np.exp(nats - self.best[:, None] - 0.5 * z ** 2 / len(nats))
        steps = sd_per_root_s * np.sqrt(frame_step) / (grid[1] - grid[0])
        reach = max(1, int(np.ceil(3.5 * steps)))
        kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / steps) ** 2)
        self.kernel = kernel / kernel.sum()

    def forward(self, likelihood):
        belief, evidence = np.full(len(self.grid), 1 / len(self.grid)), self.best.sum()
        beliefs = np.empty_like(likelihood)
        for i, here in enumerate(likelihood):
            if i > 0:
                belief = np.convolve(belief, self.kernel, "same")
            belief = belief * here
            total = max(belief.sum(), 1e-300)
            beliefs[i] = belief = belief / total
            evidence += np.log(total)
        return beliefs, evidence

    def path(self):
        """Mean about each frame's mode, its standard deviation and the log evidence of all paths."""
        posterior, evidence = self.forward(self.likelihood)
        belief = np.ones(len(self.grid))
        for i in range(len(posterior) - 1, -1, -1):
            posterior[i] *= belief
            belief = belief * self.likelihood[i]
            belief = np.convolve(belief / max(belief.sum(), 1e-300), self.kernel, "same")
        step = self.grid[1] - self.grid[0]
        away = np.abs(np.arange(len(self.grid)) - posterior.argmax(axis=1)[:, None])
        near = np.where(away <= int(0.005 / step + 0.5), posterior, 0)
        near /= near.sum(axis=1, keepdims=True)
        mean = near @ self.grid
        return mean, np.sqrt(np.maximum(near @ self.grid ** 2 - mean ** 2, 0.08 * step ** 2)), evidence

    def evidence_where(self, region):
        return self.forward(np.where(region, self.likelihood, 0))[1]


def smooth_path(deviation, sd, stiffness):
    weights = np.clip(np.median(sd) ** 2 / sd ** 2, 0.1, 2)
    n = len(sd)
    banded = np.zeros((3, n))
    for k, (a, b, c) in enumerate(((1, 4, 1), (-2, -2, 0), (1, 0, 0))):
        for shift, weight in enumerate((a, b, c)):
            banded[k, shift:shift + n - 2] += stiffness * weight
    banded[0] += weights
    return linalg.solveh_banded(banded, weights * deviation, lower=True)


def moved(flat, ratios, deviation):
    step = flat.track.step
    times = step * np.arange(int(flat.duration / step) + 2)
    return corrected(flat, integrated(flat.mean_rate * np.interp(times, ratios.times, deviation), step), step)


LAGS = (2, 8, 32)
DOUBTS = (2e-3, 1e-3, 5e-4, 2.5e-4, 1e-4, 3e-5, 0, 0)


def demodulated(flat, order, block):
    """The line's amplitude at every hop of four blocks, and its power over what lies 8 to 15 Hz beside it."""
    hz, width = order * flat.mean_rate, 32
    count = len(flat.x) // block
    sums = flat.x[:count * block].reshape(count, block) @ np.exp(-2j * np.pi * hz * np.arange(block) / flat.rate)
    sums = sums * np.exp(-2j * np.pi * hz * block / flat.rate * np.arange(count))
    shifts = np.array([0, -15, -11.5, -8, 8, 11.5, 15]) * block / flat.rate
    taps = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(width) + 0.5) / width)
    taps = taps[:, None] * np.exp(-2j * np.pi * np.outer(np.arange(width), shifts))
    z = sliding_window_view(sums, width)[::4] @ taps
    beside = ndimage.convolve1d(np.abs(z[:, 1:]) ** 2, np.tile([1, 0, 0, 0, 0], 5)[:21] / 5, axis=0, mode="nearest")
    return z[:, 0], np.abs(z[:, 0]) ** 2 / (np.sort(beside, axis=1)[:, 2] + 1e-20)


def phase_error(flat, lines):
    """The error of angle that the phases of the lines agree on, its step, and which lines could be followed."""
    block = round(0.05 * flat.rate / 4)
    step, first = 4 * block / flat.rate, 4
    n = int(flat.duration / step) + 2
    later, earlier, cycles, noise, orders, lag_of, group, followed = [], [], [], [], [], [], [], []
    for line in lines:
        if not 55 <= line.order * flat.mean_rate <= HIGHEST:
            continue
        z, ratio = demodulated(flat, line.order, block)
        if np.median(ratio) < 2:
            continue
        for lag in LAGS:
            i = np.flatnonzero((ratio[:-lag] >= 2) & (ratio[lag:] >= 2))
            later.append(first + i + lag)
            earlier.append(first + i)
            cycles.append(np.angle(z[i + lag] * z[i].conj()) / (2 * np.pi))
            noise.append(0.5 / (ratio[i] - 1) + 0.5 / (ratio[i + lag] - 1))
            orders.append(np.full(len(i), line.order))
            lag_of.append(np.full(len(i), lag))
            group.append(np.full(len(i), len(group)))
        followed.append(line)
    turns = np.zeros(n)
    if not followed:
        return turns, step, followed
    later, earlier, cycles, noise, orders, lag_of, group = map(
        np.concatenate, (later, earlier, cycles, noise, orders, lag_of, group))
    variances = np.full(3 * len(followed), 0.01)
    stiffness = 1 / (2e-5 * flat.mean_rate ** 2 * step ** 3)
    for doubt_now in DOUBTS:
        doubt = 2 * np.pi * doubt_now * orders * flat.mean_rate * step * lag_of
        now = turns[later] - turns[earlier]
        residual = cycles - orders * now
        residual = 2 * np.pi * (residual - np.round(residual))
        variance = noise + variances[group] + 0.0025 + doubt ** 2
        gain = 2 * np.pi * orders
        weight = np.where(doubt > 1, 0, np.exp(-residual ** 2 / (4 * variance)) / (8 * variance) * gain ** 2)
        pull = weight * (now + residual / gain)
        banded = np.zeros((max(LAGS) + 1, n))
        for k, row in enumerate(((1, 4, 1), (-2, -2, 0), (1, 0, 0))):
            for shift, share in enumerate(row):
                banded[k, shift:shift + n - 2] += stiffness * share
        banded[0] += 1e-3 + np.bincount(later, weight, n) + np.bincount(earlier, weight, n)
        for lag in LAGS:
            banded[lag] -= np.bincount(earlier, np.where(lag_of == lag, weight, 0), n)
        turns = linalg.solveh_banded(banded, np.bincount(later, pull, n) - np.bincount(earlier, pull, n), lower=True)
        for k in range(len(variances)):
            sizes = np.abs(residual[(group == k) & (doubt <= 1)])
            if len(sizes):
                variances[k] = max(1e-4, (1.25 * np.median(sizes)) ** 2)
    return turns, step, followed


def distinct(lines):
    """Lines nearer than 0.2 % vote once."""
    out = []
    for line in sorted(lines, key=lambda line: line.order):
        if not out or line.order > 1.002 * out[-1].order:
            out.append(line)
        elif line.visible > out[-1].visible:
            out[-1] = line
    return [SimpleNamespace(**vars(line)) for line in out]


PRIOR = dict(mean=-0.04, sd=0.04)  # of what a needle shows
GRID = grid_between(-0.14, 0.065, 0.001)


def margins(ratios, mean_rate, lines):
    """Votes a second on the track, the best and the mean of those beside it."""
    grid = grid_between(-0.12, 0.12, 0.0005)
    sums = summed_votes(ratios, mean_rate, lines, grid) / (len(ratios.times) * ratios.step)
    beside = sums[np.abs(grid) > 0.008]
    return sums[np.abs(grid) < 0.0008].max(), beside.max(), beside.mean()


class Search:
    def __init__(self, sound, nominal):
        self.sound = sound
        self.flat = sound.flat(nominal)
        self.ratios = line_ratios(self.flat)
        self.seconds = len(self.ratios.times) * self.ratios.step

    def walk(self, lines):
        nats = votes_of(self.ratios, self.flat.mean_rate, distinct(lines), GRID)
        return Walk(nats, GRID, self.ratios.step, 0.008, **PRIOR)

    def evidence(self, lines):
        return self.walk(lines).evidence_where(True) / self.seconds

    def find(self, lines):
        walk, lines = self.walk(lines), distinct(lines)
        given = [SimpleNamespace(**vars(line)) for line in lines]
        deviation, sd, _ = walk.path()
        near = np.abs(GRID - deviation[:, None]) <= 0.007
        rival = (walk.evidence_where(near) - walk.evidence_where(~near)) / self.seconds
        track = moved(self.flat, self.ratios, smooth_path(deviation, sd, 2e3))
        for walk_sd in (0.006, 0.003):
            flat = self.sound.flat(track)
            ratios = line_ratios(flat)
            for line, seen in zip(lines, seen_visibility(ratios, flat.mean_rate, lines)):
                line.visible = min(0.9, max(0.02, 0.3 * line.visible + 0.7 * seen))
            grid = grid_between(-0.02, 0.02, 0.0005)
            nats = votes_of(ratios, flat.mean_rate, lines, grid)
            deviation, sd, _ = Walk(nats, grid, ratios.step, walk_sd).path()
            track = moved(flat, ratios, smooth_path(deviation, sd, 2e3))
        for _ in range(8):
            flat = self.sound.flat(track)
            error, step, followed = phase_error(flat, [line for line in lines if line.visible > 0.15])
            track = corrected(flat, error, step)
            if np.abs(error).max() < 0.003:
                break
        flat = self.sound.flat(track)
        ratios = line_ratios(flat)
        half = min(line.order for line in lines if line.source == "engine")
        gears = [line for line in lines if line.source == "gear"]
        off_engine = [g for g in gears if abs(g.order / half - round(g.order / half)) >= 0.02]
        gear, road, lead = (margins(ratios, flat.mean_rate, some) for some in (gears, off_engine, given))
        return SimpleNamespace(track=track, rival=rival, gear_margin=gear[0] - gear[1], followed=len(followed),
                               road_margin=road[0] - road[1], lead=lead[0] - lead[2])


def tracked(x, rate, catalogue):
    """The wheel's angle in the gear that fits best, the stated one unless another is clearly better."""
    gears = {gear: [SimpleNamespace(order=o, visible=v, source=s) for o, v, s in lines]
             for gear, lines in catalogue["tracking"].items()}
    duration = len(x) / rate
    steps = round(duration / 0.05)
    nominal = Track(catalogue["wheel_hz"] * duration / steps * np.arange(steps + 1), duration / steps)
    search = Search(Sound(x, rate), nominal)
    stated = catalogue["gear"]
    evidence = {gear: search.evidence(lines) for gear, lines in gears.items()}
    found = best = search.find(gears[stated])
    total = evidence[stated] + found.lead
    for gear, lines in gears.items():
        if evidence[gear] > evidence[stated] + 0.5:
            other = search.find(lines)
            if other.lead > found.lead + 1 and evidence[gear] + other.lead > total:
                best, total = other, evidence[gear] + other.lead
    return best


# --- Evidence ----------------------------------------------------------------------------------------------------

RATE = 16000


def angle_grid(track, duration):
    """Points in equal steps of angle, as close as samples at the slowest moment: step and times."""
    turns = float(track.at(duration) - track.at(0))
    slowest = max(track.rate_at(np.arange(0, duration, track.step)).min(), 0.2 * turns / duration)
    points = fft.next_fast_len(int(np.ceil(turns * 1.02 * RATE / slowest)), real=True)
    step = turns / points
    return turns, step, track.time_of(float(track.at(0)) + step * np.arange(points))


def background_of(power, width):
    return block_median(power, width) / np.log(2)


def without_locked_lines(x, track):
    """Lines locked to the shaft cut down to three times their neighbours."""
    _, step, times = angle_grid(track, (len(x) - 1) / RATE)
    bins = fft.rfft(between(x, times * RATE))
    size = np.abs(bins)
    bins *= np.minimum(1, 3 * block_median(size, 400) / np.maximum(size, 1e-30))
    angles = (track.at(np.arange(len(x)) / RATE) - float(track.at(0))) / step
    return between(fft.irfft(bins, len(times)), angles)


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
        points, turns = fft.next_fast_len(int(1.05 * frames), real=True), last - first
        at = (track.time_of(first + turns / points * np.arange(points)) - 2 * hop_s) / hop_s
        by_angle = interpolate.interp1d(np.arange(frames), envelopes, axis=0)(np.clip(at, 0, frames - 1))
        power = np.abs(fft.rfft(by_angle * hann(points)[:, None], axis=0)) ** 2
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
            means = np.stack([power[:, slice(*groups[g])].mean(axis=1) for g in heard], axis=1)
            octaves = 2 ** np.arange(int(np.log2(len(power))) + 1)
            free = np.array([independent_bands(means[o:2 * o][~masked[o:2 * o]]) for o in octaves])
            means[masked] = 1
            sums = np.concatenate((np.zeros((1, len(heard))), np.cumsum(np.minimum(means, 1e5), axis=0)))
            self.levels.append((sums, free, self.groups + np.array(heard)))
            self.groups += len(groups)
            self.turns, self.masked = turns, np.append(0, np.cumsum(masked))  # of the last level, the longest


# Harmonic, probability of being visible when the fault is.
RACE = [(1, .85), (2, .75), (3, .6), (4, .5), (5, .4), (6, .4)]
ELEMENT = [(1, .8), (2, .65), (3, .5), (4, .4), (.5, .5), (1.5, .4)]
TURNING = [(1, .5), (2, .5), (3, .4), (4, .4), (5, .3), (6, .3), (7, .25), (8, .25)]
WIDTHS = {"chipped tooth": (0, 0.0015, 0.004), "dry joint": (0.003, 0.010, 0.020)}
STRENGTHS = 2 ** (-2 + 1.75 * np.arange(8))
PRIOR_OF_STRENGTH = np.exp(-0.175 * np.arange(8)) / np.exp(-0.175 * np.arange(8)).sum()


def comb_of(family):
    """Rows of harmonic, side, presence, relative power."""
    fault, modulated = family["fault"], family["modulation"] != 0
    if fault == "chipped tooth":
        teeth = family["elements"]
        return np.array([(h, 0, .6, 1) for h in range(3, 13) if teeth == 0 or h % teeth])
    if fault == "out of balance":
        return np.array([(h, 0, presence, 1) for h, presence in TURNING])
    element = fault == "rolling element"
    lines = [(h, 0, presence, 1) for h, presence in (ELEMENT if element else RACE)]
    if modulated and element:
        lines += [(0, turn, .5 if turn <= 2 else .4, 1) for turn in range(1, 5)]
    if modulated:
        sides = (-1, 1) if fault == "dry joint" else (-2, -1, 1, 2)
        lines += [(h, side, .35 if abs(side) == 1 else .2, .5) for h in (1, 2, 3) for side in sides]
    return np.array(lines)


def modulation_at(family, slip):
    """An element's modulation is the cage's, which follows its spin."""
    modulation = family["modulation"]
    if family["fault"] != "rolling element":
        return modulation + 0 * slip
    if family["knowledge"] == 0:
        return modulation * (1 + slip)
    ring, cage = family["ring_rate"], family["modulating"]
    if ring == 0 or cage == 0:
        return modulation + 0 * slip
    spin = abs(family["base"] / ring)
    moved_spin = spin * (1 + slip)
    less = 0.25 * (np.sqrt(moved_spin ** 2 + 4) - moved_spin - np.sqrt(spin ** 2 + 4) + spin)
    return modulation * np.abs(1 - less * ring / cage)


def log_factors(spectra, family, explained=None, slip=None):
    """Log Bayes factors by group, slip and strength; with a slip only there and beside, less what is explained."""
    slips = np.array(family["slips"])
    out = np.zeros((spectra.groups, len(slips), 8))
    first, last = 0, len(slips)
    if slip is not None:
        at = int(np.searchsorted(slips, slip))
        first, last = max(0, at - 1), min(len(slips), at + 2)
    some = slips[first:last, None]
    harmonic, side, presence, power = comb_of(family).T
    main = (side == 0) | (harmonic == 0)
    order = harmonic * family["fundamental"] * (1 + some) + side * modulation_at(family, some)
    cap = 8 if family["fault"] == "chipped tooth" else 14
    any_heard = False
    for sums, free, groups in spectra.levels:
        by_width = []
        for width in WIDTHS.get(family["fault"], (0.0012, 0.004, 0.010)):
            centre = order * spectra.turns
            half = np.maximum(1.5, 0.5 * width * centre)
            gap, flank = np.maximum(1, 0.5 * half), np.maximum(8, 2.5 * half)
            usable = (centre - half - gap - flank >= 1) & (centre + half + gap + flank + 2 < len(sums) - 1)
            if explained is not None:
                low, high = order * (1 - 0.5 * width), order * (1 + 0.5 * width)
                usable &= ~((high[..., None] >= explained[:, 0]) & (low[..., None] <= explained[:, 1])).any(axis=-1)
            begin = np.where(usable, np.rint(centre - half), 100).astype(int)
            end = np.where(usable, np.maximum(np.rint(centre + half) + 1, begin + 3), 103).astype(int)
            near, far = np.rint(np.where(usable, gap, 1)).astype(int), np.rint(np.where(usable, flank, 8)).astype(int)
            usable &= (end + near + far < len(sums) - 1) & (3 * (spectra.masked[end] - spectra.masked[begin]) <= end - begin)
            any_heard |= usable.any()

            def mean(begin, end):
                return (sums[end] - sums[begin]) / (end - begin)[..., None]

            end_right = np.minimum(end + near + far, len(sums) - 1)
            left, right = mean(begin - near - far, begin - near), mean(end + near, end_right)
            local = np.maximum(np.maximum(0.5 * (left + right), 0.9 * np.maximum(left, right)), 0.8)
            over = mean(begin, end) / local
            bins = end - begin
            own, beside = bins / (1.94 - 0.94 / bins), 2 * far / 1.9
            octave = np.minimum(np.log2(begin).astype(int), len(free) - 1)
            freedom = np.minimum(60, free[octave] * (own * beside / (own + beside))[..., None])
            excess = STRENGTHS * power[:, None] / bins[..., None]
            ratio = freedom[..., None] * (over[..., None] * (excess / (1 + excess))[..., None, :] -
                                          np.log1p(excess)[..., None, :])
            seen = presence[:, None, None]
            nats = np.log(1 - seen + seen * np.exp(np.minimum(ratio, cap))) * usable[..., None, None]
            mains, sides = nats[:, main].sum(axis=1), nats[:, ~main].sum(axis=1)
            by_width.append(mains + np.minimum(sides, 2 * np.maximum(mains, 0) + 0.5))
        out[groups] = -50
        out[groups, first:last] = (special.logsumexp(by_width, axis=0) - np.log(len(by_width))).transpose(1, 0, 2)
    return out if any_heard else None


def scatter_of(shift):
    """Each strength as weights of those searched, at what a run's level may differ by."""
    weights = np.zeros((3, 8, 8))
    for t, octaves in enumerate((-2.5, 0, 2)):
        for a in range(8):
            step = a + shift + octaves / 1.75
            if step <= 0:
                weights[t, a, 0] = max(0, 1 + step)
            else:
                low = min(int(step), 7)
                part = min(step, 7) - low
                weights[t, a, low] += 1 - part
                weights[t, a, min(low + 1, 7)] += part
    return weights


def combined(factors, family, turns):
    """Over groups, slips and strengths: the log Bayes factor, the best slip."""
    if factors is None or family["visibility"] <= 0:
        return 0.0, 0.0
    weights = scatter_of(np.log2(family["visibility"] ** 2 * turns / 300) / 1.75)
    there = np.exp([factors @ w.T for w in weights])
    sums = np.log(0.1 + np.tensordot((0.25, 0.4, 0.25), there, 1))
    cells = special.logsumexp(np.minimum(sums, 600) + np.log(PRIOR_OF_STRENGTH), axis=2)
    best = np.unravel_index(sums.max(axis=2).argmax(), cells.shape)
    return special.logsumexp(cells) - np.log(cells.size), family["slips"][best[1]]


def explained_by(family, slip):
    """Orders, from and to, that a fault explains when it is there."""
    fault, modulated = family["fault"], family["modulation"] != 0
    element, knock = fault == "rolling element", fault == "chipped tooth"
    half = 0.010 if fault == "dry joint" else 0.004 if element else 0.002 if knock else 0.006
    step, last = (0.5, 4) if element else (1, 60) if knock else (1, 12)
    modulation = float(modulation_at(family, slip))
    turns = 0 if not modulated or fault == "dry joint" else 8 if element else 4
    sides = np.arange(-1, 2) if element else np.arange(-3, 4)
    harmonics = np.arange(step, last + step / 2, step) * family["fundamental"] * (1 + slip)
    orders = np.append(modulation * np.arange(1, turns + 1),
                       np.add.outer(harmonics, modulation * (sides if modulated else np.zeros(1))))
    return np.sort(np.outer(orders, (1 - half, 1 + half)), axis=1)


def tempered(nats):
    return nats if nats <= 12 else 12 + 4 * np.log1p((nats - 12) / 4)


class Tones:
    """The spectrum of the sound itself per turn."""

    def __init__(self, x, track):
        level = x / np.sqrt(moving_average(x ** 2, RATE // 2) + 1e-12)
        self.turns, _, times = angle_grid(track, (len(x) - 1) / RATE)
        power = np.abs(fft.rfft(between(level, times * RATE) * hann(len(times)))) ** 2
        self.over = power / (background_of(power, max(41, int(1.5 * self.turns))) + 1e-20)
        self.mean_rate = track.mean_rate

    def excess(self, order, half_bins):
        begin, end = (max(0, round(order * self.turns + side * half_bins)) for side in (-1, 1))
        return max(0, (self.over[begin:end + 1] - 1).sum()) if end + 1 < len(self.over) else 0

    def level(self, order):
        return 10 * np.log10(1 + self.excess(order, 2 + 0.0006 * order * self.turns))


def mesh_sidebands(tones, mesh, turn):
    near, far, harmonics = 0, 0, 0
    for h in range(1, 5):
        top = h * mesh + 2 * turn
        if top * tones.mean_rate > 6500 or top * tones.turns + 4 > len(tones.over):
            break
        weaker = [min(tones.level(h * mesh - k * turn), tones.level(h * mesh + k * turn)) for k in range(1, 8)]
        near, far, harmonics = near + sum(weaker[:2]), far + sum(weaker[3:]), harmonics + 1
    return near / (2 * harmonics) - far / (4 * harmonics) if harmonics else 0


def tyre_excess(tones, known):
    profile = {order: np.log10(1 + tones.excess(order, 1.5 + 0.0004 * order * tones.turns))
               for order in range(3, 61) if np.abs(np.array(known) - order).min() >= 0.12}
    best = 0
    for centre in range(8, 49):
        half = 0.25 * centre + 2
        seen = sorted(value for order, value in profile.items() if int(centre - half) <= order <= int(centre + half))
        if len(seen) >= 6:
            best = max(best, np.mean(seen[:-2]))
    return best


def judged(catalogue, kinds, tones):
    """Every fault with what is heard of it, no rival heard yet."""
    candidates = []
    for family in catalogue["families"]:
        c = SimpleNamespace(family=family, nats=0.0, slip=0.0, level=0.0, spectra=kinds[family["locked"]])
        if family["kind"] == "events":
            c.nats, c.slip = combined(log_factors(c.spectra, family), family, c.spectra.turns)
        elif family["kind"] == "mesh" and family["loaded"] and family["modulation"] > 0:
            c.level = max(0, mesh_sidebands(tones, family["fundamental"], family["modulation"]))
        elif family["kind"] == "tyre":
            c.level = tyre_excess(tones, catalogue["not_of_tyres"])
        elif family["kind"] == "joint":
            shaft = family["fundamental"] / (2 if family["fault"] == "worn joint" else 1)
            if np.abs(np.array(catalogue["half_orders"]) - 2 * shaft).min() >= 0.12:
                c.level = max(0, tones.level(2 * shaft))
        c.alone = c.nats
        candidates.append(c)
    return candidates


def strong(candidates, healthy):
    found = [c for c in candidates if c.family["kind"] == "events" and c.family["healthy"] == healthy and c.nats > 2]
    return sorted(found, key=lambda c: -c.nats)


def left(one, other):
    """What is left of one's evidence when the lines that the other explains are not counted."""
    factors = log_factors(one.spectra, one.family, explained_by(other.family, other.slip), one.slip)
    return combined(factors, one.family, one.spectra.turns)[0]


def same_comb(one, other):
    def near(a, b, within):
        return abs(a - b) <= within * max(abs(a), abs(b))
    a, b = one.family, other.family
    return (a["fault"] == b["fault"] and near(a["modulation"], b["modulation"], 0.01) and
            near(a["fundamental"] * (1 + one.slip), b["fundamental"] * (1 + other.slip), 0.0025))


def better(one, other):
    """By how much one is the better single explanation of what both explain."""
    fewer_missing = 0.75 * (one.nats - other.nats)
    if same_comb(one, other):
        return fewer_missing
    one_left, other_left = max(0, left(one, other)), max(0, left(other, one))
    if one_left < 2 and other_left < 2:
        a, b = one.family["knowledge"], other.family["knowledge"]
        if a < b == 2:
            return max(fewer_missing, 2)
        if b < a == 2:
            return min(fewer_missing, -2)
    return one_left - other_left + fewer_missing


def as_second(rest, cause):
    return max(min(rest, 0), rest - 0.5 * cause)


def explain_away(candidates):
    for machine in strong(candidates, True):
        for suspect in strong(candidates, False):
            rest = left(suspect, machine)
            if machine.nats + max(0, rest) + 3 > suspect.nats + max(0, left(machine, suspect)):
                suspect.nats = min(suspect.nats, rest)
    unlisted = next(c for c in candidates if not c.family["part"])
    suspects, winner = [c for c in strong(candidates, False) if c is not unlisted], None
    if suspects:
        winner = suspects[0]
        for suspect in suspects[1:8]:
            if better(suspect, winner) > 0:
                winner = suspect
        cause = tempered(winner.nats)
        others = [c for c in suspects if c is not winner]
        judgements = [max(as_second(tempered(min(c.nats, left(c, winner))), cause),
                          min(tempered(c.nats), cause - max(0, better(winner, c)))) for c in others]
        for c, nats in zip(others, judgements):
            c.nats = nats
    own = tempered(unlisted.nats)
    if not winner or own <= 0:
        unlisted.nats = own
        if winner:
            winner.nats = cause
        return
    rest = left(unlisted, winner)
    advantage = -6 if rest < 2 else 0.5 * (unlisted.nats - winner.alone) - 6
    winner.nats = cause
    unlisted.nats = max(as_second(tempered(rest), cause), min(own, cause + advantage))
    if advantage > 0:
        for c in candidates:
            if c is not unlisted and not c.family["healthy"]:
                c.nats = min(c.nats, max(0, c.nats - advantage))


def heard(c):
    kind = c.family["kind"]
    return (c.nats if kind == "events" else c.level - 8 if kind == "mesh" else
            10 * (c.level - 0.65) if kind == "tyre" else c.level - 10)


def ranked(candidates):
    """Parts by probability, each with its likeliest fault; "no fault" and "no listed part" among them."""
    best, unlisted = {}, None
    for c in candidates:
        c.logit = c.family["logit"] + c.family["slope"] * heard(c)
        part = c.family["part"]
        if not part:
            unlisted = c
        elif not c.family["healthy"] and (part not in best or c.logit > best[part].logit):
            best[part] = c
    parts = []
    for c in sorted(best.values(), key=lambda c: -c.logit):
        same = ("fault", "fundamental", "visibility")
        if not any(all(c.family[k] == other.family[k] for k in same) for other in parts):
            parts.append(c)
    logits = np.array([0, unlisted.logit] + [c.logit for c in parts])
    chances = np.exp(logits - special.logsumexp(logits))
    return chances[0], chances[1], list(zip(parts, chances[2:]))


def main():
    with open(sys.argv[1]) as file:
        catalogue = json.load(file)
    start = spent()
    with stage("decode"):
        rate, x = decode(sys.argv[2])
    with stage("quality"):
        quality = quality_of(x, rate)
    with stage("tracking"):
        track = tracked(x, rate, catalogue).track
    with stage("to 16 kHz"):
        slow = signal.resample_poly(x, RATE, rate)
    with stage("band envelopes"):
        levels = band_spectra(slow, track, min(7600, 1.05 * quality["bandwidth_hz"], 0.475 * rate))
    with stage("order spectrum"):
        tones = Tones(slow, track)
    with stage("evidence"):
        kinds = [Envelopes(levels, catalogue["masked"][kind], lowest)
                 for kind, lowest in (("slipping", 1.35), ("locked", 0.2))]
        candidates = judged(catalogue, kinds, tones)
        explain_away(candidates)
    with stage("ranking"):
        no_fault, unexplained, parts = ranked(candidates)
    whole = spent() - start
    found = {**quality, "wheel_hz": track.mean_rate, "no_fault": no_fault, "unexplained": unexplained,
             "parts": [{"part": c.family["part"], "fault": c.family["fault"], "probability": p} for c, p in parts],
             "candidates": [{"part": c.family["part"], "fault": c.family["fault"], "alone": c.alone, "slip": c.slip,
                             "level": c.level, "log_factor": c.nats} for c in candidates]}
    print(json.dumps({"whole": whole, "pipeline": TIMES, "found": found}))


if __name__ == "__main__":
    main()
