"""Versions of a performance with other balance, tempo, rooms, noises and channels; and what is no
band at all."""
import numpy as np
from scipy.fft import irfft, next_fast_len, rfft

from sounds import SR, codec, colour, db, hiss, render_font, rms, room


def spoil(rng, noises, x, condition, keep_level=True):
    """Room, noise and channel; `x` is the dry sound with everything that happens in the hall."""
    n = len(x)
    size = next_fast_len(n + 2 * SR, real=True)
    freq = np.fft.rfftfreq(size, 1 / SR)
    spectrum = rfft(x.astype(np.float32), size)
    if condition == "hall" or (condition == "phone" and rng.random() < 0.35):
        spectrum *= rfft(room(rng), size)
    if condition != "clean" or rng.random() < 0.7:
        spectrum *= colour(rng, freq, condition)
    x = irfft(spectrum, size)[:n].astype(np.float32)
    level = rms(x)
    if condition == "hall" or rng.random() < 0.15:
        x += noises.crowd(rng, n) * level * db(-rng.uniform(6, 24))
    if condition == "phone" or rng.random() < 0.3:
        low = 12 if condition == "phone" else 20
        x += hiss(rng, n) * level * db(-rng.uniform(low, 45))
    if rng.random() < 0.08:
        t = np.arange(n, dtype=np.float32) / SR
        f = rng.choice([50, 60])
        x += level * db(-rng.uniform(8, 30)) * sum(np.sin(2 * np.pi * f * k * t) / k for k in (1, 2, 3, 5))
    if condition == "phone" or rng.random() < 0.05:
        x = np.clip(x / rms(x) * rng.uniform(0.2, 0.55), -0.9, 0.9)
    if rng.random() < 0.12:                                   # an automatic gain control
        hop = 441
        env = np.sqrt(np.add.reduceat(x ** 2, np.arange(0, n, hop)) / hop)
        decay = np.exp(-0.01 / rng.uniform(0.1, 1.0))
        for i in range(1, len(env)):
            env[i] = max(env[i], env[i - 1] * decay)
        env = np.maximum(env, env.max() * rng.uniform(0.03, 0.3))
        x = x / np.interp(np.arange(n), np.arange(len(env)) * hop, env)
    if rng.random() < 0.05:
        x = codec(x / (np.abs(x).max() + 1e-9) * 0.9, rng)
    return x


def version(rng, noises, piece, stems, number, calling=0.22, call_level=(-10, 3)):
    condition = str(rng.choice(["clean", "hall", "phone"], p=[0.28, 0.45, 0.27]))
    speed = float(rng.uniform(0.94, 1.06)) if number else 1.0
    x = stems[0] * db(rng.uniform(-5, 5)) + stems[1] * db(rng.uniform(-7, 5))
    if speed != 1.0:                                          # faster and sharper, or slower and flatter
        m = int(len(x) / speed)
        x = np.interp(np.arange(m) * speed, np.arange(len(x)), x).astype(np.float32)
    grid, lead, end, hold = piece["grid"] / speed, piece["lead"], piece["end"] / speed, piece["hold"] / speed
    pos, n = piece["pos"], len(piece["pos"])
    beats, lead_in = grid[lead:lead + n], grid[:lead]
    level = rms(x[int(grid[0] * SR):int(end * SR)])
    feet = condition == "hall" and rng.random() < 0.6 or rng.random() < 0.08
    on_ones, off_ones = rng.random() < 0.15, rng.random() < 0.06
    if rng.random() < 0.1:                                    # a musician's foot, close and regular
        gain, late, pitch = rng.uniform(0.3, 1.2), rng.normal(0, 0.01), rng.uniform(60, 120)
        both = rng.random() < 0.25
        for i in range(lead + n):
            noises.foot(rng, x, grid[i] + late + rng.normal(0, 0.008), gain * level, pitch)
            if both:
                noises.foot(rng, x, (grid[i] + grid[i + 1]) / 2 + rng.normal(0, 0.01), gain * 0.7 * level, pitch * 1.3)
    for i, b in enumerate(beats):
        if feet:
            for _ in range(int(rng.integers(1, 6))):
                noises.foot(rng, x, b + rng.normal(0, 0.035), level * rng.uniform(0.2, 1.0))
        if on_ones and pos[i] % 8 == 0 and rng.random() < 0.6 or off_ones and rng.random() < 0.1:
            for _ in range(int(rng.integers(2, 15))):
                noises.hand(rng, x, b + rng.normal(0, 0.025), level * rng.uniform(0.3, 1.5))
    how = piece["info"]["lead"]
    if lead and how in ("stomps", "count"):
        voice = rng.choice(noises.counts)
        for i, t in enumerate(lead_in):
            if how == "stomps":
                for _ in range(2):
                    noises.foot(rng, x, t + rng.normal(0, 0.005), level * rng.uniform(1.2, 2.5), 90)
            else:
                clip = noises.clip(f"{voice}_{('one', 'two', 'three', 'four')[i % 4]}", rng.uniform(0.95, 1.2))
                rise = int(np.argmax(np.abs(clip) > 0.3 * np.abs(clip).max()))
                a = int(t * SR) - rise
                if a >= 0 and a + len(clip) < len(x):
                    x[a:a + len(clip)] += clip / rms(clip) * level * rng.uniform(0.8, 2.0)
    calling = rng.random() < calling
    if calling:                                               # prompts end about where the phrase begins
        loud = level * db(rng.uniform(*call_level))
        for i, b in enumerate(beats):
            if pos[i] % 8 == 0 and rng.random() < 0.8 or rng.random() < 0.01:
                clip = noises.clip(rng.choice(noises.calls), rng.uniform(0.9, 1.2))
                a = int((b - len(clip) / SR - rng.uniform(0, 0.6)) * SR)
                if a > 0 and a + len(clip) < len(x):
                    x[a:a + len(clip)] += clip / rms(clip) * loud
    if grid[0] > 2 and rng.random() < 0.35:                   # talk before the band starts
        clip = noises.clip(rng.choice(noises.talk), rng.uniform(0.9, 1.1))[:int((grid[0] - 0.3) * SR)]
        a = int(rng.uniform(0, grid[0] - 0.2 - len(clip) / SR) * SR)
        x[a:a + len(clip)] += clip / rms(clip) * level * db(rng.uniform(-12, 3))
    after = int((hold + rng.uniform(0.5, 5)) * SR)
    x = np.pad(x, (0, max(0, after - len(x))))[:after]
    if rng.random() < 0.3:
        a = int((hold + 0.2) * SR)
        if a < len(x):
            x[a:] += noises.cut(rng, noises.applause, len(x) - a) * level * db(rng.uniform(-12, 3))
    x = spoil(rng, noises, x, condition)
    cut = 0.0
    if rng.random() < 0.25 and n > 60:                        # the recording begins mid-tune
        cut = float(beats[int(rng.integers(0, n - 48))] - rng.uniform(0.02, 0.5))
    elif rng.random() < 0.3:
        cut = float(rng.uniform(0, max(0, grid[0] - 0.05)))
    cut = max(0.0, cut)
    x = x[int(cut * SR):]
    cut = int(cut * SR) / SR
    r = lambda v: [round(float(t - cut), 4) for t in v if t - cut >= 0]
    keep = [i for i in range(n) if beats[i] - cut >= 0]
    truth = dict(lead_in=r(lead_in), beats=r(beats), pos=[pos[i] for i in keep], compound=piece["compound"],
                 band_from=round(max(0.0, grid[0] - cut - 0.03), 4), tune_from=round(max(0.0, beats[0] - cut - 0.03), 4),
                 band_to=round(end - cut, 4), hold_to=round(hold - cut + 1.0, 4),
                 mask=[[round(float(t / speed - cut), 3) for t in m] for m in piece["mask"]],
                 condition=condition, late=bool(cut > grid[0]), calling=calling, feet=bool(feet), **piece["info"])
    return x, truth


