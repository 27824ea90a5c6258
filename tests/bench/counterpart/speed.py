"""The wheel's angle from the lines of the car; src/speed."""
from types import SimpleNamespace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy import fft, interpolate, linalg, ndimage, signal

HIGHEST = 3600
LOW, HIGH = -1.95, 2.5  # log Bayes factors of one bin
LEVELS = np.linspace(LOW, HIGH, 256)


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


def integrated(rates, step):
    return np.append(0, np.cumsum(0.5 * step * (rates[1:] + rates[:-1])))


class Sound:
    """For tracking, at 8 kHz or somewhat more."""

    def __init__(self, x, rate):
        factor = max(1, int(rate / 7990))
        self.x, self.rate = signal.resample_poly(x, 1, factor), rate / factor
        self.times = np.arange(len(self.x)) / self.rate
        self.duration = len(self.x) / self.rate
        self.spline = interpolate.CubicSpline(self.times, self.x)

    def flat(self, track):
        """As it would be if the shaft turned evenly."""
        mean_rate = float(track.at(self.duration)) / self.duration
        return SimpleNamespace(x=self.spline(track.time_of(mean_rate * self.times)), rate=self.rate,
                               mean_rate=mean_rate, track=track, duration=self.duration)


def corrected(flat, error, step):
    """The track after an error of angle was found in its flat sound."""
    end = step * (len(error) - 1)
    more = interpolate.CubicHermiteSpline(step * np.arange(len(error)), error, np.gradient(error, step))
    turns = flat.track.turns + more(np.clip(flat.track.turns / flat.mean_rate, 0, end))
    return Track(turns - turns[0], flat.track.step)


def code_table():
    ratio = (np.arange(1024)[:, None] + 0.5) * 0.01
    xi = np.array([1, 3, 10, 30, 100, 300])
    factor = np.log(np.mean(np.exp(ratio * xi / (1 + xi)) / (1 + xi), axis=1))
    return np.round((np.minimum(factor, HIGH) - LOW) / (HIGH - LOW) * 255).astype(np.uint8)


CODES = code_table()


def line_ratios(flat, window_s=0.5, lowest=55):
    """How far each bin of each frame stands above its background, as a code for a log Bayes factor."""
    window, hop = int(window_s * flat.rate), round(window_s / 4 * flat.rate)
    points = fft.next_fast_len(2 * window, real=True)
    bin_hz = flat.rate / points
    bins = min(points // 2, int(HIGHEST / bin_hz) + 8)
    weights = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(window) + 0.5) / window)
    power = np.abs(fft.rfft(sliding_window_view(flat.x, window)[::hop] * weights, points)[:, :bins]) ** 2
    step = int(50 / bin_hz)
    width, centres = 3 * step, np.arange(0, bins + step, step)
    blocks = sliding_window_view(power, width, axis=1)[:, np.clip(centres - width // 2, 0, bins - width)]
    background = interpolate.interp1d(centres, np.median(blocks, axis=2) / np.log(2))(np.arange(bins))
    codes = CODES[np.minimum(power / background * 100, 1023).astype(int)]
    times = (np.arange(len(power)) * hop + 0.5 * window) / flat.rate
    top = 0.46 * flat.rate * flat.mean_rate / flat.track.rate_at(flat.track.time_of(times * flat.mean_rate))
    codes[np.arange(bins) * bin_hz >= top[:, None]] = round(-LOW / (HIGH - LOW) * 255)
    return SimpleNamespace(codes=codes, bin_hz=bin_hz, lowest=lowest, times=times, step=hop / flat.rate)


def grid_between(low, high, step):
    return step * np.arange(np.floor(low / step), np.ceil(high / step) + 1)


def vote_table(line):
    return 0.35 * np.log(1 - line.visible + line.visible * np.exp(LEVELS))


def places(line, ratios, mean_rate, grid):
    hz = line.order * mean_rate * (1 + grid)
    return (hz >= ratios.lowest) & (hz <= HIGHEST), (hz / ratios.bin_hz + 0.5).astype(int)


def votes_of(ratios, mean_rate, lines, grid):
    """For a deviation of the rate, frames x grid."""
    nats = np.zeros((len(ratios.times), len(grid)))
    for line in lines:
        heard, bins = places(line, ratios, mean_rate, grid)
        nats[:, heard] += vote_table(line)[ratios.codes[:, bins[heard]]]
    return nats


def summed_votes(ratios, mean_rate, lines, grid):
    sums = np.zeros(len(grid))
    for line in lines:
        heard, bins = places(line, ratios, mean_rate, grid)
        if heard.any():
            bins = bins[heard]
            by_bin = vote_table(line)[ratios.codes[:, bins[0]:bins[-1] + 1]].sum(axis=0)
            sums[heard] += by_bin[bins - bins[0]]
    return sums


def seen_visibility(ratios, mean_rate, lines):
    seen = []
    for line in lines:
        hz = line.order * mean_rate
        if not ratios.lowest <= hz <= HIGHEST:
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


LAGS = (2, 8, 32)
DOUBTS = (2e-3, 1e-3, 5e-4, 2.5e-4, 1e-4, 3e-5, 0, 0)


def demodulated(flat, order, block):
    """The line's amplitude at every hop of four blocks, and its power over what lies 8 to 15 Hz beside it."""
    hz, width = order * flat.mean_rate, 32
    count = len(flat.x) // block
    sums = flat.x[:count * block].reshape(count, block) @ np.exp(-2j * np.pi * hz * np.arange(block) / flat.rate)
    sums = sums * np.exp(-2j * np.pi * hz * block / flat.rate * np.arange(count))
    shifts = np.array([0, -15, -11.5, -8, 8, 11.5, 15]) * block / flat.rate
    taps = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(width) + 0.5) / width)
    taps = taps[:, None] * np.exp(-2j * np.pi * np.outer(np.arange(width), shifts))
    z = sliding_window_view(sums, width)[::4] @ taps
    beside = ndimage.convolve1d(np.abs(z[:, 1:]) ** 2, np.tile([1, 0, 0, 0, 0], 5)[:21] / 5, axis=0, mode="nearest")
    return z[:, 0], np.abs(z[:, 0]) ** 2 / (np.sort(beside, axis=1)[:, 2] + 1e-20)


