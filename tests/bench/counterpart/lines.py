"""The lines shown of a suspect, each with order, decibels and chance; show_lines() in src/evidence/candidates.cpp."""
import numpy as np

from .combs import comb_seen


def decibels(ratio):
    return 10 * np.log10(np.maximum(ratio, 1e-30))


def tone_lines(tones, orders):
    seen = [tones.strength(order) for order in orders]
    return [(order, float(decibels(over)), chance) for order, (over, chance) in zip(orders, seen)]


def lines_of(c, tones):
    family = c.family
    if family["kind"] == "events":
        return [(order, float(decibels(over)), chance)
                for _, _, order, over, chance in comb_seen(c.spectra, family, c.slip, c.group)]
    if family["kind"] == "mesh" and family["modulation"] > 0:
        return tone_lines(tones, [h * family["fundamental"] + side * family["modulation"]
                                  for h in (1, 2, 3) for side in (0, -1, 1)])
    if family["kind"] == "tyre":
        multiples = [c.centre + beside for beside in range(-2, 3) if c.centre + beside >= 1]
        return tone_lines(tones, [multiple * (1 + c.slip) for multiple in multiples])
    return []
