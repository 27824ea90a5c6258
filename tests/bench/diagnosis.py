#!/usr/bin/env python3
"""The full diagnosis of one run in gear at steady speed as one would usually write it with SciPy: the mathematics of
`gearhark diagnose`, step by step (counterpart/), vectorised where that comes naturally, in double precision. Prints
seconds of processor time per stage and what was found as JSON.

    diagnosis.py CATALOGUE.json RECORDING      CATALOGUE.json: what bench_catalogue printed

What comes from the car file is read from the catalogue, whose time is not counted: the car's lines, the families of its
faults, their visibility, the ranking's weights, and the runs that might be next. Thereby reading the car file and solving
its driveline are left out, some 2 % of what gearhark does. Left out as well: sentences on quality and all other words; a
second search where nothing steady was found, as the speed changed (not made on the benchmark's sound); evidence per turn
of an engine that was found apart from the road (the script says so and ends). A file of two channels is decoded once and
held, where gearhark decodes it twice; the benchmark's has one."""
import json
import sys
from contextlib import contextmanager

from counterpart.candidates import explain_away, judged
from counterpart.channels import decoded
from counterpart.envelopes import RATE, Envelopes, band_spectra
from counterpart.lines import lines_of
from counterpart.next_run import next_run
from counterpart.quality import quality_of
from counterpart.ranking import ranked
from counterpart.resampling import resampled
from counterpart.speed import looks_of, tracked
from counterpart.tones import Tones
from usual import spent

TIMES = {}


@contextmanager
def stage(name):
    start = spent()
    yield
    TIMES[name] = spent() - start


def main():
    with open(sys.argv[1]) as file:
        catalogue = json.load(file)
    start = spent()
    with stage("decode"):
        rate, x = decoded(sys.argv[2])
    with stage("quality"):
        quality = quality_of(x, rate)
    with stage("tracking"):
        angle = tracked(x, rate, catalogue)
    if angle.engine:
        sys.exit("diagnosis.py: the engine turned apart from the road, and evidence per engine turn was not ported")
    with stage("to 16 kHz"):
        slow = resampled(x, rate, RATE)
    with stage("band envelopes"):
        levels = band_spectra(slow, angle.track, min(7600, 1.05 * quality["bandwidth_hz"], 0.475 * rate))
    with stage("order spectrum"):
        tones = Tones(slow, angle.track)
    with stage("groups of bands"):
        kinds = [Envelopes(levels, catalogue["masked"][kind], lowest)
                 for kind, lowest in (("slipping", 1.35), ("locked", 0.2))]
    with stage("evidence"):
        candidates = judged(catalogue, kinds, tones)
        explain_away(candidates)
    with stage("ranking"):
        no_fault, unexplained, parts = ranked(candidates)
    with stage("lines shown"):
        shown = [lines_of(c, tones) for c in parts[:3]]
    with stage("next run"):
        following = next_run(catalogue["next"], parts)
    whole = spent() - start
    shown += [[]] * (len(parts) - len(shown))
    found = {**quality, "wheel_hz": angle.track.mean_rate, "gear": angle.gear, "speed_found": angle.certainty,
             "looks": looks_of(angle, catalogue["gear"]), "no_fault": no_fault, "unexplained": unexplained,
             "parts": [{"part": c.family["part"], "fault": c.family["fault"], "probability": c.probability,
                        "cannot_be_told_from": c.cannot_be_told_from, "lines": lines}
                       for c, lines in zip(parts, shown)],
             "next_run": following,
             "candidates": [{"part": c.family["part"], "fault": c.family["fault"], "alone": c.alone, "slip": c.slip,
                             "level": c.level, "log_factor": c.nats} for c in candidates]}
    print(json.dumps({"whole": whole, "pipeline": TIMES, "found": found}))


if __name__ == "__main__":
    main()
