"""Tones in the sound's own spectrum per turn; src/evidence/order_spectrum.cpp, tone_evidence.cpp, tyre_evidence.cpp."""
import numpy as np
from scipy import fft, special

from .common import hann, moving_average
from .envelopes import RATE, angle_grid, background_of
from .resampling import SAME_RATE


class Tones:
    """The spectrum of the sound itself per turn."""

    def __init__(self, x, track):
        level = x / np.sqrt(moving_average(x ** 2, RATE // 2) + 1e-12)
        self.turns, _, times = angle_grid(track, (len(x) - 1) / RATE)
        power = np.abs(fft.rfft(SAME_RATE.between(level, times * RATE) * hann(len(times)))) ** 2
        self.over = power / (background_of(power, max(41, int(1.5 * self.turns))) + 1e-20)
        self.mean_rate = track.mean_rate

    def excess(self, order, half_bins):
        begin, end = (max(0, round(order * self.turns + side * half_bins)) for side in (-1, 1))
        return max(0, (self.over[begin:end + 1] - 1).sum()) if end + 1 < len(self.over) else 0

    def strength(self, order):
        """The mean over the background about an order, and the chance of that in noise."""
        half = 2 + 0.0006 * order * self.turns
        begin, end = (max(0, round(order * self.turns + side * half)) for side in (-1, 1))
        bins = end + 1 - begin
        mean, freedom = self.over[begin:end + 1].mean(), bins / (1.94 - 0.94 / bins)
        return mean, special.gammaincc(freedom, freedom * mean)

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


def lumps(profile):
    """Excess of the best stretch of multiples, less what looks like the skirts of the tread, and its middle."""
    tread = [profile[multiple] for multiple in range(57, 61) if multiple in profile]
    best, at = 0, 0
    for centre in range(8, 45):
        half = 0.25 * centre + 2
        seen = sorted(value for multiple, value in profile.items()
                      if int(centre - half) <= multiple <= min(56, int(centre + half)))
        if len(seen) < 6:
            continue
        excess = np.mean(seen[:-2])
        if centre >= 20 and tread:
            excess -= max(0, np.mean(tread) - excess)
        if excess > best:
            best, at = excess, centre
    return best, at


def tyre_nats(tones, known):
    """Of a worn tyre whose turns may lie somewhat off the mean wheel's; the likeliest slip, and where it is loudest."""
    known, each, centres = np.array(known), [], []
    for step in range(-12, 13):
        profile = {}
        for multiple in range(3, 61):
            order = multiple * (1 + 0.0005 * step)
            if np.abs(known - order).min() >= 0.12:
                profile[multiple] = np.log10(1 + tones.excess(order, 1.5 + 0.0004 * order * tones.turns))
        excess, centre = lumps(profile)
        centres.append(centre)
        nats = min(10, 10 * (excess - 0.5))
        each.append(np.log(0.5 / 25 + (0.5 / 3 if abs(step) <= 1 else 0)) + np.log(0.4 + 0.6 * np.exp(nats)))
    best = int(np.argmax(each))
    return special.logsumexp(each), 0.0005 * (best - 12), centres[best]