def phase_steps(flat, lines, block):
    """Of every line that can be followed the turns of its phase over each lag: columns of equal length."""
    steps, kept = [], []
    for line in lines:
        if not 55 <= line.order * flat.mean_rate <= HIGHEST:
            continue
        z, ratio = demodulated(flat, line.order, block)
        if np.median(ratio) < 2:
            continue
        for lag in LAGS:
            i = np.flatnonzero((ratio[:-lag] >= 2) & (ratio[lag:] >= 2))
            cycles = np.angle(z[i + lag] * z[i].conj()) / (2 * np.pi)
            noise = 0.5 / (ratio[i] - 1) + 0.5 / (ratio[i + lag] - 1)
            same = np.ones(len(i))
            steps.append((i, i + lag, cycles, noise, line.order * same, lag * same, len(steps) * same))
        kept.append(line)
    return [np.concatenate(column) for column in zip(*steps)], kept


def phase_error(flat, lines):
    """The error of angle that the phases of the lines agree on, and its step."""
    block = round(0.05 * flat.rate / 4)
    step = 4 * block / flat.rate
    n = int(flat.duration / step) + 2
    turns = np.zeros(n)
    steps, kept = phase_steps(flat, lines, block)
    if not kept:
        return turns, step
    earlier, later, cycles, noise, orders, lags, group = steps
    earlier, later, group = (4 + earlier).astype(int), (4 + later).astype(int), group.astype(int)
    variances, gain = np.full(len(LAGS) * len(kept), 0.01), 2 * np.pi * orders
    for relative in DOUBTS:
        doubt = gain * relative * flat.mean_rate * step * lags
        now = turns[later] - turns[earlier]
        residual = 2 * np.pi * (cycles - orders * now - np.round(cycles - orders * now))
        variance = noise + variances[group] + 0.0025 + doubt ** 2
        weight = np.where(doubt > 1, 0, np.exp(-residual ** 2 / (4 * variance)) / (8 * variance) * gain ** 2)
        pull = weight * (now + residual / gain)
        banded = stiff(n, 1 / (2e-5 * flat.mean_rate ** 2 * step ** 3), max(LAGS) + 1)
        banded[0] += 1e-3 + np.bincount(later, weight, n) + np.bincount(earlier, weight, n)
        for lag in LAGS:
            banded[lag] -= np.bincount(earlier, np.where(lags == lag, weight, 0), n)
        turns = linalg.solveh_banded(banded, np.bincount(later, pull, n) - np.bincount(earlier, pull, n), lower=True)
        for k in range(len(variances)):
            sizes = np.abs(residual[(group == k) & (doubt <= 1)])
            if len(sizes):
                variances[k] = max(1e-4, (1.25 * np.median(sizes)) ** 2)
    return turns, step


def distinct(lines):
    """Lines nearer than 0.2 % vote once."""
    out = []
    for line in sorted(lines, key=lambda line: line.order):
        if not out or line.order > 1.002 * out[-1].order:
            out.append(line)
        elif line.visible > out[-1].visible:
            out[-1] = line
    return [SimpleNamespace(**vars(line)) for line in out]


