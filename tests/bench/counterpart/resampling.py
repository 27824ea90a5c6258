"""Sounds read between their samples, and brought to other rates; src/signal/resample.cpp, src/speed/flatten.cpp."""
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy import signal, special

AT_ONCE = 2048  # moments, so that what they read stays in the cache


def windowed_sinc(u, cutoff, half, beta):
    """A low-pass at u samples from its middle, Kaiser's window; cutoff as a share of half the rate."""
    inside = np.maximum(0, 1 - (u / half) ** 2)
    return cutoff * np.sinc(cutoff * u) * special.i0(beta * np.sqrt(inside)) / special.i0(beta) * (inside > 0)


class Reader:
    """Tables of taps for moments between samples, silence beyond the ends."""

    def __init__(self, half, cutoff, beta, rows):
        self.taps, self.rows = 2 * int(np.ceil(half)), rows
        places = np.arange(self.taps) - (self.taps // 2 - 1) - np.arange(rows + 1)[:, None] / rows
        self.table = windowed_sinc(places, cutoff, half, beta)

    def read(self, x, positions, rows_of):
        """rows_of: given a moment's place between rows, the rows to weigh and their weights."""
        padded = np.pad(x, self.taps)
        near = sliding_window_view(padded, self.taps)
        positions = np.clip(positions + self.taps, self.taps // 2, len(padded) - self.taps // 2 - 1)
        out = np.empty(len(positions))
        for first in range(0, len(out), AT_ONCE):
            some = positions[first:first + AT_ONCE]
            whole = some.astype(int)
            samples = near[whole - (self.taps // 2 - 1)]
            out[first:first + AT_ONCE] = sum(weight * np.einsum("ij,ij->i", samples, self.table[row])
                                             for row, weight in rows_of((some - whole) * self.rows))
        return out

    def nearest(self, x, positions):
        return self.read(x, positions, lambda at: [(np.rint(at).astype(int), 1)])

    def between(self, x, positions):
        def both(at):
            row = at.astype(int)
            return [(row, 1 - (at - row)), (row + 1, at - row)]
        return self.read(x, positions, both)


TRACKING = Reader(16, 0.97, 7.0, 1024)
SAME_RATE = Reader(16, 1, 9.5, 256)
STRETCH = 2 ** (1 / 8)  # for moments up to so much further apart than samples
SOMEWHAT_SLOWER = Reader(16 * STRETCH, 1 / STRETCH, 9.5, 256)


def at_rate(x, up, down, half, cutoff, beta):
    """x at up / down times its rate, by a low-pass that reaches half samples of x to both sides."""
    reach = int(np.ceil(half * up))
    taps = windowed_sinc(np.arange(-reach, reach + 1) / up, cutoff, half, beta)
    return signal.resample_poly(x, up, down, window=taps / up)[:len(x) * up // down]


def resampled(x, rate, wanted):
    ratio, common = wanted / rate, np.gcd(rate, wanted)
    return at_rate(x, wanted // common, rate // common, 32 / ratio, 0.92 * ratio, 9.5)


def decimated(x, factor):
    return at_rate(x, 1, factor, 20 * factor, 0.95 / factor, 6.0) if factor > 1 else x
