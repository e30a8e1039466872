#!/usr/bin/env python3
"""Score trained nets on corpus folders (WAV + JSON) with a simple causal decoder.

    evaluate.py --features BIN --weights a.pt --weights b.pt --corpus DIR [--corpus DIR]

`peak`: F-measure (70 ms) of picked peaks of the beat output, times corrected by the
delay.  `bar`: F-measure of beats announced at least 60 ms ahead by a bar-pointer
filter over 88-144 steps a minute (Whiteley, Cemgil & Godsill 2006; state space as
in Krebs, Boeck & Widmer 2015).  Lead-in beats count as beats, as do tune beats.
"""
import argparse
import json
import subprocess
import tempfile
from pathlib import Path

import numpy as np
import torch

from train import EVENTS, PHASES, BeatNet

TEMPI = np.exp(np.linspace(np.log(86), np.log(146), 36))


def f_measure(truth, got, window=0.07):
    truth, got = np.asarray(truth), np.asarray(got)
    if not len(truth) or not len(got):
        return 0.0, []
    hits, j, errors = 0, 0, []
    for t in truth:
        while j < len(got) and got[j] < t - window:
            j += 1
        if j < len(got) and abs(got[j] - t) <= window:
            best = j
            while best + 1 < len(got) and abs(got[best + 1] - t) < abs(got[best] - t):
                best += 1
            errors.append(got[best] - t)
            hits += 1
            j = best + 1
    return 2 * hits / (len(truth) + len(got)), errors


def peaks(p, delay, threshold=0.25, apart=25):
    order, taken = np.argsort(-p), np.zeros(len(p), bool)
    out = []
    for n in order:
        if p[n] < threshold:
            break
        if not taken[max(0, n - apart):n + apart].any():
            taken[n] = True
            left, right = p[max(0, n - 1)], p[min(len(p) - 1, n + 1)]
            shift = 0.5 * (right - left) / max(1e-6, 2 * p[n] - left - right)
            out.append((n + shift + 1 - delay) / 100)
    return np.sort(out)


class BarPointer:
    """Forward filter over (tempo, place in the beat); announces beats ahead of time."""

    def __init__(self, power=1.0, use_phase=0.15, sharp=60.0, bins=60):
        self.sharp, self.power, self.use_phase = sharp, power, use_phase
        self.lengths = np.round(6000 / TEMPI).astype(int)
        self.starts = np.concatenate([[0], np.cumsum(self.lengths)])[:-1]
        self.n = self.lengths.sum()
        self.last = self.starts + self.lengths - 1
        self.place = np.concatenate([np.arange(k) / k for k in self.lengths])
        r = TEMPI[None] / TEMPI[:, None]
        m = np.exp(-sharp * np.abs(r - 1))
        self.move = m / m.sum(1, keepdims=True)
        prior = np.exp(-0.5 * (np.log(TEMPI / 115) / 0.12) ** 2)
        self.prior = prior / prior.sum()
        self.length_of = np.repeat(self.lengths, self.lengths)
        self.index = np.concatenate([np.arange(k) for k in self.lengths])

    def run(self, beat, none, phase, delay, ahead=0.07):
        """`beat`, `none` [n] probabilities, `phase` [n, PHASES] probabilities -> announced beat times."""
        L = self.length_of
        width = 2.0 / L                                          # beat zone: within 2 frames of the beat
        d = np.minimum(self.place, 1 - self.place)
        near = np.maximum(0, 1 - d / width)
        belief = np.repeat(self.prior, self.lengths) / L
        belief /= belief.sum()
        out, last_beat, pending = [], -9, []
        pbin = np.minimum(PHASES - 1, (self.place * PHASES)).astype(int)
        ahead_frames = int(round(ahead * 100)) + delay
        pulses = []
        for n in range(len(beat)):
            ends = belief[self.last]
            belief[1:] = belief[:-1]
            belief[self.starts] = ends @ self.move
            b = beat[n]
            obs = near * b + (1 - near) * (1 - b) * 0.5 + 0.01
            like = obs ** self.power
            if self.use_phase:
                like = like * (phase[n][pbin] * PHASES + 0.05) ** self.use_phase
            belief *= like
            belief /= belief.sum()
            # share of belief whose next beat lies `ahead_frames` away (2 frames wide)
            left = L - self.index
            pulse = belief[(left >= ahead_frames - 1) & (left <= ahead_frames + 1)].sum()
            pulses.append(pulse)
            t = (n + 1 - delay + ahead_frames) / 100
            if len(pulses) > 2 and pulses[-2] >= pulses[-1] and pulses[-2] > pulses[-3] and pulses[-2] > 0.15 \
                    and t - 0.01 - last_beat > 0.36 and none[n] < 0.6:
                out.append(t - 0.01)
                last_beat = t - 0.01
        return np.array(out)


