"""All faults judged, and rivals heard; src/evidence/candidates.cpp."""
from types import SimpleNamespace

import numpy as np

from .combs import comb_seen, evidence_of, explained_by
from .tones import mesh_sidebands, tyre_nats


def tempered(nats):
    return nats if nats <= 12 else 12 + 4 * np.log1p((nats - 12) / 4)


def judged(catalogue, kinds, tones):
    """Every fault with what is heard of it, no rival heard yet. Parts that make the same lines are looked at once."""
    candidates, looked_at = [], {}
    for family in catalogue["families"]:
        same = str([value for name, value in sorted(family.items()) if name != "part"])
        if family["kind"] == "events" and family["part"] and same in looked_at:
            twin = looked_at[same]
            family = {**family, "modulation": twin.family["modulation"]}
            candidates.append(SimpleNamespace(**{**vars(twin), "family": family}))
            continue
        c = looked_at[same] = SimpleNamespace(family=family, nats=0.0, behind=0.0, slip=0.0, level=0.0, group=None,
                                              spectra=kinds[family["locked"]])
        JUDGES[family["kind"]](c, catalogue, tones)
        c.alone = c.nats
        candidates.append(c)
    return candidates


def judge_events(c, *_):
    c.nats, c.slip, c.group = evidence_of(c.spectra, c.family)
    if c.family["fault"] == "chipped tooth":
        c.nats = as_knock(c)
    if c.family["fault"] == "dry joint" and odd_turns_stand_by_themselves(c):
        c.family = {**c.family, "modulation": 0.0}
        c.nats, c.slip, c.group = evidence_of(c.spectra, c.family)


def judge_mesh(c, catalogue, tones):
    """Where another pair shows more than sound ones do, all gears are near the phone."""
    def carries(f):
        return f["kind"] == "mesh" and f["loaded"] and f["modulation"] > 0
    family = c.family
    if carries(family):
        own = mesh_sidebands(tones, family["fundamental"], family["modulation"])
        others = max([mesh_sidebands(tones, f["fundamental"], f["modulation"]) for f in catalogue["families"]
                      if carries(f) and f["part"] != family["part"] and
                      abs(f["base"] - family["base"]) > 1e-3 * abs(family["base"])], default=0)
        c.level = max(0, own - max(0, min(own, others) - 6))


def judge_tyre(c, catalogue, tones):
    c.level, c.slip, c.centre = tyre_nats(tones, catalogue["not_of_tyres"])


def judge_joint(c, catalogue, tones):
    shaft = c.family["fundamental"] / (2 if c.family["fault"] == "worn joint" else 1)
    if np.abs(np.array(catalogue["half_orders"]) - 2 * shaft).min() >= 0.12:
        c.level = max(0, tones.level(2 * shaft))


JUDGES = {"events": judge_events, "mesh": judge_mesh, "tyre": judge_tyre, "joint": judge_joint}


def as_knock(c):
    """What shows at every second or third turn alone is no tick once per turn."""
    nats = c.nats
    for nth in (2, 3):
        if nats > 2.5:
            of_nth = np.outer(np.arange(nth, 13, nth) * c.family["fundamental"], (0.998, 1.002))
            others = evidence_of(c.spectra, c.family, of_nth, c.slip)[0]
            nats = min(nats, 2 * max(0, others) + 2.5)
    return nats


def odd_turns_stand_by_themselves(c):
    """Whether the odd turns of a joint's shaft show nearly as much as lines between the even ones would: then something
    comes once per turn, and the joint can't be what makes them."""
    harmonic, side, _, over, _ = comb_seen(c.spectra, c.family, c.slip, c.group).T
    turn, db = np.rint(2 * harmonic) + side, 10 * np.log10(np.maximum(over, 1e-30))
    even, odd = np.argsort(turn[side == 0]), (side != 0) & (turn > 1)
    even_turn, even_db = turn[side == 0][even], db[side == 0][even]
    if not len(even_turn):
        return False
    odd &= (turn > even_turn[0]) & (turn < even_turn[-1])
    there = 10 ** (0.1 * np.interp(turn[odd], even_turn, even_db))
    return np.maximum(0, over[odd] - 1).sum() > 0.4 * np.maximum(0, there - 1).sum()


def strong(candidates, healthy):
    found = [c for c in candidates if c.family["kind"] == "events" and c.family["healthy"] == healthy and c.nats > 2]
    return sorted(found, key=lambda c: -c.nats)


