"""Turning events into sound, and sound into bad sound: synthesis, rooms, noises, channels.

Everything is mono float32 at 44.1 kHz.  Filters act on the whole signal's
spectrum at once: a few FFTs an item are far cheaper than time-domain filters,
and none of them may shift the music in time.
"""
import io
import subprocess
import tempfile
from pathlib import Path

import mido
import numpy as np
from scipy.fft import irfft, next_fast_len, rfft

SR = 44100
TMP = "/dev/shm" if Path("/dev/shm").is_dir() else None


def rms(x):
    return float(np.sqrt(np.mean(np.square(x), dtype=np.float64)) + 1e-9)


def active_rms(x):
    """Level of the parts where something sounds, so that a stem that mostly rests is not blown up."""
    blocks = np.sqrt(np.mean(x[:len(x) // 2205 * 2205].reshape(-1, 2205) ** 2, axis=1) + 1e-18)
    return float(np.sqrt(np.mean(blocks[blocks > 0.1 * blocks.max()] ** 2)))


def db(level):
    return 10 ** (level / 20)


# ------------------------------------------------------------------ synthesis

ATTACK_GENERATOR = 34                                     # attackVolEnv, SoundFont 2.04 specification, 8.1.3


def render_font(events, font, offset, length, soft=None):
    """Events [(channel, program, on, off, pitch, velocity)] through fluidsynth, `length` samples.

    `soft` maps a channel to timecents added to its notes' attack time (by NRPN, SoundFont 2.04, 9.6.3).
    """
    if not events:
        return np.zeros(length, np.float32)
    mid = mido.MidiFile(ticks_per_beat=10000)              # one second a quarter: 0.1 ms ticks
    track = mido.MidiTrack()
    mid.tracks.append(track)
    track.append(mido.MetaMessage("set_tempo", tempo=1000000, time=0))
    for ch, prog in sorted({(e[0], e[1]) for e in events}):
        track.append(mido.Message("program_change", channel=ch, program=prog, time=0))
    for ch, cents in (soft or {}).items():
        value = 8192 + cents // 2                          # this generator counts in twos
        for control, data in ((99, 120), (98, ATTACK_GENERATOR), (6, value >> 7), (38, value & 127)):
            track.append(mido.Message("control_change", channel=ch, control=control, value=data, time=0))
    msgs = []
    for ch, _, on, off, pitch, vel in events:
        msgs += [(round(on * 10000), 1, ch, pitch, vel), (round(off * 10000), 0, ch, pitch, 0)]
    now = 0
    for t, is_on, ch, pitch, vel in sorted(msgs):
        track.append(mido.Message("note_on" if is_on else "note_off", channel=ch, note=pitch, velocity=vel,
                                  time=max(0, t - now)))
        now = max(now, t)
    with tempfile.TemporaryDirectory(dir=TMP) as tmp:
        src, dst = Path(tmp, "p.mid"), Path(tmp, "p.raw")
        mid.save(src)
        subprocess.run(["fluidsynth", "-ni", "-q", "-g", "0.5", "-o", "synth.dynamic-sample-loading=1",
                        "-o", "synth.reverb.active=0", "-o", "synth.chorus.active=0",
                        "-o", "synth.polyphony=128", "-r", str(SR), "-O", "float", "-T", "raw", "-F", dst, font, src],
                       check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, timeout=40)
        x = np.fromfile(dst, np.float32).reshape(-1, 2).mean(1)
    skip = int(round(offset * SR))
    x = x[skip:skip + length] if skip >= 0 else np.concatenate([np.zeros(-skip, np.float32), x])[:length]
    return np.pad(x, (0, length - len(x)))


def render_synth(rng, events, length):
    """The same events on an instrument that exists in no sound font: random spectrum, attack and decay.

    Gives the net timbres without limit, so that it cannot learn the few sampled ones by heart.
    """
    out = np.zeros(length + SR, np.float32)
    tilt, odd = rng.uniform(0.6, 2.2), rng.random() < 0.3
    peaks = rng.uniform(400, 3500, 3)
    attack, plucked = rng.choice([0.003, 0.01, 0.03, 0.06]) * rng.uniform(0.7, 1.3), rng.random() < 0.4
    decay = rng.uniform(0.12, 0.9)
    vib_rate, vib = rng.uniform(4, 7), 0.0 if plucked else rng.uniform(0, 0.006)
    noise = rng.uniform(0, 0.6)
    burst = rng.normal(size=(8, 2200)).astype(np.float32) * np.exp(-np.arange(2200) / rng.uniform(150, 900)).astype(np.float32)
    tables = {}
    phase_grid = np.arange(2048) / 2048
    for _, _, on, off, pitch, vel in events:
        f0 = 440 * 2 ** ((pitch - 69) / 12)
        if pitch // 4 not in tables:
            k = np.arange(1, max(2, int(min(40, 14000 / f0))) + 1)
            amp = k ** -tilt * (1 + 3 * np.exp(-((k[:, None] * f0 - peaks) / 350) ** 2).sum(1))
            amp *= np.where(odd & (k % 2 == 0), 0.1, 1)
            table = (amp[:, None] * np.sin(2 * np.pi * (k[:, None] * phase_grid + rng.random((len(k), 1))))).sum(0)
            tables[pitch // 4] = (table / np.abs(table).max()).astype(np.float32)
        n = int((off - on + (0.15 if not plucked else 0.4)) * SR)
        i = int(on * SR)
        if i + n >= len(out) or n < 10:
            continue
        t = np.arange(n, dtype=np.float32) / SR
        cycles = f0 * (t - vib / (2 * np.pi * vib_rate) * np.cos(2 * np.pi * vib_rate * t + on))
        wave = tables[pitch // 4][(cycles * 2048).astype(np.int64) & 2047]
        env = np.minimum(1, t / attack) * (np.exp(-t / decay) if plucked else 1.0)
        env = env * np.clip((off - on - t) / 0.03 + 1, 0, 1) if not plucked else env * np.clip((n / SR - t) / 0.05, 0, 1)
        gain = (vel / 100) ** 1.7 * 0.15
        out[i:i + n] += wave * env * gain
        if noise:
            out[i:i + 2200] += burst[int(rng.integers(8))] * gain * noise * 0.5
    return out[:length]


def bow_noise(rng, x, times, velocities, amount):
    """Add a short scrape where each bowed note starts."""
    n = int(0.05 * SR)
    t = np.arange(n) / SR
    scrapes = [shape(rng.normal(size=n).astype(np.float32), lo=1200, hi=6000) * np.minimum(1, t / 0.003) * np.exp(-t / 0.012)
               for _ in range(12)]
    level = rms(x) * amount
    for on, vel in zip(times, velocities):
        i = int(on * SR)
        if i + n < len(x):
            x[i:i + n] += scrapes[int(rng.integers(12))] * level * (vel / 80) ** 2


# ------------------------------------------------------- filters and rooms

def slopes(freq, lo=None, hi=None, order=2):
    """Magnitude of a zero-phase Butterworth-like band."""
    mag = np.ones(len(freq), np.float32)
    if lo:
        mag /= np.sqrt(1 + (lo / np.maximum(freq, 1.0)) ** (2 * order))
    if hi:
        mag /= np.sqrt(1 + (freq / hi) ** (2 * order))
    return mag


def shape(x, lo=None, hi=None, order=2):
    n = next_fast_len(len(x), real=True)
    return irfft(rfft(x, n) * slopes(np.fft.rfftfreq(n, 1 / SR), lo, hi, order), n)[:len(x)].astype(np.float32)


def room(rng):
    """An impulse response: direct sound, some early reflections, a tail that loses its treble first."""
    rt = float(np.exp(rng.uniform(np.log(0.3), np.log(2.5))))
    n = int(min(rt, 2.2) * SR)
    t = np.arange(n, dtype=np.float32) / SR
    tail = np.zeros(n, np.float32)
    for lo, hi, share in ((60, 400, rng.uniform(0.8, 1.2)), (400, 2500, 1.0), (2500, rng.uniform(5000, 11000), rng.uniform(0.4, 0.8))):
        tail += shape(rng.normal(size=n).astype(np.float32), lo, hi, 1) * 10 ** (-3 * t / (rt * share))
    tail[:int(rng.uniform(0.004, 0.03) * SR)] = 0
    for _ in range(int(rng.integers(0, 10))):
        tail[int(rng.uniform(0.003, 0.06) * SR)] += rng.normal() * 10
    tail *= db(rng.uniform(-14, 4)) / np.sqrt(np.sum(tail ** 2))
    tail[0] += 1.0
    return tail


def colour(rng, freq, kind):
    """A random channel: what microphones, loudspeakers and phones do to a spectrum."""
    octaves = np.log2(np.maximum(freq, 30) / 800)
    mag = db(np.clip(rng.normal(0, 1.5) * octaves, -18, 12))
    for _ in range(int(rng.integers(0, 4))):
        mag = mag * db(rng.normal(0, 5) * np.exp(-((octaves - rng.uniform(-3.5, 4)) / rng.uniform(0.3, 1.2)) ** 2))
    if kind == "phone":
        mag = mag * slopes(freq, rng.uniform(150, 350), rng.uniform(3300, 7500), 4)
    elif rng.random() < 0.45:
        mag = mag * slopes(freq, rng.uniform(30, 150), rng.uniform(3000, 16000), 3)
    return mag.astype(np.float32)


# ------------------------------------------------------------------- noises

class Noises:
    """Per-process stock of speech clips, babble and applause to mix in at random places."""

    def __init__(self, bank, seed):
        rng = np.random.default_rng(seed)
        self.clips = {k: v for k, v in bank.items()}
        names = list(self.clips)
        self.calls = [k for k in names if k.startswith("call")]
        self.talk = [k for k in names if k.startswith("talk")]
        self.counts = sorted({k.rsplit("_", 1)[0] for k in names if k.startswith("count")})
        self.babble = []
        for voices in (6, 25, 60):
            x = np.zeros(20 * SR, np.float32)
            for _ in range(voices):
                now = int(rng.uniform(-3, 1) * SR)
                gain, pitch = rng.uniform(0.3, 1), rng.uniform(0.85, 1.2)
                while now < len(x):
                    clip = self.clip(rng.choice(self.talk), pitch)
                    a, b = max(0, now), min(len(x), now + len(clip))
                    if b > a:
                        x[a:b] += gain * clip[a - now:b - now]
                    now += len(clip) + int(rng.uniform(0.1, 1.5) * SR)
            self.babble.append(x / rms(x))
        claps = np.zeros(15 * SR, np.float32)
        for _ in range(3500):
            self.hand(rng, claps, rng.uniform(0, 14.8), rng.uniform(0.1, 1))
        self.applause = claps[int(0.2 * SR):int(14.6 * SR)] / rms(claps)

    def clip(self, name, speed=1.0):
        """A speech clip (stored at 22.05 kHz, int16) as float at SR."""
        x = self.clips[name].astype(np.float32) / 32768
        n = int(len(x) * 2 / speed)
        return np.interp(np.arange(n) * (len(x) - 1) / max(1, n - 1), np.arange(len(x)), x).astype(np.float32)

    @staticmethod
    def cut(rng, stock, n):
        """`n` samples of a looped stock from a random place."""
        start = int(rng.integers(len(stock)))
        return np.tile(stock, 2 + n // len(stock))[start:start + n]

    @staticmethod
    def hand(rng, x, t, gain):
        n = int(0.03 * SR)
        i = int(t * SR)
        if 0 <= i < len(x) - n:
            f, k = rng.uniform(700, 2200), np.arange(n)
            x[i:i + n] += gain * (rng.normal(size=n) * 0.6 + np.sin(2 * np.pi * f * k / SR)) * np.exp(-k / (0.004 * SR))

    @staticmethod
    def foot(rng, x, t, gain, pitch=None):
        n = int(0.12 * SR)
        i = int(t * SR)
        if 0 <= i < len(x) - n:
            f, k = pitch or rng.uniform(60, 160), np.arange(n)
            x[i:i + n] += gain * (np.sin(2 * np.pi * f * k / SR) + rng.uniform(0.2, 0.7) * rng.normal(size=n)) \
                * np.exp(-k / (rng.uniform(0.01, 0.025) * SR))

    def crowd(self, rng, n):
        x = self.cut(rng, self.babble[int(rng.integers(3))], n)
        if rng.random() < 0.4:                             # murmur without words
            for _ in range(5):
                f = rng.uniform(250, 1200)
                knots = rng.gamma(0.7, 1.0, int(n / SR * rng.uniform(3, 6)) + 2)
                env = np.interp(np.linspace(0, len(knots) - 1, n), np.arange(len(knots)), knots)
                x = x + 0.6 * env * self.cut(rng, self.murmur(f), n)
        return (x / rms(x)).astype(np.float32)

    _murmurs = {}

    def murmur(self, f):
        key = int(f // 150)
        if key not in self._murmurs:
            y = shape(np.random.default_rng(key).normal(size=8 * SR).astype(np.float32), f, 2.5 * f)
            self._murmurs[key] = y / rms(y)
        return self._murmurs[key]


def hiss(rng, n):
    """Noise with a random slope (white to red)."""
    m = min(n, 12 * SR)
    freq = np.fft.rfftfreq(m, 1 / SR)
    y = irfft(rfft(rng.normal(size=m).astype(np.float32)) * np.maximum(freq, 20) ** -rng.uniform(0, 1), m)
    return Noises.cut(rng, (y / rms(y)).astype(np.float32), n)


def codec(x, rng):
    """Through a lossy coder of low quality (Ogg Vorbis: no delay)."""
    import soundfile as sf
    rate = int(rng.choice([16000, 22050, 32000, 44100]))
    n = int(len(x) * rate / SR)
    low = np.interp(np.arange(n) * SR / rate, np.arange(len(x)), shape(x, hi=rate * 0.42, order=6) if rate < SR else x)
    buf = io.BytesIO()
    sf.write(buf, np.clip(low, -1, 1), rate, format="OGG", subtype="VORBIS", compression_level=float(rng.uniform(0.7, 1)))
    buf.seek(0)
    y, _ = sf.read(buf, dtype="float32")
    return np.interp(np.arange(len(x)) * rate / SR, np.arange(len(y)), y).astype(np.float32)
