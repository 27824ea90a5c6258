"""Spectra per turn and what they say of each fault; src/evidence."""
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy import fft, interpolate, special

from .common import between, block_median, hann, moving_average

RATE = 16000


def angle_grid(track, duration):
    """Points in equal steps of angle, as close as samples at the slowest moment: step and times."""
    turns = float(track.at(duration) - track.at(0))
    slowest = max(track.rate_at(np.arange(0, duration, track.step)).min(), 0.2 * turns / duration)
    points = fft.next_fast_len(int(np.ceil(turns * 1.02 * RATE / slowest)), real=True)
    step = turns / points
    return turns, step, track.time_on_lines(float(track.at(0)) + step * np.arange(points))


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
        at = (track.time_on_lines(first + turns / points * np.arange(points)) - 2 * hop_s) / hop_s
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


def window_of(order, width, spectra, bins, explained):
    """Where lines are looked for: bins from, to, the gap and the flank beside; whether each can be."""
    centre = order * spectra.turns
    half = np.maximum(1.5, 0.5 * width * centre)
    gap, flank = np.maximum(1, 0.5 * half), np.maximum(8, 2.5 * half)
    usable = (centre - half - gap - flank >= 1) & (centre + half + gap + flank + 2 < bins)
    centre = np.where(usable, centre, 100)
    half, gap, flank = (np.where(usable, size, least) for size, least in ((half, 1.5), (gap, 1), (flank, 8)))
    begin = np.rint(centre - half).astype(int)
    end = np.maximum(np.rint(centre + half).astype(int) + 1, begin + 3)
    gap, flank = np.rint(gap).astype(int), np.rint(flank).astype(int)
    masked = usable & (3 * (spectra.masked[end] - spectra.masked[begin]) > end - begin)
    free = np.full(order.shape, True)
    if explained is not None:
        low, high = order * (1 - 0.5 * width), order * (1 + 0.5 * width)
        free = ~((high[..., None] >= explained[:, 0]) & (low[..., None] <= explained[:, 1])).any(axis=-1)
    return begin, end, gap, flank, masked & free, usable & ~masked & free


def lines_over_background(sums, free, window):
    """Of every line in every group: its mean over the local background, and the freedom that rests on."""
    begin, end, gap, flank = window[:4]

    def mean(begin, end):
        return (sums[end] - sums[begin]) / (end - begin)[..., None]

    left, right = mean(begin - gap - flank, begin - gap), mean(end + gap, end + gap + flank)
    local = np.maximum(np.maximum(0.5 * (left + right), 0.9 * np.maximum(left, right)), 0.8)
    own, beside = (end - begin) / (1.94 - 0.94 / (end - begin)), 2 * flank / 1.9
    octave = np.minimum(np.log2(begin).astype(int), len(free) - 1)
    return mean(begin, end) / local, np.minimum(60, free[octave] * (own * beside / (own + beside))[..., None])


def each_line_once(begin, end, usable):
    """Of lines that share half of their bins with an earlier one, only that one stays."""
    kept = usable.copy()
    for i in range(1, begin.shape[1]):
        shared = np.minimum(end[:, :i], end[:, i:i + 1]) - np.maximum(begin[:, :i], begin[:, i:i + 1])
        there = kept[:, :i] & (shared > 0) & (2 * shared >= end[:, i:i + 1] - begin[:, i:i + 1])
        kept[:, i] &= ~there.any(axis=1)
    return kept


