"""What the bins of short spectra say for a rate, and the likeliest path through it; src/speed/ratios.cpp, votes.cpp."""
from types import SimpleNamespace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy import fft, interpolate, linalg

from .common import good_length
from .track import corrected, integrated

HIGHEST = 3600
LOW, HIGH = -1.95, 2.5  # log Bayes factors of one bin
LEVELS = np.linspace(LOW, HIGH, 256)


def code_table():
    ratio = (np.arange(1024)[:, None] + 0.5) * 0.01
    xi = np.array([1, 3, 10, 30, 100, 300])
    factor = np.log(np.mean(np.exp(ratio * xi / (1 + xi)) / (1 + xi), axis=1))
    return np.round((np.minimum(factor, HIGH) - LOW) / (HIGH - LOW) * 255).astype(np.uint8)


CODES = code_table()


def line_ratios(flat, window_s=0.5, lowest=55, highest=HIGHEST):
    """How far each bin of each frame stands above its background, as a code for a log Bayes factor."""
    window, hop = int(window_s * flat.rate), round(window_s / 4 * flat.rate)
    points = good_length(2 * window)
    bin_hz = flat.rate / points
    bins = min(points // 2, int(highest / bin_hz) + 8)
    weights = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(window) + 0.5) / window)
    power = np.abs(fft.rfft(sliding_window_view(flat.x, window)[::hop] * weights, points)[:, :bins]) ** 2
    step = int(50 / bin_hz)
    width, centres = 3 * step, np.arange(0, bins + step, step)
    medians = [np.median(power[:, first:first + width], axis=1)  # less memory than all blocks at once, and quicker
               for first in np.clip(centres - width // 2, 0, bins - width)]
    background = interpolate.interp1d(centres, np.stack(medians, axis=1) / np.log(2))(np.arange(bins))
    codes = CODES[np.minimum(power / background * 100, 1023).astype(int)]
    times = (np.arange(len(power)) * hop + 0.5 * window) / flat.rate
    top = 0.46 * flat.rate * flat.mean_rate / flat.track.rate_at(flat.track.time_of(times * flat.mean_rate))
    codes[np.arange(bins) * bin_hz >= top[:, None]] = round(-LOW / (HIGH - LOW) * 255)
    return SimpleNamespace(codes=codes, bin_hz=bin_hz, lowest=lowest, highest=highest, times=times,
                           step=hop / flat.rate, seconds=len(times) * hop / flat.rate)


def grid_between(low, high, step):
    return step * np.arange(np.floor(low / step), np.ceil(high / step) + 1)


def vote_table(visible):
    return 0.35 * np.log(1 - visible + visible * np.exp(LEVELS))


def places(orders, ratios, mean_rate, grid):
    hz = orders * mean_rate * (1 + grid)
    heard = (hz >= ratios.lowest) & (hz <= ratios.highest)
    return heard, np.where(heard, hz / ratios.bin_hz + 0.5, 0).astype(int)


def votes_of(ratios, mean_rate, lines, grid):
    """For a deviation of the rate, frames x grid."""
    nats = np.zeros((len(ratios.times), len(grid)))
    for line in lines:
        heard, bins = places(line.order, ratios, mean_rate, grid)
        nats[:, heard] += vote_table(line.visible)[ratios.codes[:, bins[heard]]]
    return nats


def summed_votes(ratios, mean_rate, lines, grid):
    sums = np.zeros(len(grid))
    for line in lines:
        heard, bins = places(line.order, ratios, mean_rate, grid)
        if heard.any():
            bins = bins[heard]
            by_bin = vote_table(line.visible)[ratios.codes[:, bins[0]:bins[-1] + 1]].sum(axis=0)
            sums[heard] += by_bin[bins - bins[0]]
    return sums


def votes_by_bin(ratios, visible):
    """Of every bin, summed over the frames, for a line of such visibility."""
    return vote_table(visible)[ratios.codes].sum(axis=0)


def seen_visibility(ratios, mean_rate, lines):
    seen = []
    for line in lines:
        hz = line.order * mean_rate
        if not ratios.lowest <= hz <= ratios.highest:
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


def stiff(n, stiffness, diagonals=3):
    """Lower diagonals of the matrix of a sum of squared second differences."""
    banded = np.zeros((diagonals, n))
    for k, row in enumerate(((1, 4, 1), (-2, -2), (1,))):
        for first, weight in enumerate(row):
            banded[k, first:first + n - 2] += stiffness * weight
    return banded


def smooth_path(deviation, sd, stiffness):
    weights = np.clip(np.median(sd) ** 2 / sd ** 2, 0.1, 2)
    banded = stiff(len(sd), stiffness)
    banded[0] += weights
    return linalg.solveh_banded(banded, weights * deviation, lower=True)


def moved(flat, ratios, deviation):
    step = flat.track.step
    times = step * np.arange(int(flat.duration / step) + 2)
    return corrected(flat, integrated(flat.mean_rate * np.interp(times, ratios.times, deviation), step), step)
