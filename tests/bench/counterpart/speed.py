"""The wheel's angle from the lines of the car in the gear that fits best; src/speed/tracking.cpp."""
from types import SimpleNamespace

from .engine_alone import doubted, engine_unheard, open_clutch
from .loud_parts import add_loud_knock, add_loud_machines
from .search import Search, line, prior
from .track import Sound, even


def gear_of(described):
    """As the catalogue has it."""
    lines = {name: [line(*one) for one in described[name]] for name in ("lines", "road_apart", "engine_apart")}
    return SimpleNamespace(**{**described, **lines})


def mistaken_for(gears, stated):
    """A hand on the lever mistakes it for the next position."""
    return [g for g in gears if g is not stated and abs(g.position - stated.position) <= 1]


def best_gear(search, gears, stated):
    """The stated one unless another is clearly better."""
    add_loud_machines(search, stated)
    add_loud_knock(search, stated)
    stated.found = search.find(stated.lines)
    stated.evidence = stated.found.evidence
    best = stated
    for other in mistaken_for(gears, stated):
        other.machines_heard = []
        if stated.machines_heard:
            add_loud_machines(search, other)
        add_loud_knock(search, other)
        other.evidence = search.evidence(other.lines)
        if other.evidence <= stated.evidence + 5:
            continue
        other.found = search.find(other.lines)
        if (other.found.lead > stated.found.lead + 5 and
                other.evidence + other.found.lead > best.evidence + best.found.lead):
            best = other
    return best


def tracked(x, rate, catalogue):
    """track: of the wheel; engine: its own, where it turned apart from the road; looks: what was tried."""
    gears = [gear_of(described) for described in catalogue["gears"]]
    nominal = even(catalogue["wheel_hz"], len(x) / rate)
    search = Search(Sound(x, rate), prior(nominal, -0.04, 0.04, -0.14, 0.065))  # of what a needle shows
    gear = best_gear(search, gears, next(g for g in gears if g.gear == catalogue["gear"]))
    out = SimpleNamespace(track=gear.found.track, engine=None, road=None, gear=gear.gear)
    out.certainty, out.idle = doubted(gear.found, gear, nominal)
    if gear.found.certainty == "lost" or out.idle or out.certainty != "lost" and engine_unheard(gear.found, gear):
        out.road, engine = open_clutch(search, gear.found, gear, catalogue["load"], out.idle)
        if engine:
            out.track, out.engine, out.certainty = out.road.track, engine.track, out.road.certainty
    out.gears = [g for g in gears if hasattr(g, "evidence")]
    return out


def looks_of(angle, stated):
    """What was tried on the way, as bench_catalogue tells it of gearhark."""
    found = next(g.found for g in angle.gears if g.gear == stated)
    road = angle.road if angle.gear == stated else None
    apart = {"road": road.certainty} if road else {}
    if road and hasattr(road, "engine_rival"):
        apart["engine_rival_per_s"] = road.engine_rival
    return {"gears": [{"gear": g.gear, "nats_per_s": g.evidence, "machines": g.machines_heard, "knock": g.knock}
                      for g in angle.gears],
            "rival_per_s": found.rival, "lead_per_s": found.lead, "gear_margin": found.gear_margin,
            "road_margin": found.road_margin, "idle_hz": angle.idle, "apart": apart}