def log_factors(spectra, family, explained=None, slip=None):
    """Log Bayes factors by group, slip and strength; with a slip only there and beside, less what is explained."""
    slips = np.array(family["slips"])
    out, any_heard = np.zeros((spectra.groups, len(slips), 8)), False
    first, last = 0, len(slips)
    if slip is not None:
        at = int(np.searchsorted(slips, slip))
        first, last = max(0, at - 1), min(len(slips), at + 2)
    some = slips[first:last, None]
    harmonic, side, presence, power = comb_of(family).T
    main = (side == 0) | ((harmonic == 0) & (side == 1))
    flanked = [harmonic == h for h in range(4)] if family["modulation"] != 0 else []
    plain = ~np.any(flanked, axis=0) if flanked else np.full(len(harmonic), True)
    order = harmonic * family["fundamental"] * (1 + some) + side * modulation_at(family, some)
    seen, cap = presence[:, None, None], 8 if family["fault"] == "chipped tooth" else 14
    for sums, free, groups in spectra.levels:
        by_width = []
        for width in WIDTHS.get(family["fault"], (0.0012, 0.004, 0.010)):
            window = window_of(order, width, spectra, len(sums) - 1, explained)
            begin, end, _, _, masked, usable = window
            usable = each_line_once(begin, end, usable)
            over, freedom = lines_over_background(sums, free, window)
            excess = (STRENGTHS * power[:, None] / (end - begin)[..., None])[..., None, :]
            ratio = freedom[..., None] * (over[..., None] * (excess / (1 + excess)) - np.log1p(excess))
            nats = np.log(1 - seen + seen * np.exp(np.minimum(ratio, cap))) * usable[..., None, None]
            total = nats[:, plain].sum(axis=1)
            for one in flanked:
                carrier, sides = nats[:, one & main].sum(axis=1), nats[:, one & ~main].sum(axis=1)
                alone = np.where(masked[:, one & main].any(axis=1), 28, 0.5)[:, None, None]
                total += carrier + np.minimum(sides, 2 * np.maximum(carrier, 0) + alone)
            by_width.append(total)
            any_heard |= usable.any()
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
    """Over groups, slips and strengths: the log Bayes factor, the best slip and group."""
    if factors is None or family["visibility"] <= 0:
        return 0.0, 0.0, 0
    weights = scatter_of(np.log2(family["visibility"] ** 2 * turns / 300) / 1.75)
    there = np.exp([factors @ w.T for w in weights])
    sums = np.log(0.1 + np.tensordot((0.25, 0.4, 0.25), there, 1))
    cells = special.logsumexp(np.minimum(sums, 600) + np.log(PRIOR_OF_STRENGTH), axis=2)
    best = np.unravel_index(sums.max(axis=2).argmax(), cells.shape)
    return special.logsumexp(cells) - np.log(cells.size), family["slips"][best[1]], best[0]


def turns_seen(spectra, family, group):
    """Of a tick: turns that could be looked at, and their power over the background, each where it is clearest."""
    turn = comb_of(family)[:, 0]
    sums, free, groups = next(level for level in spectra.levels if group in level[2])
    lane, looks = list(groups).index(group), []
    for width in WIDTHS["chipped tooth"]:
        window = window_of(turn * family["fundamental"], width, spectra, len(sums) - 1, None)
        over, freedom = (values[:, lane] for values in lines_over_background(sums, free, window))
        looks.append((np.where(window[-1], special.gammaincc(freedom, freedom * over), 2), over))
    chance, over = (np.array(values) for values in zip(*looks))
    best = chance.argmin(axis=0)
    seen = chance.min(axis=0) <= 1
    return turn[seen], over[best, np.arange(len(turn))][seen]


def explained_by(family, slip):
    """Orders, from and to, that a fault explains when it is there."""
    fault, modulated = family["fault"], family["modulation"] != 0
    element, knock = fault == "rolling element", fault == "chipped tooth"
    machine = fault in ("out of balance", "worn machine")
    half = 0.010 if fault == "dry joint" else 0.004 if element or machine else 0.002 if knock else 0.006
    step, last = (0.5, 4) if element else (1, 60) if knock else (1, 24) if machine else (1, 12)
    modulation = float(modulation_at(family, slip))
    turns = 0 if not modulated or fault == "dry joint" else 8 if element else 4
    sides = np.arange(-1, 2) if element else np.arange(-3, 4)
    harmonics = np.arange(step, last + step / 2, step) * family["fundamental"] * (1 + slip)
    orders = np.append(modulation * np.arange(1, turns + 1),
                       np.add.outer(harmonics, modulation * (sides if modulated else np.zeros(1))))
    return np.sort(np.outer(orders, (1 - half, 1 + half)), axis=1)


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


def lumps(profile):
    """Excess of the best stretch of multiples, less what looks like the skirts of the tread."""
    tread = [profile[multiple] for multiple in range(57, 61) if multiple in profile]
    best = 0
    for centre in range(8, 45):
        half = 0.25 * centre + 2
        seen = sorted(value for multiple, value in profile.items()
                      if int(centre - half) <= multiple <= min(56, int(centre + half)))
        if len(seen) < 6:
            continue
        excess = np.mean(seen[:-2])
        if centre >= 20 and tread:
            excess -= max(0, np.mean(tread) - excess)
        best = max(best, excess)
    return best


def tyre_nats(tones, known):
    """Of a worn tyre whose turns may lie somewhat off the mean wheel's."""
    known, each = np.array(known), []
    for step in range(-12, 13):
        profile = {}
        for multiple in range(3, 61):
            order = multiple * (1 + 0.0005 * step)
            if np.abs(known - order).min() >= 0.12:
                profile[multiple] = np.log10(1 + tones.excess(order, 1.5 + 0.0004 * order * tones.turns))
        nats = min(10, 10 * (lumps(profile) - 0.5))
        each.append(np.log(0.5 / 25 + (0.5 / 3 if abs(step) <= 1 else 0)) + np.log(0.4 + 0.6 * np.exp(nats)))
    return special.logsumexp(each)
