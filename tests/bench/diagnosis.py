#!/usr/bin/env python3
"""The full diagnosis of one run in gear at steady speed as one would usually write it with SciPy: the mathematics of
`gearhark diagnose`, step by step (counterpart/), vectorised where that comes naturally, in double precision. Prints
seconds of processor time per stage and what was found as JSON.

    diagnosis.py CATALOGUE.json RECORDING      CATALOGUE.json: what bench_catalogue printed

The car's lines, the families of its faults, their visibility and the ranking's weights come from the catalogue, whose
time is not counted. So that the script does less than the program and not more, these are left out: the choice between
two channels (a second pass of decoding), sentences on quality, the search for loud machines and knocks, an idling engine, an
open clutch or a changing speed, whether a dry joint's odd turns stand by themselves, the lines shown of the first
suspects, the next run, all words. Simpler: sounds are brought to other rates by resample_poly and read between samples
by cubics, where gearhark has longer filters; moving averages do not shrink at the ends."""
import json
import sys
from contextlib import contextmanager

from scipy import signal

from counterpart.evidence import RATE, Envelopes, Tones, band_spectra
from counterpart.quality import quality_of
from counterpart.ranking import explain_away, judged, ranked
from counterpart.speed import tracked
from usual import decode, spent

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
        rate, x = decode(sys.argv[2])
    with stage("quality"):
        quality = quality_of(x, rate)
    with stage("tracking"):
        angle = tracked(x, rate, catalogue)
        track = angle.track
    with stage("to 16 kHz"):
        slow = signal.resample_poly(x, RATE, rate)
    with stage("band envelopes"):
        levels = band_spectra(slow, track, min(7600, 1.05 * quality["bandwidth_hz"], 0.475 * rate))
    with stage("order spectrum"):
        tones = Tones(slow, track)
    with stage("groups of bands"):
        kinds = [Envelopes(levels, catalogue["masked"][kind], lowest)
                 for kind, lowest in (("slipping", 1.35), ("locked", 0.2))]
    with stage("evidence"):
        candidates = judged(catalogue, kinds, tones)
        explain_away(candidates)
    with stage("ranking"):
        no_fault, unexplained, parts = ranked(candidates)
    whole = spent() - start
    found = {**quality, "wheel_hz": track.mean_rate, "speed_found": angle.certainty,
             "no_fault": no_fault, "unexplained": unexplained,
             "parts": [{"part": c.family["part"], "fault": c.family["fault"], "probability": p} for c, p in parts],
             "candidates": [{"part": c.family["part"], "fault": c.family["fault"], "alone": c.alone, "slip": c.slip,
                             "level": c.level, "log_factor": c.nats} for c in candidates]}
    print(json.dumps({"whole": whole, "pipeline": TIMES, "found": found}))


if __name__ == "__main__":
    main()
