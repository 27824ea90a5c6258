"""The run that is expected to tell the suspects apart best; src/diagnosis/next_run.cpp, outcomes.cpp."""
from types import SimpleNamespace

import numpy as np

from .combs import comb_of

FULL_EVIDENCE = 4.0  # standard deviations by which a plain fault raises its own evidence where it is loudest
ACCURACY = 0.002  # relative, to which a line's place is known
COMFORTABLE = 60 / 3.6  # m/s
LOWEST = {"slipping": 1.35, "locked": 0.2}  # order


def hypotheses_of(parts):
    """The first suspects; what shares a place because these runs can't part it, a next run may part."""
    out = []
    for c in parts[:8]:
        for part in [c.family["part"]] + c.cannot_be_told_from:
            out.append((part, c.family["fault"], c.probability / (1 + len(c.cannot_be_told_from))))
    return out


def phone_picks_up(hz):
    return hz ** 2 / (hz ** 2 + 150 ** 2)


def orders_of(family, bend):
    """Fundamental, modulation and the reference they are orders of; None: it does not turn with one alone."""
    wheel, engine, bent = family["base"]
    if engine and not wheel:
        return abs(engine), abs(family["modulation"][1]), "engine"
    fundamental = abs(wheel + bent * bend)
    if not wheel or engine or fundamental <= 0:
        return None
    return fundamental, abs(family["modulation"][0] + family["modulation"][2] * bend), "wheel"


def clear_share(low, high, masks, wider):
    """Of every stretch of orders the share that no mask covers, each so much wider to both sides."""
    half = masks[:, 0] * masks[:, 1] + wider
    covered = np.minimum(high[:, None], masks[:, 0] + half) - np.maximum(low[:, None], masks[:, 0] - half)
    narrow = high - low < 1e-6
    hidden = np.where(covered >= 0, np.where(narrow[:, None], np.inf, covered), 0).sum(axis=1)
    return np.maximum(0, 1 - hidden / np.maximum(1e-6, high - low))


def events_lines(family, fundamental, on, state, run):
    harmonic, side, presence, _ = comb_of({**family, "modulation": 0}).T
    main = (side == 0) & (harmonic > 0)
    orders, shares = harmonic[main] * fundamental, presence[main]
    kind = "locked" if family["fault"] in ("chipped tooth", "dry joint") else "slipping"
    high = orders * family["high"]
    wider = 2.5 / max(1, run["wheel_hz"] * run["duration_s"])
    clear = clear_share(orders * family["low"], high, np.array(state["masked"][on][kind]).reshape(-1, 2), wider)
    return orders, shares, np.where(high < LOWEST[kind], 0, clear)


def mesh_lines(family, fundamental, modulation, run):
    if not family["loaded"]:
        return np.zeros((3, 0))
    orders = np.add.outer(np.arange(1, 5) * fundamental, modulation * np.array([-2, -1, 1, 2])).ravel()
    hz = orders * run["wheel_hz"]
    return orders, np.ones(len(orders)), np.where(hz > 6500, 0, phone_picks_up(hz))


def joint_lines(family, fundamental, state, run):
    twice = fundamental if family["fault"] == "worn joint" else 2 * fundamental
    known = np.array(state["half_orders"] or [np.inf])
    hidden = np.abs(known - twice).min() < 0.12
    return np.array([twice]), np.ones(1), np.array([0 if hidden else phone_picks_up(twice * run["wheel_hz"])])


def tyre_lines(fundamental, run):
    orders = np.arange(8, 49, 8) * fundamental
    return orders, np.ones(len(orders)), phone_picks_up(orders * run["wheel_hz"])


def worth_of_search(family):
    """A wide search finds something anywhere: what it finds is worth less by the logarithm of its size."""
    places = max(1, np.log(family["high"] / family["low"]) / (2 * ACCURACY))
    return np.sqrt(max(1, FULL_EVIDENCE ** 2 - 2 * np.log(places))) / FULL_EVIDENCE


SILENT = SimpleNamespace(strength=0.0, kind=None, on=None, low=np.zeros(0), high=np.zeros(0), share=np.zeros(0),
                         clear=np.zeros(0))


def heard_fault(family, state, run):
    """A fault as it would be heard in a run: how strong, and its lines from low to high, each with its share of the
    comb's evidence and how clear it is of a sound car's lines, over the mean."""
    at = orders_of(family, run["bend"]) if family else None
    if not at:
        return SILENT
    fundamental, modulation, on = at
    kind = family["kind"]
    orders, share, clear = (events_lines(family, fundamental, on, state, run) if kind == "events" else
                            mesh_lines(family, fundamental, modulation, run) if kind == "mesh" else
                            joint_lines(family, fundamental, state, run) if kind == "joint" else
                            tyre_lines(fundamental, run))
    mean = (share * clear).sum() / share.sum() if share.sum() > 0 else 0
    if mean > 0:
        share, clear = share / share.sum(), clear / mean
    strength = (FULL_EVIDENCE * mean * family["visible"][f"{run['load']}, {run['turn']}"] * worth_of_search(family) *
                np.sqrt(run["duration_s"] / 30))
    return SimpleNamespace(strength=strength, kind=kind, on=on, low=orders * family["low"],
                           high=orders * family["high"], share=share, clear=clear)


