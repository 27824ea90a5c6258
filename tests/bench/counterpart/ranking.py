"""All faults judged, rivals heard, parts ranked; src/evidence/candidates.cpp and src/diagnosis."""
from types import SimpleNamespace

import numpy as np
from scipy import special

from .evidence import combined, explained_by, log_factors, mesh_sidebands, turns_seen, tyre_nats


def tempered(nats):
    return nats if nats <= 12 else 12 + 4 * np.log1p((nats - 12) / 4)


def judged(catalogue, kinds, tones):
    """Every fault with what is heard of it, no rival heard yet. Parts that make the same lines are looked at once."""
    candidates, looked_at = [], {}
    for family in catalogue["families"]:
        same = str([value for name, value in sorted(family.items()) if name != "part"])
        if family["kind"] == "events" and family["part"] and same in looked_at:
            candidates.append(SimpleNamespace(**{**vars(looked_at[same]), "family": family}))
            continue
        c = looked_at[same] = SimpleNamespace(family=family, nats=0.0, slip=0.0, level=0.0, spectra=kinds[family["locked"]])
        if family["kind"] == "events":
            c.nats, c.slip, c.group = combined(log_factors(c.spectra, family), family, c.spectra.turns)
            if family["fault"] == "chipped tooth":
                c.nats = as_knock(c)
        elif family["kind"] == "mesh" and family["loaded"] and family["modulation"] > 0:
            own = mesh_sidebands(tones, family["fundamental"], family["modulation"])
            others = max([mesh_sidebands(tones, f["fundamental"], f["modulation"]) for f in catalogue["families"]
                          if f["kind"] == "mesh" and f["loaded"] and f["modulation"] > 0 and f["part"] != family["part"]
                          and abs(f["base"] - family["base"]) > 1e-3 * abs(family["base"])], default=0)
            c.level = max(0, own - max(0, min(own, others) - 6))
        elif family["kind"] == "tyre":
            c.level = tyre_nats(tones, catalogue["not_of_tyres"])
        elif family["kind"] == "joint":
            shaft = family["fundamental"] / (2 if family["fault"] == "worn joint" else 1)
            if np.abs(np.array(catalogue["half_orders"]) - 2 * shaft).min() >= 0.12:
                c.level = max(0, tones.level(2 * shaft))
        c.alone = c.nats
        candidates.append(c)
    return candidates


def as_knock(c):
    """What shows at every second or third turn alone is no tick once per turn."""
    nats = c.nats
    for nth in (2, 3):
        if nats > 6:
            of_nth = np.outer(np.arange(nth, 13, nth) * c.family["fundamental"], (0.998, 1.002))
            others = combined(log_factors(c.spectra, c.family, of_nth, c.slip), c.family, c.spectra.turns)[0]
            nats = min(nats, 2 * max(0, others) + 6)
    return nats


def strong(candidates, healthy):
    found = [c for c in candidates if c.family["kind"] == "events" and c.family["healthy"] == healthy and c.nats > 2]
    return sorted(found, key=lambda c: -c.nats)


def left(one, other):
    """What is left of one's evidence when the lines that the other explains are not counted."""
    factors = log_factors(one.spectra, one.family, explained_by(other.family, other.slip), one.slip)
    return combined(factors, one.family, one.spectra.turns)[0]


def same_comb(one, other):
    def near(a, b, within):
        return abs(a - b) <= within * max(abs(a), abs(b))
    a, b = one.family, other.family
    return (a["fault"] == b["fault"] and near(a["modulation"], b["modulation"], 0.01) and
            near(a["fundamental"] * (1 + one.slip), b["fundamental"] * (1 + other.slip), 0.0025))


def ticks_as_well_between(tick, bearing):
    """Whether the bearing strikes a whole number of times per turn, and the tick's turns between those are as strong."""
    a, b = tick.family, bearing.family
    if a["fault"] != "chipped tooth":
        return False
    strikes = b["fundamental"] * (1 + bearing.slip) / a["fundamental"]
    whole = round(strikes)
    if whole < 3 or abs(strikes / whole - 1) > 0.004 or abs(b["modulation"] / a["fundamental"] - 1) > 1e-3:
        return False
    turn, over = turns_seen(tick.spectra, a, tick.group)
    excess, own = np.maximum(0, over - 1), turn % whole == 0
    return own.any() and (~own).any() and excess[~own].mean() > 0.5 * excess[own].mean()


