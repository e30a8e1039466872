#!/usr/bin/env python3
"""Make training data for the beat activation: feature files with exact labels.

Three steps, each usable alone:

    make_training.py tunes  --corpus-script MAKE_CORPUS.py --books ryans,airds --exclude DIR --out tunes.json
    make_training.py speech --out speech.npz                     (espeak-ng: calls, counts, talk)
    make_training.py render --tunes tunes.json --speech speech.npz --fonts A.sf2,B.sf3 \
        --features FEATURES_BIN --count 2000 --seed 5 --out DIR [--seconds 480] [--wav]

`tunes` reads tune books with the corpus maker's own filter (it is imported, not
copied).  `render` performs each item once (band.py), then makes several
versions of it with other balance, tempo, rooms, noises and channels
(sounds.py), and writes NAME.npy (float16, frames x features, from the
project's own feature extractor, so training sees what the engine sees) and
NAME.json (the truth, seconds from the start of the sound).

Fields of the truth: `lead_in`, `beats` (times), `pos` (place of each beat in
its tune, 0-63; -1 in a vamp), `compound` (three sub-beats or two/four),
`band_from`/`tune_from`/`band_to` (null where nothing plays), `mask` (spans
whose labels are not to be trained on), and a description of the item.
Needs fluidsynth, numpy, scipy, soundfile, mido; `tunes` also music21's tune
books and abc2midi, `speech` espeak-ng.
"""
import argparse
import importlib.util
import json
import os
import re
import subprocess
import sys
import tempfile
import time
import zlib
from multiprocessing import Pool
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")                        # one process a core does the sharing

import numpy as np
import soundfile as sf
from scipy.fft import irfft, next_fast_len, rfft

import band
from sounds import (SR, TMP, Noises, active_rms, bow_noise, codec, colour, db, hiss, render_font, render_synth, rms, room, shape)

MORE_BOOKS = {"airds": "airdsAirs", "nottingham": "nottingham-dataset", "misc": "miscFolk"}
CALLS = ["balance and swing", "circle left", "circle right", "ladies chain", "long lines forward and back", "do si do",
         "swing your partner", "promenade across", "right hand star", "left hand star", "hey for four", "allemande left",
         "swing your neighbor", "pass through", "down the hall", "come back and bend the line", "gypsy the one below",
         "half promenade", "two ladies chain", "and balance", "petronella turn", "look for the next", "star left",
         "roll away with a half sashay", "right and left through", "last time", "one more time", "now swing",
         "with your corner", "grand right and left", "all forward", "men to the middle", "pull by right"]
TALK = ["Take hands four from the top of the hall please.", "If you have just come in, we need one more couple over here.",
        "Actives, face down; the others, face up the hall.", "Let us walk through it once without the music.",
        "There is water and lemonade at the back of the hall.", "Did you see where she put the car keys last night?",
        "I think this band is really very good, do you not?", "Thank you all so much, please thank the musicians.",
        "We have a new tune for you, it is called the long road home.", "The next dance begins with a balance in a ring.",
        "Could we have a bit more of the fiddle in the monitors?", "Find a partner, and find a place in the line."]
VOICES = ["en", "en-us", "en-gb-scotland", "en-gb-x-rp", "en-us+f2", "en+f3", "en-us+f4", "en+m2", "en-us+m5", "en-gb-x-gbcwmd+f1"]


