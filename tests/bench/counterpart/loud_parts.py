"""Parts loud enough to be taken for the engine or the gears, which leads to a wrong speed; src/speed/loud_parts.cpp."""
import numpy as np

from .search import line

VISIBLE = 0.35  # share of their overtones that stand out
AUDIBLE, BETTER, KNOCK_BETTER = -2.0, 4.0, 20.0  # nats a second
SLIP_STEP = 0.002
TYRES = 1 + SLIP_STEP * np.arange(-3, 4)  # turns that one tyre may make for one of the mean wheel


def turns_of(order, overtones):
    return order * np.arange(1, overtones + 1)


def lines_at(orders, source):
    return [line(order, VISIBLE, source) for order in orders]


def most_telling(search, known, possible, source, better):
    """Of several sets of turns the one that explains most beside what is known; none if not better by so much."""
    chosen = []
    best = search.evidence(known) + better if possible else 0
    for orders in possible:
        lines = lines_at(orders, source)
        evidence = search.evidence(known + lines)
        if evidence > best:
            best, chosen = evidence, lines
    return chosen


def audible(search, orders, low=0.0, high=0.0):
    return search.most_votes(orders, VISIBLE, low, high) >= AUDIBLE


def add_loud_machines(search, gear):
    """Each at the slip of its belt that fits best."""
    gear.machines_heard = []
    for order, low, high in gear.machines:
        possible = []
        if audible(search, turns_of(order, 24), low, high):
            possible = [turns_of(order * (1 + slip), 24) for slip in np.arange(low, high + 1e-9, SLIP_STEP)]
        lines = most_telling(search, gear.lines, possible, "machine", BETTER)
        gear.machines_heard += [lines[0].order] if lines else []
        gear.lines = gear.lines + lines


def add_loud_knock(search, gear):
    """Of what may strike once a turn: the engine (in two turns), every tooth as it comes into mesh, every tyre, and the
    machines heard."""
    orders = [0.5 * gear.engine_per_wheel] if gear.engine_per_wheel else []
    for order in gear.teeth:
        if not any(abs(other - order) < 1e-4 * order for other in orders):
            orders.append(order)
    possible = [turns_of(order, 80) for order in orders] + [turns_of(turn, 40) for turn in TYRES]
    possible += [turns_of(order, 80) for order in gear.machines_heard]
    possible = [turns for turns in possible if audible(search, turns)]
    lines = most_telling(search, gear.lines, possible, "knock", KNOCK_BETTER)
    gear.knock = lines[0].order if lines else None
    gear.lines = gear.lines + lines