def searched_less(known, unknown):
    """One that was looked for in one place, beside one of which nothing is known, and not much the worse."""
    return (known.family["knowledge"] < unknown.family["knowledge"] == 2 and
            (known.family["fault"] == "chipped tooth" or known.nats > 0.6 * unknown.nats))


def better(one, other):
    """By how much one is the better single explanation of what both explain."""
    fewer_missing = 0.75 * (one.nats - other.nats)
    if same_comb(one, other):
        return fewer_missing
    one_left, other_left = max(0, left(one, other)), max(0, left(other, one))
    if one.family["fault"] == "chipped tooth" and one_left >= 8 and other_left < 2:
        return one_left
    if other.family["fault"] == "chipped tooth" and other_left >= 8 and one_left < 2:
        return -other_left
    if ticks_as_well_between(one, other):
        return 5
    if ticks_as_well_between(other, one):
        return -5
    if one_left < 2 and other_left < 2:
        if searched_less(one, other):
            return max(fewer_missing, 2)
        if searched_less(other, one):
            return min(fewer_missing, -2)
    return one_left - other_left + fewer_missing


def as_second(rest, cause):
    return max(min(rest, 0), rest - 0.5 * cause)


def explain_away(candidates):
    for c in candidates:
        if c.family["fault"] == "worn machine" and c.nats > 0:
            c.nats = max(0, c.nats - 8)
    for machine in strong(candidates, True):
        for suspect in strong(candidates, False):
            if (suspect.family["fault"] == "worn machine" and
                    np.isclose(suspect.family["fundamental"], machine.family["fundamental"], 1e-3)):
                continue
            rest = left(suspect, machine)
            machine_left = max(0, left(machine, suspect))
            if (machine.nats + max(0, rest) + 3 > suspect.nats + machine_left or
                    machine.nats > suspect.nats and machine_left > 20):
                suspect.nats = min(suspect.nats, rest)
    unlisted = next(c for c in candidates if not c.family["part"])
    suspects, winner = [c for c in strong(candidates, False) if c is not unlisted], None
    if suspects:
        winner = suspects[0]
        for suspect in suspects[1:8]:
            if better(suspect, winner) > 0:
                winner = suspect
        cause = tempered(winner.nats)
        others = [c for c in suspects if c is not winner]
        judgements = [max(as_second(tempered(min(c.nats, left(c, winner))), cause),
                          min(tempered(c.nats), cause - max(0, better(winner, c)))) for c in others]
        for c, nats in zip(others, judgements):
            c.nats = nats
    own = tempered(unlisted.nats)
    if not winner or own <= 0:
        unlisted.nats = own
        if winner:
            winner.nats = cause
        return
    rest = left(unlisted, winner)
    advantage = -6 if rest < 2 else 0.5 * (unlisted.nats - winner.alone) - 6
    winner.nats = cause
    unlisted.nats = max(as_second(tempered(rest), cause), min(own, cause + advantage))
    if advantage > 0:
        for c in candidates:
            if c is not unlisted and not c.family["healthy"]:
                c.nats = min(c.nats, max(0, c.nats - advantage))


def heard(c):
    kind = c.family["kind"]
    return (c.nats if kind == "events" else c.level - 8 if kind == "mesh" else
            c.level if kind == "tyre" else c.level - 10)


def believed(c):
    nats, sure = heard(c), c.family["sure"]
    return sure + c.family["believed_beyond"] * (nats - sure) if c.family["kind"] == "events" and nats > sure else nats


def ranked(candidates):
    """Parts by probability, each with its likeliest fault; "no fault" and "no listed part" among them."""
    best, unlisted = {}, None
    for c in candidates:
        c.logit = c.family["logit"] + c.family["slope"] * believed(c)
        part = c.family["part"]
        if not part:
            unlisted = c
        elif not c.family["healthy"] and (part not in best or c.logit > best[part].logit):
            best[part] = c
    parts = []
    for c in sorted(best.values(), key=lambda c: -c.logit):
        same = ("fault", "fundamental", "visibility")
        if not any(all(c.family[k] == other.family[k] for k in same) for other in parts):
            parts.append(c)
    logits = np.array([0, unlisted.logit] + [c.logit for c in parts])
    chances = np.exp(logits - special.logsumexp(logits))
    return chances[0], chances[1], list(zip(parts, chances[2:]))
