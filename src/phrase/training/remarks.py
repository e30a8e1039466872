"""Remarks on beats, as the engine's `phrase/repeat.rs` makes them.

A performance is an array of mean semitone magnitudes, beats x 4 quarters x 36
semitones from A3 up.  Order and scales of the remarks are documented there.
"""
import json
from pathlib import Path

import numpy as np

LAGS = list(range(1, 17)) + [20, 24, 28, 32, 40, 48, 56, 64, 80, 96, 112]
PITCHES, OCTAVE, PLACES = 36, 12, 64
REMARKS = len(LAGS) + 2 * OCTAVE + 2 + 4 + 4
WINDOW = 2048 / 44100


def unit(x):
    x = x - x.mean(-1, keepdims=True)
    return x / np.maximum(np.sqrt((x * x).sum(-1, keepdims=True)), 1e-6)


def describe(magnitudes):
    d = magnitudes.reshape(len(magnitudes), -1)
    return unit(np.log1p(4 * d / (d.mean(1, keepdims=True) + 1e-7)))


def remarks(magnitudes):
    m = magnitudes.astype(np.float32)
    beats, d = len(m), describe(m)
    like, at = d @ d.T, np.arange(beats)
    out, c = np.zeros((beats, REMARKS), np.float32), len(LAGS)
    lags, known = np.zeros((beats, c), np.float32), np.zeros((beats, c), np.float32)
    for j, lag in enumerate(LAGS):
        if lag < beats:
            lags[lag:, j], known[lag:, j] = like[at[lag:], at[:-lag]], 1
    mean = lags.sum(1, keepdims=True) / np.maximum(known.sum(1, keepdims=True), 1)
    out[:, :c] = 3 * (lags - mean) * known
    quarters = d.reshape(beats, 4, PITCHES)
    classes = lambda x: unit(x.reshape(*x.shape[:-1], 3, OCTAVE).sum(-2))
    beat, first = classes(quarters.sum(1)), classes(quarters[:, 0])
    moved = (np.arange(OCTAVE)[:, None] + np.arange(OCTAVE)) % OCTAVE
    key = np.zeros(OCTAVE, np.float32)
    steps = np.arange(PITCHES, dtype=np.float32)
    height = (m.sum(1) @ steps) / (m.sum((1, 2)) + 1e-9)
    opening = (m[:, 0] @ steps) / (m[:, 0].sum(1) + 1e-9)
    level = np.log(m.mean(2) + 1e-6)
    register = loudness = 0.0
    for k in range(beats):
        key = key + (beat[k] - key) * max(1 / (k + 1), 1 / 64)
        against = (key / max(np.sqrt((key * key).sum()), 1e-6))[moved]
        out[k, c:c + 12], out[k, c + 12:c + 24] = 2 * against @ beat[k], 2 * against @ first[k]
        register += (height[k] - register) * max(1 / (k + 1), 1 / 64)
        out[k, c + 24], out[k, c + 25] = (height[k] - register) / 3, (opening[k] - register) / 3
        loudness += (level[k].mean() - loudness) * max(1 / (k + 1), 1 / 32)
        out[k, c + 30:] = level[k] - loudness
    u = unit(quarters).reshape(beats * 4, PITCHES)
    change = np.ones(beats * 4, np.float32)
    change[1:] = (u[1:] * u[:-1]).sum(1)
    out[:, c + 26:c + 30] = 2 * change.reshape(beats, 4) - 1
    return np.clip(out, -4, 4)


def quarters(pitches, beats):
    """Means over quarters of beats (times, s) of a recording's frames (every 10 ms)."""
    t = (np.arange(len(pitches)) + 1) / 100 - 0.5 * WINDOW
    out = np.zeros((len(beats) - 1, 4, PITCHES), np.float32)
    for k, (a, b) in enumerate(zip(beats, beats[1:])):
        edges = np.searchsorted(t, a + (b - a) * np.arange(5) / 4)
        for s in range(4):
            if edges[s + 1] > edges[s]:
                out[k, s] = pitches[edges[s]:edges[s + 1]].mean(0)
    return out


def recording(truth):
    """(magnitudes, places) of NAME.json with its semitones NAME.p36; None where no tune is played.

    Places are counted from `first_beat_index`, or given beat by beat in `pos` (-1: none).
    """
    t = json.loads(truth.read_text())
    if len(t["beats"]) < 2 or not truth.with_suffix(".p36").exists():
        return None
    m = quarters(np.fromfile(truth.with_suffix(".p36"), np.float32).reshape(-1, PITCHES), t["beats"])
    return m, np.array(t["pos"][:len(m)]) if "pos" in t else (t["first_beat_index"] + np.arange(len(m))) % PLACES


def recordings(folder):
    """Each of a folder's recordings."""
    return filter(None, map(recording, sorted(Path(folder).glob("*.json"))))