def left(one, other):
    """What is left of one's evidence when the lines that the other explains are not counted."""
    return evidence_of(one.spectra, one.family, explained_by(other.family, other.slip), one.slip)[0]


def same_comb(one, other):
    def near(a, b, within):
        return abs(a - b) <= within * max(abs(a), abs(b))
    a, b = one.family, other.family
    return (a["fault"] == b["fault"] and near(a["modulation"], b["modulation"], 0.01) and
            near(a["fundamental"] * (1 + one.slip), b["fundamental"] * (1 + other.slip), 0.0025))


def ticks_as_well_between(tick, bearing):
    """Whether the bearing strikes a whole number of times per turn, and the turns between those are as strong."""
    a, b = tick.family, bearing.family
    if a["fault"] != "chipped tooth":
        return False
    strikes = b["fundamental"] * (1 + bearing.slip) / a["fundamental"]
    whole = round(strikes)
    if whole < 3 or abs(strikes / whole - 1) > 0.0025 or abs(b["modulation"] / a["fundamental"] - 1) > 1e-3:
        return False
    turn, _, _, over, _ = comb_seen(tick.spectra, a, tick.slip, tick.group).T
    excess, own = np.maximum(0, over - 1), turn % whole == 0
    return own.any() and (~own).any() and excess[~own].mean() > 0.5 * excess[own].mean()


def searched_less(known, unknown):
    """One that was looked for in one place, beside one of which nothing is known, and not much the worse."""
    return (known.family["knowledge"] < unknown.family["knowledge"] == 2 and
            (known.family["fault"] == "chipped tooth" or known.nats > 0.6 * unknown.nats))


def better(one, other):
    """By how much one is the better single explanation of what both explain."""
    fewer_missing = 0.55 * (one.nats - other.nats)
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


def allow_for_turning(candidates):
    """A worn machine sounds at its turns, as a sound one does, but loud."""
    for c in candidates:
        if c.family["fault"] == "worn machine" and c.nats > 0:
            c.nats = max(0, c.nats - 8)


def let_machines_explain(candidates):
    """Healthy ones, with the benefit of the doubt."""
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


def let_suspects_explain(candidates):
    """One is taken for the cause. Any other stands in its place, as far as it is not the worse explanation, or as a
    second fault by what is left of it."""
    suspects = [c for c in strong(candidates, False) if c.family["part"]]
    if not suspects:
        return None
    winner = suspects[0]
    for suspect in suspects[1:8]:
        if better(suspect, winner) > 0:
            winner = suspect
    cause = tempered(winner.nats)
    others = [c for c in suspects if c is not winner]
    judgements = [(as_second(tempered(min(c.nats, left(c, winner))), cause),
                   min(tempered(c.nats), cause - max(0, better(winner, c)))) for c in others]
    winner.nats = cause
    for c, (second, in_its_place) in zip(others, judgements):
        c.nats = max(second, in_its_place)
        c.behind = cause - in_its_place if in_its_place >= second else 0.0
    return winner


def let_unlisted_explain(candidates, winner):
    """A comb that may lie anywhere has to be clearly the better explanation; then it takes from all suspects."""
    unlisted = next(c for c in candidates if not c.family["part"])
    own = tempered(unlisted.nats)
    if not winner or own <= 0:
        unlisted.nats = own
        return
    cause, rest = winner.nats, left(unlisted, winner)
    advantage = -6 if rest < 2 else 0.5 * (unlisted.nats - winner.alone) - 6
    unlisted.nats = max(as_second(tempered(rest), cause), min(own, cause + advantage))
    if advantage > 0:
        for c in candidates:
            if c is not unlisted and not c.family["healthy"]:
                c.nats = min(c.nats, max(0, c.nats - advantage))


def let_knock_explain_tyres(candidates, winner):
    """A tooth of the crown wheel knocks once per turn of the wheels, where a tyre thumps."""
    if (winner and winner.family["fault"] == "chipped tooth" and winner.nats >= 10 and
            abs(winner.family["fundamental"] - 1) <= 0.006):
        for c in candidates:
            if c.family["kind"] == "tyre":
                c.level = min(c.level, 0)


def explain_away(candidates):
    allow_for_turning(candidates)
    let_machines_explain(candidates)
    winner = let_suspects_explain(candidates)
    let_unlisted_explain(candidates, winner)
    let_knock_explain_tyres(candidates, winner)