def learn(lines, visibility):
    for line, seen in zip(lines, visibility):
        line.visible = min(0.9, max(0.02, 0.3 * line.visible + 0.7 * seen))


PRIOR = dict(mean=-0.04, sd=0.04)  # of what a needle shows
GRID = grid_between(-0.14, 0.065, 0.001)


def margins(ratios, mean_rate, lines):
    """Votes a second on the track, the best and the mean of those beside it."""
    grid = grid_between(-0.12, 0.12, 0.0005)
    sums = summed_votes(ratios, mean_rate, lines, grid) / (len(ratios.times) * ratios.step)
    beside = sums[np.abs(grid) > 0.008]
    return sums[np.abs(grid) < 0.0008].max(), beside.max(), beside.mean()


class Search:
    def __init__(self, sound, nominal):
        self.sound = sound
        self.flat = sound.flat(nominal)
        self.ratios = line_ratios(self.flat)
        self.seconds = len(self.ratios.times) * self.ratios.step

    def walk(self, lines):
        nats = votes_of(self.ratios, self.flat.mean_rate, distinct(lines), GRID)
        return Walk(nats, GRID, self.ratios.step, 0.008, **PRIOR)

    def evidence(self, lines):
        return self.walk(lines).evidence_where(True) / self.seconds

    def sharpened(self, track, lines):
        """Votes again, closer and closer round the track; what is seen of the lines is learnt."""
        for walk_sd in (0.006, 0.003):
            flat = self.sound.flat(track)
            ratios = line_ratios(flat)
            visibility = seen_visibility(ratios, flat.mean_rate, lines)
            learn(lines, visibility)
            grid = grid_between(-0.02, 0.02, 0.0005)
            nats = votes_of(ratios, flat.mean_rate, lines, grid)
            deviation, sd, _ = Walk(nats, grid, ratios.step, walk_sd).path()
            deviation = smooth_path(deviation, sd, 2e3)
            track = moved(flat, ratios, deviation)
            if np.abs(deviation).max() <= 1e-3:  # a closer look would see the same again
                learn(lines, visibility)
                break
        return track

    def locked(self, track, lines):
        """By phases, until nothing moves."""
        for _ in range(8):
            flat = self.sound.flat(track)
            error, step = phase_error(flat, [line for line in lines if line.visible > 0.15])
            track = corrected(flat, error, step)
            if np.abs(error).max() < 0.003:
                break
        return track

    def find(self, lines):
        walk, given, lines = self.walk(lines), distinct(lines), distinct(lines)
        deviation, sd, _ = walk.path()
        near = np.abs(GRID - deviation[:, None]) <= 0.007
        rival = (walk.evidence_where(near) - walk.evidence_where(~near)) / self.seconds
        track = moved(self.flat, self.ratios, smooth_path(deviation, sd, 2e3))
        track = self.locked(self.sharpened(track, lines), lines)
        flat = self.sound.flat(track)
        ratios = line_ratios(flat)
        half = min(line.order for line in lines if line.source == "engine")
        gears = [line for line in lines if line.source == "gear"]
        off_engine = [g for g in gears if abs(g.order / half - round(g.order / half)) >= 0.02]
        gear, road, lead = (margins(ratios, flat.mean_rate, some) for some in (gears, off_engine, given))
        usual = 0.92 < track.mean_rate / self.flat.track.mean_rate < 1.01
        sure = gear[0] > gear[1] and (usual or road[0] - road[1] >= 1)
        return SimpleNamespace(track=track, certainty="lost" if rival <= 1.5 else "sure" if sure else "doubtful",
                               lead=lead[0] - lead[2])


def tracked(x, rate, catalogue):
    """The wheel's angle in the gear that fits best, the stated one unless another is clearly better."""
    gears = {gear: [SimpleNamespace(order=o, visible=v, source=s) for o, v, s in lines]
             for gear, lines in catalogue["tracking"].items()}
    duration = len(x) / rate
    steps = round(duration / 0.05)
    nominal = Track(catalogue["wheel_hz"] * duration / steps * np.arange(steps + 1), duration / steps)
    search = Search(Sound(x, rate), nominal)
    stated = catalogue["gear"]
    evidence = {gear: search.evidence(lines) for gear, lines in gears.items()}
    found = best = search.find(gears[stated])
    total = evidence[stated] + found.lead
    for gear, lines in gears.items():
        if evidence[gear] > evidence[stated] + 0.5:
            other = search.find(lines)
            if other.lead > found.lead + 1 and evidence[gear] + other.lead > total:
                best, total = other, evidence[gear] + other.lead
    return best
