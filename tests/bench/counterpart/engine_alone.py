"""An engine heard where the gears are not: at a stand, or apart from the road; src/speed/idle.cpp, tracking.cpp."""
from types import SimpleNamespace

import numpy as np
from scipy import ndimage

from .resampling import decimated
from .search import Search, prior
from .track import in_step
from .votes import LEVELS, line_ratios


RATES = 9 * 1.0015 ** np.arange(481)  # of engines that idle, 18.5 at most
HALF_ORDERS = np.arange(1, 25)


def near_multiple(hz, of, within):
    return np.abs(hz - of * np.round(hz / of)) < within


def changed(flat, x, rate):
    return SimpleNamespace(**{**vars(flat), "x": x, "rate": rate})


def low_part(flat):
    factor = int(0.4 * flat.rate / 400)
    return changed(flat, decimated(flat.x, factor), flat.rate / factor)


def loudness(flat):
    """How loud its high part is from moment to moment, about the mean; bumps cut down."""
    power = np.diff(flat.x, 2) ** 2
    power = np.minimum(power, 12 * np.median(power[::8]))
    return changed(flat, power - power.mean(), flat.rate)


class MeanFactors:
    """Mean log Bayes factors by frequency, over all frames; the best of three neighbouring bins each."""

    def __init__(self, flat):
        ratios = line_ratios(low_part(flat), 2.0, 18, 400)
        self.bin_hz = ratios.bin_hz
        self.factors = ndimage.maximum_filter1d(LEVELS[ratios.codes].mean(axis=0), 3)

    def at(self, hz):
        return self.factors[np.minimum(np.rint(hz / self.bin_hz).astype(int), len(self.factors) - 1)]


def idling_in(heard, sound, half_order, wheel, orders, mean, three_in_five):
    """Of half orders where the car in gear has no lines, the mean log Bayes factor must stand out, and three in five of
    them from noise; three of its whole orders must be heard in the sound."""
    rates = RATES[~near_multiple(0.5 * RATES, half_order, 0.03 * half_order) &
                  ~near_multiple(0.5 * RATES, wheel, 0.02 * wheel)]
    hz = 0.5 * rates[:, None] * HALF_ORDERS
    free = (hz >= 18) & (hz <= 400) & ~near_multiple(hz, half_order, 1.1) & ~near_multiple(hz, wheel, 1.1)
    free &= (np.abs(orders * wheel - hz[..., None]) >= 2).all(axis=2)
    between = np.sort(np.where(free, heard.at(hz), np.inf), axis=1)
    lines = free.sum(axis=1)
    means = np.where(np.isfinite(between), between, 0).sum(axis=1) / np.maximum(lines, 1)
    whole = hz[:, 1:16:2]
    third = np.sort(np.where(whole >= 18, sound.at(whole), -np.inf), axis=1)[:, -3]
    idles = (lines >= 8) & (means > mean) & (between[np.arange(len(rates)), lines * 2 // 5] >= three_in_five)
    idles &= third >= 0.5
    return rates[np.argmax(np.where(idles, means, -np.inf))] if idles.any() else None


def idling_engine(flat, engine_per_wheel, lines):
    """Its turns a second, by the sound or by the beat of its high part."""
    half_order, wheel = 0.5 * engine_per_wheel * flat.mean_rate, flat.mean_rate
    orders, sound = np.array([line.order for line in lines]), MeanFactors(flat)
    return (idling_in(sound, sound, half_order, wheel, orders, 0.2, -0.7) or
            idling_in(MeanFactors(loudness(flat)), sound, half_order, wheel, orders[:0], 0.0, 0.2))


def rate_changes(track):
    """From its start to its end, over the mean."""
    edge, last = min(2.0, 0.1 * track.times[-1]), track.times[-1]
    return abs(track.turns[-1] - track.at(last - edge) - track.at(edge)) / edge / track.mean_rate


def doubted(found, gear, nominal):
    """The certainty that is left where an engine alone would fit as well, and the idling engine, if it is one."""
    if found.certainty == "lost":
        return "lost", None
    idle = idling_engine(found.flat, gear.engine_per_wheel, gear.lines)
    if idle:
        return "lost", idle
    scale = found.track.mean_rate / nominal.mean_rate
    gears_heard = found.road_margin >= 1
    if found.certainty == "sure" and (gears_heard or 0.92 < scale < 1.01 and rate_changes(found.track) < 0.06):
        return "sure", None
    return ("lost" if not gears_heard and not 0.9 < scale < 1.025 else "doubtful"), None


def engine_unheard(found, gear):
    heard = sum(line.source == "engine" and line.followed for line in found.lines)
    return heard < 4 and not gear.machines_heard


def clutch_can_do(ratio, load):
    """Slip under power, or be pressed; what lies on a simple ratio is the engine with its orders counted wrongly."""
    simple = np.array([1 / 2, 3 / 5, 2 / 3, 3 / 4, 5 / 4, 4 / 3, 3 / 2, 2])
    if (np.abs(ratio / simple - 1) < 0.002).any():
        return False
    return ratio > (1.01 if load == "drive" else 1.25) or ratio < 0.8


def open_clutch(search, together, gear, load, idle):
    """Road and engine sought apart, as with the pedal down: both, the engine None where they belong together or it is
    not the one that was found to idle."""
    road = search.find_with_fewer(gear.road_apart, together, "stop")
    if road.certainty != "sure":
        return road, None
    nominal = road.track.scaled(gear.engine_per_wheel)
    highest = 1.6 * max(line.order for line in gear.engine_apart) * nominal.mean_rate + 10
    revs = prior(nominal, 0.0, 0.4, -0.85, 0.6, window_s=1.0, lowest=18, highest=min(3600, highest), apart=0.02)
    flat = in_step(road.flat, nominal)
    engine = Search(search.sound, revs, flat).find(gear.engine_apart, "stop")
    road.engine_rival = engine.rival
    apart = engine.certainty != "lost" and clutch_can_do(engine.track.mean_rate / nominal.mean_rate, load)
    if idle and abs(engine.track.mean_rate / idle - 1) > 0.02:
        apart = False
    return road, engine if apart else None
