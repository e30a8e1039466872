"""Compares our beat measures with those of the Python package mir_eval.

    python3 -m venv VENV && VENV/bin/pip install mir_eval==0.8.2 numpy
    VENV/bin/python tests/mir_eval_check.py [COMMAND ...]

Makes some hundred pairs of true and announced beat lists, gives them to
COMMAND (by default `cargo run --quiet --example measures`) and demands that F,
CMLc, CMLt, AMLc and AMLt agree with mir_eval.beat to 1e-9. Exits with 1 and
prints the lists if any does not. The pairs are the same on every run.

Times are whole microseconds, so that both sides read the very same numbers
from the text; half of the cases are whole milliseconds, so that errors of just
70 ms or just 17.5 % of a beat, where "within" is decided, do occur.
"""

import json
import random
import subprocess
import sys
import warnings

import mir_eval.beat
import numpy as np

CASES = 600
TOLERANCE = 1e-9
NAMES = ["F", "CMLc", "CMLt", "AMLc", "AMLt"]


def regular(rng, digits):
    """Beats of a band: a tempo that drifts, human jitter."""
    time, period = rng.uniform(0, 4), rng.uniform(0.35, 0.75)
    if digits == 3 and rng.random() < 0.5:
        # Neat numbers: 0.07 s is then 17.5 % of 0.4 s, and the like.
        time, period, drift, jitter = round(time, 1), rng.choice([0.4, 0.5, 0.56]), 0, 0
    else:
        drift, jitter = rng.choice([0, 0, 0.002, 0.01]), rng.choice([0, 0.005, 0.02])
    beats = []
    for _ in range(rng.choice([2, 3, 4, 7, 20, 60, 130])):
        beats.append(time + rng.gauss(0, jitter))
        time += period
        period *= 1 + rng.gauss(0, drift)
    return beats


def halves(beats):
    return [0.5 * (a + b) for a, b in zip(beats, beats[1:])]


def perturb(rng, beats):
    """What a tracker might say of these beats; the name of what was done."""
    period = float(np.median(np.diff(beats))) if len(beats) > 1 else 0.5
    shift = rng.choice([-0.071, -0.07, -0.0699, 0.0699, 0.07, 0.071, 0.0875])
    kinds = {
        "the same": lambda: list(beats),
        "empty": lambda: [],
        "single": lambda: [rng.choice(beats) + rng.uniform(-0.1, 0.1)],
        "two": lambda: [beats[0], beats[0] + period],
        "a little jitter": lambda: [b + rng.gauss(0, 0.02) for b in beats],
        "much jitter": lambda: [b + rng.gauss(0, 0.08) for b in beats],
        "shifted to an edge": lambda: [b + shift for b in beats],
        "off-beat": lambda: halves(beats),
        "a third off": lambda: [b + period / 3 for b in beats],
        "double": lambda: list(beats) + halves(beats),
        "half, from the first": lambda: beats[::2],
        "half, from the second": lambda: beats[1::2],
        "some missing": lambda: [b for b in beats if rng.random() > 0.2],
        "some more": lambda: list(beats)
        + [rng.uniform(beats[0] - 1, beats[-1] + 1) for _ in range(rng.randint(1, 12))],
        "only a stretch": lambda: beats[len(beats) // 3 : 2 * len(beats) // 3],
        "off-beat from the middle": lambda: beats[: len(beats) // 2]
        + halves(beats)[len(beats) // 2 :],
        "a wrong tempo": lambda: [
            beats[0] + (b - beats[0]) * rng.choice([0.83, 0.97, 1.03, 1.17, 1.176])
            for b in beats
        ],
        "unrelated": lambda: regular(rng, 6),
        "anything": lambda: [rng.uniform(0, beats[-1] + 2) for _ in range(rng.randint(1, 90))],
    }
    name = rng.choice(sorted(kinds))
    return name, kinds[name]()


def tidy(times, digits):
    """Ascending, not negative, rounded, none twice."""
    return sorted({round(t, digits) for t in times if t >= 0})


def make_cases():
    rng = random.Random(20)
    cases = [("both empty", [], []), ("nothing true", [], [1.0, 2.0])]
    while len(cases) < CASES:
        digits = rng.choice([3, 6])
        truth = regular(rng, digits)
        if rng.random() < 0.05:
            truth = truth[:1]
        name, announced = perturb(rng, truth)
        cases.append((name, tidy(truth, digits), tidy(announced, digits)))
        if rng.random() < 0.1:
            cases.append((name + ", swapped", *reversed(cases[-1][1:])))
    return cases


def expected(truth, announced):
    truth, announced = np.array(truth, float), np.array(announced, float)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of empty and single lists
        f = mir_eval.beat.f_measure(truth, announced)
        return [f, *mir_eval.beat.continuity(truth, announced)]


def main():
    command = sys.argv[1:] or ["cargo", "run", "--quiet", "--example", "measures"]
    cases = make_cases()
    lines = [json.dumps({"truth": t, "announced": a}) for _, t, a in cases]
    run = subprocess.run(
        command, input="\n".join(lines) + "\n", stdout=subprocess.PIPE, text=True, check=True
    )
    answers = [json.loads(line) for line in run.stdout.splitlines()]
    if len(answers) != len(cases):
        sys.exit(f"mir_eval check: {len(cases)} cases, but {len(answers)} answers")

    worst, wrong, telling = 0.0, 0, 0
    for (name, truth, announced), answer in zip(cases, answers):
        want = expected(truth, announced)
        telling += any(0 < w < 1 for w in want)
        for measure, w in zip(NAMES, want):
            error = abs(answer[measure] - w)
            if not error <= TOLERANCE:
                wrong += 1
                print(f"{measure} is {answer[measure]!r}, mir_eval says {w!r} ({name})")
                print(f"  true beats:      {truth}\n  announced beats: {announced}")
            else:
                worst = max(worst, error)
    if telling < CASES // 4:
        sys.exit(f"mir_eval check: only {telling} cases tell anything apart")
    if wrong:
        sys.exit(f"mir_eval check: {wrong} figures differ")
    print(
        f"mir_eval check: {len(cases)} pairs of beat lists, {len(NAMES)} measures each, "
        f"agree (largest difference {worst:.1e}; {telling} pairs have figures between 0 and 1)"
    )


if __name__ == "__main__":
    main()
