"""Parts ranked; src/diagnosis/ranking.cpp."""
import numpy as np
from scipy import special


def heard(c):
    kind = c.family["kind"]
    return (c.nats if kind == "events" else c.level - 8 if kind == "mesh" else
            c.level if kind == "tyre" else c.level - 10)


def worth(c):
    """The first nats of events in full, those beyond for less; of those by which another explains the same lines better
    each counts alike. (One run alone has none that speaks against a fault.)"""
    nats, slope, in_full, sure = heard(c), *(c.family[name] for name in ("slope", "in_full", "sure"))
    if c.family["kind"] != "events":
        return slope * nats
    nats += c.behind
    beyond = np.clip(nats - in_full, 0, sure - in_full) + c.family["believed_beyond"] * max(0, nats - sure)
    return min(nats, in_full) + slope * beyond - c.family["second_best"] * c.behind


def same_lines(a, b):
    one, other = a.family, b.family
    return (one["fault"] == other["fault"] and one["kind"] == other["kind"] and
            abs(one["fundamental"] - other["fundamental"]) <= 1e-3 * max(one["fundamental"], 1e-6) and
            abs(one["visibility"] - other["visibility"]) <= 0.05)


def ranked(candidates):
    """Chances of "no fault" and "no listed part", and the parts by theirs, each with its likeliest fault and those that
    it can't be told from."""
    best, unlisted = {}, None
    for c in candidates:
        c.logit = c.family["logit"] + worth(c)
        part = c.family["part"]
        if not part:
            unlisted = c
        elif not c.family["healthy"] and (part not in best or c.logit > best[part].logit):
            best[part] = c
    parts = []
    for c in sorted(best.values(), key=lambda c: -c.logit):
        twin = next((other for other in parts if same_lines(c, other)), None)
        if twin:
            twin.cannot_be_told_from.append(c.family["part"])
        else:
            c.cannot_be_told_from = []
            parts.append(c)
    logits = np.array([0, unlisted.logit] + [c.logit for c in parts])
    chances = np.exp(logits - special.logsumexp(logits))
    for c, chance in zip(parts, chances[2:]):
        c.probability = chance
    return chances[0], chances[1], parts
