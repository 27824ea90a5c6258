"""A shaft's angle over time, and the sound as if the shaft turned evenly; src/speed/flatten.cpp."""
from types import SimpleNamespace

import numpy as np
from scipy import interpolate

from .resampling import TRACKING, decimated


class Track:
    """Turns of a shaft at equal steps of time, cubics in between."""

    def __init__(self, turns, step):
        self.turns, self.step = turns, step
        times, rate = step * np.arange(len(turns)), np.gradient(turns, step)
        self.times = times
        self.at = interpolate.CubicHermiteSpline(times, turns, rate)
        self.rate_at = self.at.derivative()
        self.time_of = interpolate.CubicHermiteSpline(turns, times, 1 / rate)
        self.mean_rate = (turns[-1] - turns[0]) / times[-1]

    def time_on_lines(self, turns):
        return np.interp(turns, self.turns, self.times)

    def scaled(self, factor):
        return Track(factor * self.turns, self.step)


def even(rate, duration):
    steps = round(duration / 0.05)
    return Track(rate * duration / steps * np.arange(steps + 1), duration / steps)


def integrated(rates, step):
    return np.append(0, np.cumsum(0.5 * step * (rates[1:] + rates[:-1])))


class Sound:
    """For tracking, at 8 kHz or somewhat more."""

    def __init__(self, x, rate):
        factor = max(1, int(rate / 7990))
        self.x, self.rate = decimated(x, factor), rate / factor
        self.times = np.arange(len(self.x)) / self.rate
        self.duration = len(self.x) / self.rate

    def flat(self, track):
        """As it would be if the shaft turned evenly."""
        mean_rate = float(track.at(self.duration)) / self.duration
        moments = track.time_of(mean_rate * self.times)
        return SimpleNamespace(x=TRACKING.nearest(self.x, moments * self.rate), rate=self.rate, mean_rate=mean_rate,
                               track=track, duration=self.duration)


def in_step(flat, track):
    """The same flat sound, of a track that is everywhere the same multiple of the one it was flattened by."""
    mean_rate = float(track.at(flat.duration)) / flat.duration
    return SimpleNamespace(**{**vars(flat), "track": track, "mean_rate": mean_rate})


def corrected(flat, error, step):
    """The track after an error of angle was found in its flat sound."""
    end = step * (len(error) - 1)
    more = interpolate.CubicHermiteSpline(step * np.arange(len(error)), error, np.gradient(error, step))
    turns = flat.track.turns + more(np.clip(flat.track.turns / flat.mean_rate, 0, end))
    return Track(turns - turns[0], flat.track.step)
