#!/usr/bin/env python3
"""What networks asked together make of features, for the engine's test.

    answers.py FIRST.pt SECOND.pt ... FIXTURES

FIXTURES/input.f32 holds frames x features; FIXTURES/output.f32 gets frames x outputs: the
mean of the networks' raw values before sigmoid and softmax, their states zero at first.
"""
import sys
from pathlib import Path

import numpy as np
import torch

from export import USED, load


def main():
    *sources, fixtures = sys.argv[1:]
    said = []
    for model, config in map(load, sources):
        x = np.fromfile(Path(fixtures, "input.f32"), "<f4").reshape(1, -1, config["features"])
        with torch.no_grad():
            said.append(model(torch.from_numpy(x))[0][0, :, :USED].numpy())
    np.mean(said, axis=0).astype("<f4").tofile(Path(fixtures, "output.f32"))


if __name__ == "__main__":
    main()
