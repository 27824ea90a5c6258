"""An engine heard where the gears are not: at a stand, or apart from the road; src/speed/idle.cpp, tracking.cpp."""
import numpy as np
from scipy import ndimage

from .search import Search, prior
from .track import in_step
from .votes import LEVELS, LOW, line_ratios


def stands_out_between(factors, bin_hz, step, half_order, wheel, orders):
    """Mean log Bayes factor of the multiples of step that are neither the fast engine's half orders nor the car's lines
    nor the wheels' turns."""
    hz = step * np.arange(1, 17)
    halves, turns = hz / half_order, hz / wheel
    use = (hz >= 18) & (hz < 400) & (np.abs(halves - np.round(halves)) >= 0.02)
    use &= np.abs(turns - np.round(turns)) * wheel >= 0.75
    use &= np.abs(orders * wheel - hz[:, None]).min(axis=1) >= 2.0
    return factors[np.rint(hz[use] / bin_hz).astype(int)].mean() if use.sum() >= 3 else LOW


def idling_engine(flat, engine_per_wheel, lines):
    """Of engines 1.5 to 7 times slower than in gear the one whose lines in between stand out: its turns a second."""
    ratios = line_ratios(flat, 2.0, 18, 400)
    factors = ndimage.maximum_filter1d(LEVELS[ratios.codes].mean(axis=0), 3)
    fast, orders = engine_per_wheel * flat.mean_rate, np.array([line.order for line in lines])
    best, idle = 0.3, None
    for halves in range(3, 15):
        slow = 2 * fast / halves
        if not 7 <= slow <= 25:
            continue
        step = 0.5 * slow if halves % 2 == 0 else slow
        stands_out = stands_out_between(factors, ratios.bin_hz, step, 0.5 * fast, flat.mean_rate, orders)
        if stands_out > best:
            best, idle = stands_out, slow
    return idle


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


def open_clutch(search, together, gear, load):
    """Road and engine sought apart, as with the pedal down: both, the engine None where they belong together."""
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
    return road, engine if apart else None
