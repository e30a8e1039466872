#!/usr/bin/env python3
"""Write trained weights for the engine, and remarks with the answers to them for its test.

    export.py phrase.pt RECORDINGS_DIR WEIGHTS_DIR FIXTURES_DIR
"""
import json
import sys
from pathlib import Path

import torch

from remarks import recordings, remarks
from train import Net

NAMES = {"in.weight": "a.weight", "in.bias": "a.bias",
         "gru1.weight_ih": "g.weight_ih_l0", "gru1.weight_hh": "g.weight_hh_l0",
         "gru1.bias_ih": "g.bias_ih_l0", "gru1.bias_hh": "g.bias_hh_l0",
         "out.weight": "o.weight", "out.bias": "o.bias"}

trained, folder, weights, fixtures = sys.argv[1], *map(Path, sys.argv[2:5])
state = torch.load(trained)
net = Net(len(state["a.bias"]))
net.load_state_dict(state)
net.eval()
tensors = {name: state[theirs].numpy().astype("<f4") for name, theirs in NAMES.items()}
(weights / "weights.bin").write_bytes(b"".join(t.tobytes() for t in tensors.values()))
listed = [{"name": name, "shape": list(t.shape)} for name, t in tensors.items()]
(weights / "weights.json").write_text(json.dumps({"tensors": listed}, indent=1))
x = remarks(next(recordings(folder))[0][:40])
with torch.no_grad():
    y = net(torch.tensor(x)[:, None])[:, 0].numpy()
x.astype("<f4").tofile(fixtures / "remarks.f32")
y.astype("<f4").tofile(fixtures / "answers.f32")
