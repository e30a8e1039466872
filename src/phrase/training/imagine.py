"""Imagined performances straight from notes, without sound: remarks and places.

    imagine.py --tunes tunes.json --seed 1 --count 1200 --out imagined_1.npz

Each performance starts anywhere in a tune and is 176 beats long.  Notes become
semitone power in sixteenths of a beat: partials of an invented timbre through
the engine's window and semitone bands, decay, backing chords, a room, noise and
fluctuation; then means over quarters of beats, as the engine has them.  The
likeness of beats that repeat and of beats that do not comes out as on rendered
recordings (mean and spread within 0.06).  `tunes.json` comes from
`hear/training/make_training.py tunes`, `band.py` lies beside that.
"""

import argparse
import json
import sys
from pathlib import Path

import numpy as np
from scipy.signal import lfilter


sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "hear" / "training"))
import band  # noqa: E402
from remarks import PITCHES as P, remarks  # noqa: E402

SUB = 16  # steps of a beat
SR = 44100
N = 2048


def sine_table():
    """Semitone magnitudes (as the engine's) of a sine of each MIDI pitch."""
    n = np.arange(N)
    w = np.hanning(N + 1)[:N]
    g = 2 / w.sum()
    bw = SR / N
    bins = np.arange(N // 2 + 1) * bw
    semi = 2 ** (1 / 12)
    W = np.zeros((P, len(bins)))
    for i in range(P):
        c = 220 * semi**i
        lo, hi = min(c / semi, c - bw), max(c * semi, c + bw)
        W[i] = np.where(bins <= c, (bins - lo) / (c - lo), (hi - bins) / (hi - c)).clip(0)
        W[i] /= W[i].sum()
    T = np.zeros((140, P))
    for p in range(16, 140):
        f = 440 * 2 ** ((p - 69) / 12)
        if f > 9000:
            continue
        x = np.sin(2 * np.pi * f * n / SR + 0.7) * w * g
        T[p] = W @ np.abs(np.fft.rfft(x))
    return T


T2 = (sine_table() ** 2).astype(np.float32)
H = 12
HP = np.round(12 * np.log2(np.arange(1, H + 1))).astype(int)


def timbre(rng):
    """Semitone power of a note of each MIDI pitch, for an instrument of its own."""
    a = np.exp(-rng.uniform(0.15, 1.0) * np.arange(H)) * np.exp(rng.normal(0, 0.6, H))
    if rng.random() < 0.2:
        a[1::2] *= 0.3
    b = np.zeros((128, P), np.float32)
    form = np.exp(0.5 * np.interp(np.arange(140), np.linspace(20, 139, 9), rng.normal(0, 1, 9)))
    for p in range(20, 127):
        for h in range(H):
            q = p + HP[h]
            if q < 140:
                b[p] += (a[h] * form[q]) ** 2 * T2[q]
    return b


def sustain(rng):
    """Decay of power over a step; 1 holds."""
    return 1.0 if rng.random() < 0.6 else float(np.exp(-2 / (SUB * rng.uniform(0.3, 2.5))))


def melody(rng, E, tune, shift, start, n, tb, dec, amp, vary, drop, orn, lag, rest):
    """Adds beats `start`..`start`+`n` of `tune` to the power `E`, from its first row on."""
    for on, off, p in tune["notes"]:
        if off <= start or on >= start + n:
            continue
        if drop and rng.random() < drop:
            continue
        q = p + shift
        if vary and rng.random() < vary:
            q += int(rng.choice([-12, -2, 2, 3, 5, 12]))
        a = (on - start + lag + rng.normal(0, 0.02)) * SUB
        b = a + (off - on) * SUB * rest
        i, j = max(int(round(a)), 0), int(round(b))
        j = min(max(j, i + 1), len(E))
        if i >= len(E):
            continue
        q = min(max(q, 20), 126)
        g = (amp * np.exp(rng.normal(0, 0.15))) ** 2
        row = tb[q] * g
        if orn and rng.random() < orn and j - i > 2:
            E[i : i + 1] += tb[min(q + 2, 126)] * g
            i += 1
        if dec == 1.0:
            E[i:j] += row
        else:
            E[i : min(j + SUB // 2, len(E))] += (dec ** np.arange(min(j + SUB // 2, len(E)) - i))[:, None] * row * 2


def perform(rng, pool, K):
    """`K` beats of a performance from anywhere in a tune: magnitudes by quarters, and places."""
    kind = str(rng.choice(["reel", "jig", "hornpipe"], p=[0.42, 0.42, 0.16]))

    def pick():
        st = pool[kind]
        if rng.random() < 0.15:
            return band.invent_tune(rng, kind)
        t = st[rng.integers(len(st))]
        return band.hybrid(rng, t, st[rng.integers(len(st))]) if rng.random() < 0.5 else t

    s0 = int(rng.integers(64))
    # Runs (first beat, its place, beats, tune, shift); now and then the band slips.
    slips = 0.25 if rng.random() < 0.4 else 0.0
    runs = []
    k = 0
    pl = s0
    tune = pick()
    sh = int(rng.integers(-6, 7))
    left = int(rng.integers(1, 4)) if rng.random() < 0.35 else 99
    while k < K:
        n = min(64 - pl, K - k)
        cut = rng.random() < slips
        if cut:
            n = min(n, int(rng.integers(4, 64)))
            runs.append((k, pl, n, tune, sh))
            k += n
            pl = (pl + n + int(rng.choice([-8, -4, -2, -2, -1, 1, 2, 2, 4, 8]))) % 64
            continue
        runs.append((k, pl, n, tune, sh))
        k += n
        pl = 0
        left -= 1
        if left == 0:
            tune = pick()
            sh = int(rng.integers(-6, 7))
            left = 99
    E = np.zeros((K * SUB, P), np.float32)
    jig = kind == "jig"
    bpm = rng.uniform(95, 130)
    sec = 60 / bpm / SUB
    players = 1 + (rng.random() < 0.35)
    vary = rng.choice([0, rng.uniform(0, 0.1)])
    for v in range(players):
        tb = timbre(rng)
        dec = sustain(rng)
        octv = int(rng.choice([-12, 0, 0, 0, 12]))
        amp = 1.0 if v == 0 else 10 ** (-rng.uniform(0, 15) / 20)
        drop = rng.choice([0, 0, rng.uniform(0, 0.12)])
        orn = rng.choice([0, 0, rng.uniform(0, 0.2)])
        lag = rng.normal(0, 0.03)
        rest = rng.uniform(0.75, 1)
        for k, pl, n, tune, sh in runs:
            melody(rng, E[k * SUB : (k + n) * SUB], tune, sh + octv, pl, n, tb, dec, amp, vary, drop, orn, lag, rest)
    ref = np.mean(E) + 1e-12
    if rng.random() < 0.65:
        B = np.zeros_like(E)
        tb = timbre(rng)
        tc = timbre(rng)
        dec = float(np.exp(-2 / (SUB * rng.uniform(0.3, 1.5))))
        off = 2 / 3 if jig else 0.5
        bassonly = rng.random() < 0.1
        habit = rng.random()
        cache = {}
        for k, pl, n, tune, sh in runs:
            key = (id(tune), sh)
            if key not in cache:
                cache[key] = band.harmonise(rng, tune["notes"], int(rng.choice([2, 2, 2, 4])))[0]
            ch = cache[key]
            for i in range(n):
                root, th = ch[(pl + i) % 64]
                root = (root + sh) % 12
                low = 36 + root % 12 + (0 if (pl + i) % 2 == 0 else int(rng.choice([0, 7, 7])))
                mid = 50 + (root - 50) % 12

                def put(pos, notes, t, a, ln):
                    x = int(round((k + i + pos + rng.normal(0, 0.015)) * SUB))
                    x = max(x, 0)
                    y = min(x + int(ln * SUB), len(B))
                    if y <= x:
                        return
                    r = sum(t[q] for q in notes) * (a * np.exp(rng.normal(0, 0.12))) ** 2
                    B[x:y] += (dec ** np.arange(y - x))[:, None] * r

                put(0, (low, low + 12), tb, 1.4, 0.7)
                if not bassonly:
                    put(off, (mid, mid + th, mid + 7, mid + 12), tc, 0.7, 0.5)
                    if habit < 0.4:
                        put(0, (mid, mid + th, mid + 7), tc, 0.5, 0.5)
        E += B * (ref / (B.mean() + 1e-12) * 10 ** (rng.uniform(-14, 5) / 10))
    if rng.random() < 0.08:
        q = int(rng.integers(43, 62))
        t = timbre(rng)
        r = t[q] + t[q + 7]
        E += r * (ref / (r.mean() + 1e-12) * 10 ** (rng.uniform(-15, -2) / 10))
    # room
    if rng.random() < 0.6:
        rt = rng.uniform(0.2, 1.8)
        a = float(np.exp(-13.8 * sec / rt))
        wet = 10 ** (rng.uniform(-15, 2) / 10)
        R = lfilter([1 - a], [1, -a], E, axis=0)
        E = E + wet * R.astype(np.float32)
    col = np.exp(rng.uniform(0, 0.6) * np.interp(np.arange(P), np.linspace(0, P - 1, 6), rng.normal(0, 1, 6)))
    E *= col**2
    fl = np.exp(rng.uniform(-0.06, 0.02) * np.arange(P))
    fl /= fl.mean()
    E += (
        E.mean()
        * 10 ** (-rng.uniform(6, 35) / 10)
        * fl
        * np.exp(rng.normal(0, 0.3, (len(E), 1)))
        * rng.gamma(2.0, 0.5, E.shape)
    )
    E *= np.exp(rng.normal(0, rng.uniform(0.1, 0.5), E.shape)).astype(np.float32)
    m = np.sqrt(E).reshape(K, 4, SUB // 4, P).mean(2).astype(np.float32) * 10 ** rng.uniform(-3, -1)
    place = np.concatenate([pl + np.arange(n) for _, pl, n, _, _ in runs]) % 64
    return m, place


def main():
    args = argparse.ArgumentParser()
    args.add_argument("--tunes", required=True)
    args.add_argument("--seed", type=int, required=True)
    args.add_argument("--count", type=int, default=1200)
    args.add_argument("--out", required=True)
    a = args.parse_args()
    rng, pool = np.random.default_rng(a.seed), {}
    for tune in json.loads(Path(a.tunes).read_text()):
        pool.setdefault(tune["kind"], []).append(tune)
    X, Y = [], []
    for _ in range(a.count):
        m, place = perform(rng, pool, 176)
        X.append(remarks(m).astype(np.float16))
        Y.append(place)
    np.savez(a.out, X=np.stack(X), Y=np.stack(Y))


if __name__ == "__main__":
    main()
