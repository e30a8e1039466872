#!/usr/bin/env python3
"""Make training data for the beat activation: feature files with exact labels.

Three steps, each usable alone:

    make_training.py tunes  --corpus-script MAKE_CORPUS.py --books ryans,airds --exclude DIR --out tunes.json
    make_training.py speech --out speech.npz                     (espeak-ng: calls, counts, talk)
    make_training.py render --tunes tunes.json --speech speech.npz --fonts A.sf2,B.sf3 \
        --features FEATURES_BIN --count 2000 --seed 5 --out DIR [--seconds 480] [--wav]

`tunes` reads tune books with the corpus maker's own filter (it is imported, not
copied).  `render` performs each item once (perform.py, band.py), then makes
several versions of it with other balance, tempo, rooms, noises and channels
(versions.py, sounds.py), and writes NAME.npy (float16, frames x features, from the
project's own feature extractor, so training sees what the engine sees) and
NAME.json (the truth, seconds from the start of the sound); with --semitones also
NAME.p36 (32-bit floats, frames x 36 semitones), for the phrase network.

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
import shutil
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

from perform import perform, soft_bows
from sounds import SR, TMP, Noises, active_rms, bow_noise, db, render_font, render_synth, rms
from versions import negative, version

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


# --------------------------------------------------------------------- render

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
        if a.semitones:
            subprocess.run([a.semitones, wav], check=True, stdout=subprocess.DEVNULL)
            shutil.move(wav.with_suffix(".p36"), Path(a.out, name + ".p36"))


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
            made = [version(rng, noises, piece, stems, v, a.calling, a.call_level) for v in range(a.versions)]
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
    r.add_argument("--semitones", help="the project's semitones example")
    r.add_argument("--width", type=int, default=98, help="features a frame")
    r.add_argument("--count", type=int, default=12)
    r.add_argument("--first", type=int, default=0)
    r.add_argument("--seed", type=int, default=1)
    r.add_argument("--versions", type=int, default=3)
    r.add_argument("--starts", type=float, default=0.0, help="share of items that are only a lead-in and the tune's first beats")
    r.add_argument("--calling", type=float, default=0.22, help="share of versions that a caller calls over")
    r.add_argument("--call-level", type=float, nargs=2, default=(-10, 3), metavar="DB", help="softest and loudest, against the band")
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
