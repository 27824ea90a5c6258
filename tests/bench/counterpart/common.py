"""What several steps of tests/bench/diagnosis.py share."""
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy import ndimage, signal


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