def activations(model, x, delay):
    with torch.no_grad():
        y, _ = model(torch.from_numpy(x[None].astype(np.float32)))
    y = y[0]
    e = torch.sigmoid(y[:, :len(EVENTS)]).numpy()
    k = len(EVENTS)
    return e, torch.softmax(y[:, k:k + 3], 1).numpy(), torch.softmax(y[:, k + 3:k + 3 + PHASES], 1).numpy()


def main():
    ap = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    ap.add_argument("--features", required=True)
    ap.add_argument("--weights", action="append", required=True)
    ap.add_argument("--corpus", action="append", required=True)
    ap.add_argument("--detail", action="store_true")
    a = ap.parse_args()
    torch.set_num_threads(1)
    models = []
    for w in a.weights:
        s = torch.load(w, map_location="cpu")
        m = BeatNet(s["config"]["features"], s["config"]["front"], s["config"]["hidden"])
        m.load_state_dict(s["model"])
        models.append((w, m.eval(), s["config"]["delay"]))
    for corpus in a.corpus:
        rows = {w: [] for w, *_ in models}
        for meta in sorted(Path(corpus).glob("*.json")):
            truth = json.loads(meta.read_text())
            grid = np.array(truth["lead_in"] + truth["beats"])
            if len(grid) < 8:
                continue
            cached = meta.with_suffix(".npy")
            if cached.exists():
                x = np.load(cached).astype(np.float32)
            else:
                with tempfile.NamedTemporaryFile(suffix=".f32") as tmp:
                    subprocess.run([a.features, meta.with_suffix(".wav"), tmp.name], check=True, stdout=subprocess.DEVNULL)
                    x = np.fromfile(tmp.name, np.float32).reshape(-1, models[0][1].front.in_features)
                np.save(cached, x.astype(np.float16))
            for w, m, delay in models:
                e, mode, phase = activations(m, x, delay)
                pk = peaks(e[:, 0], delay)
                bar = BarPointer().run(e[:, 0], mode[:, 0], phase, delay)
                settle = grid[min(4, len(grid) - 1)]
                fp, _ = f_measure(grid, pk)
                fb, err = f_measure(grid[4:], bar[bar > settle - 0.07])
                mid = (grid[4:-1] + grid[5:]) / 2
                wrong = f_measure(mid, bar)[0]
                rows[w].append((fp, fb, wrong, np.abs(err), truth))
                if a.detail:
                    print(f"  {meta.stem:36s} {truth['condition']:6s} {truth.get('instrument', truth.get('voice')):17s} {truth['backup']:11s} peak {fp:.3f} bar {fb:.3f} off {wrong:.2f}")
        for w, *_ in models:
            r = rows[w]
            def mean(k, test=lambda t: True):
                v = [x[k] for x in r if test(x[4])]
                return np.mean(v) if v else np.nan
            err = np.concatenate([x[3] for x in r if len(x[3])] or [[np.nan]])
            line = f"{corpus} {Path(w).stem:16s} peak {mean(0):.3f} bar {mean(1):.3f}"
            for c in ("clean", "hall", "phone"):
                line += f" | {c} {mean(0, lambda t: t['condition'] == c):.3f} {mean(1, lambda t: t['condition'] == c):.3f}"
            line += f" | solo {mean(1, lambda t: t['backup'] == 'none'):.3f} jig {mean(1, lambda t: t['kind'] == 'jig'):.3f}"
            print(line + f" | p50 {np.nanmedian(err) * 1000:.0f} p95 {np.nanpercentile(err, 95) * 1000:.0f} ms")


if __name__ == "__main__":
    main()