def corpus_script(path):
    spec = importlib.util.spec_from_file_location("corpus_script", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["corpus_script"] = module                    # so that workers can find its functions by name
    sys.dont_write_bytecode = True
    spec.loader.exec_module(module)
    return module


# ---------------------------------------------------------------------- tunes

def gather_tunes(a):
    mc = corpus_script(a.corpus_script)
    mc.BOOKS.update(MORE_BOOKS)
    mc.NOT_DANCES = re.compile(r"strathspey|waltz|\bair\b|lament|\bsong\b|minuet|slow|schottis|slip", re.I)
    banned = {json.loads(p.read_text())["title"].lower() for d in a.exclude for p in Path(d).glob("*.json")}
    tunes = []
    with Pool(a.jobs) as pool:
        for book in a.books.split(","):
            raw = [(book, h, b) for h, b in mc.split_book(book)]
            got = [t for t in pool.map(mc.load_tune, raw, chunksize=16) if t and t["title"].lower() not in banned]
            print(f"{book}: {len(raw)} read, {len(got)} kept", flush=True)
            tunes += got
    Path(a.out).write_text(json.dumps(tunes, default=float))


def gather_speech(a):
    bank, rng = {}, np.random.default_rng(7)
    jobs = [(f"call_{i}_{v}", t, v) for i, t in enumerate(CALLS) for v in rng.choice(VOICES, 2, replace=False)]
    jobs += [(f"talk_{i}_{v}", t, v) for i, t in enumerate(TALK) for v in rng.choice(VOICES, 3, replace=False)]
    jobs += [(f"count_{v}_{w}", w, v) for v in VOICES for w in ("one", "two", "three", "four", "ready", "go")]
    with tempfile.TemporaryDirectory() as tmp:
        for name, text, voice in jobs:
            wav = Path(tmp, "s.wav")
            subprocess.run(["espeak-ng", "-v", voice, "-s", str(int(rng.uniform(130, 210))), "-p", str(int(rng.uniform(25, 75))),
                            "-w", wav, text], check=True, stderr=subprocess.DEVNULL)
            x, rate = sf.read(wav, dtype="float32")
            assert rate == 22050
            loud = np.flatnonzero(np.abs(x) > 0.01)
            x = x[loud[0]:loud[-1]]
            bank[name] = np.int16(np.clip(x / rms(x) * 0.12, -1, 1) * 32000)
    np.savez_compressed(a.out, **bank)
    print(len(bank), "clips,", sum(map(len, bank.values())) / 22050, "s")


# ----------------------------------------------------------------- one item

def pick_tune(rng, pool, kind):
    if rng.random() < 0.12:
        return band.invent_tune(rng, kind)
    stock = pool[kind]
    tune = stock[int(rng.integers(len(stock)))]
    return band.hybrid(rng, tune, stock[int(rng.integers(len(stock)))]) if rng.random() < 0.35 else tune


def plan(rng, pool, start_only=False):
    """Segments of a performance: (tune, shift, first, last, start); and the tune position of each beat."""
    kind = str(rng.choice(["reel", "jig", "hornpipe"], p=[0.42, 0.42, 0.16]))
    if start_only:                                            # how a band begins, many times over
        n = int(rng.integers(10, 37))
        return kind, [(pick_tune(rng, pool, kind), int(rng.integers(-6, 7)), 0, n, 0)], list(range(n))
    tunes = [pick_tune(rng, pool, kind) for _ in range(int(rng.choice([1, 2, 3], p=[0.65, 0.25, 0.1])))]
    times = [1] * 3 if len(tunes) == 3 else [int(rng.integers(1, 3)) for _ in tunes] if len(tunes) == 2 \
        else [int(rng.choice([1, 2, 3], p=[0.25, 0.5, 0.25]))]
    segments, pos, crooked = [], [], rng.random() < 0.04
    mishap = rng.random() < 0.07
    for tune, n in zip(tunes, times):
        shift = int(rng.integers(-6, 7))
        for _ in range(n):
            cuts = [(0, 48)] if crooked else [(0, band.TUNE_BEATS)]
            if mishap and rng.random() < 0.5:
                k = int(rng.integers(2, 31)) * 2
                cuts = [(0, k), (k + 2, 64)] if rng.random() < 0.5 else [(0, k), None, (k, 64)]
            for cut in cuts:
                if cut is None:
                    extra = int(rng.choice([2, 2, 4, 8]))
                    segments.append((None, 0, 0, extra, len(pos)))
                    pos += [-1] * extra
                else:
                    segments.append((tune, shift, *cut, len(pos)))
                    pos += list(range(*cut))
    return kind, segments, pos


def perform(rng, pool, start_only=False):
    kind, segments, pos = plan(rng, pool, start_only)
    jig, n = kind == "jig", len(pos)
    first_tune, first_shift = segments[0][0], segments[0][1]
    no_lead = rng.random() < 0.06
    lead = 0 if no_lead else 8 if rng.random() < 0.04 else 4
    jumps = {lead + s[4]: rng.uniform(0.96, 1.05) for k, s in enumerate(segments)
             if k and s[0] is not segments[k - 1][0] and rng.random() < 0.5}
    if rng.random() < 0.05:
        jumps[int(rng.integers(lead + 16, lead + n))] = rng.choice([0.92, 1.08])
    spm = float(np.clip(rng.normal(113, 8), 92, 134))
    grid = band.tempo_grid(rng, lead + n + 5, spm, rng.choice([0, 0, rng.uniform(-0.03, 0.12)]), rng.uniform(0.01, 0.05), jumps)
    before = 0.5 + (rng.uniform(0, 1.5) if rng.random() < 0.5 else rng.uniform(1, 8))
    grid += before
    swing = 0.0 if jig or first_tune["dotted"] else rng.uniform(0.06, 0.16) if kind == "hornpipe" else rng.choice([0, 0, rng.uniform(0, 0.1)])
    stage = band.Stage(rng, grid, jig, swing, rng.choice([0, rng.uniform(0, 0.06)]))

    names = rng.choice(band.VOICE_NAMES, 2, replace=False, p=band.VOICE_ODDS)
    lead_voice = band.player(rng, str(names[0]), 0, 0)
    parts = {}
    for tune, shift, *_ in segments:
        if tune is not None and id(tune) not in parts:
            chords, tonic = band.harmonise(rng, tune["notes"], int(rng.choice([2, 2, 2, 4])))
            parts[id(tune)] = ([((r + shift) % 12, t) for r, t in chords], (tonic + shift) % 12)
    tonic = parts[id(first_tune)][1]
    lead_voice["drone_pitch"] = 48 + tonic
    band.melody(stage, rng, lead_voice, segments, lead)
    if rng.random() < 0.35:                                   # a second melody player
        second = band.player(rng, str(names[1]) if rng.random() < 0.7 else str(names[0]), 0, 8)
        second["level"] -= rng.uniform(0, 15)
        band.melody(stage, rng, second, segments, lead)
    kind_of_backup = str(rng.choice(list(band.BACKUPS), p=np.array(list(band.BACKUPS.values())) / sum(band.BACKUPS.values())))
    last_chords = parts[id(first_tune)][0]
    enter = 64 if kind_of_backup != "none" and n > 64 and rng.random() < 0.06 else 0
    for tune, _, first, last, start in segments:
        chords = parts[id(tune)][0][first:last] if tune is not None else last_chords[-1:] * (last - first)
        if tune is not None:
            last_chords = chords
        if start >= enter and kind_of_backup != "none":
            band.backup(stage, rng, kind_of_backup, chords, lead, start, last - first, first % 2)
    style = "none"
    if lead:
        style = str(rng.choice(list(band.LEAD_INS), p=np.array(list(band.LEAD_INS.values())) / sum(band.LEAD_INS.values())))
        band.lead_in(stage, rng, style, lead, tonic, first_tune["pickup"], lead_voice)

    if lead_voice["bowed"] and rng.random() < 0.5:            # a plucked edge on bowed notes, as some players bite
        bite = rng.uniform(0.3, 0.7)
        stage.events += [(0, 11, 45, e[3], e[3] + 0.06, e[5], int(np.clip(e[6] * bite, 15, 127)))
                         for e in stage.events if e[0] < 2 and e[2] in (40, 41, 42, 110)]

    mask, end = [], float(grid[lead + n])
    hold = end
    if rng.random() < 0.5:                                    # a last chord or note held
        hold = end + rng.uniform(0.5, 3.5)
        for group, ch, prog, tones in ((0, 0, lead_voice["program"], (60 + tonic, 67 + tonic)),
                                       (1, 1, 0, (36 + tonic, 48 + tonic, 52 + tonic, 55 + tonic))):
            if group == 0 or kind_of_backup.startswith("piano"):
                for tone in tones:
                    stage.play(group, ch, prog, lead + n, (hold - end) * 1.8, tone, 92, 0.01)
    events = stage.events
    if n > 96 and rng.random() < 0.06:                        # a breakdown: melody, or all, stop for a while
        at = float(grid[lead + int(rng.integers(4, n // 8)) * 8])
        gap, alone = rng.uniform(3, 6), rng.random() < 0.5
        events = [e for e in events if not (at - 0.05 < e[3] < at + gap and (alone or e[0] == 0))]
        if alone or kind_of_backup == "none":
            mask.append((at + 0.4, at + gap))
    if before > 2.5 and rng.random() < 0.4:                   # tuning and noodling before the lead-in
        now, limit = rng.uniform(0, 1), before - 0.9
        while now < limit - 0.2:
            dur = min(rng.uniform(0.1, 1.4), limit - now)
            p = int(rng.choice([55, 62, 69, 76])) if rng.random() < 0.6 else int(60 + tonic + rng.choice(band.MAJOR))
            for tone in (p, p + 7)[:int(rng.integers(1, 3))]:
                stage.add(0, 0, lead_voice["program"], now, now + dur, tone, rng.uniform(40, 85))
            now += dur + rng.choice([0.02, rng.uniform(0.05, 0.6)])
    info = dict(title=first_tune["title"], kind=kind, voice=lead_voice["name"], backup=kind_of_backup, lead=style,
                tunes=len(parts), spm=round(spm, 1))
    scrape = [(e[3], e[6]) for e in events if e[0] == 0 and e[2] in (40, 41, 42, 110)]
    return dict(grid=grid, lead=lead, pos=pos, events=events, end=end, hold=hold, mask=mask, compound=jig, info=info,
                scrape=scrape, start=float(grid[0]))


# ------------------------------------------------------------- versions

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


def version(rng, noises, piece, stems, number):
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
    calling = rng.random() < 0.22
    if calling:                                               # prompts end about where the phrase begins
        loud = level * db(rng.uniform(-10, 3))
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


def soft_bows(rng, events):
    """Slower attacks, in timecents, for a third of the bowed channels: not every bow bites."""
    return {ch: int(rng.uniform(1500, 4500)) for ch in sorted({e[0] for e in events if e[1] in (40, 41, 42, 110)})
            if rng.random() < 0.35}


_state = {}


def load_stock(a):
    """Tunes and speech, read once before the workers are forked."""
    tunes = json.loads(Path(a.tunes).read_text())
    held = lambda t: zlib.crc32(t["title"].lower().encode()) % 100 < a.val_share
    pool = {k: [t for t in tunes if t["kind"] == k and held(t) == a.val] for k in ("reel", "jig", "hornpipe")}
    _state.update(a=a, pool=pool, bank=dict(np.load(a.speech)))


def set_up():
    noises = Noises(_state["bank"], os.getpid())
    noises.fonts = _state["a"].font_list
    _state["noises"] = noises


def to_features(a, x, name):
    """Write the sound, run the extractor on it, keep the features in half precision."""
    keep = Path(a.out, name + ".wav")
    with tempfile.TemporaryDirectory(dir=TMP) as tmp:
        wav, raw = keep if a.wav else Path(tmp, "x.wav"), Path(tmp, "x.f32")
        sf.write(wav, np.clip(x, -1, 1), SR, subtype="PCM_16")
        if a.features:
            subprocess.run([a.features, wav, raw], check=True, stdout=subprocess.DEVNULL)
            np.save(Path(a.out, name + ".npy"), np.fromfile(raw, np.float32).reshape(-1, a.width).astype(np.float16))


def make_item(i):
    a, pool, noises = _state["a"], _state["pool"], _state["noises"]
    if time.time() > a.deadline:
        return 0
    rng = np.random.default_rng([a.seed, i])
    try:
        if rng.random() < a.negatives:
            made = [negative(rng, noises) for _ in range(a.versions)]
        else:
            piece = perform(rng, pool, rng.random() < a.starts)
            length = int((piece["hold"] + 2.0) * SR)
            stems = []
            for groups in ((0,), (1, 2)):
                events = [e[1:] for e in piece["events"] if e[0] in groups]
                font, offset = noises.fonts[int(rng.integers(len(noises.fonts)))]
                soft = soft_bows(rng, events)
                if groups == (0,) and rng.random() < 0.14:
                    stems.append(render_synth(rng, events, length))
                    piece["info"]["voice"] = "synth"
                else:
                    stems.append(render_font(events, font, offset, length, soft))
            if piece["scrape"] and piece["info"]["voice"] != "synth" and rng.random() < 0.6:
                bow_noise(rng, stems[0], *zip(*piece["scrape"]), rng.uniform(0.3, 2.0))
            wanted = rng.uniform(-6, 8)                       # melody over backup, dB
            scale = active_rms(stems[0]) / active_rms(stems[1]) * db(-wanted) if rms(stems[1]) > 1e-6 else 1.0
            stems[1] = stems[1] * scale
            made = [version(rng, noises, piece, stems, v) for v in range(a.versions)]
        for v, (x, truth) in enumerate(made):
            name = f"{a.seed}_{i:05d}_{v}"
            x = x / (np.abs(x).max() + 1e-9) * db(-rng.choice([rng.uniform(0, 6), rng.uniform(0, 30)]) - 0.3)
            to_features(a, x, name)
            Path(a.out, name + ".json").write_text(json.dumps(truth))
        return len(made)
    except (subprocess.SubprocessError, IndexError, ValueError, OSError) as e:
        print(f"item {i}: {type(e).__name__}: {e}", file=sys.stderr, flush=True)
        if a.strict:
            raise
        return 0


def render(a):
    Path(a.out).mkdir(parents=True, exist_ok=True)
    a.font_list = []
    for font in a.fonts.split(","):                           # a drum hit shows how late fluidsynth starts
        x = render_font([(9, 0, 1.0, 1.2, 37, 120)], font, 0.0, 2 * SR)
        a.font_list.append((font, max(0.0, float(np.argmax(np.abs(x) > 5e-5) / SR - 1.0))))
        print(font, f"start offset {a.font_list[-1][1] * 1000:.2f} ms", flush=True)
    a.deadline = time.time() + a.seconds
    load_stock(a)
    done, began = 0, time.time()
    with Pool(a.jobs, initializer=set_up) as pool:
        for n in pool.imap_unordered(make_item, range(a.first, a.first + a.count)):
            done += n
            if n and done % 200 < n:
                print(f"{done} versions in {time.time() - began:.0f} s", flush=True)
    print(f"{done} versions in {time.time() - began:.0f} s")


def main():
    ap = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    sub = ap.add_subparsers(dest="step", required=True)
    t = sub.add_parser("tunes")
    t.add_argument("--corpus-script", required=True)
    t.add_argument("--books", default="ryans,airds,nottingham,misc")
    t.add_argument("--exclude", action="append", default=[], help="folder of corpus items whose tunes must not be used")
    s = sub.add_parser("speech")
    r = sub.add_parser("render")
    r.add_argument("--tunes", required=True)
    r.add_argument("--speech", required=True)
    r.add_argument("--fonts", required=True)
    r.add_argument("--features", help="feature extractor; without it only --wav makes sense")
    r.add_argument("--width", type=int, default=98, help="features a frame")
    r.add_argument("--count", type=int, default=12)
    r.add_argument("--first", type=int, default=0)
    r.add_argument("--seed", type=int, default=1)
    r.add_argument("--versions", type=int, default=3)
    r.add_argument("--starts", type=float, default=0.0, help="share of items that are only a lead-in and the tune's first beats")
    r.add_argument("--negatives", type=float, default=0.07)
    r.add_argument("--seconds", type=float, default=1e9, help="start no item after this long")
    r.add_argument("--val", action="store_true", help="use only the tunes kept back for validation")
    r.add_argument("--val-share", type=int, default=8, help="percent of tunes kept back")
    r.add_argument("--wav", action="store_true", help="keep the sound")
    r.add_argument("--strict", action="store_true", help="stop at the first item that fails")
    for p in (t, s, r):
        p.add_argument("--out", required=True)
        p.add_argument("--jobs", type=int, default=1)
    a = ap.parse_args()
    {"tunes": gather_tunes, "speech": gather_speech, "render": render}[a.step](a)


if __name__ == "__main__":
    main()
