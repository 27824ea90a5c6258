"""What an envelope's spectrum says of a comb of lines; src/evidence/event_comb.cpp."""
import numpy as np
from scipy import special

from .envelopes import TAPER

# Harmonic, probability of being visible when the fault is.
RACE = [(1, .85), (2, .75), (3, .6), (4, .5), (5, .4), (6, .4)]
ELEMENT = [(1, .8), (2, .65), (3, .5), (4, .4), (.5, .5), (1.5, .4)]
TURNING = [(1, .5), (2, .5), (3, .4), (4, .4), (5, .3), (6, .3), (7, .25), (8, .25)]
SMEARED = (0.0012, 0.004, 0.010)  # of a line's order: what slip smears
WIDTHS = {"chipped tooth": (0, 0.0015, 0.004), "dry joint": (0.003, 0.010, 0.020)}
BINS_AS_ONE = (1 - 93 / 128 * TAPER) / (1 - 0.625 * TAPER) ** 2  # neighbouring bins are correlated
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
    own, beside = (end - begin) / (BINS_AS_ONE - (BINS_AS_ONE - 1) / (end - begin)), 2 * flank / BINS_AS_ONE
    octave = np.minimum(np.log2(begin).astype(int), len(free) - 1)
    return mean(begin, end) / local, np.minimum(50, free[octave] * (own * beside / (own + beside))[..., None])


def each_line_once(begin, end, usable):
    """Of lines that share half of their bins with an earlier one, only that one stays."""
    kept = usable.copy()
    for i in range(1, begin.shape[1]):
        shared = np.minimum(end[:, :i], end[:, i:i + 1]) - np.maximum(begin[:, :i], begin[:, i:i + 1])
        there = kept[:, :i] & (shared > 0) & (2 * shared >= end[:, i:i + 1] - begin[:, i:i + 1])
        kept[:, i] &= ~there.any(axis=1)
    return kept


def slips_looked_at(family, slip):
    """All, or those next to one, how usual each is, and how many are left out."""
    slips, usual = np.array(family["slips"]), np.array(family["usual"])
    if slip is None:
        return slips, usual, 0
    at = int(np.searchsorted(slips, slip))
    some = slice(max(0, at - 1), at + 2)
    return slips[some], usual[some], len(slips) - len(slips[some])


class Comb:
    """A family's lines and how they hang together: side lines add to their carriers, and not much without them."""

    def __init__(self, family):
        self.harmonic, self.side, self.presence, self.power = comb_of(family).T
        self.main = (self.side == 0) | ((self.harmonic == 0) & (self.side == 1))
        self.flanked = [self.harmonic == h for h in range(4)] if family["modulation"] != 0 else []
        self.plain = ~np.any(self.flanked, axis=0) if self.flanked else np.full(len(self.harmonic), True)

    def orders(self, family, slip):
        return self.harmonic * family["fundamental"] * (1 + slip) + self.side * modulation_at(family, slip)

    def together(self, nats, masked):
        """Of nats by slip and line, the whole comb's."""
        total = nats[:, self.plain].sum(axis=1)
        for one in self.flanked:
            carrier, sides = nats[:, one & self.main].sum(axis=1), nats[:, one & ~self.main].sum(axis=1)
            alone = np.where(masked[:, one & self.main].any(axis=1), 28, 0.5)[:, None, None]
            total += carrier + np.minimum(sides, 2 * np.maximum(carrier, 0) + alone)
        return total


def nats_of_lines(over, freedom, bins, comb, cap):
    """Of lines so far over their background, by strength."""
    seen, excess = comb.presence[:, None, None], STRENGTHS * comb.power[:, None] / bins[..., None]
    excess = excess[..., None, :]
    ratio = freedom[..., None] * (over[..., None] * (excess / (1 + excess)) - np.log1p(excess))
    return np.log(1 - seen + seen * np.exp(np.minimum(ratio, cap)))


