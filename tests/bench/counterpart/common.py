"""What several steps of tests/bench/diagnosis.py share."""
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy import fft, ndimage, signal


def hann(length):
    return signal.get_window("hann", length)


def good_length(least):
    """Of a transform, as gearhark takes it."""
    step = 128 if least > 65536 - 128 else 2
    length = -(-least // step) * step
    while fft.next_fast_len(length, real=True) != length:
        length += step
    return length


def moving_average(x, width):
    """Over what there is: at the ends of less."""
    size, here = 2 * (width // 2) + 1, np.arange(len(x))
    counts = np.minimum(here + size // 2 + 1, len(x)) - np.maximum(here - size // 2, 0)
    averages = ndimage.uniform_filter1d(x, size, axis=0, mode="constant")
    averages *= (size / counts).reshape(-1, *[1] * (x.ndim - 1))
    return averages


def block_median(x, width):
    """Medians of blocks half a block apart, joined by straight lines."""
    width = min(width, len(x))
    starts = np.append(np.arange(0, len(x) - width, max(1, width // 2)), len(x) - width)
    return np.interp(np.arange(len(x)), starts + 0.5 * (width - 1),
                     np.median(sliding_window_view(x, width)[starts], axis=1))
