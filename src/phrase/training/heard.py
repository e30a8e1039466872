#!/usr/bin/env python3
"""Remarks and places of recordings, from random beats on, for train.py.

    heard.py --recordings DIR [DIR ...] --out heard.npz [--windows 3] [--jobs 1]

The folders hold NAME.json with the truth and NAME.p36 with semitones (remarks.py tells
which).  Arrays as imagine.py's: X, performances x beats x remarks; Y, the places, -1
where there is none.
"""
import argparse
import zlib
from multiprocessing import Pool
from pathlib import Path

import numpy as np

from remarks import REMARKS, recording, remarks

BEATS, SHORTEST = 176, 100                      # of a performance; less than the second are left out


def windows(job):
    truth, count = job
    heard = recording(truth)
    if heard is None or len(heard[0]) <= SHORTEST:
        return []
    magnitudes, place = heard
    rng, out = np.random.default_rng(zlib.crc32(str(truth).encode())), []
    for _ in range(count):
        start = int(rng.integers(0, len(place) - SHORTEST))
        x, y = np.zeros((BEATS, REMARKS), np.float16), np.full(BEATS, -1)
        some = remarks(magnitudes[start:start + BEATS])
        x[:len(some)], y[:len(some)] = some, place[start:start + BEATS]
        out.append((x, y))
    return out


def main():
    args = argparse.ArgumentParser()
    args.add_argument("--recordings", nargs="+", required=True)
    args.add_argument("--windows", type=int, default=3)
    args.add_argument("--jobs", type=int, default=1)
    args.add_argument("--out", required=True)
    a = args.parse_args()
    truths = [(truth, a.windows) for folder in a.recordings for truth in sorted(Path(folder).glob("*.json"))]
    with Pool(a.jobs) as pool:
        made = [pair for some in pool.imap(windows, truths, chunksize=8) for pair in some]
    np.savez(a.out, X=np.stack([x for x, _ in made]), Y=np.stack([y for _, y in made]))
    print(len(truths), "recordings,", len(made), "performances")


if __name__ == "__main__":
    main()