def raised(heard):
    """How much of a suspect's evidence a true fault raises, [truth, suspect]: 1 all of it."""
    most = max(len(h.low) for h in heard)

    def table(name, filling):
        return np.array([np.pad(getattr(h, name), (0, most - len(h.low)), constant_values=filling) for h in heard])

    low, high, share, clear = table("low", 1e9), table("high", -1e9), table("share", 0), table("clear", 0)
    of_truth, of_suspect = np.s_[:, None, :, None], np.s_[None, :, None, :]
    to = np.minimum(high[of_truth], high[of_suspect] * (1 + ACCURACY))
    overlap = to - np.maximum(low[of_truth], low[of_suspect] * (1 - ACCURACY))
    width = (high - low)[of_truth]
    part = np.where(width < ACCURACY * low[of_truth], 1, np.minimum(1, overlap / np.maximum(width, 1e-9)))
    made = clear[of_truth] * np.minimum(share[of_truth], share[of_suspect]) * np.where(overlap < 0, 0, part)
    alike = np.array([[a.kind == b.kind and a.on == b.on and a.kind is not None for b in heard] for a in heard])
    return np.minimum(1, made.max(axis=2).sum(axis=2)) * alike if most else np.zeros(alike.shape)


def collision(share, strength, hypotheses):
    """Chance that the run shows alike what two likely parts would show."""
    weight = np.array([p for _, _, p in hypotheses])
    other = np.array([[a[0] != b[0] for b in hypotheses] for a in hypotheses])
    heard = (strength[:, None] > 0) & (strength > 0) & other
    loud = np.minimum(strength[:, None], strength) / np.maximum(np.maximum(strength[:, None], strength), 1e-300)
    likely = np.minimum(1, weight / weight[:, None])
    most = (likely * loud * np.minimum(share, share.T) * heard).max(axis=1)
    return (weight * most).sum() / weight.sum()


def confusable(products):
    """Chance, roughly, of taking one for the other, whatever within reason their loudness; of many runs at once."""
    square = np.einsum("rii->ri", products)
    own, others = square[:, :, None], square[:, None, :]
    scale = np.where(others > 0, np.clip(products / np.where(others > 0, others, 1), 0.5, 2), 1)
    apart = np.maximum(0, own - 2 * scale * products + scale ** 2 * others)
    out = np.exp(-np.minimum(apart, apart.transpose(0, 2, 1)) / 8)
    out[:, np.arange(out.shape[1]), np.arange(out.shape[1])] = 1
    return out


def information(alike, weight, members):
    share = weight[members] / weight[members].sum()
    if weight[members].sum() < 1e-6:
        return np.zeros(len(alike))
    return np.maximum(0, -np.log(alike[:, members][:, :, members] @ share) @ share)


def entropy_drops(products, hypotheses):
    """Of many runs, nats, of the question which part it is (which fault of it does not count)."""
    weight = np.array([p for _, _, p in hypotheses])
    weight = np.append(weight, max(1 - weight.sum(), 1e-6))
    alike = confusable(products)
    drop = information(alike, weight, np.arange(len(weight)))
    for part in {part for part, _, _ in hypotheses}:
        members = np.array([i for i, (other, _, _) in enumerate(hypotheses) if other == part])
        drop = drop - weight[members].sum() * information(alike, weight, members)
    return np.maximum(0, drop)


def next_run(feasible, parts):
    """The one of the largest expected drop in entropy at a handy speed; None: none is worth the petrol."""
    hypotheses, products, appeal = hypotheses_of(parts), [], []
    for run in feasible["runs"]:
        state = feasible["states"][run["state"]]
        heard = [heard_fault(state["families"].get(f"{part}, {fault}"), state, run) for part, fault, _ in hypotheses]
        strength, share = np.array([h.strength for h in heard]), raised(heard)
        evidence = np.pad(strength[:, None] * share, (0, 1))  # "no fault" raises nothing
        products.append(evidence @ evidence.T)
        off = abs(run["speed_mps"] / COMFORTABLE - 1)
        appeal.append(max(0.05, 1 - 0.2 * off) * max(0.05, 1 - collision(share, strength, hypotheses)))
    drops = entropy_drops(np.array(products), hypotheses)
    best = int(np.argmax(drops * appeal))
    return {**feasible["runs"][best], "entropy_drop": drops[best]} if drops[best] >= 0.02 else None
