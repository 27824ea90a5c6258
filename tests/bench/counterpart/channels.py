"""A file decoded, and of several channels the one to hear, or their mean; src/recording/channels.cpp."""
import subprocess

import numpy as np
from scipy import signal


def decoded(path):
    facts = subprocess.run(["ffprobe", "-v", "error", "-select_streams", "a:0", "-show_entries",
                            "stream=sample_rate,channels", "-of", "csv=p=0", path], check=True, capture_output=True,
                           text=True).stdout
    rate, channels = (int(word) for word in facts.strip().strip(",").split(","))
    raw = subprocess.run(["ffmpeg", "-v", "error", "-i", path, "-f", "f32le", "-"], check=True,
                         capture_output=True).stdout
    sound = np.frombuffer(raw, dtype=np.float32).astype(float).reshape(-1, channels)
    return rate, sound[:, 0] if channels == 1 else sound @ weights_of(sound.T, rate)


def better(one, other, frames):
    """The first rule that tells two channels apart decides: silence, clipping, wind."""
    (low, high, clipped), (other_low, other_high, other_clipped) = one, other
    level, other_level = (np.sqrt((l + h) / frames) for l, h in ((low, high), (other_low, other_high)))
    if min(level, other_level) < 1e-4:
        return level >= 1e-4
    if abs(clipped - other_clipped) > 1e-4 * frames:
        return clipped < other_clipped
    return low * 4 < other_low and high * 4 > other_high


def weights_of(channels, rate):
    pole = 1 - np.exp(-2 * np.pi * 150 / rate)  # where wind ends
    low = signal.lfilter([pole], [1, pole - 1], channels)
    high, frames = channels - low, channels.shape[1]
    tallies = list(zip((low ** 2).sum(axis=1), (high ** 2).sum(axis=1), (np.abs(channels) >= 0.985).sum(axis=1)))
    best, told_apart = 0, False
    for c in range(1, len(channels)):
        if better(tallies[c], tallies[best], frames):
            best, told_apart = c, True
        else:
            told_apart |= better(tallies[best], tallies[c], frames)
    if told_apart:
        return np.eye(len(channels))[best]
    loudest = np.eye(len(channels))[np.argmax([h for _, h, _ in tallies])]
    if len(channels) > 2:
        return loudest
    alike = (high[0] @ high[1]) / max(np.sqrt(tallies[0][1] * tallies[1][1]), 1e-300)
    return np.array([1, 0]) if alike > 0.99999 else np.array([0.5, 0.5]) if alike >= 0.5 else loudest