def negative(rng, noises):
    """Something that is no dance band: quiet, noise, speech, a crowd, applause, tuning."""
    n = int(rng.uniform(15, 45) * SR)
    kind = str(rng.choice(["quiet", "hiss", "crowd", "applause", "talk", "tuning", "feet"], p=[0.08, 0.1, 0.2, 0.12, 0.25, 0.2, 0.05]))
    x = np.zeros(n, np.float32)
    if kind == "quiet":
        x += hiss(rng, n) * db(-rng.uniform(55, 85))
    elif kind == "hiss":
        x += hiss(rng, n) * 0.1
    elif kind == "crowd":
        x += noises.crowd(rng, n) * 0.1
    elif kind == "applause":
        x += noises.cut(rng, noises.applause, n) * np.interp(np.arange(n), [0, n // 4, n], [0.02, 0.1, 0.01])
    elif kind == "talk":
        now = int(rng.uniform(0, 2) * SR)
        while now < n - SR:
            clip = noises.clip(rng.choice(noises.talk if rng.random() < 0.6 else noises.calls), rng.uniform(0.85, 1.15))[:n - now]
            x[now:now + len(clip)] += clip
            now += len(clip) + int(rng.choice([rng.uniform(0.05, 0.5), rng.uniform(0.5, 4)]) * SR)
    elif kind == "feet":
        now = 0.5
        while now < n / SR - 1:
            noises.foot(rng, x, now, rng.uniform(0.05, 0.2))
            now += rng.gamma(2, 0.4)
    else:
        events, now, prog = [], 0.3, int(rng.choice([40, 40, 73, 24, 105, 21, 0]))
        while now < n / SR - 2:
            p, dur = int(rng.choice([50, 55, 57, 62, 64, 69, 76])), rng.gamma(1.5, 0.5) + 0.08
            for tone in (p, p + 7)[:int(rng.integers(1, 3))]:
                events.append((0, prog, now, now + dur, tone + int(rng.random() < 0.2), int(rng.uniform(40, 100))))
            now += dur + rng.choice([0.02, rng.gamma(1, 0.4)])
        font, offset = noises.fonts[int(rng.integers(len(noises.fonts)))]
        x += render_font(events, font, offset, n)
    x = spoil(rng, noises, x + 1e-5 * hiss(rng, n), str(rng.choice(["clean", "hall", "phone"])))
    return x, dict(lead_in=[], beats=[], pos=[], compound=False, band_from=None, tune_from=None, band_to=None, hold_to=None,
                   mask=[], condition=kind, late=False, calling=False, feet=False, title=kind, kind="none", voice="none",
                   backup="none", lead="none", tunes=0, spm=0.0)