def log_factors(spectra, family, explained=None, slip=None):
    """Log Bayes factors by group, slip and strength, less what is explained; with a slip only there and beside it, and
    last that of every slip left out."""
    some, _, elsewhere = slips_looked_at(family, slip)
    out, any_heard = np.zeros((spectra.groups, len(some) + (elsewhere > 0), 8)), False
    comb, cap = Comb(family), 8 if family["fault"] == "chipped tooth" else 14
    order = comb.orders(family, some[:, None])
    for sums, free, groups in spectra.levels:
        by_width = []
        for width in WIDTHS.get(family["fault"], SMEARED):
            window = window_of(order, width, spectra, len(sums) - 1, explained)
            begin, end, _, _, masked, usable = window
            usable = each_line_once(begin, end, usable)
            over, freedom = lines_over_background(sums, free, window)
            nats = nats_of_lines(over, freedom, end - begin, comb, cap) * usable[..., None, None]
            by_width.append(comb.together(nats, masked))
            any_heard |= usable.any()
        out[groups] = -50
        out[groups, :len(some)] = (special.logsumexp(by_width, axis=0) - np.log(len(by_width))).transpose(1, 0, 2)
    return out if any_heard else None


def scatter_of(shift):
    """Each strength as weights of those searched, at what a run's level may differ by."""
    step = np.arange(8) + shift + np.array([-2.5, 0, 2])[:, None] / 1.75
    low = np.clip(step, 0, 7).astype(int)
    part = (np.clip(step, 0, 7) - low)[..., None]
    between = np.eye(8)[low] * (1 - part) + np.eye(8)[np.minimum(low + 1, 7)] * part
    return between * np.where(step <= 0, np.clip(1 + step, 0, 1), 1)[..., None]


def combined(factors, family, turns, slip=None):
    """Over groups, slips and strengths: the log Bayes factor, the best slip and group."""
    if factors is None or family["visibility"] <= 0:
        return 0.0, 0.0, 0
    slips, usual, elsewhere = slips_looked_at(family, slip)
    weights = scatter_of(np.log2(family["visibility"] ** 2 * turns / 300) / 1.75)
    there = np.exp([factors @ w.T for w in weights])
    sums = np.log(0.1 + np.tensordot((0.25, 0.4, 0.25), there, 1))
    cells = special.logsumexp(np.minimum(sums, 600) + np.log(PRIOR_OF_STRENGTH), axis=2)
    cells[:, :len(slips)] += usual
    counts = np.append(np.ones(len(slips)), [elsewhere] if elsewhere else [])
    group, at = np.unravel_index(sums.max(axis=2).argmax(), cells.shape)
    best = slips[at] if at < len(slips) else family["slips"][0 if slips[0] > family["slips"][0] else -1]
    return special.logsumexp(cells, b=counts) - np.log(len(cells) * counts.sum()), best, group


def evidence_of(spectra, family, explained=None, slip=None):
    return combined(log_factors(spectra, family, explained, slip), family, spectra.turns, slip)


def comb_seen(spectra, family, slip, group):
    """Of each line of a comb that can be looked at: harmonic, side, order, power over the background, and the chance of
    that in noise, where it is clearest."""
    comb, widths = Comb(family), WIDTHS.get(family["fault"], SMEARED)
    order = comb.orders(family, slip)
    level = next((level for level in spectra.levels if group in level[2]), None)
    if level is None:
        return np.zeros((0, 5))
    sums, free, groups = level
    lane, chances, overs, once = list(groups).index(group), [], [], None
    for width in widths:
        window = window_of(order, width, spectra, len(sums) - 1, None)
        begin, end, _, _, masked, usable = window
        if once is None:  # a line hidden by what a sound car does, too, goes before those that share its bins
            once = each_line_once(begin[None], end[None], (masked | usable)[None])[0] | ~usable
        over, freedom = (values[:, lane] for values in lines_over_background(sums, free, window))
        chances.append(np.where(usable & once, special.gammaincc(freedom, freedom * over), 2))
        overs.append(over)
    best, chance = np.argmin(chances, axis=0), np.min(chances, axis=0)
    over = np.array(overs)[best, np.arange(len(order))]
    seen = chance <= 1
    return np.stack((comb.harmonic, comb.side, order, over, np.minimum(1, len(widths) * chance)), axis=1)[seen]


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
