"""A shaft's angle in one sound, given orders that should be audible and a rough rate; src/speed/angle_search.cpp.

A line is an order, its visibility (the chance to stand out at a given moment), and its source: engine, gear, tread,
machine or knock."""
from types import SimpleNamespace

import numpy as np

from .phases import phase_error
from .track import corrected
from .votes import (HIGHEST, Walk, grid_between, line_ratios, moved, places, seen_visibility, smooth_path, summed_votes,
                    votes_by_bin, votes_of)


def line(order, visible, source):
    return SimpleNamespace(order=order, visible=visible, source=source, followed=False)


def distinct(lines):
    """Lines nearer than 0.2 % vote once."""
    out = []
    for one in sorted(lines, key=lambda one: one.order):
        if not out or one.order > 1.002 * out[-1].order:
            out.append(one)
        elif one.visible > out[-1].visible:
            out[-1] = one
    return [line(one.order, one.visible, one.source) for one in out]


def exact(lines):
    """Those that place an angle exactly. What a louder part hid among the votes counts here."""
    return distinct(one for one in lines if one.source not in ("machine", "knock"))


def learn(lines, visibility):
    for one, seen in zip(lines, visibility):
        one.visible = min(0.9, max(0.02, 0.3 * one.visible + 0.7 * seen))


def prior(nominal, mean, sd, low, high, window_s=0.5, lowest=55, highest=HIGHEST, apart=0.007):
    """The true rate is nominal x (1 + s), s somewhere between low and high."""
    return SimpleNamespace(nominal=nominal, mean=mean, sd=sd, low=low, high=high, window_s=window_s, lowest=lowest,
                           highest=highest, apart=apart)


def margins(ratios, mean_rate, lines):
    """Votes a second on the track, the best and the mean of those beside it."""
    grid = grid_between(-0.12, 0.12, 0.0005)
    sums = summed_votes(ratios, mean_rate, lines, grid) / ratios.seconds
    beside = sums[np.abs(grid) > 0.008]
    return sums[np.abs(grid) < 0.0008].max(), beside.max(), beside.mean()


def margin(ratios, mean_rate, lines):
    on, best_beside, _ = margins(ratios, mean_rate, lines)
    return on - best_beside


def off_engine_orders(gears, lines):
    """A mesh on the engine's own shaft lies on a whole engine order, where any engine may sound."""
    half = min((one.order for one in lines if one.source == "engine"), default=None)
    return [g for g in gears if not half or abs(g.order / half - round(g.order / half)) >= 0.02]


def nearly_same(one, other):
    times = np.arange(0, one.times[-1], 0.5)
    return (np.abs(one.rate_at(times) - other.rate_at(times)) <= 0.003 * other.rate_at(times)).all()


class Search:
    """Several sets of lines can be tried on one sound."""

    def __init__(self, sound, rate_prior, flat=None):
        self.sound, self.prior = sound, rate_prior
        self.flat = flat or sound.flat(rate_prior.nominal)
        self.ratios = self.ratios_of(self.flat)
        self.grid = grid_between(rate_prior.low, rate_prior.high, 0.001)
        self.by_bin = {}  # of ratios, by visibility

    def ratios_of(self, flat):
        return line_ratios(flat, self.prior.window_s, self.prior.lowest, self.prior.highest)

    def walk(self, lines):
        nats = votes_of(self.ratios, self.flat.mean_rate, distinct(lines), self.grid)
        return Walk(nats, self.grid, self.ratios.step, 0.008, self.prior.mean, self.prior.sd)

    def evidence(self, lines):
        """Of these lines against noise, all paths together, nats a second."""
        return self.walk(lines).evidence_where(True) / self.ratios.seconds

    def most_votes(self, orders, visible, low, high):
        """Of these lines alone, at the one rate where they are most; orders may be off by low to high besides."""
        if visible not in self.by_bin:
            self.by_bin[visible] = votes_by_bin(self.ratios, visible)
        grid = grid_between(self.prior.low + low, self.prior.high + high, 0.001)
        heard, bins = places(np.array(orders)[:, None], self.ratios, self.flat.mean_rate, grid)
        return (self.by_bin[visible][bins] * heard).sum(axis=0).max() / self.ratios.seconds

    def first_look(self, lines):
        """About the stated rate: a track, and by how much it goes before all that stay away from it."""
        walk = self.walk(lines)
        deviation, sd, evidence = walk.path()
        near = np.abs(self.grid - deviation[:, None]) <= self.prior.apart
        rival = walk.evidence_where(near) - walk.evidence_where(~near)
        track = moved(self.flat, self.ratios, smooth_path(deviation, sd, 2e3))
        return track, rival / self.ratios.seconds, evidence / self.ratios.seconds

    def sharpened(self, track, lines):
        """Votes again, closer and closer round the track; what is seen of the lines is learnt."""
        for walk_sd in (0.006, 0.003):
            flat = self.sound.flat(track)
            ratios = self.ratios_of(flat)
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
        """By phases, until nothing moves; says which lines could be followed."""
        seen = [one for one in lines if one.visible > 0.15]
        for _ in range(8):
            flat = self.sound.flat(track)
            error, step, followed = phase_error(flat, seen, 0.8 * self.prior.window_s, self.prior.lowest)
            track = corrected(flat, error, step)
            if np.abs(error).max() < 0.003:
                break
        for one in lines:
            one.followed = one in followed
        return track

    def found(self, track, lines, given, rival, evidence, flat, ratios):
        """What the sound along the track says of it."""
        gears = [one for one in lines if one.source == "gear"]
        gear = margin(ratios, flat.mean_rate, gears)
        road = margin(ratios, flat.mean_rate, off_engine_orders(gears, lines))
        on, _, beside = margins(ratios, flat.mean_rate, distinct(given))
        return SimpleNamespace(track=track, lines=lines, rival=rival, evidence=evidence, flat=flat, ratios=ratios,
                               gear_margin=gear, road_margin=road, lead=on - beside,
                               certainty="lost" if rival <= 1.5 else "sure" if gear > 0 else "doubtful")

    def find(self, given, if_lost="go on"):
        track, rival, evidence = self.first_look(given)
        if rival <= 1.5 and if_lost == "stop":
            return SimpleNamespace(certainty="lost", rival=rival)
        lines = exact(given)
        track = self.locked(self.sharpened(track, lines), lines)
        flat = self.sound.flat(track)
        return self.found(track, lines, given, rival, evidence, flat, self.ratios_of(flat))

    def find_with_fewer(self, given, other, if_lost):
        """Of some of the lines that `other` was found with: where they lead along its track, that is the angle."""
        track, rival, evidence = self.first_look(given)
        if rival <= 1.5 and if_lost == "stop":
            return SimpleNamespace(certainty="lost", rival=rival)
        if not nearly_same(track, other.track):
            return self.find(given, if_lost)
        lines, followed = exact(given), {one.order for one in other.lines if one.followed}
        visibility = seen_visibility(other.ratios, other.flat.mean_rate, lines)
        for _ in range(2):
            learn(lines, visibility)
        for one in lines:
            one.followed = one.order in followed
        return self.found(other.track, lines, given, rival, evidence, other.flat, other.ratios)
