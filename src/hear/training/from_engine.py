#!/usr/bin/env python3
"""Turn the engine's weights back into the training's form, to train on: from_engine.py DIR OUT.pt

DIR holds weights.json and weights.bin.  The heads that only help the training are not in them and begin anew.
"""
import json
import sys
from pathlib import Path

import numpy as np
import torch

from export import engine_name
from train import BeatNet


def main():
    source, out = Path(sys.argv[1]), sys.argv[2]
    header, blob = json.loads((source / "weights.json").read_text()), np.fromfile(source / "weights.bin", "<f4")
    at, tensors = 0, {}
    for t in header["tensors"]:
        n = int(np.prod(t["shape"]))
        tensors[t["name"]] = torch.from_numpy(blob[at:at + n].reshape(t["shape"]).copy())
        at += n
    front, features = tensors["in.weight"].shape
    hidden = tensors["out.weight"].shape[1]
    torch.manual_seed(1)
    model = BeatNet(features, front, hidden).state_dict()
    for name, value in model.items():
        known = tensors[engine_name(name)]
        value[:len(known)] = known
    torch.save(dict(model=model, config=dict(features=features, front=front, hidden=hidden, delay=header["delay_frames"])), out)


if __name__ == "__main__":
    main()
